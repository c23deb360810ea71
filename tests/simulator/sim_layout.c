/*
 * sim_layout.c - what the fields say and where they stand. Layouts are recipes of wishes; a field goes to the
 * first wish where it does not run into another, and is left out when there is none. The counter is placed
 * first.
 */
#include "sim_overlay_internal.h"

#include <math.h>
#include <string.h>

/* ---- texts
 * --------------------------------------------------------------------------------------------------- */

/* Which of n ways of writing a field this survey uses. */
static int64_t way(const struct sm_sim_opts *opts, enum sm_sim_field_kind kind, int64_t n)
{
    struct sm_test_random random = sm_sim__stream(opts->seed * 31 + (int64_t)kind, SM_SIM_STREAM_OVERLAY);
    return sm_test_int(&random, 0, n - 1);
}

static void add_clock(struct sm_text *out, double of_day_s)
{
    int32_t whole_s = (int32_t)floor(of_day_s) % 86400;
    sm_text_addf(out, "%02d:%02d:%02d", whole_s / 3600, whole_s / 60 % 60, whole_s % 60);
}

static void add_elapsed(const struct sm_sim_opts *opts, double time_s, struct sm_text *out)
{
    switch (way(opts, SM_SIM_FIELD_ELAPSED, 3)) {
    case 0:
        add_clock(out, time_s);
        break;
    case 1:
        sm_text_addf(out, "%04d s", (int)floor(time_s));
        break;
    default:
        sm_text_addf(out, "%04d.%d", (int)floor(time_s), (int)(time_s * 10) % 10);
        break;
    }
}

static void add_nodes(const struct sm_sim_opts *opts, struct sm_text *out)
{
    static const char *const lead[] = {"From ", "", ""}, *const join[] = {" To ", " > ", " - "};
    int64_t which = way(opts, SM_SIM_FIELD_NODES, 3);
    sm_text_addf(out, "%s%s%s%s", lead[which], opts->pipe.from, join[which], opts->pipe.to);
}

static void add_diameter(const struct sm_sim_opts *opts, struct sm_text *out)
{
    if (opts->counter.unit == SM_SIM_FEET) {
        sm_text_addf(out, "%d in", (int)lround(opts->pipe.diameter_mm / 25.4));
        return;
    }
    bool is_first = way(opts, SM_SIM_FIELD_DIAMETER, 2) == 0;
    sm_text_addf(out, is_first ? "DN %d" : "%d mm", (int)lround(opts->pipe.diameter_mm));
}

/* A slow wandering that nobody could take for a constant. */
static double wander(double time_s, double phase)
{
    return sin(time_s / 11 + phase) + 0.4 * sin(time_s / 3.7 + 2 * phase);
}

static void add_second_distance(const struct sm_sim_opts *opts, const struct sm_sim_path *path, double time_s,
                                struct sm_text *out)
{
    double since_m = opts->motion.start_m;
    for (size_t i = 0; i < path->n_stops && path->stop[i].end_s <= time_s; i++) {
        since_m = path->stop[i].place_m;
    }
    double value =
        (sm_sim__path_at(path, time_s) - since_m) / (opts->counter.unit == SM_SIM_FEET ? SM_M_PER_FT : 1);
    sm_text_add(out, "S ");
    sm_text_add_fixed(out, fabs(value), (int)opts->counter.decimals);
    sm_text_add(out, opts->counter.unit == SM_SIM_FEET ? " ft" : " m");
}

static void add_date(const struct sm_sim_opts *opts, struct sm_text *out)
{
    static const char *const dates[] = {"14.03.2031", "03/14/31", "2031-03-14"};
    sm_text_add(out, dates[opts->counter.unit == SM_SIM_FEET ? 1 : 2 * way(opts, SM_SIM_FIELD_DATE, 2)]);
}

static void add_measured(const struct sm_sim_opts *opts, enum sm_sim_field_kind kind, double time_s,
                         struct sm_text *out)
{
    bool is_short = way(opts, kind, 2) == 0;
    if (kind == SM_SIM_FIELD_TEMPERATURE) {
        sm_text_add(out, is_short ? "" : "T:");
        sm_text_add_fixed(out, 11.4 + 0.4 * wander(time_s, 1), 1);
        sm_text_add(out, is_short ? " C" : "C");
    } else if (kind == SM_SIM_FIELD_INCLINATION) {
        sm_text_add(out, is_short ? "" : "I ");
        sm_text_add_fixed(out, 0.8 + 0.7 * wander(time_s, 2), 1);
        sm_text_add(out, "%");
    } else {
        sm_text_add(out, "P: ");
        sm_text_add_fixed(out, fmax(0, 0.02 * wander(time_s / 5, 3)), 2);
        sm_text_add(out, "PSI");
    }
}

