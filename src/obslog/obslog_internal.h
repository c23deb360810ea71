/* What the log readers share: the registry, the log under construction, the meaning of single fields. */
#ifndef STOPMARK_OBSLOG_INTERNAL_H
#define STOPMARK_OBSLOG_INTERNAL_H

#include "stopmark/obslog.h"

#include <math.h>

/** Limits of what is taken from a file. */
enum {
    SM_OBSLOG_LIMIT_BYTES = 256 << 20,
    SM_OBSLOG_LIMIT_ROWS = 2000000,
    SM_OBSLOG_LIMIT_INSPECTIONS = 500000,
};

/** Bytes to read; nothing is read beyond n. */
struct sm_obslog_input {
    const char *data;
    size_t n;
    const char *source; /**< never NULL */
    enum sm_unit unit;  /**< of distances without one */
};

#define SM_OBSLOG_NONE SIZE_MAX
/** What belongs to one inspection, among the entries or findings of all: each knows the next. */
struct sm_obslog_chain {
    size_t first, last; /**< SM_OBSLOG_NONE = empty */
};
/** An inspection of a file: what its header says, and which entries and findings are its. */
struct sm_obslog_part {
    struct sm_obslog_inspection head;
    struct sm_obslog_chain entries, findings;
    size_t n_entries;
    size_t n_distances, n_feet; /**< of its rows: with a distance, with one in feet */
    size_t n_times, n_may_be_hours,
        n_may_be_hmmss;   /**< with a time, with one that could mean something else */
    size_t n_past_minute; /**< of the last: those from 100 on, where the two meanings part */
};
struct sm_obslog_file_entry {
    struct sm_log_entry entry;
    size_t next;
};
struct sm_obslog_file {
    struct sm_arena *arena; /**< of all strings but those of findings */
    const char *source, *format;
    struct sm_obslog_part *part;
    size_t n_parts, parts_capacity;
    struct sm_obslog_file_entry *entry; /**< in file order */
    size_t n_entries, entries_capacity;
    struct sm_findings findings; /**< in the order they were made */
    size_t *next_finding;        /**< of each of these */
    size_t next_capacity;
    struct sm_obslog_chain of_all; /**< findings that every inspection is told */
    size_t n_rows;                 /**< data rows of all inspections */
    struct sm_error broken;        /**< why and where the file broke off; status SM_OK = it did not */
};

/** A file under construction. */
struct sm_obslog_build {
    const struct sm_obslog_input *input;
    struct sm_obslog_file *file;
    struct sm_arena *arena; /**< the file's */
    size_t current_idx;     /**< inspection that rows go to */
    size_t owner_idx;       /**< inspection that findings go to; n_parts = the one that begins next */
    struct sm_obslog_chain upcoming; /**< findings of that one */
};

/** A format. probe returns how sure it is, 0 = not mine; the surest reads. */
struct sm_obslog_reader {
    const char *name;
    int (*probe)(const struct sm_obslog_input *input);
    enum sm_status (*read)(struct sm_obslog_build *build, struct sm_error *err);
};
extern const struct sm_obslog_reader sm_obslog__csv, sm_obslog__en13508, sm_obslog__isybau, sm_obslog__m150;

/** Does a text (ASCII) stand among the first bytes, in UTF-8 or UTF-16? */
bool sm_obslog__xml_has(const struct sm_obslog_input *input, const char *text);

/* ---- the file
 * ---------------------------------------------------------------------------------------------- */

/** An empty one. @return NULL = no memory. */
struct sm_obslog_file *sm_obslog__file_new(const char *source);
/** Copies every string of an inspection; an empty one counts as not said. */
enum sm_status sm_obslog__copy_inspection(struct sm_arena *arena,
                                          struct sm_obslog_inspection *inspection) SM_CHECKED;
/** What was found about an inspection still to come, when none did, is told by the last. */
void sm_obslog__settle(struct sm_obslog_build *build);

/* ---- building
 * ---------------------------------------------------------------------------------------------- */

/** An inspection with nothing known. */
struct sm_obslog_inspection sm_obslog__inspection_none(uint32_t line);
/** What is found from now on is about the inspection that is going to begin. */
void sm_obslog__announce(struct sm_obslog_build *build);
/** Begin an inspection, which rows and findings go to from now on. Strings are copied. */
enum sm_status sm_obslog__begin(struct sm_obslog_build *build, const struct sm_obslog_inspection *inspection,
                                struct sm_error *err) SM_CHECKED;
/** Count a data row of the inspection that is current. */
void sm_obslog__count_row(struct sm_obslog_build *build);
/** Go on with an inspection begun before (index in the order of sm_obslog__begin()). */
void sm_obslog__resume(struct sm_obslog_build *build, size_t inspection_idx);
/** An entry with nothing known. */
struct sm_log_entry sm_obslog__entry_none(uint32_t line);
/** Append a copy; strings must live in build->arena (or be literals). NULL strings become "". */
enum sm_status sm_obslog__add(struct sm_obslog_build *build, const struct sm_log_entry *entry,
                              struct sm_error *err) SM_CHECKED;
/** Something odd in the row that is going to be the next entry. */
enum sm_status sm_obslog__odd(struct sm_obslog_build *build, uint32_t line, const char *fmt, ...) SM_CHECKED
    SM_PRINTF(3, 4);
