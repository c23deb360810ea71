/*
 * sim_overlay.c - the texts in the picture, moment by moment. The recording goes through black, title page, a
 * counter that does not run yet, then the run; on the way there are gaps with no overlay and pages of text
 * that hide the counter, and at a stop the observation's sentence.
 */
#include "sim_overlay_internal.h"

#include <math.h>
#include <string.h>

#define MAX_LINES 8
#define MAX_WINDOWS 64

struct window {
    double start_s, end_s;
};
struct sm_sim_overlay {
    const struct sm_sim_opts *opts;
    const struct sm_sim_scenario *scenario;
    const struct sm_sim_path *path;
    struct sm_sim_field field[SM_SIM_MAX_FIELDS];
    size_t n_fields;
    struct sm_sim_box box[SM_SIM_MAX_FIELDS];
    size_t n_boxes;
    struct sm_sim_field line[MAX_LINES]; /* of a page or a sentence */
    size_t n_lines;
    struct window gap[MAX_WINDOWS], page[MAX_WINDOWS];
    struct {
        struct sm_text text;
        struct sm_sim_stamp stamp, dark;
    } measured[2]; /* the two counter texts compared last */
    size_t last_measured;
};

void sm_sim__field_release(struct sm_sim_field *field)
{
    sm_text_release(&field->text);
    sm_sim__stamp_release(&field->stamp);
    sm_sim__stamp_release(&field->dark);
}

void sm_sim__field_corner(const struct sm_sim_field *field, const struct sm_sim_stamp *stamp,
                          int32_t *left_px, int32_t *top_px)
{
    const struct sm_caption *caption = &stamp->caption;
    double share = field->align == SM_SIM_LEFT ? 0 : field->align == SM_SIM_RIGHT ? 1 : 0.5;
    double text_x_px = caption->text_left_px + share * (caption->text_right_px - caption->text_left_px);
    *left_px = (int32_t)lround(field->anchor_x_px - text_x_px);
    *top_px = (int32_t)lround(field->baseline_px - caption->baseline_px);
}

/* ---- windows
 * ------------------------------------------------------------------------------------------------- */

/* n windows of about for_s, one in each n-th of the run, so that none run together. */
static void plan_windows(struct window *window, int64_t n, double for_s, const struct sm_sim_path *path,
                         struct sm_test_random *random)
{
    double first_s = path->run_start_s + 4,
           each_s = (path->duration_s - 1 - first_s) / (double)(n > 0 ? n : 1);
    for (int64_t i = 0; i < n && i < MAX_WINDOWS && each_s > for_s + 1; i++) {
        double start_s = first_s + each_s * (double)i + sm_test_uniform(random, 0, each_s - for_s - 1);
        window[i] = (struct window){start_s, start_s + for_s};
    }
}

static bool is_within(const struct window *window, double time_s)
{
    for (size_t i = 0; i < MAX_WINDOWS; i++) {
        if (time_s >= window[i].start_s && time_s < window[i].end_s) {
            return true;
        }
    }
    return false;
}

/* ---- drawing a field
 * ----------------------------------------------------------------------------------------- */

/* The other colour of a flipping text. */
static struct sm_caption_style flipped(struct sm_caption_style style)
{
    style.fill = (struct sm_colour){12, 12, 12, 255};
    style.outline.r = style.outline.g = style.outline.b = 240;
    style.shadow.r = style.shadow.g = style.shadow.b = 240;
    return style;
}

/* Have the field's stamps show a text. */
static enum sm_status set_text(const struct sm_sim_opts *opts, struct sm_sim_field *field, const char *text,
                               struct sm_error *err)
{
    if (field->stamp.y && strcmp(sm_text_str(&field->text), text) == 0) {
        return SM_OK;
    }
    struct sm_caption_style style = sm_sim__overlay_style(opts, field->kind);
    enum sm_status status = sm_sim__stamp_make(&field->stamp, &style, text, opts->overlay.opacity, err);
    if (status == SM_OK && opts->overlay.is_flipping) {
        style = flipped(style);
        status = sm_sim__stamp_make(&field->dark, &style, text, opts->overlay.opacity, err);
    }
    sm_text_clear(&field->text);
    sm_text_add(&field->text, text);
    return status == SM_OK && field->text.failed ? SM_E_NOMEM : status;
}

