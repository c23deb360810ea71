/* One page a repair: where, with what, how to set the rod, what to do in which order, and what to do when in
 * doubt. */
#include "crew_page.h"
#include "work.h"

#include <math.h>

#define NUMBER_SIZE                                                                                          \
    42.0 /* read at arm's length; shrinks to no less than the least for long feet and inches */
#define LEAST_NUMBER_SIZE 36.0
#define TEXT_SIZE 9.0
#define MOST_ON_THE_WAY 6
#define STILL_WIDTH 150.0
#define STILL_HEIGHT 112.0 /* on the shorter Letter page a little less */
#define STILL_HEIGHT_LETTER 98.0

static const struct sm_stroke frame = {SM_INK_LINE, 1.6, SM_DASH_NONE};

static void add_head(struct sm_crew *crew, size_t repair_idx)
{
    const struct sm_schedule *s = crew->s;
    const struct sm_repair *repair = &s->plan->repair[repair_idx];
    double left = sm_schedule__crew_left(crew), right = sm_schedule__crew_right(crew);
    struct sm_text words = {0};
    sm_schedule__crew_line(crew, (struct sm_point){left, crew->y + 34},
                           (struct sm_type){42, true, SM_ANCHOR_START, SM_INK_LINE}, 150, repair->id);
    sm_text_addf(&words, "Segment %s", s->segment->id ? s->segment->id : "");
    sm_schedule__crew_line(crew, (struct sm_point){right, crew->y + 12},
                           (struct sm_type){13, true, SM_ANCHOR_END, SM_INK_LINE}, 350, sm_text_str(&words));
    sm_schedule__clear(&words, &crew->has_failed);
    sm_text_addf(&words, "work from %s, repair %zu of %zu", sm_schedule__crew_end(s), repair_idx + 1,
                 s->plan->n_repairs);
    sm_schedule__crew_line(crew, (struct sm_point){right, crew->y + 29},
                           (struct sm_type){11, false, SM_ANCHOR_END, SM_INK_LINE}, 350, sm_text_str(&words));
    crew->y += 37;
    sm_schedule__line(&crew->pen, left, crew->y, right, crew->y,
                      (struct sm_stroke){SM_INK_LINE, 3, SM_DASH_NONE});
    crew->y += 6;
    sm_schedule__drop(&words, &crew->has_failed);
}

/* A framed warning when the place itself is in doubt. */
static void add_doubt(struct sm_crew *crew, const struct sm_repair *repair)
{
    if (!sm_schedule__repair_is_doubtful(crew->s, repair)) {
        return;
    }
    double left = sm_schedule__crew_left(crew), width = sm_schedule__crew_right(crew) - left;
    struct sm_text words = {0};
    sm_text_add(&words, "PLACE IN DOUBT. ");
    for (size_t i = 0; i < repair->n_covers; i++) {
        const struct sm_observation *observation =
            sm_schedule__observation(crew->s, (size_t)repair->covers[i]);
        if (observation && sm_schedule__is_doubtful(observation)) {
            sm_text_addf(&words, "%s: ", observation->id);
            sm_schedule__add_flag_words(&words, observation->flags, ", ");
            sm_text_add(&words, ". ");
        }
    }
    sm_text_add(&words, "See the defect with the camera before resin is mixed.");
    struct sm_rect at = {left + 34, crew->y + 6, width - 44, 0};
    double height = sm_schedule__crew_paragraph(crew, at, 11, SM_WEIGHT_BOLD, true, sm_text_str(&words));
    sm_schedule__rect(&crew->pen, (struct sm_rect){left, crew->y, width, height + 12}, SM_INK_NONE, frame);
    crew->pen.text(&crew->pen, (struct sm_point){left + 17, crew->y + height / 2 + 15},
                   (struct sm_type){26, true, SM_ANCHOR_MIDDLE, SM_INK_LINE}, "!");
    crew->y += height + 18;
    sm_schedule__drop(&words, &crew->has_failed);
}

/* A label and its number, large. */
static void add_number(struct sm_crew *crew, double x, double width, const char *label, double length_m)
{
    struct sm_text words = {0};
    sm_schedule__add_length(&words, crew->s, length_m);
    struct sm_type type = {NUMBER_SIZE, true, SM_ANCHOR_START, SM_INK_LINE};
    double needed = crew->pen.text_width(&crew->pen, type, sm_text_str(&words));
    type.size = needed > width ? fmax(NUMBER_SIZE * width / needed, LEAST_NUMBER_SIZE) : NUMBER_SIZE;
    sm_schedule__crew_line(crew, (struct sm_point){x, crew->y + 9},
                           (struct sm_type){9.5, true, SM_ANCHOR_START, SM_INK_LINE}, width, label);
    crew->pen.text(&crew->pen, (struct sm_point){x, crew->y + 13 + NUMBER_SIZE * 0.8}, type,
                   sm_text_str(&words));
    sm_schedule__drop(&words, &crew->has_failed);
}

