/*
 * What the writers of the schedule share: facts looked up from the stages' results, and the words and lengths
 * as people read them. Everything here borrows from the struct sm_schedule it is given.
 */
#ifndef STOPMARK_SCHEDULE_INTERNAL_H
#define STOPMARK_SCHEDULE_INTERNAL_H

#include "stopmark/schedule.h"

#define SM_UM_PER_M 1e6

/* ---- facts ---- */

double sm_schedule__um_to_m(int64_t length_um);
double sm_schedule__repair_start_m(const struct sm_repair *repair);
double sm_schedule__repair_end_m(const struct sm_repair *repair);
double sm_schedule__repair_stop_m(const struct sm_repair *repair);
/** Largest position error among the observations a repair covers; NAN = none of them has one. */
double sm_schedule__repair_error_m(const struct sm_schedule *s, const struct sm_repair *repair);
/** Is one of the observations it covers flagged as doubtful? */
bool sm_schedule__repair_is_doubtful(const struct sm_schedule *s, const struct sm_repair *repair);
const struct sm_kit *sm_schedule__kit(const struct sm_schedule *s, const struct sm_repair *repair);
/** Repairs of the plan made with a kit. */
int sm_schedule__n_of_kit(const struct sm_schedule *s, size_t kit_idx);
/** NULL = no target. */
const struct sm_target *sm_schedule__target(const struct sm_schedule *s, size_t observation_idx);
/** Is it an opening that liners keep clear of? */
bool sm_schedule__is_opening(const struct sm_observation *observation);
/** Does it take up a stretch worth telling? An opening is told by its middle. */
bool sm_schedule__has_extent(const struct sm_observation *observation);
/** Stretch kept clear of liners, the opening and keep clear each side; false for none or one without a place.
 */
bool sm_schedule__keep_clear(const struct sm_schedule *s, const struct sm_observation *observation,
                             double *start_m, double *end_m);
/** Reason why an observation stays unrepaired; NULL = it does not. */
const char *sm_schedule__unrepaired_reason(const struct sm_schedule *s, size_t observation_idx);
/** First repair that covers an observation; NULL = none. */
const struct sm_repair *sm_schedule__repair_of(const struct sm_schedule *s, size_t observation_idx);
const struct sm_observation *sm_schedule__observation(const struct sm_schedule *s, size_t observation_idx);
/** Findings of sheet, log, alignment and plan, in that order; NULL past the last. */
const struct sm_finding *sm_schedule__finding(const struct sm_schedule *s, size_t finding_idx);
bool sm_schedule__is_about(const struct sm_finding *finding, const struct sm_observation *observation);
/** The observation a finding is about; NULL = about none. */
const struct sm_observation *sm_schedule__finding_observation(const struct sm_schedule *s,
                                                              const struct sm_finding *finding);
/** The covered observation whose place is least sure (doubtful before others, then the largest error, then
 * the first); NULL = no repair rests on any. */
const struct sm_observation *sm_schedule__least_sure(const struct sm_schedule *s);
/** Flags that put the place in doubt, as against mere notes. */
bool sm_schedule__is_doubtful(const struct sm_observation *observation);
/** Does anything about it call for a look by a person? */
bool sm_schedule__is_flagged(const struct sm_observation *observation);
/** Unit of the readings on the picture. */
enum sm_unit sm_schedule__counter_unit(const struct sm_schedule *s);
const char *sm_schedule__flow_name(enum sm_flow flow); /**< as in a sheet; NULL = not said */
/** Access point the crew works from, and the other one. Never NULL. */
/* Name of one end, or words that tell it from the other. */
const char *sm_schedule__end_name(const struct sm_schedule *s, bool is_to);
/* "T12 \u2192 T13"; nothing when neither end has a name. */
void sm_schedule__add_run(struct sm_text *text, const struct sm_schedule *s);
const char *sm_schedule__crew_end(const struct sm_schedule *s);
const char *sm_schedule__far_end(const struct sm_schedule *s);
/** Distance of a place from the end the crew works from; NAN when that is the far end and the length is not
 * known. */
double sm_schedule__from_crew_m(const struct sm_schedule *s, double distance_m);

/* ---- words ---- */

/** `12.34 m`, or feet and inches as a tape shows them; "not known" for NAN. Fine enough for the placement
 * error. */