static const char *material_word(enum sm_sim_material material)
{
    static const char *const words[] = {"clay", "concrete", "PVC", "cast iron", "liner"};
    return words[material];
}

void sm_sim__field_text(const struct sm_sim_opts *opts, const struct sm_sim_path *path,
                        enum sm_sim_field_kind kind, double time_s, struct sm_text *out)
{
    switch (kind) {
    case SM_SIM_FIELD_COUNTER:
        sm_sim__counter_text(&opts->counter, sm_sim__counter_counts(opts, path, time_s), out);
        break;
    case SM_SIM_FIELD_TIME:
        add_clock(out, opts->overlay.clock_start_s + time_s);
        break;
    case SM_SIM_FIELD_DATE:
        add_date(opts, out);
        break;
    case SM_SIM_FIELD_NODES:
        add_nodes(opts, out);
        break;
    case SM_SIM_FIELD_DIAMETER:
        add_diameter(opts, out);
        break;
    case SM_SIM_FIELD_TEMPERATURE:
    case SM_SIM_FIELD_INCLINATION:
    case SM_SIM_FIELD_PRESSURE:
        add_measured(opts, kind, time_s, out);
        break;
    case SM_SIM_FIELD_ELAPSED:
        add_elapsed(opts, time_s, out);
        break;
    case SM_SIM_FIELD_MATERIAL:
        sm_text_add(out, material_word(opts->pipe.material));
        break;
    case SM_SIM_FIELD_SECOND_DISTANCE:
        add_second_distance(opts, path, time_s, out);
        break;
    case SM_SIM_FIELD_LINE:
        break;
    }
}

void sm_sim__field_sample(const struct sm_sim_opts *opts, enum sm_sim_field_kind kind, struct sm_text *out)
{
    static const int64_t counts[] = {1, 10, 100, 1000};
    static double start_m = 0;
    struct sm_sim_path still = {.place_m = &start_m, .n = 1};
    switch (kind) {
    case SM_SIM_FIELD_COUNTER: {
        double per_m = opts->counter.unit == SM_SIM_FEET ? 1 / SM_M_PER_FT : 1;
        double most =
            fmax(fabs(opts->counter.set_to), 0) + (opts->pipe.length_m + 5) * opts->counter.scale * per_m;
        sm_sim__counter_text(&opts->counter, -(int64_t)(most * (double)counts[opts->counter.decimals]), out);
        break;
    }
    case SM_SIM_FIELD_SECOND_DISTANCE:
        sm_text_add(out, "S 00.");
        sm_text_add_fixed(out, 0, (int)opts->counter.decimals);
        sm_text_add(out, " ft");
        break;
    case SM_SIM_FIELD_INCLINATION:
        sm_text_add(out, "I -0.0%");
        break;
    case SM_SIM_FIELD_TIME:
    case SM_SIM_FIELD_DATE:
    case SM_SIM_FIELD_NODES:
    case SM_SIM_FIELD_DIAMETER:
    case SM_SIM_FIELD_TEMPERATURE:
    case SM_SIM_FIELD_PRESSURE:
    case SM_SIM_FIELD_ELAPSED:
    case SM_SIM_FIELD_MATERIAL:
    case SM_SIM_FIELD_LINE:
        sm_sim__field_text(opts, &still, kind, 0, out);
        break;
    }
}

/* ---- style
 * --------------------------------------------------------------------------------------------------- */

static struct sm_colour colour_of(int64_t rgb, double alpha)
{
    return (struct sm_colour){(uint8_t)(rgb >> 16 & 255), (uint8_t)(rgb >> 8 & 255), (uint8_t)(rgb & 255),
                              (uint8_t)lround(alpha * 255)};
}