static void add_kit_line(struct sm_crew *crew, const struct sm_repair *repair, double left, double width)
{
    const struct sm_schedule *s = crew->s;
    const struct sm_kit *kit = sm_schedule__kit(s, repair);
    struct sm_text words = {0};
    sm_text_addf(&words, "%s, ", kit ? kit->name : "kit not known");
    sm_schedule__add_liner_length(&words, s, repair->length_um);
    sm_text_add(&words, ", pipe ");
    sm_schedule__add_diameter(&words, s, s->segment->diameter_mm);
    sm_schedule__crew_line(crew, (struct sm_point){left, crew->y + 12},
                           (struct sm_type){13, true, SM_ANCHOR_START, SM_INK_LINE}, width * 0.55,
                           sm_text_str(&words));
    sm_schedule__clear(&words, &crew->has_failed);
    if (s->sheet->access.enters_at_to) {
        sm_text_addf(&words, "from the edge at %s: ", sm_schedule__crew_end(s));
        sm_schedule__add_length(&words, s, sm_schedule__from_crew_m(s, sm_schedule__repair_stop_m(repair)));
        sm_schedule__crew_line(crew, (struct sm_point){left + width, crew->y + 12},
                               (struct sm_type){12, true, SM_ANCHOR_END, SM_INK_LINE}, width * 0.43,
                               sm_text_str(&words));
    }
    sm_schedule__drop(&words, &crew->has_failed);
}

static void add_numbers(struct sm_crew *crew, const struct sm_repair *repair)
{
    const struct sm_schedule *s = crew->s;
    double left = sm_schedule__crew_left(crew), width = sm_schedule__crew_right(crew) - left,
           half = width / 2;
    struct sm_text words = {0};
    bool is_rim = s->sheet->access.reference == SM_REFERENCE_RIM;
    add_number(crew, left, half - 12,
               is_rim ? "MARK, packer's middle to the rim" : "MARK, packer's middle to the pipe edge",
               repair->mark_m);
    sm_text_addf(&words, "STOP, from the pipe edge at %s",
                 s->segment->from ? s->segment->from : "the near end");
    add_number(crew, left + half + 6, half - 6, sm_text_str(&words), sm_schedule__repair_stop_m(repair));
    sm_schedule__line(&crew->pen, left + half - 4, crew->y + 2, left + half - 4, crew->y + 10 + NUMBER_SIZE,
                      (struct sm_stroke){SM_INK_LINE, 0.8, SM_DASH_NONE});
    crew->y += 12 + NUMBER_SIZE;
    add_kit_line(crew, repair, left, width);
    crew->y += 17;
    sm_schedule__crew_materials(crew, repair);
    sm_schedule__drop(&words, &crew->has_failed);
}

/* What it is about: the observation with a still, else the first. */
static size_t shown_observation(const struct sm_crew *crew, const struct sm_repair *repair)
{
    for (size_t i = 0; i < repair->n_covers; i++) {
        size_t idx = (size_t)repair->covers[i];
        if (crew->s->still && sm_schedule__observation(crew->s, idx) && crew->s->still[idx]) {
            return idx;
        }
    }
    return repair->n_covers ? (size_t)repair->covers[0] : 0;
}

/* ---- how sure ---- */

static void add_kept_clear(struct sm_text *words, const struct sm_schedule *s, const struct sm_repair *repair)
{
    const struct sm_observation *nearest = NULL;
    double least_m = HUGE_VAL, stop_m = sm_schedule__repair_stop_m(repair);
    for (size_t i = 0; i < s->alignment->n_observations; i++) {
        const struct sm_observation *observation = &s->alignment->observation[i];
        double off_m = fabs(observation->distance_m - stop_m);
        if (sm_schedule__is_opening(observation) && isfinite(off_m) && off_m < least_m) {
            nearest = observation;
            least_m = off_m;
        }
    }
    if (nearest && repair->n_reopens == 0) {
        sm_text_addf(words, " Keep clear of %s at ", nearest->id);
        sm_schedule__add_length(words, s, nearest->distance_m);
        sm_text_add(words, ".");
    }
}