void sm_schedule__add_length(struct sm_text *text, const struct sm_schedule *s, double length_m);
/** As sm_schedule__add_length() without the unit of metres, for columns whose head names it; empty for NAN.
 */
void sm_schedule__add_cell_length(struct sm_text *text, const struct sm_schedule *s, double length_m);
/** An error: `0.06 m` or `2 3/8"`; rounded up, never down to nothing. */
void sm_schedule__add_error(struct sm_text *text, const struct sm_schedule *s, double error_m);
/** A length that may be used up: as sm_schedule__add_error(), but rounded down, never more than there is. */
void sm_schedule__add_allowance(struct sm_text *text, const struct sm_schedule *s, double length_m);
/** `0.60 m` or `2' 0"`, with the kit's whole digits kept. */
void sm_schedule__add_liner_length(struct sm_text *text, const struct sm_schedule *s, int64_t length_um);
/** Diameter: `200 mm` or `8 in`; "not known" for NAN. */
void sm_schedule__add_diameter(struct sm_text *text, const struct sm_schedule *s, double diameter_mm);
void sm_schedule__add_pressure(struct sm_text *text, const struct sm_schedule *s, double pressure_kpa);
/** A pressure that must be reached: rounded up. */
void sm_schedule__add_least_pressure(struct sm_text *text, const struct sm_schedule *s, double pressure_kpa);
void sm_schedule__add_temperature(struct sm_text *text, const struct sm_schedule *s, double temperature_c);
/** Reading as on the picture; nothing when there is none. */
void sm_schedule__add_reading(struct sm_text *text, const struct sm_schedule *s,
                              const struct sm_observation *observation);
/** Code with its characterisations: `BAB B C`. */
void sm_schedule__add_code(struct sm_text *text, const struct sm_observation *observation);
/** Meaning of the code in words, "" when no table says. Borrowed. */
const char *sm_schedule__meaning(const struct sm_schedule *s, const struct sm_observation *observation);
/** Clock position in words: `at 3`, `from 9 to 3`, `all round`; nothing when not logged. */
void sm_schedule__add_clock(struct sm_text *text, const struct sm_observation *observation);
/** Code, meaning, clock position and remark: `BAC B break, from 4 to 6 o'clock; piece gone`. */
void sm_schedule__add_what(struct sm_text *text, const struct sm_schedule *s,
                           const struct sm_observation *observation);
/** Names of the flags, as in files or as words a person reads. */
void sm_schedule__add_flag_names(struct sm_text *text, uint32_t flags, const char *separator);
void sm_schedule__add_flag_words(struct sm_text *text, uint32_t flags, const char *separator);
/** Ids of observations, `O1, O2`. */
void sm_schedule__add_ids(struct sm_text *text, const struct sm_schedule *s, const int32_t *idx, size_t n,
                          const char *separator);
/** Time in the video as `M:SS` or `H:MM:SS`, nothing for NAN. */
void sm_schedule__add_time(struct sm_text *text, double time_s);
void sm_schedule__add_money(struct sm_text *text, double amount);
/** One sentence naming the least sure number and what rests on it; nothing when no repair rests on any. */
void sm_schedule__add_least_sure(struct sm_text *text, const struct sm_schedule *s);
/** Where the distance comes from in a word or two: `picture`, `picture, inferred`, `log`, `-`. */
const char *sm_schedule__source_words(const struct sm_schedule *s, const struct sm_observation *observation);

/** Next of the items between ';' in *items, blanks round it left out; false when none is left. */
bool sm_schedule__next_item(const char **items, const char **item, size_t *n);

/** Release words that were under way; a failure is remembered in *has_failed, never taken back. */
void sm_schedule__drop(struct sm_text *words, bool *has_failed);

/** Empty words for the next, in the same way. */
void sm_schedule__clear(struct sm_text *words, bool *has_failed);

/** Outcome of a writer: SM_E_NOMEM when the text failed. */
enum sm_status sm_schedule__finish(const struct sm_text *text, struct sm_error *err);

/* ---- joined.c: what several runs saw ---- */

void sm_schedule__add_joined_json(struct sm_json *json, const struct sm_joined *joined);
void sm_schedule__print_joined(struct sm_text *out, const struct sm_schedule *schedule, int columns, bool utf8);

#endif
