/* One page a repair: where, with what, how to set the rod, what to do in which order, and what to do when in
 * doubt. */
#include "crew_page.h"

#include <math.h>

#define NUMBER_SIZE                                                                                          \
    42.0 /* read at arm's length; shrinks to no less than the least for long feet and inches */
#define LEAST_NUMBER_SIZE 36.0
#define TEXT_SIZE 9.6

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
    sm_text_clear(&words);
    sm_text_addf(&words, "work from %s, repair %zu of %zu", sm_schedule__crew_end(s), repair_idx + 1,
                 s->plan->n_repairs);
    sm_schedule__crew_line(crew, (struct sm_point){right, crew->y + 29},
                           (struct sm_type){11, false, SM_ANCHOR_END, SM_INK_LINE}, 350, sm_text_str(&words));
    crew->y += 42;
    sm_schedule__line(&crew->pen, left, crew->y, right, crew->y,
                      (struct sm_stroke){SM_INK_LINE, 3, SM_DASH_NONE});
    crew->y += 8;
    crew->head.failed |= words.failed;
    sm_text_release(&words);
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
    crew->y += height + 20;
    crew->head.failed |= words.failed;
    sm_text_release(&words);
}

static void add_number(struct sm_crew *crew, double width, const char *label, double length_m, double size)
{
    double left = sm_schedule__crew_left(crew);
    struct sm_text words = {0};
    sm_schedule__add_length(&words, crew->s, length_m);
    struct sm_type type = {size, true, SM_ANCHOR_START, SM_INK_LINE};
    double needed = crew->pen.text_width(&crew->pen, type, sm_text_str(&words));
    if (needed > width && size > LEAST_NUMBER_SIZE) {
        type.size = fmax(size * width / needed, LEAST_NUMBER_SIZE);
    }
    sm_schedule__crew_line(crew, (struct sm_point){left, crew->y + 9},
                           (struct sm_type){9.5, true, SM_ANCHOR_START, SM_INK_LINE}, width, label);
    crew->pen.text(&crew->pen, (struct sm_point){left, crew->y + 13 + size * 0.82}, type,
                   sm_text_str(&words));
    crew->y += 13 + size * 1.02;
    crew->head.failed |= words.failed;
    sm_text_release(&words);
}