static double mean_luma(const struct sm_sim_picture *picture, struct sm_sim_box box)
{
    double sum = 0, n = 0;
    for (int32_t y = box.top_px < 0 ? 0 : box.top_px; y < box.bottom_px && y < picture->height_px; y++) {
        for (int32_t x = box.left_px < 0 ? 0 : box.left_px; x < box.right_px && x < picture->width_px; x++) {
            sum += picture->y[(ptrdiff_t)y * picture->width_px + x];
            n += 1;
        }
    }
    return n > 0 ? sum / n : 0;
}

/* Each character in the colour its ground is not; it changes only when the ground has changed clearly. */
static void draw_flipping(struct sm_sim_field *field, struct sm_sim_picture *picture, int32_t left_px,
                          int32_t top_px)
{
    const struct sm_caption *caption = &field->stamp.caption;
    for (size_t i = 0; i < caption->n_glyphs; i++) {
        const struct sm_caption_glyph *glyph = &caption->glyph[i];
        int32_t from = i == 0 ? 0 : (int32_t)lround(glyph->cell_left_px);
        int32_t to = i + 1 == caption->n_glyphs ? caption->width_px : (int32_t)lround(glyph->cell_right_px);
        struct sm_sim_box cell = {left_px + from, top_px + (int32_t)caption->top_px, left_px + to,
                                  top_px + (int32_t)caption->baseline_px};
        double level = mean_luma(picture, cell);
        bool *is_dark = &field->is_dark[i % 64];
        *is_dark = level > (*is_dark ? 105 : 125);
        sm_sim__stamp_blend(*is_dark ? &field->dark : &field->stamp, picture, left_px, top_px, from, to);
    }
}

static void draw_field(struct sm_sim_field *field, struct sm_sim_picture *picture)
{
    int32_t left_px = 0, top_px = 0;
    sm_sim__field_corner(field, &field->stamp, &left_px, &top_px);
    if (field->dark.y) {
        draw_flipping(field, picture, left_px, top_px);
    } else {
        sm_sim__stamp_blend(&field->stamp, picture, left_px, top_px, 0, field->stamp.caption.width_px);
    }
}

static void draw_boxes(const struct sm_sim_overlay *overlay, struct sm_sim_picture *picture)
{
    for (size_t i = 0; i < overlay->n_boxes; i++) {
        if (overlay->box[i].right_px > overlay->box[i].left_px) {
            sm_sim__fill_box(picture, overlay->box[i], overlay->opts->overlay.box_colour,
                             overlay->opts->overlay.ground_alpha);
        }
    }
}

/* ---- pages and sentences
 * ------------------------------------------------------------------------------------- */

static double line_pitch_px(const struct sm_sim_opts *opts)
{
    return opts->overlay.digit_px * opts->overlay.other_scale * 1.9 + 4;
}

static enum sm_status set_lines(struct sm_sim_overlay *overlay, const char *const *text, size_t n,
                                double middle, struct sm_error *err)
{
    const struct sm_sim_opts *opts = overlay->opts;
    double pitch_px = line_pitch_px(opts);
    enum sm_status status = SM_OK;
    overlay->n_lines = n;
    for (size_t i = 0; status == SM_OK && i < n; i++) {
        overlay->line[i].kind = SM_SIM_FIELD_LINE;
        overlay->line[i].align = SM_SIM_CENTRE;
        overlay->line[i].anchor_x_px = (double)opts->video.width_px / 2;
        overlay->line[i].baseline_px = floor((double)opts->video.height_px * middle +
                                             pitch_px * ((double)i - ((double)n - 1) / 2 + 0.3));
        status = set_text(opts, &overlay->line[i], text[i], err);
    }
    return status;
}

/* Own pages: a title before the run, notes during it. Numbers of all kinds stand in them on purpose. */
static enum sm_status set_page(struct sm_sim_overlay *overlay, bool is_title, struct sm_error *err)
{
    const struct sm_sim_opts *opts = overlay->opts;
    struct sm_text text[5] = {0};
    sm_text_add(&text[0], is_title ? "PIPE SURVEY" : "NOTES");
    sm_text_addf(&text[1], "%s  %s to %s", opts->pipe.id, opts->pipe.from, opts->pipe.to);
    sm_text_addf(&text[2], "DN %d  length ", (int)lround(opts->pipe.diameter_mm));
    sm_text_add_fixed(&text[2], opts->pipe.length_m, 2);
    sm_text_add(&text[2], " m");
    sm_text_add(&text[3], is_title ? "2031-03-14  07:45" : "flow 2.5 l/s  depth 1.80 m");
    sm_text_add(&text[4], is_title ? "unit 3  tape 0117" : "weather 2, cleaned: yes");
    const char *line[5];
    bool has_failed = false;
    for (size_t i = 0; i < 5; i++) {
        line[i] = sm_text_str(&text[i]);
        has_failed = has_failed || text[i].failed;
    }
    enum sm_status status = has_failed ? SM_E_NOMEM : set_lines(overlay, line, 5, 0.5, err);
    for (size_t i = 0; i < 5; i++) {
        sm_text_release(&text[i]);
    }
    return status;
}

