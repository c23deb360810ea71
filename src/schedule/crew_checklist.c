/*
 * The steps of placing one liner, in the order of the work, each with a box and what has to be written down.
 * Trade steps: common practice, no source. Numbers come from the kit and the sheet, none from here but the
 * share of the resin, the lap and the ties; where a resin or packer maker says otherwise, the maker is right,
 * and the sheet says so.
 */
#include "crew_page.h"

#include <math.h>

#define SIZE 9.6
#define BOX 11.0
#define FIELD_PART 0.30 /* of the width, at the right */

struct step {
    const char *words;
    const char *field; /* what to write down, NULL = nothing */
};

static void add_step(struct sm_crew *crew, const struct step *step)
{
    double left = sm_schedule__crew_left(crew), right = sm_schedule__crew_right(crew);
    double field = right - (right - left) * FIELD_PART;
    struct sm_rect at = {left + BOX + 7, 0, (step->field ? field - 10 : right) - left - BOX - 7, 0};
    double height = sm_schedule__crew_paragraph(crew, at, SIZE, SM_WEIGHT_PLAIN, false, step->words);
    double needed = fmax(height, BOX + 2) + 4;
    sm_schedule__crew_need(crew, needed);
    at.y = crew->y;
    sm_schedule__crew_box(crew, left, crew->y + SIZE, BOX);
    sm_schedule__crew_paragraph(crew, at, SIZE, SM_WEIGHT_PLAIN, true, step->words);
    if (step->field) {
        sm_schedule__crew_field(crew, field, right, crew->y + SIZE, SIZE - 0.8, step->field);
    }
    crew->y += needed;
}

static void add_words_step(struct sm_crew *crew, struct sm_text *words, const char *field)
{
    add_step(crew, &(struct step){sm_text_str(words), field});
    crew->head.failed |= words->failed;
    sm_text_clear(words);
}

static const char *edge(const struct sm_crew *crew)
{
    return crew->s->sheet->access.reference == SM_REFERENCE_RIM ? "manhole rim" : "pipe edge";
}

static void add_finding_steps(struct sm_crew *crew, const struct sm_repair *repair)
{
    struct sm_text words = {0};
    const struct sm_kit *kit = sm_schedule__kit(crew->s, repair);
    add_step(crew, &(struct step){"Pipe clean and open here; water held back, connections too.", NULL});
    sm_text_addf(&words, "Camera head under the middle of the defect. Tape the rod where it meets the %s.",
                 edge(crew));
    add_words_step(crew, &words, "camera mark");
    add_step(crew, &(struct step){"On the bench: camera head beside the packer, lens at the packer's middle. "
                                  "Move the tape by what the two differ. "
                                  "Measure from the packer's middle to the tape.",
                                  "mark used"});
    sm_text_add(&words, "Packer tried inside a piece of pipe of this size; pressure noted");
    if (kit && isfinite(kit->test_pressure_kpa)) {
        sm_text_add(&words, " (kit says ");
        sm_schedule__add_pressure(&words, crew->s, kit->test_pressure_kpa);
        sm_text_add(&words, ")");
    }
    sm_text_add(&words, ".");
    add_words_step(crew, &words, "test pressure");
    add_step(crew, &(struct step){"Rod couplings taped over; retrieval cable on the packer; air line slack.",
                                  NULL});
    add_step(crew, &(struct step){
                       "Rehearsal: a dry sleeve on the packer, push to the mark and back. Nothing catches.",
                       "minutes"});
    sm_text_release(&words);
}

/* Working and cure times as the kit's own table has them; nothing is estimated between or beyond its rows. */
static void add_times(struct sm_text *words, const struct sm_schedule *s, const struct sm_kit *kit)
{
    bool is_first = true;
    for (size_t i = 0; kit && kit->cure && i < s->sheet->n_cure_rows; i++) {
        const struct sm_cure_row *row = &s->sheet->cure_row[i];
        if (!row->name || !sm_ascii_ieq(row->name, kit->cure)) {
            continue;
        }
        sm_text_add(words, is_first ? " Working / cure time: " : ", ");
        sm_text_add_number(words, row->working_min, 0, 1);
        sm_text_add(words, " / ");
        sm_text_add_number(words, row->cure_min, 0, 1);
        sm_text_add(words, " min at ");
        sm_schedule__add_temperature(words, s, row->temperature_c);
        is_first = false;
    }
    sm_text_add(words, is_first ? "" : ".");
}