/** Something odd about an entry of the current inspection that is there already. */
enum sm_status sm_obslog__odd_entry(struct sm_obslog_build *build, uint32_t line, int32_t entry_idx,
                                    enum sm_severity severity, const char *fmt, ...) SM_CHECKED
    SM_PRINTF(5, 6);
/** log_order.c: what is odd about the order of an inspection's rows. */
enum sm_status sm_obslog__check_order(struct sm_obslog_build *build, size_t part_idx) SM_CHECKED;
/** A row that could not be used. */
enum sm_status sm_obslog__lost(struct sm_obslog_build *build, uint32_t line, const char *fmt, ...) SM_CHECKED
    SM_PRINTF(3, 4);
/** As sm_obslog__odd() about the inspection, not about one row of it. */
enum sm_status sm_obslog__note(struct sm_obslog_build *build, uint32_t line, const char *fmt, ...) SM_CHECKED
    SM_PRINTF(3, 4);
/** Something about the file that every inspection of it should know; a handful a file at most. */
enum sm_status sm_obslog__note_all(struct sm_obslog_build *build, uint32_t line, enum sm_severity severity,
                                   const char *fmt, ...) SM_CHECKED SM_PRINTF(4, 5);
/** The file broke off: told to those inspections that have rows, an error for the others. */
enum sm_status sm_obslog__broken(struct sm_obslog_build *build, uint32_t line, uint32_t column,
                                 const char *why) SM_CHECKED;
/** The current inspection. */
struct sm_obslog_part *sm_obslog__part(const struct sm_obslog_build *build);
/** Path of a file named in the log, as opened; NULL when memory runs out. */
const char *sm_obslog__beside(struct sm_obslog_build *build, const char *name);
enum sm_status sm_obslog__no_memory(struct sm_error *err);

/* ---- fields
 * ------------------------------------------------------------------------------------------------ */

/** Fields of an entry as text, however the format spells them. NULL and "" = none. */
struct sm_obslog_fields {
    const char *time, *distance, *code, *ch1, *ch2, *q1, *q2, *clock_from, *clock_to, *continuous, *joint,
        *diameter, *remark, *photo, *group;
    const char *time_unit, *distance_unit, *q1_unit, *q2_unit,
        *diameter_unit; /**< of bare numbers, "" = none said */
};
/**
 * Turn fields into an entry and add it: odd values become findings and the rest is kept; a row without code,
 * or without time and distance, becomes a finding.
 */
enum sm_status sm_obslog__add_fields(struct sm_obslog_build *build, uint32_t line,
                                     const struct sm_obslog_fields *fields, struct sm_error *err) SM_CHECKED;

/** A time as written, and what else it could mean. */
struct sm_obslog_time {
    double time_s;
    int32_t frames;    /**< of H:MM:SS:FF */
    bool may_be_hours; /**< two parts, taken as MM:SS, that would do as HH:MM */
    bool may_be_hmmss; /**< a bare whole number, taken as seconds, that would do as (H)MMSS */
};
/** H:MM:SS[.s], H:MM:SS:FF, MM:SS[.s], seconds; "9:30:15 pm"; a date before it is passed over. */
bool sm_obslog__parse_time(struct sm_obslog_time *out, const char *text, const char *unit);
/** (H)MMSS without separators, read from the right: 538 = 5:38. @return false when minutes or seconds are
 * above 59. */
bool sm_obslog__parse_hmmss(int64_t number, double *time_s);
/** "14.03.2031", "2031/3/14" as 2031-03-14; anything else as it is. */
void sm_obslog__tidy_date(char *dst, size_t size, const char *text);
/** A length along the run. */
struct sm_obslog_length {
    double length_m;
    double digit_m; /**< size of the last digit it is written with */
    enum sm_unit unit;
};
bool sm_obslog__parse_distance(struct sm_obslog_length *out, const char *text, const char *unit);
/** "12", "03", "12:00", "9 Uhr", "12-3", "12 to 3". to_h stays 0 for a single position. is_rounded: minutes
 * were dropped. */
bool sm_obslog__parse_clock(const char *text, int32_t *from_h, int32_t *to_h, bool *is_rounded);
/** "A1" "S01" start, "B1" "F01" end, "C1" change. */
bool sm_obslog__parse_continuous(const char *text, enum sm_continuous *continuous, int32_t *id);
/** Pipe material in words for the letters of EN 13508-2 (ACD); letters that are not known stay as they are.
 */
const char *sm_obslog__material_en(const char *letters);
/** As before for the short names of the German exchange formats (STZ, B, PVCU). */
const char *sm_obslog__material_short(const char *name);
/** The letters or short name of a material in words; NULL = none. */
const char *sm_obslog__material_en_of(const char *words);
const char *sm_obslog__material_short_of(const char *words);
/** Yes or no in English or German, or the standard's A. */
bool sm_obslog__parse_yes_no(const char *text, bool *yes);
/** A quantification; lengths with a unit become mm. is_bound: "<" or ">" or a range was written, the greater
 * end is taken. */
bool sm_obslog__parse_value(const char *text, const char *unit, double *value, bool *is_bound);

/* ---- writing
 * ----------------------------------------------------------------------------------------------- */

/** An entry that cannot be written: a finding where findings are taken, else an error. */
enum sm_status sm_obslog__leave_out(const struct sm_obslog *log, size_t entry_idx, const char *why,
                                    struct sm_findings *findings, struct sm_error *err) SM_CHECKED;
/** "A", "B", "C" of a continuous mark, "" for none. */
const char *sm_obslog__continuous_letter(enum sm_continuous continuous);

#endif