struct sm_caption_style sm_sim__overlay_style(const struct sm_sim_opts *opts, enum sm_sim_field_kind kind)
{
    const struct sm_sim_overlay_opts *overlay = &opts->overlay;
    bool is_other = kind != SM_SIM_FIELD_COUNTER;
    struct sm_caption_style style = sm_caption_style_default();
    style.font = is_other && overlay->other_font[0] ? overlay->other_font : overlay->font;
    style.is_bold = overlay->is_bold;
    style.has_slashed_zero = overlay->has_slashed_zero;
    style.is_hard_edged = overlay->is_hard_edged;
    style.height_px = overlay->digit_px * (is_other ? overlay->other_scale : 1);
    style.x_stretch = overlay->stretch;
    style.letter_spacing_px = overlay->spacing_px;
    style.fill = colour_of(overlay->colour, 1);
    style.outline = colour_of(overlay->outline_colour, 1);
    style.outline_px = overlay->outline_px;
    style.shadow = colour_of(overlay->outline_colour, overlay->shadow_px > 0 ? 0.85 : 0);
    style.shadow_x_px = style.shadow_y_px = overlay->shadow_px;
    if (overlay->ground == SM_SIM_GROUND_TEXT) {
        style.box = colour_of(overlay->box_colour, overlay->ground_alpha);
        style.box_padding_px = ceil(overlay->digit_px / 6);
    }
    return style;
}

/* ---- places
 * -------------------------------------------------------------------------------------------------- */

struct planner {
    const struct sm_sim_opts *opts;
    struct sm_sim_field *field;
    size_t n_fields;
    double margin_px, line_px;
    struct sm_sim_stamp sample;
};

static bool overlaps(const struct sm_sim_box *a, const struct sm_sim_box *b)
{
    return a->left_px < b->right_px + 6 && b->left_px < a->right_px + 6 && a->top_px < b->bottom_px + 2 &&
           b->top_px < a->bottom_px + 2;
}

/* Where a sample of the size stands in a line (0 = nearest to the edge) of a place; indent_px moves it
 * inwards. */
static struct sm_sim_box room_at(const struct planner *planner, enum sm_sim_place place, int32_t line,
                                 double indent_px)
{
    const struct sm_sim_video_opts *video = &planner->opts->video;
    const struct sm_caption *caption = &planner->sample.caption;
    double width_px = caption->text_right_px - caption->text_left_px;
    int32_t side = (int32_t)place % 3;
    double left_px = planner->margin_px + indent_px;
    if (side == 1) {
        left_px = ((double)video->width_px - width_px) / 2 + indent_px;
    } else if (side == 2) {
        left_px = (double)video->width_px - planner->margin_px - width_px - indent_px;
    }
    double height_px = caption->baseline_px - caption->top_px,
           top_px = planner->margin_px + line * planner->line_px;
    if (place >= SM_SIM_BOTTOM_LEFT) {
        top_px = (double)video->height_px - planner->margin_px - height_px - line * planner->line_px;
    }
    return (struct sm_sim_box){(int32_t)lround(left_px), (int32_t)lround(top_px),
                               (int32_t)lround(left_px + width_px), (int32_t)lround(top_px + height_px)};
}

static bool is_free(const struct planner *planner, const struct sm_sim_box *room)
{
    const struct sm_sim_video_opts *video = &planner->opts->video;
    if (room->left_px < 2 || room->top_px < 2 || room->right_px > video->width_px - 2 ||
        room->bottom_px > video->height_px - 2) {
        return false;
    }
    for (size_t i = 0; i < planner->n_fields; i++) {
        if (overlaps(room, &planner->field[i].room)) {
            return false;
        }
    }
    return true;
}

static void put_field(struct planner *planner, enum sm_sim_field_kind kind, enum sm_sim_place place,
                      struct sm_sim_box room)
{
    enum sm_sim_align align = (enum sm_sim_align)((int32_t)place % 3);
    double anchor_px = align == SM_SIM_LEFT    ? room.left_px
                       : align == SM_SIM_RIGHT ? room.right_px
                                               : (room.left_px + room.right_px) / 2.0;
    planner->field[planner->n_fields++] = (struct sm_sim_field){
        .kind = kind, .align = align, .anchor_x_px = anchor_px, .baseline_px = room.bottom_px, .room = room};
}

static bool try_place(struct planner *planner, enum sm_sim_field_kind kind, enum sm_sim_place place,
                      int32_t line, double indent_px)
{
    struct sm_sim_box room = room_at(planner, place, line, indent_px);
    if (!is_free(planner, &room)) {
        return false;
    }
    put_field(planner, kind, place, room);
    return true;
}

/* Along a line of the top or bottom edge, left to right, in steps. */
static bool try_along(struct planner *planner, enum sm_sim_field_kind kind, bool is_top, int32_t line)
{
    enum sm_sim_place place = is_top ? SM_SIM_TOP_LEFT : SM_SIM_BOTTOM_LEFT;
    for (double indent_px = 0; indent_px < (double)planner->opts->video.width_px; indent_px += 8) {
        if (try_place(planner, kind, place, line, indent_px)) {
            return true;
        }
    }
    return false;
}