/* '#' in a sentence stands for the item's size, '@' for its clock place. */
static void add_sentence(const struct sm_sim_item *item, struct sm_text *out)
{
    for (const char *at = sm_sim__kind(item->kind)->sentence; *at; at++) {
        if (*at == '#') {
            sm_text_addf(out, "%d", (int)lround(isnan(item->diameter_mm) ? item->q1 : item->diameter_mm));
        } else if (*at == '@') {
            sm_text_addf(out, "%d", (int)item->clock_from_h);
        } else {
            sm_text_add_n(out, at, 1);
        }
    }
}

/* Whether a band across the picture would run into a field. */
static bool is_band_taken(const struct sm_sim_overlay *overlay, double top_px, double bottom_px)
{
    for (size_t i = 0; i < overlay->n_fields; i++) {
        if (overlay->field[i].room.top_px < bottom_px && overlay->field[i].room.bottom_px > top_px) {
            return true;
        }
    }
    return false;
}

/* Middle of n lines, as a share of the height, away from the fields where that can be had. */
static double sentence_middle(const struct sm_sim_overlay *overlay, size_t n)
{
    static const double wishes[] = {0.66, 0.5, 0.34, 0.75, 0.25};
    double height_px = (double)overlay->opts->video.height_px,
           half_px = line_pitch_px(overlay->opts) * (double)n * 0.6;
    for (size_t i = 0; i < sizeof wishes / sizeof wishes[0]; i++) {
        if (!is_band_taken(overlay, height_px * wishes[i] - half_px, height_px * wishes[i] + half_px)) {
            return wishes[i];
        }
    }
    return wishes[0];
}

/* A sentence too long for the picture goes on in the next line after a comma. @return the number of lines. */
static size_t break_sentence(char *text, size_t n_max, const char **line)
{
    size_t n = 0;
    line[n++] = text;
    for (char *at = strstr(text, ", "); at && n < n_max; at = strstr(at + 2, ", ")) {
        if (strlen(line[n - 1]) > 26) {
            at[1] = '\0';
            line[n++] = at + 2;
        }
    }
    return n;
}

static enum sm_status set_sentence(struct sm_sim_overlay *overlay, double time_s, struct sm_error *err)
{
    const struct sm_sim_stop *stop = sm_sim__path_stop_at(overlay->path, time_s);
    overlay->n_lines = 0;
    if (!stop || time_s < stop->start_s + 1 ||
        time_s >= stop->start_s + 1 + overlay->opts->overlay.sentence_s) {
        return SM_OK;
    }
    struct sm_text text = {0};
    add_sentence(&overlay->scenario->item[stop->item_idx], &text);
    enum sm_status status = text.failed ? SM_E_NOMEM : SM_OK;
    if (status == SM_OK && text.data) {
        const char *line[3];
        size_t n = break_sentence(text.data, 3, line);
        status = set_lines(overlay, line, n, sentence_middle(overlay, n), err);
    }
    sm_text_release(&text);
    return status;
}

static void draw_lines(struct sm_sim_overlay *overlay, struct sm_sim_picture *picture)
{
    for (size_t i = 0; i < overlay->n_lines; i++) {
        draw_field(&overlay->line[i], picture);
    }
}

/* ---- measuring -------------------------------------------------------------------------------------------
 */

