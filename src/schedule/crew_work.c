/* The first page's day and load lists, and what is cut and mixed for one repair. */
#include "crew_page.h"
#include "work.h"

#include <math.h>

#define TEXT_SIZE 9.4

/* ---- the day ---- */

static const struct {
    const char *head;
    double x; /* of the width, right end but for the first */
} columns[] = {{"", 0}, {"Mix at", 0.24}, {"Inflate by", 0.44}, {"Deflate from", 0.66}, {"Ready", 0.84}};

static void add_cell(struct sm_crew *crew, int column, double size, bool is_bold, const char *text)
{
    double left = sm_schedule__crew_left(crew), width = sm_schedule__crew_right(crew) - left;
    struct sm_type type = {size, is_bold, column ? SM_ANCHOR_END : SM_ANCHOR_START, SM_INK_LINE};
    sm_schedule__crew_line(crew, (struct sm_point){left + columns[column].x * width, crew->y + 11}, type,
                           0.19 * width, text);
}

static void add_heads(struct sm_crew *crew)
{
    for (int i = 1; i < 5; i++) {
        add_cell(crew, i, 8.5, false, columns[i].head);
    }
    crew->y += 14;
}

static void add_clock_cell(struct sm_crew *crew, int column, double minutes,
                           void add(struct sm_text *, double))
{
    struct sm_text words = {0};
    add(&words, minutes);
    add_cell(crew, column, 11, true, sm_text_str(&words));
    sm_schedule__drop(&words, &crew->has_failed);
}

static void add_day_row(struct sm_crew *crew, const char *id, const struct sm_day_repair *times)
{
    if (sm_schedule__crew_need(crew, 16)) {
        add_heads(crew);
    }
    add_cell(crew, 0, 11, true, id);
    add_clock_cell(crew, 1, times->mixed_min, sm_schedule__add_clock_up);
    add_clock_cell(crew, 2, times->latest_inflate_min, sm_schedule__add_clock_down);
    add_clock_cell(crew, 3, times->deflate_min, sm_schedule__add_clock_up);
    add_clock_cell(crew, 4, times->end_min, sm_schedule__add_clock_up);
    crew->y += 14;
}

static void add_day_words(struct sm_text *words, const struct sm_schedule *s, const struct sm_day_plan *day)
{
    size_t n = (size_t)day->n_in_shift;
    if (n < day->n_repairs && day->repair[n].trouble) {
        sm_text_addf(words, "%s cannot be timed: %s. ", s->plan->repair[n].id, day->repair[n].trouble);
    } else {
        sm_text_addf(words, "%zu of %zu fit in a shift of ", n, day->n_repairs);
        sm_schedule__add_clock_down(words, s->sheet->day.shift_min);
        sm_text_add(words, ". ");
    }
    sm_text_add(words, "Hours from the start of work, without pauses. Once the resin is mixed the crew's own "
                       "clock counts.");
}

static void add_other_end(struct sm_crew *crew)
{
    struct sm_text words = {0};
    sm_schedule__add_other_end(&words, crew->s, &crew->has_failed);
    if (words.length) {
        crew->y += 3;
        sm_schedule__crew_words(crew, sm_text_str(&words));
    }
    sm_schedule__drop(&words, &crew->has_failed);
}

void sm_schedule__crew_day(struct sm_crew *crew)
{
    const struct sm_schedule *s = crew->s;
    struct sm_day_plan *day = sm_schedule__day(s, &crew->has_failed);
    add_other_end(crew);
    if (!day) {
        return;
    }
    struct sm_text words = {0};
    sm_schedule__crew_heading(crew, "The day", 50);
    if (day->n_in_shift > 0) {
        add_heads(crew);
    }
    for (int32_t i = 0; i < day->n_in_shift; i++) {
        add_day_row(crew, s->plan->repair[i].id, &day->repair[i]);
    }
    crew->y += 2;
    add_day_words(&words, s, day);
    sm_schedule__crew_words(crew, sm_text_str(&words));
    sm_schedule__drop(&words, &crew->has_failed);
    sm_day_plan_free(&day);
}

/* ---- to load ---- */