static bool try_stacked(struct planner *planner, enum sm_sim_field_kind kind, enum sm_sim_place place,
                        int32_t n_lines)
{
    for (int32_t line = 0; line < n_lines; line++) {
        if (try_place(planner, kind, place, line, 0)) {
            return true;
        }
    }
    return false;
}

static enum sm_sim_place opposite(enum sm_sim_place place)
{
    return (enum sm_sim_place)(5 - (int32_t)place);
}

/* A number in [0, n) that this field of this survey always gets. */
static int64_t lot(const struct sm_sim_opts *opts, enum sm_sim_field_kind kind, int64_t turn, int64_t n)
{
    struct sm_test_random random =
        sm_sim__stream(opts->seed * 131 + (int64_t)kind * 17 + turn, SM_SIM_STREAM_OVERLAY);
    return sm_test_int(&random, 0, n - 1);
}

/* Anywhere in the upper or lower third. */
static bool try_scattered(struct planner *planner, enum sm_sim_field_kind kind, int64_t turn)
{
    const struct sm_sim_opts *opts = planner->opts;
    return try_place(planner, kind, (enum sm_sim_place)lot(opts, kind, turn, 6),
                     (int32_t)lot(opts, kind, turn + 20, 4),
                     (double)lot(opts, kind, turn + 40, opts->video.width_px / 4));
}

static bool is_panel_of_counter(enum sm_sim_field_kind kind)
{
    return kind == SM_SIM_FIELD_INCLINATION || kind == SM_SIM_FIELD_TEMPERATURE ||
           kind == SM_SIM_FIELD_PRESSURE || kind == SM_SIM_FIELD_SECOND_DISTANCE;
}

static void place_other(struct planner *planner, enum sm_sim_field_kind kind)
{
    static const enum sm_sim_place corners[] = {SM_SIM_TOP_LEFT,     SM_SIM_TOP_RIGHT, SM_SIM_BOTTOM_LEFT,
                                                SM_SIM_BOTTOM_RIGHT, SM_SIM_TOP,       SM_SIM_BOTTOM};
    enum sm_sim_place place = planner->opts->overlay.place;
    bool is_top = place < SM_SIM_BOTTOM_LEFT, is_done = false;
    switch (planner->opts->overlay.layout) {
    case SM_SIM_CORNERS:
        for (size_t i = 0; i < 12 && !is_done; i++) {
            is_done = try_place(planner, kind, corners[(i + (size_t)kind) % 6], (int32_t)i / 6, 0);
        }
        break;
    case SM_SIM_TWO_LINES:
        for (int32_t i = 0; i < 3 && !is_done; i++) {
            is_done = try_along(planner, kind, (i + (int32_t)kind) % 2 == 0, i / 2);
        }
        break;
    case SM_SIM_PANELS:
        (void)try_stacked(planner, kind, is_panel_of_counter(kind) ? place : opposite(place), 4);
        break;
    case SM_SIM_COLUMN:
        (void)try_stacked(planner, kind, place, 7);
        break;
    case SM_SIM_ONE_LINE:
        (void)try_along(planner, kind, is_top, 0);
        break;
    case SM_SIM_SCATTERED:
        for (int64_t i = 0; i < 12 && !is_done; i++) {
            is_done = try_scattered(planner, kind, i);
        }
        break;
    case SM_SIM_ALONE:
        break;
    }
}

static bool is_wanted(const struct sm_sim_overlay_opts *overlay, enum sm_sim_field_kind kind)
{
    const bool wanted[SM_SIM_N_FIELD_KINDS] = {
        [SM_SIM_FIELD_TIME] = overlay->has_time,
        [SM_SIM_FIELD_DATE] = overlay->has_date,
        [SM_SIM_FIELD_NODES] = overlay->has_nodes,
        [SM_SIM_FIELD_DIAMETER] = overlay->has_diameter,
        [SM_SIM_FIELD_TEMPERATURE] = overlay->has_temperature,
        [SM_SIM_FIELD_INCLINATION] = overlay->has_inclination,
        [SM_SIM_FIELD_ELAPSED] = overlay->has_elapsed,
        [SM_SIM_FIELD_MATERIAL] = overlay->has_material,
        [SM_SIM_FIELD_SECOND_DISTANCE] = overlay->has_second_distance,
        [SM_SIM_FIELD_PRESSURE] = overlay->has_pressure,
    };
    return wanted[kind];
}