/* @return height used. */
static double add_how_sure(struct sm_crew *crew, const struct sm_repair *repair, struct sm_rect room)
{
    const struct sm_schedule *s = crew->s;
    struct sm_text words = {0};
    sm_text_add(&words, "How sure: \u00b1 ");
    sm_schedule__add_error(&words, s, sm_schedule__repair_error_m(s, repair));
    sm_text_add(&words, "; the liner may sit ");
    sm_schedule__add_allowance(&words, s, repair->slack_m);
    sm_text_add(&words, " off its stop. If the camera shows the defect elsewhere, the camera is right: move "
                        "the mark by as much, write it down.");
    add_kept_clear(&words, s, repair);
    sm_text_add(&words, " More than half a liner off: stop and ask, it may be another one.");
    struct sm_rect at = {room.x + 8, room.y + 5, room.width - 16, 0};
    double height =
        sm_schedule__crew_paragraph(crew, at, TEXT_SIZE, SM_WEIGHT_PLAIN, true, sm_text_str(&words));
    sm_schedule__rect(&crew->pen, (struct sm_rect){room.x, room.y, room.width, height + 10}, SM_INK_NONE,
                      (struct sm_stroke){SM_INK_LINE, 1, SM_DASH_NONE});
    sm_schedule__drop(&words, &crew->has_failed);
    return height + 10;
}

/* Clock and words. @return height used. */
static double add_about(struct sm_crew *crew, const struct sm_observation *observation, struct sm_rect room)
{
    const struct sm_schedule *s = crew->s;
    double radius = 24;
    char shown[260];
    struct sm_text words = {0};
    sm_text_addf(&words, "%s ", observation->id);
    sm_schedule__add_what(&words, s, observation);
    sm_strcopy(shown, sizeof shown, sm_text_str(&words));
    sm_schedule__clear(&words, &crew->has_failed);
    sm_text_addf(&words, "%s.", shown);
    if (observation->clock_from_h) {
        sm_text_addf(&words, " Clock as seen from %s%s", s->segment->from ? s->segment->from : "the near end",
                     s->sheet->access.enters_at_to ? "; from your end left and right change places." : ".");
    }
    sm_schedule__crew_clock(crew, (struct sm_point){room.x + radius + 7, room.y + radius + 7}, radius,
                            observation);
    struct sm_rect at = {room.x + 2 * radius + 18, room.y, room.width - 2 * radius - 18, 0};
    double height =
        sm_schedule__crew_paragraph(crew, at, TEXT_SIZE, SM_WEIGHT_PLAIN, true, sm_text_str(&words));
    sm_schedule__drop(&words, &crew->has_failed);
    return fmax(height, 2 * radius + 14);
}

/* Still, what it shows, and how sure it all is, side by side. */
static void add_picture(struct sm_crew *crew, const struct sm_repair *repair)
{
    double left = sm_schedule__crew_left(crew), right = sm_schedule__crew_right(crew), top = crew->y,
           low = top;
    size_t idx = shown_observation(crew, repair);
    const struct sm_observation *observation = sm_schedule__observation(crew->s, idx);
    double height = crew->s->paper == SM_PAPER_LETTER ? STILL_HEIGHT_LETTER : STILL_HEIGHT;
    struct sm_still still;
    double x = left;
    if (observation && sm_schedule__still_read(&still, crew->s, idx, &crew->has_failed)) {
        struct sm_rect taken =
            sm_schedule__crew_still(crew, (struct sm_rect){left, top, STILL_WIDTH, height}, &still);
        sm_schedule__still_release(&still);
        low = top + taken.height;
        x += taken.width + 10;
    }
    double half = (right - x) / 2;
    if (observation) {
        low = fmax(low, top + add_about(crew, observation, (struct sm_rect){x, top, half - 8, 0}));
    }
    low = fmax(low, top + add_how_sure(crew, repair, (struct sm_rect){x + half, top, half, 0}));
    crew->y = low + 7;
}

/* ---- before and on the way ---- */

static void add_boxed_item(struct sm_crew *crew, const char *words)
{
    double left = sm_schedule__crew_left(crew);
    struct sm_rect at = {left + 18, 0, sm_schedule__crew_right(crew) - left - 18, 0};
    double height =
        fmax(sm_schedule__crew_paragraph(crew, at, TEXT_SIZE, SM_WEIGHT_BOLD, false, words), 13) + 3;
    sm_schedule__crew_need(crew, height);
    at.y = crew->y;
    sm_schedule__crew_box(crew, left, crew->y + TEXT_SIZE, 11);
    sm_schedule__crew_paragraph(crew, at, TEXT_SIZE, SM_WEIGHT_BOLD, true, words);
    crew->y += height;
}