/* The stamps of a counter text, from the two texts kept. @return in idx which it is. */
static enum sm_status measure_text(struct sm_sim_overlay *overlay, const char *text, size_t *idx,
                                   struct sm_error *err)
{
    for (size_t i = 0; i < 2; i++) {
        if (overlay->measured[i].stamp.y && strcmp(sm_text_str(&overlay->measured[i].text), text) == 0) {
            *idx = overlay->last_measured = i;
            return SM_OK;
        }
    }
    const struct sm_sim_overlay_opts *opts = &overlay->opts->overlay;
    size_t place = 1 - overlay->last_measured;
    struct sm_caption_style style = sm_sim__overlay_style(overlay->opts, SM_SIM_FIELD_COUNTER);
    enum sm_status status =
        sm_sim__stamp_make(&overlay->measured[place].stamp, &style, text, opts->opacity, err);
    if (status == SM_OK && opts->is_flipping) {
        style = flipped(style);
        status = sm_sim__stamp_make(&overlay->measured[place].dark, &style, text, opts->opacity, err);
    }
    sm_text_clear(&overlay->measured[place].text);
    sm_text_add(&overlay->measured[place].text, text);
    *idx = overlay->last_measured = place;
    return status == SM_OK && overlay->measured[place].text.failed ? SM_E_NOMEM : status;
}

static bool is_digit(uint32_t codepoint)
{
    return codepoint >= '0' && codepoint <= '9';
}

/* One digit, in whichever colour it stands there. */
static struct sm_sim_match match_glyph(const struct sm_sim_overlay *overlay, size_t measured_idx,
                                       size_t glyph_idx, const uint8_t *luma, ptrdiff_t stride)
{
    const struct sm_sim_stamp *stamps[2] = {&overlay->measured[measured_idx].stamp,
                                            &overlay->measured[measured_idx].dark};
    struct sm_sim_match best = {0};
    for (size_t i = 0; i < 2 && stamps[i]->y; i++) {
        int32_t left_px = 0, top_px = 0;
        sm_sim__field_corner(&overlay->field[0], stamps[i], &left_px, &top_px);
        struct sm_sim_match match =
            sm_sim__stamp_match(stamps[i], glyph_idx, luma, stride, (int32_t)overlay->opts->video.width_px,
                                (int32_t)overlay->opts->video.height_px, left_px, top_px);
        if (match.likeness >= best.likeness) {
            best = match;
        }
    }
    return best;
}

enum sm_status sm_sim__overlay_match(struct sm_sim_overlay *overlay, const char *text, const char *other,
                                     const uint8_t *luma, ptrdiff_t stride, struct sm_sim_match *out,
                                     struct sm_error *err)
{
    size_t idx = 0;
    enum sm_status status = measure_text(overlay, text, &idx, err);
    if (status != SM_OK) {
        return status;
    }
    const struct sm_caption *caption = &overlay->measured[idx].stamp.caption;
    *out = (struct sm_sim_match){1, 255};
    for (size_t i = 0; i < caption->n_glyphs; i++) {
        bool is_same = other && text[caption->glyph[i].offset_bytes] == other[caption->glyph[i].offset_bytes];
        if (is_digit(caption->glyph[i].codepoint) && !is_same) {
            struct sm_sim_match match = match_glyph(overlay, idx, i, luma, stride);
            out->likeness = fmin(out->likeness, match.likeness);
            out->contrast = fmin(out->contrast, match.contrast);
        }
    }
    return SM_OK;
}

/* ---- a frame
 * ------------------------------------------------------------------------------------------------- */

static enum sm_status note_counter(struct sm_sim_overlay *overlay, bool is_running, double time_s,
                                   struct sm_sim_shown *shown)
{
    const struct sm_sim_field *counter = &overlay->field[0];
    const struct sm_caption *caption = &counter->stamp.caption;
    int32_t left_px = 0, top_px = 0;
    sm_text_add(&shown->text, sm_text_str(&counter->text));
    if (is_running) {
        sm_sim__counter_reading(sm_sim__counter_counts(overlay->opts, overlay->path, time_s),
                                overlay->opts->counter.decimals, &shown->reading);
    }
    sm_sim__field_corner(counter, &counter->stamp, &left_px, &top_px);
    shown->box = (struct sm_sim_box){
        left_px + (int32_t)floor(caption->text_left_px), top_px + (int32_t)floor(caption->top_px),
        left_px + (int32_t)ceil(caption->text_right_px), top_px + (int32_t)ceil(caption->baseline_px)};
    return shown->text.failed || shown->reading.failed ? SM_E_NOMEM : SM_OK;
}

