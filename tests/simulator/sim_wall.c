/*
 * sim_wall.c - the unrolled wall. Strips of rows along the pipe are made when the camera comes near and
 * overwrite the oldest in a ring, so that a survey of hours needs no more memory than one of seconds. A strip
 * depends on nothing but the seed and its number: going back paints the same wall again.
 *
 * First the bare material (value noise in four sizes, joints, the run of the water), then what is planted,
 * drawn by sim_defects.c, then the turn from RGB to Y, U, V. A coarser copy serves the far end of the view,
 * where one pixel spans many rows.
 */
#include "sim_wall_internal.h"

#include <assert.h>
#include <cairo.h>
#include <math.h>
#include <string.h>

#define STRIP_ROWS 256
#define N_STRIPS (SM_SIM_WALL_ROWS / STRIP_ROWS)
#define COLUMNS SM_SIM_WALL_COLUMNS
#define FAR SM_SIM_WALL_FAR
#define N_OCTAVES 4

struct material {
    double r, g, b;
    double rough[N_OCTAVES]; /* grey levels of the noise, from patches to grain */
    double joint;            /* how dark, 0..1 */
    double gloss;            /* of the lamp's mirror image, 0..1 */
    double invert;           /* how stained the bottom is, 0..1 */
};
static const struct material materials[] = {
    [SM_SIM_CLAY] = {126, 84, 52, {14, 11, 9, 8}, 0.75, 0.35, 0.5},
    [SM_SIM_CONCRETE] = {128, 124, 112, {16, 16, 16, 14}, 0.6, 0.12, 0.55},
    [SM_SIM_PVC] = {176, 120, 84, {6, 4, 3, 3}, 0.55, 0.8, 0.35},
    [SM_SIM_IRON] = {88, 66, 52, {16, 16, 18, 14}, 0.5, 0.2, 0.4},
    [SM_SIM_LINER] = {168, 168, 158, {10, 5, 4, 4}, 0.12, 0.7, 0.3},
};

struct sm_sim_wall {
    const struct sm_sim_scenario *scenario;
    struct material material;
    uint64_t seed;
    double row_m, diameter_m, length_m, unit_length_m;
    uint32_t *texel, *far_texel;
    int64_t strip_in[N_STRIPS]; /* number of the strip held in each place of the ring */
    cairo_surface_t *surface;   /* one strip in RGB */
};

static int64_t floor_div(int64_t a, int64_t b)
{
    return a >= 0 ? a / b : -((-a + b - 1) / b);
}

/* ---- noise
 * --------------------------------------------------------------------------------------------------- */

static double lattice(uint64_t seed, int64_t row, int64_t column)
{
    struct sm_test_random random = {seed ^ (uint64_t)row * 0x9e3779b97f4a7c15U ^
                                    (uint64_t)column * 0xd1342543de82ef95U};
    return (double)(sm_test_next(&random) >> 40) * 0x1p-23 - 1.0;
}

/* One row of value noise with cells of size texels, closed around the pipe, added to out. */
static void add_noise_row(double *out, uint64_t seed, int64_t row, int32_t size, double strength)
{
    int64_t cell_row = floor_div(row, size);
    double down = (double)(row - cell_row * size) / size;
    down = down * down * (3 - 2 * down);
    int32_t n_cells = COLUMNS / size;
    double left = 0, right = 0;
    for (int32_t cell = 0; cell <= n_cells; cell++) {
        int32_t around = cell % n_cells;
        left = right;
        right = lattice(seed, cell_row, around) * (1 - down) + lattice(seed, cell_row + 1, around) * down;
        for (int32_t x = 0; cell > 0 && x < size; x++) {
            out[(cell - 1) * size + x] += strength * (left + (right - left) * x / size);
        }
    }
}

/* ---- bare wall
 * ----------------------------------------------------------------------------------------------- */

/* Grey level change at a joint: a dark gap with a lighter edge. */
static double joint_level(const struct sm_sim_wall *wall, double place_m)
{
    double near_m = round(place_m / wall->unit_length_m) * wall->unit_length_m;
    double away_m = fabs(place_m - near_m);
    if (near_m < 0.5 * wall->unit_length_m || near_m > wall->length_m - 0.1) {
        return 0;
    }
    if (away_m < 0.0035) {
        return -90 * wall->material.joint;
    }
    return away_m < 0.014 ? 14 * wall->material.joint * (0.014 - away_m) / 0.0105 : 0;
}

