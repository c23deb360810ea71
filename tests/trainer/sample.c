/**
 * @file sample.c
 * Draws a careless line, has it cut by the program's own strip_make, and labels the columns from the scene's
 * truth.
 */
#include "sample.h"

#include <math.h>
#include <string.h>

#define SCALE_JITTER 0.165  /* of the digits' height, as a logarithm */
#define SHIFT_JITTER_PX 2.5 /* up or down, strip px */
#define LABEL_REACH_PX 3.0  /* a character holds the columns this near its centre: three of them */
#define IGNORE_REACH_PX 4.3 /* between this and LABEL_REACH_PX nothing is asked */
#define CUT_SHARE 0.2       /* a character that lost more than this at the strip's end is not asked for */

/** The mix of brightness and colour that the strip is made of: as a rule brightness, of either sign. */
static void draw_weights(struct sm_counter__line *line, struct sm_test_random *rng)
{
    line->weight_y = rng_chance(rng, 0.3) ? -1.0F : 1.0F;
    line->weight_u = line->weight_v = 0.0F;
    if (rng_chance(rng, 0.2)) {
        line->weight_y *= (float)sm_test_uniform(rng, 0.2, 1.0);
        line->weight_u = (float)sm_test_uniform(rng, -1.0, 1.0);
        line->weight_v = (float)sm_test_uniform(rng, -1.0, 1.0);
    }
}

/** Where the line is taken to be. The strip is as long as fits, from a random place. */
static void draw_line(struct sm_counter__line *line, const struct scene *scene, double jitter,
                      struct sm_test_random *rng)
{
    double height = (scene->baseline_px - scene->top_px) *
                    exp(jitter * sm_test_uniform(rng, -SCALE_JITTER, SCALE_JITTER));
    double shift =
        jitter * sm_test_uniform(rng, -SHIFT_JITTER_PX, SHIFT_JITTER_PX) / SM_STRIP_DIGIT_HEIGHT * height;
    double middle = 0.5 * (scene->top_px + scene->baseline_px) + shift;
    double most_px = (SAMPLE_MAX_PX - 1) * height / SM_STRIP_DIGIT_HEIGHT;
    double length = fmin(most_px, scene->image.width_px * sm_test_uniform(rng, 0.5, 1.0));
    line->top_px = middle - 0.5 * height;
    line->baseline_px = middle + 0.5 * height;
    line->left_px = sm_test_uniform(rng, 0.0, scene->image.width_px - length);
    line->right_px = line->left_px + length;
    draw_weights(line, rng);
}

/** Distance from a strip column's middle to the nearest character, and that character. */
static double nearest(const struct scene_glyph **found, const struct scene *scene,
                      const struct sm_counter__line *line, double scale, int32_t column)
{
    double best = 1e9;
    for (size_t i = 0; i < scene->n_glyphs; i++) {
        double distance =
            fabs((scene->glyph[i].centre_px - line->left_px) * scale - (SM_NET_COLUMN_PX * column + 1.0));
        if (distance < best) {
            best = distance;
            *found = &scene->glyph[i];
        }
    }
    return best;
}

/** How much of a character lies outside the strip. */
static double cut_share(const struct scene_glyph *g, const struct sm_counter__line *line)
{
    double outside = fmax(0.0, line->left_px - g->left_px) + fmax(0.0, g->right_px - line->right_px);
    return outside / fmax(0.5, g->right_px - g->left_px);
}

static bool is_askable(const struct scene_glyph *g, const struct sm_counter__line *line)
{
    return !g->is_lost && cut_share(g, line) <= CUT_SHARE;
}

static void label(struct sample *sample, const struct scene *scene, const struct sm_counter__line *line)
{
    double scale = sm_counter__strip_scale(line);
    for (int32_t column = 0; column < sample->n_columns; column++) {
        const struct scene_glyph *g = NULL;
        double distance = nearest(&g, scene, line, scale, column);
        bool is_inside = g && distance < 0.6 * scale * (g->right_px - g->left_px);
        uint8_t value = distance <= LABEL_REACH_PX    ? (uint8_t)g->glyph
                        : distance <= IGNORE_REACH_PX ? LABEL_IGNORE
                                                      : SM_GLYPH_BLANK;
        if (g && (distance <= IGNORE_REACH_PX || is_inside) && !is_askable(g, line)) {
            value = LABEL_IGNORE;
        }
        sample->label[column] = value;
    }
    for (size_t i = 0; i < scene->n_glyphs; i++) {
        const struct scene_glyph *g = &scene->glyph[i];
        int32_t column = (int32_t)floor((g->centre_px - line->left_px) * scale / SM_NET_COLUMN_PX);
        if (column >= 0 && column < sample->n_columns && is_askable(g, line)) {
            sample->centre_column[sample->n_centres] = column;
            sample->centre_glyph[sample->n_centres++] = (uint8_t)g->glyph;
        }
    }
}

enum sm_status sample_cut(struct sample *out, const struct scene *scene, double jitter,
                          struct sm_test_random *rng, struct sm_error *err)
{
    struct sm_counter__line line;
    draw_line(&line, scene, jitter, rng);
    int32_t width_px = sm_counter__strip_width(&line);
    if (width_px < 1 || width_px > SAMPLE_MAX_PX) {
        return sm_error_set(err, SM_E_RANGE, "a strip of %d px was cut", (int)width_px);
    }
    enum sm_status status = sm_counter__strip_make(out->strip, width_px, &scene->image, &line, err);
    if (status == SM_OK) {
        out->width_px = width_px;
        out->n_columns = sm_counter__net_columns(width_px);
        out->n_centres = 0;
        label(out, scene, &line);
    }
    return status;
}
