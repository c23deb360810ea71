/**
 * @file base.h
 * Ground floor: status codes, errors, checked memory, growable text, locale-free numbers, quantities with units, CSV
 * and JSON text, files. Nothing here knows what a pipe is. No function prints, exits, or reads the locale or the clock.
 */
#ifndef STOPMARK_BASE_H
#define STOPMARK_BASE_H

#include <math.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#ifdef __GNUC__
#define SM_CHECKED __attribute__((warn_unused_result))
#define SM_PRINTF(fmt_idx, arg_idx) __attribute__((format(printf, fmt_idx, arg_idx)))
#else
#define SM_CHECKED
#define SM_PRINTF(fmt_idx, arg_idx)
#endif

/** Version of this build, "1.2.3". Never NULL. */
const char *sm_version(void);

/** "Not known" in every double; NAN itself is a float, which -Wdouble-promotion minds. */
#define SM_NAN ((double)NAN)
#define SM_INFINITY ((double)INFINITY)

/* ---- status and error -------------------------------------------------------------------------------------- */

/** Outcome of every call that can fail: 0 or negative. */
enum sm_status {
    SM_OK = 0,
    SM_E_NOMEM = -1,       /**< memory could not be had */
    SM_E_IO = -2,          /**< a file could not be read or written */
    SM_E_FORMAT = -3,      /**< the content is not what its format says */
    SM_E_RANGE = -4,       /**< a value is outside what makes sense */
    SM_E_UNSUPPORTED = -5, /**< well-formed, but nothing here handles it */
    SM_E_NOTFOUND = -6,    /**< what was asked for is not there */
    SM_E_CONFLICT = -7,    /**< contradicts what is already there */
    SM_E_CANCELLED = -8,   /**< the caller asked to stop */
    SM_E_INFEASIBLE = -9,  /**< no answer satisfies the rules */
};

/**
 * What went wrong, told to the person who can mend it. The caller owns it and may pass NULL wherever one is taken.
 * Filled only on failure, by whoever noticed first; passed on unchanged by everyone above.
 */
struct sm_error {
    enum sm_status status;
    uint32_t line;    /**< 1-based line in source, 0 = none */
    uint32_t column;  /**< 1-based column, 0 = none */
    char source[256]; /**< file or stream name; of a long one the tail is kept */
    char text[320];   /**< one line, no full stop: what is wrong and the value seen */
    char remedy[256]; /**< one line: what to do about it; may be empty */
};

/** Name of a status in lower case words ("out of memory"). Never NULL. */
const char *sm_status_text(enum sm_status status);

/** Fill err (may be NULL) with a status and a formatted text; place and remedy are cleared. @return status. */
enum sm_status sm_error_set(struct sm_error *err, enum sm_status status, const char *fmt, ...) SM_PRINTF(3, 4);

/** As sm_error_set(), with the place in a source. line and column 0 = unknown; source may be NULL. */
enum sm_status sm_error_at(struct sm_error *err, enum sm_status status, const char *source, uint32_t line,
                           uint32_t column, const char *fmt, ...) SM_PRINTF(6, 7);

/** Add the remedy to an error already set. err may be NULL. @return err->status or SM_E_FORMAT when err is NULL: where
 *  callers tell statuses apart, return your own. */
enum sm_status sm_error_remedy(struct sm_error *err, const char *fmt, ...) SM_PRINTF(2, 3);

/** Give the error a source where it has none yet. */
void sm_error_source(struct sm_error *err, const char *source);

/* ---- memory ------------------------------------------------------------------------------------------------ */

/** Zeroed memory for n items of size bytes; NULL on overflow or when none can be had. Free with sm_free(). */
void *sm_calloc(size_t n, size_t size) SM_CHECKED;
/** As realloc() for n items of size bytes; on failure NULL and the old block stays valid. */
void *sm_realloc(void *block, size_t n, size_t size) SM_CHECKED;
void sm_free(void *block);
/** Copy of a string; NULL when memory runs out. Free with sm_free(). */
char *sm_strdup(const char *text) SM_CHECKED;

/**
 * Make room for one more item in a growable array.
 * @param items [inout] the array pointer's address; @param n items in use; @param capacity [inout]; @param size of one.
 */
enum sm_status sm_grow(void *items, size_t n, size_t *capacity, size_t size) SM_CHECKED;

