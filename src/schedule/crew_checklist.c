/*
 * The steps of placing one liner, in the order of the work, each with a box and what has to be written down.
 * Trade steps: common practice, no source. Numbers come from the kit and the sheet, none from here but the
 * share of the resin, the lap and the ties. Steps are short: they are read standing, in gloves.
 */
#include "crew_page.h"

#include "work.h"

#include <assert.h>
#include <math.h>

#define MAX_STEPS 20
#define FIELD_PART 0.31 /* of the width, at the right */
#define LINE 1.19       /* height of a line of words in text sizes */
#define RECORD_HEIGHT 42.0

/* How large it can be set, from comfortable in gloves to as small as a page may force it. */
static const struct setting {
    double size, pitch; /* of the words; from one step to the next beyond the words' own lines */
} settings[] = {{10.4, 9.5}, {10.4, 7.5}, {10, 6.5}, {9.6, 5.5}, {9.2, 5}, {9, 4}, {8.8, 3}, {8.6, 2.2}};

struct step {
    struct sm_text words;
    const char *field; /* what to write down, NULL = nothing */
};
struct checklist {
    struct sm_crew *crew;
    const struct sm_repair *repair;
    const struct sm_kit *kit; /* NULL = not known */
    bool has_times;
    struct sm_cure_time times; /* only with has_times */
    struct step step[MAX_STEPS];
    size_t n;
    struct setting setting;
};

/* ---- the steps ---- */

/* Room for one more step; words may be added to it until the next is begun. */
static struct sm_text *begin_step(struct checklist *list, const char *field)
{
    assert(list->n < MAX_STEPS);
    list->step[list->n].field = field;
    return &list->step[list->n++].words;
}

static void add_step(struct checklist *list, const char *words, const char *field)
{
    sm_text_add(begin_step(list, field), words);
}

static const char *edge(const struct checklist *list)
{
    return list->crew->s->sheet->access.reference == SM_REFERENCE_RIM ? "manhole rim" : "pipe edge";
}

static void add_finding_steps(struct checklist *list)
{
    add_step(list, "Pipe clean and open here; water held back, connections too.", NULL);
    sm_text_addf(begin_step(list, "camera mark"), "Camera under the defect's middle; tape the rod at the %s.",
                 edge(list));
    add_step(list, "Bench: lens at the packer's middle; move the tape over.", "mark used");
    struct sm_text *words = begin_step(list, "test pressure");
    sm_text_add(words, "Packer tried inside a piece of this pipe");
    if (list->kit && isfinite(list->kit->test_pressure_kpa)) {
        sm_text_add(words, " (kit says ");
        sm_schedule__add_pressure(words, list->crew->s, list->kit->test_pressure_kpa);
        sm_text_add(words, ")");
    }
    sm_text_add(words, ".");
    add_step(list, "Rod couplings taped over so that they cannot catch; retrieval cable on; air line slack.",
             NULL);
    sm_text_addf(begin_step(list, NULL),
                 "Slits of %s in the sleeve's folded fins to let the air out, none anywhere else.",
                 list->crew->s->people_unit == SM_UNIT_FT ? "1/4 in" : "6 mm");
    add_step(list, "Rehearsal with a dry sleeve to the mark and back.", "minutes");
}

static void add_resin_steps(struct checklist *list)
{
    const struct sm_schedule *s = list->crew->s;
    struct sm_materials one;
    struct sm_text *words = begin_step(list, "mixed at");
    sm_text_add(words, "Mix");
    if (sm_schedule__materials(&one, s, list->repair, NULL)) {
        sm_text_add(words, " ");
        sm_schedule__add_mix(words, s, &one);
    }
    sm_text_add(words, ": two thirds on the first, rough face of the mat, one third on the other, no dry spot.");
    sm_text_addf(begin_step(list, NULL),
                 "Fold in from both sides round the packer, lap %s, inside the outline marks. Four ties, two "
                 "close together "
                 "at the leading end, few twists: they break when it fills.",
                 list->crew->s->people_unit == SM_UNIT_FT ? "1 in" : "25 mm");
    sm_text_addf(begin_step(list, "stop reached"), "Push until the tape is at the %s.", edge(list));
}