/* Stain left by the flow: strongest at the invert (column 0), gone a fifth of the way round. */
static double invert_stain(const struct sm_sim_wall *wall, int32_t column, double wobble)
{
    double away = column < COLUMNS / 2 ? column : COLUMNS - column;
    double edge = COLUMNS / 9.0 + wobble;
    return wall->material.invert * fmax(0, fmin(1, (edge - away) / 40.0));
}

static uint32_t level_byte(double level)
{
    return (uint32_t)fmin(fmax(level, 0), 255);
}

static void paint_row(const struct sm_sim_wall *wall, int64_t row, uint32_t *out)
{
    static const int32_t sizes[N_OCTAVES] = {128, 32, 8, 2};
    double noise[COLUMNS] = {0}, patch[COLUMNS] = {0};
    double place_m = (double)row * wall->row_m;
    bool is_chamber = place_m < 0 || place_m > wall->length_m;
    for (int32_t i = 0; i < N_OCTAVES; i++) {
        add_noise_row(noise, wall->seed + (uint64_t)i, row, sizes[i],
                      wall->material.rough[i] * (is_chamber ? 1.5 : 1));
    }
    add_noise_row(patch, wall->seed + 77, row, 64, 18);
    double change = is_chamber ? 25 : joint_level(wall, place_m);
    for (int32_t x = 0; x < COLUMNS; x++) {
        double stain = is_chamber ? 0 : invert_stain(wall, x, patch[x]);
        double level = noise[x] + change, keep = 1 - 0.55 * stain;
        double tint = patch[x] * 0.12;
        out[x] = level_byte((wall->material.r + level + tint) * keep) << 16 |
                 level_byte((wall->material.g + level) * keep) << 8 |
                 level_byte((wall->material.b + level - tint) * keep * (1 - 0.1 * stain));
    }
}

/* ---- strips
 * -------------------------------------------------------------------------------------------------- */

/* ITU-R BT.601: video range. */
static uint32_t texel_of(uint32_t rgb, double gloss)
{
    int32_t r = (int32_t)(rgb >> 16 & 255), g = (int32_t)(rgb >> 8 & 255), b = (int32_t)(rgb & 255);
    int32_t y = 16 + ((66 * r + 129 * g + 25 * b + 128) >> 8);
    int32_t u = 128 + ((-38 * r - 74 * g + 112 * b + 128) >> 8);
    int32_t v = 128 + ((112 * r - 94 * g - 18 * b + 128) >> 8);
    uint32_t shine = (uint32_t)(gloss * y);
    return (uint32_t)y | (uint32_t)u << 8 | (uint32_t)v << 16 | shine << 24;
}

static void average_far(const uint32_t *texel, uint32_t *out)
{
    uint32_t sum[4] = {0};
    for (int32_t y = 0; y < FAR; y++) {
        for (int32_t x = 0; x < FAR; x++) {
            uint32_t t = texel[y * COLUMNS + x];
            for (int32_t i = 0; i < 4; i++) {
                sum[i] += t >> (8 * i) & 255;
            }
        }
    }
    *out = 0;
    for (int32_t i = 0; i < 4; i++) {
        *out |= sum[i] / (FAR * FAR) << (8 * i);
    }
}

/* Draw all items that reach into the strip. Around the pipe the drawing is closed by drawing it thrice. */
static enum sm_status paint_items(struct sm_sim_wall *wall, int64_t strip, struct sm_error *err)
{
    double top_m = (double)(strip * STRIP_ROWS) * wall->row_m, bottom_m = top_m + STRIP_ROWS * wall->row_m;
    double around_m = wall->diameter_m * M_PI;
    cairo_t *cr = cairo_create(wall->surface);
    for (size_t i = 0; i < wall->scenario->n_items; i++) {
        const struct sm_sim_item *item = &wall->scenario->item[i];
        for (int32_t turn = -1; turn <= 1 && item->end_m > top_m - 0.6 && item->start_m < bottom_m + 0.6;
             turn++) {
            cairo_identity_matrix(cr);
            cairo_scale(cr, COLUMNS / around_m, 1 / wall->row_m);
            cairo_translate(cr, turn * around_m, -top_m);
            sm_sim__paint_item(cr, item, wall->diameter_m);
        }
    }
    cairo_status_t status = cairo_status(cr);
    cairo_destroy(cr);
    cairo_surface_flush(wall->surface);
    return status ? sm_error_set(err, SM_E_NOMEM, "wall: %s", cairo_status_to_string(status)) : SM_OK;
}