/** Arena: many small pieces that live and die together (the strings of one result). */
struct sm_arena;
enum sm_status sm_arena_new(struct sm_arena **out) SM_CHECKED;
void sm_arena_free(struct sm_arena **arena); /**< frees all it gave out; sets NULL */
void *sm_arena_alloc(struct sm_arena *arena, size_t size) SM_CHECKED; /**< zeroed, aligned for any type; NULL = no memory */
char *sm_arena_strdup(struct sm_arena *arena, const char *text) SM_CHECKED;
char *sm_arena_strndup(struct sm_arena *arena, const char *text, size_t n) SM_CHECKED;
char *sm_arena_printf(struct sm_arena *arena, const char *fmt, ...) SM_CHECKED SM_PRINTF(2, 3);
char *sm_arena_vprintf(struct sm_arena *arena, const char *fmt, va_list args) SM_CHECKED SM_PRINTF(2, 0);

/**
 * A set of names with a number each, found in the same time however many there are. Zero-initialise. Names are borrowed and
 * must outlive it.
 */
struct sm_name_slot;
struct sm_names {
    struct sm_name_slot *slot;
    size_t n, capacity;
};
bool sm_names_find(const struct sm_names *names, const char *name, size_t *value); /**< *value stays where it is not there */
enum sm_status sm_names_set(struct sm_names *names, const char *name, size_t value) SM_CHECKED; /**< added, or its number changed */
void sm_names_release(struct sm_names *names);

/* ---- growable text ----------------------------------------------------------------------------------------- */

/**
 * Text under construction. Zero-initialise to start ({0}); data is NUL-terminated once anything was added, else NULL.
 * A failed addition sets failed and later ones do nothing, so that a writer checks once at its end.
 */
struct sm_text {
    char *data;
    size_t length, capacity;
    bool failed;
};
void sm_text_release(struct sm_text *text);
void sm_text_clear(struct sm_text *text); /**< empty, memory kept, failed reset */
void sm_text_add(struct sm_text *text, const char *s);
void sm_text_add_n(struct sm_text *text, const char *s, size_t n);
/** The bytes of a text file as UTF-8: its byte order mark dropped, UTF-16 (with its mark) converted, what is no valid UTF-8 taken as Windows-1252. */
void sm_text_add_decoded(struct sm_text *text, const char *data, size_t n);
void sm_text_addf(struct sm_text *text, const char *fmt, ...) SM_PRINTF(2, 3); /**< no floating point conversions: use sm_text_add_fixed() */
/** value with exactly decimals digits (0..30) after a point, whatever the locale; "-0.00" is written "0.00"; NaN and infinities add nothing. */
void sm_text_add_fixed(struct sm_text *text, double value, int decimals);
/** value rounded to max_decimals, trailing zeros dropped but at least min_decimals kept. */
void sm_text_add_number(struct sm_text *text, double value, int min_decimals, int max_decimals);
/** s with & < > " ' written as entities, control characters other than tab and newline as U+FFFD, invalid UTF-8 likewise. */
void sm_text_add_html(struct sm_text *text, const char *s);
const char *sm_text_str(const struct sm_text *text); /**< never NULL */

/* ---- numbers, locale-free ---------------------------------------------------------------------------------- */

/**
 * Read a decimal number ("-12.5", "12,5" when comma is true, ".5", "1e3" only when exponent is true).
 * @param end set to the first character not taken. @return false when no number stands there (value untouched).
 */
bool sm_scan_number(const char *s, bool comma, bool exponent, double *value, const char **end);
/** The whole string (blanks around it allowed) is one number, decimal point or decimal comma. */
bool sm_parse_number(const char *s, double *value);
/** The whole string is one whole number within [least, greatest]. */
bool sm_parse_int(const char *s, int64_t least, int64_t greatest, int64_t *value);

/* ---- quantities with units --------------------------------------------------------------------------------- */

