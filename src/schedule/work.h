/*
 * What the work takes, as numbers and in words for all documents: mat and resin, what is in the way, the day,
 * and the other end.
 */
#ifndef STOPMARK_SCHEDULE_WORK_H
#define STOPMARK_SCHEDULE_WORK_H

#include "schedule_internal.h"
#include "stopmark/engineering.h"
#include "stopmark/plan.h"

/* Mat and resin of one repair. @return false when they cannot be worked out, with the reason in err. */
bool sm_schedule__materials(struct sm_materials *one, const struct sm_schedule *s,
                            const struct sm_repair *repair, struct sm_error *err);
/* What to load for the segment, the sheet's spares included. @return likewise. */
bool sm_schedule__materials_to_load(struct sm_materials *sum, const struct sm_schedule *s,
                                    struct sm_error *err);
/* Spares of a kit to load: those of the sheet for the longest liner of the plan, 0 for all others. */
int sm_schedule__spares_of_kit(const struct sm_schedule *s, size_t kit_idx);

/* Amounts in the crew's unit: litres and kilograms, or fluid ounces, gallons and pounds. */
void sm_schedule__add_volume(struct sm_text *text, const struct sm_schedule *s, double volume_l);
/* One of several amounts that stand together, all in the unit of the largest. */
void sm_schedule__add_volume_of(struct sm_text *text, const struct sm_schedule *s, double volume_l, double largest_l);
void sm_schedule__add_mass(struct sm_text *text, const struct sm_schedule *s, double mass_kg);
/* `2 mats of 0.60 m x 0.66 m`. Widths are rounded up: a mat too narrow leaves the pipe bare. */
void sm_schedule__add_mats(struct sm_text *text, const struct sm_schedule *s, const struct sm_materials *one);
/* `or one 1.28 m wide, wound twice`; nothing for a single layer. */
void sm_schedule__add_wound(struct sm_text *text, const struct sm_schedule *s,
                            const struct sm_materials *one);
/* `wall of 2 layers 3.13 mm; needed 3 mm, 2 layers`: what the kit gives beside what the sheet's mat asks for.
 * @return false: the kit gives less, and the words say so. */
bool sm_schedule__add_wall(struct sm_text *text, const struct sm_schedule *s, const struct sm_materials *one);
/* Layers that the sheet's mat asks for; 0 = it cannot be told. */
int sm_schedule__layers_needed(const struct sm_schedule *s);
/* `A 1.07 l + B 0.53 l` */
void sm_schedule__add_mix(struct sm_text *text, const struct sm_schedule *s, const struct sm_materials *one);

/* What lies in the way of a repair but what it covers itself. @param passage [new] of passages in arena.
 * @return how many. */
size_t sm_schedule__passages(const struct sm_passage **passage, struct sm_arena *arena,
                             const struct sm_schedule *s, const struct sm_repair *repair, bool *has_failed);

/* The plan of the day; NULL when nothing is known of the cure, by far the longest of all steps. Free it. */
struct sm_day_plan *sm_schedule__day(const struct sm_schedule *s, bool *has_failed);
/* Minutes as h:mm, up to the whole minute, or down for a moment that must not be passed. */
void sm_schedule__add_clock_up(struct sm_text *text, double minutes);
void sm_schedule__add_clock_down(struct sm_text *text, double minutes);

/* Why the other end would be the better one to work from: fewer doubtful passages, a shorter push, or more
 * repairs within the working time. Nothing when it would not. */
void sm_schedule__add_other_end(struct sm_text *text, const struct sm_schedule *s, bool *has_failed);

/* "work" of schedule.json: of a repair, and of the whole. */
void sm_schedule__json_repair_work(struct sm_json *json, const struct sm_schedule *s,
                                   const struct sm_repair *repair);
void sm_schedule__json_work(struct sm_json *json, const struct sm_schedule *s);

#endif