/* What to inflate to: from the noted pressure and the water outside up to the kit's limit; or not at all. */
static void add_pressure(struct sm_text *words, const struct checklist *list)
{
    const struct sm_schedule *s = list->crew->s;
    struct sm_packer_pressure band = {.least_kpa = (double)NAN, .greatest_kpa = (double)NAN};
    enum sm_status status = SM_E_NOTFOUND;
    if (list->kit) {
        status = sm_packer_pressure_for(&band, list->kit, s->segment->diameter_mm,
                                        s->sheet->access.groundwater_head_m,
                                        s->sheet->access.lateral_head_m, NULL);
    }
    if (status == SM_E_INFEASIBLE) {
        sm_text_add(words, "DO NOT INFLATE: the water outside and the kit's limit leave no pressure between "
                           "them. Ask first.");
        return;
    }
    sm_text_add(words, "All clear of openings. Inflate to ");
    if (isfinite(band.least_kpa)) {
        sm_schedule__add_least_pressure(words, s, band.least_kpa);
        sm_text_add(words, " or more");
    } else {
        sm_text_add(words, "the noted pressure and the water's");
    }
    if (isfinite(band.greatest_kpa)) {
        sm_text_add(words, ", never above ");
        sm_schedule__add_pressure(words, s, band.greatest_kpa);
    }
    if (list->has_times) {
        sm_text_add(words, "; no later than ");
        sm_text_add_number(words, list->times.working_min, 0, 0);
        sm_text_add(words, " min from mixing");
    }
    sm_text_add(words, ".");
}

static void add_pressure_steps(struct checklist *list)
{
    add_pressure(begin_step(list, "inflated at"), list);
    add_step(list, "Hold the pressure for the whole cure.", "pressure");
    struct sm_text *words = begin_step(list, "deflated at");
    sm_text_add(words, "Deflate");
    if (list->has_times) {
        sm_text_add(words, " no earlier than ");
        sm_text_add_number(words, list->times.cure_min + list->crew->s->sheet->day.hold_min, 0, 0);
        sm_text_add(words, " min after inflating, with the");
    } else {
        sm_text_add(words, " when the cure time is over and the");
    }
    sm_text_add(words, " sample of the mix hard.");
    add_step(list, "A short push, then pull back by the cable, never by the air line.", NULL);
}

static void add_last_steps(struct checklist *list)
{
    if (list->repair->n_reopens) {
        struct sm_text *words = begin_step(list, "opened at");
        sm_text_add(words, "Cut open again: ");
        sm_schedule__add_ids(words, list->crew->s, list->repair->reopens, list->repair->n_reopens, ", ");
        sm_text_add(words, "; edges smooth.");
    }
    add_step(list, "Camera, filmed: both ends covered, liner flat, no water.", "result");
}

/* ---- setting ---- */

/* Room of a step's words, at the left of its field. */
static struct sm_rect words_room(const struct checklist *list, size_t idx)
{
    double left = sm_schedule__crew_left(list->crew), width = sm_schedule__crew_right(list->crew) - left;
    double indent = list->setting.size + 8, taken = list->step[idx].field ? width * FIELD_PART + 8 : 0;
    return (struct sm_rect){left + indent, 0, width - indent - taken, 0};
}

static double step_height(const struct checklist *list, size_t idx)
{
    const char *words = sm_text_str(&list->step[idx].words);
    double height = sm_schedule__crew_paragraph(list->crew, words_room(list, idx), list->setting.size,
                                                SM_WEIGHT_PLAIN, false, words);
    return fmax(height, list->setting.size * LINE) + list->setting.pitch;
}

static double list_height(const struct checklist *list)
{
    double height = 0;
    for (size_t i = 0; i < list->n; i++) {
        height += step_height(list, i);
    }
    return height;
}