static void add_item(struct sm_crew *crew, struct sm_text *words)
{
    double left = sm_schedule__crew_left(crew);
    struct sm_rect at = {left + 17, 0, sm_schedule__crew_right(crew) - left - 17, 0};
    double height =
        fmax(sm_schedule__crew_paragraph(crew, at, TEXT_SIZE, SM_WEIGHT_PLAIN, false, sm_text_str(words)),
             13) +
        2;
    sm_schedule__crew_need(crew, height);
    at.y = crew->y;
    sm_schedule__crew_box(crew, left, crew->y + TEXT_SIZE, 10);
    sm_schedule__crew_paragraph(crew, at, TEXT_SIZE, SM_WEIGHT_PLAIN, true, sm_text_str(words));
    crew->y += height;
    sm_schedule__clear(words, &crew->has_failed);
}

static void add_kit(struct sm_crew *crew, struct sm_text *words, size_t kit_idx)
{
    const struct sm_schedule *s = crew->s;
    const struct sm_kit *kit = &s->sheet->kit[kit_idx];
    int n_spares = sm_schedule__spares_of_kit(s, kit_idx);
    struct sm_materials one;
    char name[128]; /* what follows must not fall off the end of a name without end */
    sm_strcopy(name, sizeof name, kit->name && *kit->name ? kit->name : "not said");
    sm_text_addf(words, "%d \u00d7 %s", sm_schedule__n_of_kit(s, kit_idx), name);
    if (n_spares > 0) {
        sm_text_addf(words, " and %d spare", n_spares);
    }
    sm_text_add(words, ", ");
    sm_schedule__add_liner_length(words, s, kit->length_um);
    if (sm_materials_for(&one, sm_schedule__um_to_m(kit->length_um), s->segment->diameter_mm, kit,
                         &s->sheet->mat, NULL) == SM_OK) {
        sm_text_add(words, "; each ");
        sm_schedule__add_mats(words, s, &one);
        sm_text_add(words, one.layers > 1 ? ", " : "");
        sm_schedule__add_wound(words, s, &one);
    } else if (kit->layers > 0) {
        sm_text_addf(words, ", %d layers", (int)kit->layers);
    }
    add_item(crew, words);
}

/* The sum over all liners and the spares, or the kits' own resin where mats cannot be worked out. */
static void add_sum(struct sm_crew *crew, struct sm_text *words)
{
    const struct sm_schedule *s = crew->s;
    struct sm_materials sum;
    struct sm_error err = {0};
    if (!sm_schedule__materials_to_load(&sum, s, &err)) {
        sm_text_addf(words, "Mat and resin cannot be worked out: %s", err.text);
        add_item(crew, words);
        return;
    }
    sm_text_addf(words, "In all, spares counted: glass mat ");
    sm_schedule__add_mass(words, s, sum.glass_kg);
    sm_text_add(words, "; resin ");
    double mixed_l = sum.part_a_l + sum.part_b_l;
    sm_schedule__add_volume(words, s, mixed_l);
    sm_text_add(words, ": part A ");
    sm_schedule__add_volume_of(words, s, sum.part_a_l, mixed_l);
    sm_text_add(words, ", ");
    sm_schedule__add_mass(words, s, sum.part_a_kg);
    sm_text_add(words, "; part B ");
    sm_schedule__add_volume_of(words, s, sum.part_b_l, mixed_l);
    sm_text_add(words, ", ");
    sm_schedule__add_mass(words, s, sum.part_b_kg);
    if (isnan(sum.kit_resin_l)) {
        sm_text_add(words, "; waste of it ");
        sm_schedule__add_volume_of(words, s, sum.waste_l, mixed_l);
    }
    add_item(crew, words);
    sm_text_addf(words,
                 "%d sleeves, for rehearsal and live; %d ties; thermometer, clock, gloves, eye protection",
                 (int)sum.sleeves, (int)sum.ties);
    add_item(crew, words);
}

static double longest_mark_m(const struct sm_plan *plan)
{
    double longest_m = 0;
    for (size_t i = 0; i < plan->n_repairs; i++) {
        longest_m = fmax(longest_m, plan->repair[i].mark_m);
    }
    return longest_m;
}