enum sm_quantity {
    SM_LENGTH,      /**< metres: m cm mm km um in ft yd ' " mil; "12 ft 6 in", "12' 6\"", 1 ft = 0.3048 m exactly */
    SM_TIME,        /**< seconds: s min h; also H:MM:SS[.s] and MM:SS */
    SM_TEMPERATURE, /**< degrees C: C F K, with or without a degree sign */
    SM_PRESSURE,    /**< kPa: kPa Pa MPa GPa bar mbar psi ksi, "m water" "ft water" */
    SM_MASS,        /**< kg: kg g lb oz t */
    SM_VOLUME,      /**< litres: l ml m3 gal(US) qt(US) floz(US) */
    SM_DENSITY,     /**< kg/m3: kg/m3 pcf lb/ft3 kN/m3 (as weight at 9.80665 m/s2) g/cm3 kg/l */
    SM_AREA_MASS,   /**< kg/m2: kg/m2 g/m2 oz/yd2 oz/ft2 */
    SM_SPEED,       /**< m/s: m/s m/min ft/min ft/s cm/s */
    SM_ANGLE,       /**< degrees: deg, degree sign */
    SM_FRACTION,    /**< 0..1: "5 %", "0.05" */
    SM_PLAIN,       /**< no unit */
};
/**
 * Read "43.80 m", "48in", "12 C", "0.5 %" into the kind's own unit. Blanks between number and unit are free; decimal
 * point or comma. Without a unit the number is taken in default_unit (NULL: a unit is required; "" : the kind's own).
 * @return SM_OK; SM_E_FORMAT no number; SM_E_UNSUPPORTED unknown unit; SM_E_RANGE not finite. Only text and remedy of err are set.
 */
enum sm_status sm_parse_quantity(const char *s, enum sm_quantity kind, const char *default_unit, double *value,
                                 struct sm_error *err) SM_CHECKED;
/** Metres in feet and inches as a tape shows them: `12' 6 3/8"`, to 1/denominator inch (1, 2, 4, 8, 16), rounded half up. */
void sm_text_add_feet_inches(struct sm_text *text, double length_m, int denominator);

#define SM_M_PER_FT 0.3048
#define SM_KPA_PER_PSI 6.894757293168361

/* ---- strings ----------------------------------------------------------------------------------------------- */

bool sm_ascii_ieq(const char *a, const char *b); /**< equal, ASCII case ignored */
/** s without blanks at both ends, in place. @return its first character. */
char *sm_trim(char *s);
/** Length of the valid UTF-8 sequence at s (1..4), 0 when invalid or at the end. */
size_t sm_utf8_len(const char *s);
bool sm_utf8_valid(const char *s, size_t n);
/** Copy src to dst (size bytes, always terminated), cutting at a character boundary. @return false when cut. */
bool sm_strcopy(char *dst, size_t size, const char *src);
/** Make text, which may quote a field file, one line that drives no terminal: control characters and bytes that are no UTF-8 become '?', in place. */
void sm_clean_line(char *text);

/**
 * Copy src as a key is compared: ASCII and Latin-1 letters in lower case, umlauts as two letters (ae oe ue ss), runs of
 * blanks, '_' and '-' as one blank, none at the ends. "Set_Up  cost" and "set-up cost" come out alike. Cut at size.
 */
void sm_key_fold(char *dst, size_t size, const char *src);
/**
 * The word of a list that a mistyped one most likely stands for (fewest letters changed, swapped, missing or too many).
 * @return [borrow] an item of list; NULL when none is near (more than a third of the letters differ).
 */
const char *sm_nearest_word(const char *word, const char *const *list, size_t n);
/**
 * Split the head of a table column into a folded name (sm_key_fold) and the unit it carries: "Distance [ft]",
 * "length (mm)", "length_mm". unit is "" where there is none and keeps its letters' case.
 */
void sm_column_split(const char *head, char *name, size_t name_size, char *unit, size_t unit_size);

/* ---- files ------------------------------------------------------------------------------------------------- */

/**
 * Read a whole regular file. @param out [new] bytes followed by a NUL that n does not count; free with sm_free().
 * @return SM_OK; SM_E_IO (missing, not a regular file, unreadable); SM_E_RANGE larger than limit_bytes; SM_E_NOMEM.
 */