static void draw_step(const struct checklist *list, size_t idx)
{
    struct sm_crew *crew = list->crew;
    const struct step *step = &list->step[idx];
    struct sm_rect at = words_room(list, idx);
    double size = list->setting.size, right = sm_schedule__crew_right(crew), height = step_height(list, idx);
    sm_schedule__crew_need(crew, height);
    at.y = crew->y;
    sm_schedule__crew_box(crew, sm_schedule__crew_left(crew), crew->y + size, size + 1);
    sm_schedule__crew_paragraph(crew, at, size, SM_WEIGHT_PLAIN, true, sm_text_str(&step->words));
    if (step->field) {
        sm_schedule__crew_field(crew, at.x + at.width + 8, right, crew->y + size, size - 0.6, step->field);
    }
    crew->y += height;
}

/* Working and cure time at the temperature of the pipe, or why there is none: a number is never guessed. */
static void add_times(struct sm_text *words, const struct checklist *list)
{
    const struct sm_schedule *s = list->crew->s;
    double pipe_c = s->sheet->access.pipe_temperature_c;
    if (!list->kit || !list->kit->cure) {
        return;
    }
    if (!isfinite(pipe_c)) {
        sm_text_add(words, "Working and cure time: see the kit, at the temperature of the pipe");
        return;
    }
    sm_text_add(words, "Pipe at ");
    sm_schedule__add_temperature(words, s, pipe_c);
    if (!list->has_times) {
        sm_text_add(words, ": outside the kit's table of times");
        return;
    }
    sm_text_add(words, ": work within ");
    sm_text_add_number(words, list->times.working_min, 0, 0);
    sm_text_add(words, " min, cure ");
    sm_text_add_number(words, list->times.cure_min, 0, 0);
    sm_text_add(words, " min");
}

static void draw_heading(struct checklist *list)
{
    struct sm_crew *crew = list->crew;
    struct sm_text words = {0};
    add_times(&words, list);
    sm_schedule__crew_heading(crew, "In this order", 30);
    double left = sm_schedule__crew_left(crew), right = sm_schedule__crew_right(crew);
    struct sm_type type = {9, true, SM_ANCHOR_END, SM_INK_LINE};
    sm_schedule__crew_line(crew, (struct sm_point){right, crew->y - 5}, type, right - left - 110,
                           sm_text_str(&words));
    sm_schedule__drop(&words, &crew->has_failed);
}

static void draw_record(struct sm_crew *crew)
{
    static const char *const fields[][4] = {{"date", "crew", "lot", "pipe temp."},
                                            {"remarks", NULL, NULL, "initials"}};
    double left = sm_schedule__crew_left(crew), width = sm_schedule__crew_right(crew) - left;
    sm_schedule__crew_need(crew, RECORD_HEIGHT);
    for (int row = 0; row < 2; row++) {
        crew->y += 18;
        for (int i = 0; i < 4; i++) {
            bool is_wide = row == 1 && i == 0;
            double x2 = left + width * (is_wide ? 3 : i + 1) / 4 - (i < 3 ? 8 : 0);
            if (fields[row][i]) {
                sm_schedule__crew_field(crew, left + width * i / 4, x2, crew->y, 9.2, fields[row][i]);
            }
        }
    }
    crew->y += 6;
}

static void draw_list(struct checklist *list)
{
    double room = sm_schedule__crew_room(list->crew) - RECORD_HEIGHT - 24;
    size_t i = 0, last = sizeof settings / sizeof settings[0] - 1;
    list->setting = settings[0];
    while (list_height(list) > room && i < last) {
        list->setting = settings[++i];
    }
    draw_heading(list);
    for (i = 0; i < list->n; i++) {
        draw_step(list, i);
    }
    draw_record(list->crew);
}

void sm_schedule__crew_checklist(struct sm_crew *crew, const struct sm_repair *repair)
{
    struct checklist list = {.crew = crew, .repair = repair, .kit = sm_schedule__kit(crew->s, repair)};
    list.has_times = list.kit && sm_cure_time_at(&list.times, crew->s->sheet, list.kit->cure,
                                                 crew->s->sheet->access.pipe_temperature_c, NULL) == SM_OK;
    add_finding_steps(&list);
    add_resin_steps(&list);
    add_pressure_steps(&list);
    add_last_steps(&list);
    draw_list(&list);
    for (size_t i = 0; i < list.n; i++) {
        sm_schedule__drop(&list.step[i].words, &crew->has_failed);
    }
}