static enum sm_status draw_run(struct sm_sim_overlay *overlay, double time_s, bool has_counter,
                               struct sm_sim_picture *picture, struct sm_sim_shown *shown,
                               struct sm_error *err)
{
    enum sm_status status = SM_OK;
    bool is_running = time_s >= overlay->path->run_start_s + overlay->opts->overlay.not_running_s;
    draw_boxes(overlay, picture);
    for (size_t i = 0; status == SM_OK && i < overlay->n_fields; i++) {
        struct sm_sim_field *field = &overlay->field[i];
        if (field->kind == SM_SIM_FIELD_COUNTER && !has_counter) {
            continue;
        }
        struct sm_text text = {0};
        if (field->kind == SM_SIM_FIELD_COUNTER && !is_running) {
            sm_sim__counter_idle_text(&overlay->opts->counter, &text);
        } else {
            sm_sim__field_text(overlay->opts, overlay->path, field->kind, time_s, &text);
        }
        status = text.failed ? SM_E_NOMEM : set_text(overlay->opts, field, sm_text_str(&text), err);
        sm_text_release(&text);
        if (status == SM_OK) {
            draw_field(field, picture);
        }
    }
    return status == SM_OK && has_counter ? note_counter(overlay, is_running, time_s, shown) : status;
}

enum sm_status sm_sim__overlay_draw(struct sm_sim_overlay *overlay, double time_s,
                                    struct sm_sim_picture *picture, struct sm_sim_shown *shown,
                                    struct sm_error *err)
{
    const struct sm_sim_overlay_opts *opts = &overlay->opts->overlay;
    struct sm_sim_box whole = {0, 0, picture->width_px, picture->height_px};
    sm_text_clear(&shown->text);
    sm_text_clear(&shown->reading);
    shown->box = (struct sm_sim_box){0};
    if (time_s < opts->black_s) {
        sm_sim__fill_box(picture, whole, 0, 1);
        return SM_OK;
    }
    bool is_title = time_s < overlay->path->run_start_s, is_page = is_within(overlay->page, time_s);
    if (!is_title && is_within(overlay->gap, time_s)) {
        return SM_OK;
    }
    enum sm_status status = SM_OK;
    if (is_title) {
        sm_sim__fill_box(picture, whole, 0x101830, 1);
    } else {
        status = draw_run(overlay, time_s, !is_page, picture, shown, err);
    }
    if (status == SM_OK) {
        status = is_title || is_page ? set_page(overlay, is_title, err) : set_sentence(overlay, time_s, err);
    }
    if (status == SM_OK) {
        draw_lines(overlay, picture);
    }
    return status;
}

/* ---- life
 * ---------------------------------------------------------------------------------------------------- */

enum sm_status sm_sim__overlay_new(struct sm_sim_overlay **out, const struct sm_sim_opts *opts,
                                   const struct sm_sim_scenario *scenario, const struct sm_sim_path *path,
                                   struct sm_error *err)
{
    struct sm_sim_overlay *overlay = sm_calloc(1, sizeof *overlay);
    if (!overlay) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for the overlay");
    }
    overlay->opts = opts;
    overlay->scenario = scenario;
    overlay->path = path;
    struct sm_test_random random = sm_sim__stream(opts->seed, SM_SIM_STREAM_OVERLAY);
    plan_windows(overlay->gap, opts->overlay.n_gaps, opts->overlay.gap_s, path, &random);
    plan_windows(overlay->page, opts->overlay.n_text_pages, 4, path, &random);
    enum sm_status status =
        sm_sim__layout(opts, overlay->field, &overlay->n_fields, overlay->box, &overlay->n_boxes, err);
    if (status != SM_OK) {
        sm_sim__overlay_free(&overlay);
        return status;
    }
    *out = overlay;
    return SM_OK;
}

void sm_sim__overlay_free(struct sm_sim_overlay **overlay)
{
    if (*overlay) {
        for (size_t i = 0; i < SM_SIM_MAX_FIELDS; i++) {
            sm_sim__field_release(&(*overlay)->field[i]);
        }
        for (size_t i = 0; i < MAX_LINES; i++) {
            sm_sim__field_release(&(*overlay)->line[i]);
        }
        for (size_t i = 0; i < 2; i++) {
            sm_text_release(&(*overlay)->measured[i].text);
            sm_sim__stamp_release(&(*overlay)->measured[i].stamp);
            sm_sim__stamp_release(&(*overlay)->measured[i].dark);
        }
        sm_free(*overlay);
        *overlay = NULL;
    }
}