static void add_numbers(struct sm_crew *crew, const struct sm_repair *repair, double width)
{
    const struct sm_schedule *s = crew->s;
    const struct sm_kit *kit = sm_schedule__kit(s, repair);
    double stop_m = sm_schedule__repair_stop_m(repair);
    struct sm_text words = {0};
    sm_text_addf(&words, "MARK on the rod, from the packer's middle to the %s",
                 s->sheet->access.reference == SM_REFERENCE_RIM ? "rim" : "pipe edge");
    add_number(crew, width, sm_text_str(&words), repair->mark_m, NUMBER_SIZE);
    sm_text_clear(&words);
    sm_text_addf(&words, "STOP, from the pipe edge at %s",
                 s->segment->from ? s->segment->from : "the near end");
    add_number(crew, width, sm_text_str(&words), stop_m, NUMBER_SIZE);
    sm_text_clear(&words);
    if (s->sheet->access.enters_at_to) {
        sm_text_addf(&words, "from the pipe edge at %s, where you work", sm_schedule__crew_end(s));
        add_number(crew, width, sm_text_str(&words), sm_schedule__from_crew_m(s, stop_m), 20);
        sm_text_clear(&words);
    }
    sm_text_addf(&words, "%s, ", kit ? kit->name : "kit not known");
    sm_schedule__add_liner_length(&words, s, repair->length_um);
    sm_text_add(&words, ", pipe ");
    sm_schedule__add_diameter(&words, s, s->segment->diameter_mm);
    struct sm_rect at = {sm_schedule__crew_left(crew), crew->y + 2, width, 0};
    crew->y += sm_schedule__crew_paragraph(crew, at, 13, SM_WEIGHT_BOLD, true, sm_text_str(&words)) + 4;
    crew->head.failed |= words.failed;
    sm_text_release(&words);
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

static void add_observation_words(struct sm_text *words, const struct sm_schedule *s,
                                  const struct sm_observation *observation)
{
    const char *meaning = sm_schedule__meaning(s, observation);
    sm_text_addf(words, "%s ", observation->id);
    sm_schedule__add_code(words, observation);
    sm_text_addf(words, "%s%s", *meaning ? ", " : "", meaning);
    if (observation->clock_from_h) {
        sm_text_add(words, ", ");
        sm_schedule__add_clock(words, observation);
    }
    if (observation->remark && *observation->remark) {
        sm_text_addf(words, ": %s", observation->remark);
    }
}

/* Still, clock and words beside the numbers. @return the lowest line used. */
static double add_picture(struct sm_crew *crew, const struct sm_repair *repair, double x, double top,
                          double room)
{
    const struct sm_schedule *s = crew->s;
    double right = sm_schedule__crew_right(crew), clock = 30;
    size_t idx = shown_observation(crew, repair);
    const struct sm_observation *observation = sm_schedule__observation(s, idx);
    struct sm_still still;
    double y = top;
    if (!observation) {
        return y;
    }
    if (sm_schedule__still_read(&still, s, idx)) {
        y += sm_schedule__crew_still(crew, (struct sm_rect){x, top, right - x, room - 60}, &still).height + 6;
        sm_schedule__still_release(&still);
    }
    sm_schedule__crew_clock(crew, (struct sm_point){x + clock, y + clock + 4}, clock - 6, observation);
    struct sm_text words = {0};
    add_observation_words(&words, s, observation);
    if (observation->clock_from_h) {
        sm_text_addf(&words, ". Clock as the camera saw it, coming from %s%s",
                     s->segment->from ? s->segment->from : "the near end",
                     s->sheet->access.enters_at_to ? "; from your end left and right change places" : "");
    }
    char shown[400];
    sm_strcopy(shown, sizeof shown, sm_text_str(&words));
    struct sm_rect at = {x + 2 * clock + 8, y + 2, right - x - 2 * clock - 8, 0};
    double height = sm_schedule__crew_paragraph(crew, at, 8.6, SM_WEIGHT_PLAIN, true, shown);
    crew->head.failed |= words.failed;
    sm_text_release(&words);
    return y + fmax(height, 2 * clock + 4);
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

/* Does the packer have to pass it on its way in, and is it such that it could hold it up? */
static bool is_on_the_way(const struct sm_schedule *s, const struct sm_repair *repair,
                          const struct sm_observation *observation)
{
    bool may_hold =
        observation->treatment == SM_TREATMENT_PREPARE || observation->treatment == SM_TREATMENT_REFER;
    double near_m = sm_schedule__from_crew_m(s, observation->distance_m);
    double edge_m = fmin(sm_schedule__from_crew_m(s, sm_schedule__repair_start_m(repair)),
                         sm_schedule__from_crew_m(s, sm_schedule__repair_end_m(repair)));
    return may_hold && isfinite(near_m) && near_m < edge_m;
}

static void add_preparation(struct sm_crew *crew, const struct sm_repair *repair)
{
    const struct sm_schedule *s = crew->s;
    struct sm_text words = {0};
    for (size_t i = 0; i < s->alignment->n_observations; i++) {
        const struct sm_observation *observation = &s->alignment->observation[i];
        if (is_on_the_way(s, repair, observation)) {
            sm_text_addf(&words, "%s%s at ",
                         words.length ? "; " : "To get past on the way: ", observation->id);
            sm_schedule__add_length(&words, s, sm_schedule__from_crew_m(s, observation->distance_m));
            sm_text_add(&words, " ");
            sm_schedule__add_code(&words, observation);
        }
    }
    if (repair->n_prepare || words.length) {
        sm_schedule__crew_heading(crew, "Before the liner", 20);
    }
    for (size_t i = 0; i < repair->n_prepare; i++) {
        add_boxed_item(crew, repair->prepare[i]);
    }
    if (words.length) {
        sm_text_add(&words, s->sheet->access.enters_at_to ? " (from your end)." : ".");
        add_boxed_item(crew, sm_text_str(&words));
    }
    crew->head.failed |= words.failed;
    sm_text_release(&words);
}

/* ---- how sure ---- */

static void add_kept_clear(struct sm_text *words, const struct sm_schedule *s, const struct sm_repair *repair)
{
    const struct sm_observation *nearest = NULL;
    double least_m = HUGE_VAL, stop_m = sm_schedule__repair_stop_m(repair);
    for (size_t i = 0; i < s->alignment->n_observations; i++) {
        const struct sm_observation *observation = &s->alignment->observation[i];
        double off_m = fabs(observation->distance_m - stop_m);
        if (observation->treatment == SM_TREATMENT_CLEAR && isfinite(off_m) && off_m < least_m) {
            nearest = observation;
            least_m = off_m;
        }
    }
    if (nearest && repair->n_reopens == 0) {
        sm_text_addf(words, " The nearest opening to keep clear of is %s at ", nearest->id);
        sm_schedule__add_length(words, s, nearest->distance_m);
        sm_text_add(words, ".");
    }
}

static void add_how_sure(struct sm_crew *crew, const struct sm_repair *repair)
{
    const struct sm_schedule *s = crew->s;
    double left = sm_schedule__crew_left(crew), width = sm_schedule__crew_right(crew) - left;
    struct sm_text words = {0};
    sm_text_add(&words, "How sure: \u00b1 ");
    sm_schedule__add_error(&words, s, sm_schedule__repair_error_m(s, repair));
    sm_text_add(&words, "; the liner may sit ");
    sm_schedule__add_error(&words, s, repair->slack_m);
    sm_text_add(&words, " off its stop. If the camera shows the defect elsewhere, the camera is right: move "
                        "the mark by as much, write it down.");
    add_kept_clear(&words, s, repair);
    sm_text_add(&words, " More than half a liner off: stop and ask, it may be another defect.");
    struct sm_rect at = {left + 8, crew->y + 5, width - 16, 0};
    double height =
        sm_schedule__crew_paragraph(crew, at, TEXT_SIZE, SM_WEIGHT_PLAIN, false, sm_text_str(&words));
    sm_schedule__crew_need(crew, height + 14);
    at.y = crew->y + 5;
    sm_schedule__crew_paragraph(crew, at, TEXT_SIZE, SM_WEIGHT_PLAIN, true, sm_text_str(&words));
    sm_schedule__rect(&crew->pen, (struct sm_rect){left, crew->y, width, height + 10}, SM_INK_NONE,
                      (struct sm_stroke){SM_INK_LINE, 1, SM_DASH_NONE});
    crew->y += height + 12;
    crew->head.failed |= words.failed;
    sm_text_release(&words);
}

void sm_schedule__crew_repair_page(struct sm_crew *crew, size_t repair_idx)
{
    const struct sm_repair *repair = &crew->s->plan->repair[repair_idx];
    double left = sm_schedule__crew_left(crew), width = sm_schedule__crew_right(crew) - left;
    sm_schedule__crew_new_page(crew, repair->id);
    sm_text_clear(&crew->head);
    sm_text_addf(&crew->head, "Crew sheet %s, %s", crew->s->segment->id ? crew->s->segment->id : "",
                 repair->id);
    add_head(crew, repair_idx);
    add_doubt(crew, repair);
    double top = crew->y, column = width * 0.56;
    add_numbers(crew, repair, column - 10);
    double lowest = add_picture(crew, repair, left + column, top, crew->y - top + 30);
    crew->y = fmax(crew->y, lowest) + 6;
    sm_schedule__crew_move(crew, left, crew->y);
    double height = sm_schedule__crew_rod_drawing(crew, repair, width);
    sm_schedule__crew_move_back(crew);
    crew->y += height + 4;
    add_how_sure(crew, repair);
    add_preparation(crew, repair);
    sm_schedule__crew_checklist(crew, repair);
}