static void add_resin_steps(struct sm_crew *crew, const struct sm_repair *repair)
{
    const struct sm_kit *kit = sm_schedule__kit(crew->s, repair);
    struct sm_text words = {0};
    sm_text_add(&words, "Mix");
    if (kit && isfinite(kit->resin_l)) {
        sm_text_add(&words, " ");
        sm_text_add_number(&words, kit->resin_l, 1, 2);
        sm_text_add(&words, " l of resin");
    }
    sm_text_add(&words, ", watch the clock from here. Two thirds on the first, rough face of the mat, one "
                        "third on the other; no dry spot.");
    add_times(&words, crew->s, kit);
    add_words_step(crew, &words, "mixed at");
    sm_text_addf(
        &words,
        "Mat folded in from both sides round the packer, lap about %s, inside the outline marks. Four ties, "
        "two "
        "of them close together at the leading end, few twists so that they break when the packer fills.",
        crew->s->people_unit == SM_UNIT_FT ? "1 in" : "25 mm");
    add_words_step(crew, &words, NULL);
    sm_text_addf(&words, "Push until the tape is at the %s.", edge(crew));
    add_words_step(crew, &words, "stop reached");
    sm_text_release(&words);
}

static void add_pressure_step(struct sm_crew *crew, const struct sm_repair *repair)
{
    const struct sm_kit *kit = sm_schedule__kit(crew->s, repair);
    struct sm_text words = {0};
    sm_text_add(&words,
                "Everyone clear of openings. Inflate to the noted pressure plus what the groundwater needs");
    if (kit && isfinite(kit->max_pressure_kpa)) {
        sm_text_add(&words, ", never above ");
        sm_schedule__add_pressure(&words, crew->s, kit->max_pressure_kpa);
    }
    sm_text_add(&words, ".");
    add_words_step(crew, &words, "inflated at");
    add_step(crew, &(struct step){"Hold the pressure for the whole cure at the temperature of the pipe wall.",
                                  "pressure"});
    add_step(crew, &(struct step){"Deflate when the cure time is over and a sample of the mix is hard.",
                                  "deflated at"});
    add_step(crew,
             &(struct step){"A short push first, then pull back by the cable, never by the air line.", NULL});
    sm_text_release(&words);
}

static void add_last_steps(struct sm_crew *crew, const struct sm_repair *repair)
{
    struct sm_text words = {0};
    if (repair->n_reopens) {
        sm_text_add(&words, "Cut open again: ");
        sm_schedule__add_ids(&words, crew->s, repair->reopens, repair->n_reopens, ", ");
        sm_text_add(&words, ". Edges smooth, water runs.");
        add_words_step(crew, &words, "opened at");
    }
    add_step(crew, &(struct step){"Camera again, filmed: the liner covers the defect at both ends, lies "
                                  "flat, no water comes through.",
                                  "result"});
    sm_text_release(&words);
}

static void add_record(struct sm_crew *crew)
{
    static const char *const fields[][4] = {{"date", "crew", "lot", "pipe temperature"},
                                            {"remarks", NULL, NULL, "initials"}};
    double left = sm_schedule__crew_left(crew), width = sm_schedule__crew_right(crew) - left;
    sm_schedule__crew_need(crew, 44);
    for (int row = 0; row < 2; row++) {
        crew->y += 19;
        for (int i = 0; i < 4; i++) {
            double x2 =
                row == 1 && i == 0 ? left + width * 0.75 - 8 : left + width * (i + 1) / 4 - (i < 3 ? 8 : 0);
            if (fields[row][i]) {
                sm_schedule__crew_field(crew, left + width * i / 4, x2, crew->y, SIZE - 0.8, fields[row][i]);
            }
        }
    }
    crew->y += 6;
}

void sm_schedule__crew_checklist(struct sm_crew *crew, const struct sm_repair *repair)
{
    sm_schedule__crew_heading(crew, "In this order", 30);
    add_finding_steps(crew, repair);
    add_resin_steps(crew, repair);
    add_pressure_step(crew, repair);
    add_last_steps(crew, repair);
    add_record(crew);
}