static enum sm_status draw_sample(struct planner *planner, enum sm_sim_field_kind kind, struct sm_error *err)
{
    struct sm_text text = {0};
    sm_sim__field_sample(planner->opts, kind, &text);
    struct sm_caption_style style = sm_sim__overlay_style(planner->opts, kind);
    enum sm_status status =
        text.failed ? SM_E_NOMEM : sm_sim__stamp_make(&planner->sample, &style, sm_text_str(&text), 1, err);
    sm_text_release(&text);
    return status;
}

/* The counter: at its place, in a line of its own choosing where others stack around it. */
static enum sm_status place_counter(struct planner *planner, struct sm_error *err)
{
    enum sm_status status = draw_sample(planner, SM_SIM_FIELD_COUNTER, err);
    if (status != SM_OK) {
        return status;
    }
    enum sm_sim_layout layout = planner->opts->overlay.layout;
    bool is_inside = layout == SM_SIM_COLUMN || layout == SM_SIM_SCATTERED;
    int32_t line = is_inside ? (int32_t)way(planner->opts, SM_SIM_FIELD_COUNTER, 3) : 0;
    double indent_px = layout == SM_SIM_SCATTERED ? (double)lot(planner->opts, SM_SIM_FIELD_COUNTER, 0,
                                                                planner->opts->video.width_px / 6)
                                                  : 0;
    struct sm_sim_box room = room_at(planner, planner->opts->overlay.place, line, indent_px);
    if (room.left_px < 0 || room.top_px < 0 || room.right_px > planner->opts->video.width_px) {
        return sm_error_set(err, SM_E_RANGE, "the counter does not fit the picture; make digit_px smaller");
    }
    put_field(planner, SM_SIM_FIELD_COUNTER, planner->opts->overlay.place, room);
    return SM_OK;
}

/* ---- grounds
 * ------------------------------------------------------------------------------------------------- */

/* One box for what stands in the upper half and one for the lower, per side for panels, per field for
 * corners. */
static size_t box_group(const struct planner *planner, const struct sm_sim_field *field, size_t idx)
{
    size_t half = field->room.top_px > planner->opts->video.height_px / 2 ? 1 : 0;
    if (planner->opts->overlay.ground == SM_SIM_GROUND_BAND) {
        return half;
    }
    return planner->opts->overlay.layout == SM_SIM_PANELS || planner->opts->overlay.layout == SM_SIM_COLUMN
               ? half * 3 + (size_t)field->align
               : idx;
}

static size_t make_boxes(const struct planner *planner, struct sm_sim_box *box)
{
    enum sm_sim_ground ground = planner->opts->overlay.ground;
    int32_t pad_px = (int32_t)ceil(planner->opts->overlay.digit_px / 4) + 2;
    if (ground != SM_SIM_GROUND_FIXED && ground != SM_SIM_GROUND_BAND) {
        return 0;
    }
    for (size_t i = 0; i < planner->n_fields; i++) {
        struct sm_sim_box room = planner->field[i].room;
        room = (struct sm_sim_box){room.left_px - pad_px, room.top_px - pad_px, room.right_px + pad_px,
                                   room.bottom_px + pad_px};
        if (ground == SM_SIM_GROUND_BAND) {
            room.left_px = 0;
            room.right_px = (int32_t)planner->opts->video.width_px;
        }
        sm_sim__box_add(&box[box_group(planner, &planner->field[i], i)], &room);
    }
    return SM_SIM_MAX_FIELDS;
}

enum sm_status sm_sim__layout(const struct sm_sim_opts *opts, struct sm_sim_field *field, size_t *n_fields,
                              struct sm_sim_box *box, size_t *n_boxes, struct sm_error *err)
{
    double margin_px =
        opts->overlay.margin_px > 0 ? opts->overlay.margin_px : 8 + (double)opts->video.height_px / 24;
    struct planner planner = {.opts = opts, .field = field, .margin_px = floor(margin_px)};
    planner.line_px = ceil(opts->overlay.digit_px * fmax(1, opts->overlay.other_scale) * 1.75 + 4);
    enum sm_status status = place_counter(&planner, err);
    for (int32_t kind = SM_SIM_FIELD_COUNTER + 1; status == SM_OK && kind < SM_SIM_FIELD_LINE; kind++) {
        if (is_wanted(&opts->overlay, (enum sm_sim_field_kind)kind)) {
            status = draw_sample(&planner, (enum sm_sim_field_kind)kind, err);
            if (status == SM_OK) {
                place_other(&planner, (enum sm_sim_field_kind)kind);
            }
        }
    }
    sm_sim__stamp_release(&planner.sample);
    *n_fields = planner.n_fields;
    *n_boxes = make_boxes(&planner, box);
    return status;
}