static enum sm_status make_strip(struct sm_sim_wall *wall, int64_t strip, size_t place, struct sm_error *err)
{
    cairo_surface_flush(wall->surface);
    uint32_t *rgb = (uint32_t *)(void *)cairo_image_surface_get_data(wall->surface);
    for (int64_t row = 0; row < STRIP_ROWS; row++) {
        paint_row(wall, strip * STRIP_ROWS + row, rgb + row * COLUMNS);
    }
    cairo_surface_mark_dirty(wall->surface);
    enum sm_status status = paint_items(wall, strip, err);
    if (status != SM_OK) {
        return status;
    }
    uint32_t *texel = wall->texel + place * STRIP_ROWS * COLUMNS;
    for (size_t i = 0; i < STRIP_ROWS * COLUMNS; i++) {
        texel[i] = texel_of(rgb[i], wall->material.gloss);
    }
    uint32_t *far_texel = wall->far_texel + place * (STRIP_ROWS / FAR) * (COLUMNS / FAR);
    for (int32_t y = 0; y < STRIP_ROWS / FAR; y++) {
        for (int32_t x = 0; x < COLUMNS / FAR; x++) {
            average_far(texel + (ptrdiff_t)y * FAR * COLUMNS + (ptrdiff_t)x * FAR,
                        far_texel + y * (COLUMNS / FAR) + x);
        }
    }
    wall->strip_in[place] = strip;
    return SM_OK;
}

enum sm_status sm_sim__wall_prepare(struct sm_sim_wall *wall, int64_t first_row, int64_t last_row,
                                    struct sm_error *err)
{
    assert(last_row >= first_row && last_row - first_row <= SM_SIM_WALL_ROWS - 2 * STRIP_ROWS);
    enum sm_status status = SM_OK;
    for (int64_t strip = floor_div(first_row, STRIP_ROWS); status == SM_OK && strip * STRIP_ROWS <= last_row;
         strip++) {
        size_t place = (size_t)((uint64_t)strip % N_STRIPS);
        if (wall->strip_in[place] != strip) {
            status = make_strip(wall, strip, place, err);
        }
    }
    return status;
}

enum sm_status sm_sim__wall_new(struct sm_sim_wall **out, const struct sm_sim_opts *opts,
                                const struct sm_sim_scenario *scenario, struct sm_error *err)
{
    struct sm_sim_wall *wall = sm_calloc(1, sizeof *wall);
    if (!wall) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for the wall");
    }
    wall->scenario = scenario;
    wall->material = materials[opts->pipe.material];
    struct sm_test_random random = sm_sim__stream(opts->seed, SM_SIM_STREAM_WALL);
    wall->seed = sm_test_next(&random);
    wall->diameter_m = opts->pipe.diameter_mm / 1000;
    wall->row_m = wall->diameter_m / SM_SIM_ROWS_PER_DIAMETER;
    wall->length_m = opts->pipe.length_m;
    wall->unit_length_m = opts->pipe.unit_length_m;
    for (size_t i = 0; i < N_STRIPS; i++) {
        wall->strip_in[i] = INT64_MIN;
    }
    wall->texel = sm_calloc((size_t)SM_SIM_WALL_ROWS * COLUMNS, sizeof *wall->texel);
    wall->far_texel = sm_calloc((size_t)(SM_SIM_WALL_ROWS / FAR) * (COLUMNS / FAR), sizeof *wall->far_texel);
    wall->surface = cairo_image_surface_create(CAIRO_FORMAT_RGB24, COLUMNS, STRIP_ROWS);
    if (!wall->texel || !wall->far_texel || cairo_surface_status(wall->surface) != CAIRO_STATUS_SUCCESS) {
        sm_sim__wall_free(&wall);
        return sm_error_set(err, SM_E_NOMEM, "no memory for the wall");
    }
    *out = wall;
    return SM_OK;
}

void sm_sim__wall_free(struct sm_sim_wall **wall)
{
    if (*wall) {
        cairo_surface_destroy((*wall)->surface);
        sm_free((*wall)->texel);
        sm_free((*wall)->far_texel);
        sm_free(*wall);
        *wall = NULL;
    }
}

const uint32_t *sm_sim__wall_texels(const struct sm_sim_wall *wall)
{
    return wall->texel;
}

const uint32_t *sm_sim__wall_far_texels(const struct sm_sim_wall *wall)
{
    return wall->far_texel;
}