static void add_passage(struct sm_text *words, const struct sm_schedule *s, const struct sm_passage *passage)
{
    const struct sm_observation *observation = sm_schedule__observation(s, (size_t)passage->observation_idx);
    sm_text_addf(words, "%s%s, %s at ", words->length ? "; " : "To get past on the way: ", passage->what,
                 observation ? observation->id : "?");
    sm_schedule__add_length(words, s, passage->way_m);
    sm_text_add(words, passage->is_doubtful ? " (may not pass: ask)" : "");
}

/* What the packer has to get past on its way in, as it meets it; of very many the first and how many more. */
static void add_the_way(struct sm_text *words, struct sm_crew *crew, const struct sm_repair *repair)
{
    const struct sm_schedule *s = crew->s;
    struct sm_arena *arena = NULL;
    const struct sm_passage *passage = NULL;
    size_t n = 0;
    crew->has_failed |= sm_arena_new(&arena) != SM_OK;
    n = arena ? sm_schedule__passages(&passage, arena, s, repair, &crew->has_failed) : 0;
    for (size_t i = 0; i < n && i < MOST_ON_THE_WAY; i++) {
        add_passage(words, s, &passage[i]);
    }
    if (n > MOST_ON_THE_WAY) {
        sm_text_addf(words, "; and %zu more after these", n - MOST_ON_THE_WAY);
    }
    if (n) {
        sm_text_add(words, s->sheet->access.enters_at_to ? " (from your end)." : ".");
    }
    sm_arena_free(&arena);
}

/* One item, or two side by side where both are short: a page must hold all that belongs to it. @return how many. */
static size_t add_first_items(struct sm_crew *crew, const char *const *items, size_t n)
{
    static const struct sm_type type = {TEXT_SIZE, true, SM_ANCHOR_START, SM_INK_LINE};
    double left = sm_schedule__crew_left(crew), half = (sm_schedule__crew_right(crew) - left) / 2;
    struct sm_text words[2] = {{0}, {0}};
    bool is_short = n >= 2;
    for (size_t i = 0; i < 2 && i < n; i++) {
        sm_text_addf(&words[i], "First: %s", items[i]);
        is_short = is_short && crew->pen.text_width(&crew->pen, type, sm_text_str(&words[i])) < half - 26;
    }
    if (is_short) {
        sm_schedule__crew_need(crew, 16);
        sm_schedule__crew_box(crew, left + half, crew->y + TEXT_SIZE, 11);
        crew->pen.text(&crew->pen, (struct sm_point){left + half + 18, crew->y + TEXT_SIZE}, type, sm_text_str(&words[1]));
    }
    add_boxed_item(crew, sm_text_str(&words[0]));
    sm_schedule__drop(&words[0], &crew->has_failed);
    sm_schedule__drop(&words[1], &crew->has_failed);
    return is_short ? 2 : 1;
}

static void add_preparation(struct sm_crew *crew, const struct sm_repair *repair)
{
    struct sm_text words = {0};
    add_the_way(&words, crew, repair);
    crew->y += repair->n_prepare || words.length ? 6 : 0;
    for (size_t i = 0; i < repair->n_prepare;) {
        i += add_first_items(crew, repair->prepare + i, repair->n_prepare - i);
    }
    if (words.length) {
        add_boxed_item(crew, sm_text_str(&words));
    }
    sm_schedule__drop(&words, &crew->has_failed);
}

void sm_schedule__crew_repair_page(struct sm_crew *crew, size_t repair_idx)
{
    const struct sm_repair *repair = &crew->s->plan->repair[repair_idx];
    double left = sm_schedule__crew_left(crew), width = sm_schedule__crew_right(crew) - left;
    sm_schedule__crew_new_page(crew, repair->id);
    sm_schedule__clear(&crew->head, &crew->has_failed);
    sm_text_addf(&crew->head, "Crew sheet %s, %s", crew->s->segment->id ? crew->s->segment->id : "",
                 repair->id);
    add_head(crew, repair_idx);
    add_doubt(crew, repair);
    add_numbers(crew, repair);
    add_picture(crew, repair);
    sm_schedule__crew_move(crew, left, crew->y);
    double height = sm_schedule__crew_rod_drawing(crew, repair, width);
    sm_schedule__crew_move_back(crew);
    crew->y += height;
    add_preparation(crew, repair);
    sm_schedule__crew_checklist(crew, repair);
}