void sm_schedule__crew_load(struct sm_crew *crew)
{
    const struct sm_schedule *s = crew->s;
    struct sm_text words = {0};
    if (s->plan->n_repairs == 0) {
        return;
    }
    sm_schedule__crew_heading(crew, "To load", 30);
    for (size_t k = 0; k < s->sheet->n_kits; k++) {
        if (sm_schedule__n_of_kit(s, k) > 0) {
            add_kit(crew, &words, k);
        }
    }
    add_sum(crew, &words);
    sm_text_add(&words, "Packer for ");
    sm_schedule__add_diameter(&words, s, s->segment->diameter_mm);
    sm_text_add(&words,
                " and a piece of pipe of the same size to try it in; gauge, regulator and relief valve");
    add_item(crew, &words);
    sm_text_add(&words, "Rod longer than ");
    sm_schedule__add_length(&words, s, longest_mark_m(s->plan));
    sm_text_add(&words, "; tape, marking tape, retrieval cable, air line, camera");
    add_item(crew, &words);
    sm_schedule__drop(&words, &crew->has_failed);
}

/* ---- one repair ---- */

/* Two lots of words side by side on one line. */
static void add_halves(struct sm_crew *crew, struct sm_type type, double baseline, struct sm_text half[2])
{
    double left = sm_schedule__crew_left(crew), width = sm_schedule__crew_right(crew) - left;
    for (int i = 0; i < 2; i++) {
        struct sm_point at = {left + (i ? width / 2 + 6 : 0), crew->y + baseline};
        sm_schedule__crew_line(crew, at, type, width / 2 - 8, sm_text_str(&half[i]));
        sm_schedule__clear(&half[i], &crew->has_failed);
    }
}

static void add_cut_and_mix(struct sm_crew *crew, const struct sm_materials *one)
{
    const struct sm_schedule *s = crew->s;
    struct sm_text half[2] = {{0}, {0}};
    sm_text_add(&half[0], "CUT ");
    sm_schedule__add_mats(&half[0], s, one);
    sm_text_add(&half[1], "MIX ");
    sm_schedule__add_mix(&half[1], s, one);
    add_halves(crew, (struct sm_type){11, true, SM_ANCHOR_START, SM_INK_LINE}, 11, half);
    sm_schedule__add_wound(&half[0], s, one);
    sm_text_addf(&half[0], "%sglass ", half[0].length ? "; " : "");
    sm_schedule__add_mass(&half[0], s, one->glass_kg);
    sm_text_add(&half[1], "A ");
    sm_schedule__add_mass(&half[1], s, one->part_a_kg);
    sm_text_add(&half[1], ", B ");
    sm_schedule__add_mass(&half[1], s, one->part_b_kg);
    if (isnan(one->kit_resin_l)) {
        sm_text_add(&half[1], "; waste of it ");
        sm_schedule__add_volume(&half[1], s, one->waste_l);
    }
    sm_text_addf(&half[1], "; %d ties, %d sleeves", (int)one->ties, (int)one->sleeves);
    add_halves(crew, (struct sm_type){9, false, SM_ANCHOR_START, SM_INK_LINE}, 23, half);
    bool is_enough = sm_schedule__add_wall(&half[0], s, one);
    struct sm_point at = {sm_schedule__crew_left(crew), crew->y + 33};
    sm_schedule__crew_line(crew, at, (struct sm_type){is_enough ? 9 : 11, !is_enough, SM_ANCHOR_START, SM_INK_LINE},
                           sm_schedule__crew_right(crew) - at.x, sm_text_str(&half[0]));
    sm_schedule__drop(&half[0], &crew->has_failed);
    sm_schedule__drop(&half[1], &crew->has_failed);
    crew->y += 37;
}

void sm_schedule__crew_materials(struct sm_crew *crew, const struct sm_repair *repair)
{
    struct sm_materials one;
    struct sm_error err = {0};
    if (sm_schedule__materials(&one, crew->s, repair, &err)) {
        add_cut_and_mix(crew, &one);
        return;
    }
    struct sm_text words = {0};
    sm_text_addf(&words, "Mat and resin cannot be worked out: %s.", err.text);
    sm_schedule__crew_words(crew, sm_text_str(&words));
    sm_schedule__drop(&words, &crew->has_failed);
}