enum sm_status sm_file_read(char **out, size_t *n, const char *path, size_t limit_bytes, struct sm_error *err) SM_CHECKED;
/** The first bytes of a file, at most n_most of them. @param out [new] as sm_file_read(). */
enum sm_status sm_file_read_head(char **out, size_t *n, const char *path, size_t n_most, struct sm_error *err) SM_CHECKED;
/** What stands in for sm_file_read() where files come from elsewhere. */
typedef enum sm_status sm_read_fn(void *user, char **out, size_t *n, const char *path, size_t limit_bytes, struct sm_error *err);
/** Write a file whole or not at all: a temporary beside it, fsync, rename. Only then does path change. */
enum sm_status sm_file_write(const char *path, const void *data, size_t n, struct sm_error *err) SM_CHECKED;
/** Make a folder and its parents. An existing folder is fine. */
enum sm_status sm_dir_make(const char *path, struct sm_error *err) SM_CHECKED;
/** Path of name as seen from the folder that holds base_file; an absolute name stays. */
enum sm_status sm_path_beside(struct sm_text *out, const char *base_file, const char *name) SM_CHECKED;
/** SHA-256 of a file as 64 lower-case hex digits and NUL. @source FIPS 180-4. */
enum sm_status sm_file_sha256(const char *path, char hex[65], struct sm_error *err) SM_CHECKED;
void sm_sha256(const void *data, size_t n, char hex[65]);

/* ---- CSV --------------------------------------------------------------------------------------------------- */

/**
 * Table out of CSV text (RFC 4180 and what spreadsheets make of it): BOM, LF/CRLF/CR, quotes with doubled quotes and
 * line breaks inside, separator , ; or tab found by content. Rows keep their own number of fields. Fields are trimmed
 * of blanks outside quotes. Text is taken as sm_text_add_decoded() takes it.
 */
struct sm_csv;
struct sm_csv_row {
    uint32_t line;            /**< 1-based line on which the row starts */
    size_t n_fields;
    const char *const *field; /**< n_fields strings, owned by the table */
};
/**
 * @param out [new] free with sm_csv_free(). @param separator 0 = find it.
 * @return SM_E_FORMAT for a quote that never ends (line of its start) or a NUL byte; SM_E_RANGE over limits (1e6 rows, 1000 fields in one).
 */
enum sm_status sm_csv_parse(struct sm_csv **out, const char *data, size_t n, char separator, const char *source,
                            struct sm_error *err) SM_CHECKED;
void sm_csv_free(struct sm_csv **csv);
size_t sm_csv_n_rows(const struct sm_csv *csv); /**< rows that are not wholly empty, header included */
struct sm_csv_row sm_csv_row(const struct sm_csv *csv, size_t row_idx);
char sm_csv_separator(const struct sm_csv *csv);
/** Add one field to CSV text, quoted where needed; a leading = + - @ tab CR that is no number gets a ' first, so that no spreadsheet runs it. */
void sm_text_add_csv(struct sm_text *text, const char *field);

/* ---- JSON out ---------------------------------------------------------------------------------------------- */

/** Writer of indented JSON; commas, quotes and escapes are its business. Zero-initialise with out set. Keys NULL inside arrays. */
struct sm_json {
    struct sm_text *out;
    int depth;
    bool has_item[32]; /**< a value was already written at this depth; at most 31 deep */
    bool is_compact[32];
};
void sm_json_open(struct sm_json *json, const char *key, char bracket);         /**< '{' or '[' */
void sm_json_open_compact(struct sm_json *json, const char *key, char bracket); /**< on one line, with all inside */
void sm_json_close(struct sm_json *json, char bracket);                         /**< '}' or ']'; the outermost also writes the last line's end */
void sm_json_string(struct sm_json *json, const char *key, const char *value);  /**< NULL writes null; invalid UTF-8 is replaced */
void sm_json_fixed(struct sm_json *json, const char *key, double value, int decimals);    /**< NaN and infinities write null */
void sm_json_number(struct sm_json *json, const char *key, double value, int max_decimals); /**< trailing zeros dropped */
void sm_json_int(struct sm_json *json, const char *key, int64_t value);
void sm_json_bool(struct sm_json *json, const char *key, bool value);
void sm_json_null(struct sm_json *json, const char *key);

/* ---- messages ---------------------------------------------------------------------------------------------- */

enum sm_log_level { SM_LOG_NOTE, SM_LOG_WARNING };
typedef void sm_log_fn(void *user, enum sm_log_level level, const char *message);
/** Progress of a long call: done and total in the call's own unit (seconds of video, files). Return false to cancel. */
typedef bool sm_progress_fn(void *user, double done, double total);

#endif
