/* What the parts of the sheet reader share. */
#ifndef STOPMARK_SHEET_INTERNAL_H
#define STOPMARK_SHEET_INTERNAL_H

#include "stopmark/sheet.h"

/* ---- INI text
 * ---------------------------------------------------------------------------------------------- */

/** One line that says something. section is "" before the first [section]. Strings live during the call only.
 */
struct sm_ini_line {
    uint32_t line;
    bool is_section; /**< "[section]": key and value are empty */
    const char *section, *key;
    char *value; /**< comment cut off, trimmed, quotes still on; may be changed in place */
};
typedef enum sm_status sm_ini_fn(void *user, const struct sm_ini_line *line, struct sm_error *err);

/**
 * Walk INI text line by line: UTF-8 with or without BOM, LF, CRLF or CR, '#' and ';' comments (also behind a
 * value, after a blank), values in double quotes taken as they stand.
 * @return SM_OK; SM_E_FORMAT with line and column; what fn returned.
 */
enum sm_status sm_sheet__ini_walk(const char *text, size_t n, const char *source, sm_ini_fn *fn, void *user,
                                  struct sm_error *err) SM_CHECKED;
/** Take the quotes off a value, in place ("" inside is one quote). @return false for a quote without its
 * mate. */
bool sm_sheet__unquote(char *value);
/** Cut the next item off a comma list, quotes taken off; *rest NULL at the end. Empty items come as "". */
char *sm_sheet__next_item(char **rest);

/* ---- keys and values
 * --------------------------------------------------------------------------------------- */

/** Where a value stands and what the walk has seen so far. */
struct sm_sheet_walk {
    struct sm_sheet *sheet;
    uint32_t line;             /**< of the value in hand, 0 = given with sm_sheet_set() */
    uint32_t bare_length_line; /**< first length along the pipe without a unit, 0 = none */
    uint32_t *seen_line;       /**< per key: line it stands on, 0 = not yet; NULL = not watched */
    bool is_section_known;
};

/** Number of keys in the table; one sm_sheet_walk.seen_line each. */
size_t sm_sheet__n_keys(void);
/** Index of a key, -1 when there is none. section NULL: any section that has the key, -2 when several have.
 */
int sm_sheet__find_key(const char *section, const char *key);
bool sm_sheet__is_section(const char *section);
/** Nearest known section, or key of a section (section NULL: "section.key" of any); NULL = none near. */
const char *sm_sheet__nearest_section(const char *section);
const char *sm_sheet__nearest_key(const char *section, const char *key);
/** Section of the first key of that name, NULL = none. */
const char *sm_sheet__section_of(const char *key);
/** Defaults of every key into a zeroed sheet with its arena. */
enum sm_status sm_sheet__set_defaults(struct sm_sheet_walk *walk, struct sm_error *err) SM_CHECKED;
/** Set one key from text. An empty value means "left out". On failure the sheet is unchanged; text and remedy
 * of err only. */
enum sm_status sm_sheet__set_key(struct sm_sheet_walk *walk, int key_idx, char *value,
                                 struct sm_error *err) SM_CHECKED;
/** Set one tie. Another with the same reading is replaced. */
enum sm_status sm_sheet__set_tie(struct sm_sheet_walk *walk, const char *reading, char *value,
                                 struct sm_error *err) SM_CHECKED;
/** Set one decision of a person ("O3" or "O3 BAB" = "treatment, reason"); an empty value takes it away. */
enum sm_status sm_sheet__set_decision(struct sm_sheet_walk *walk, const char *key, char *value,
                                      struct sm_error *err) SM_CHECKED;
/** A length along the pipe was written without a unit: a finding, or an error where the counter shows feet.
 */
enum sm_status sm_sheet__bare_length(struct sm_sheet_walk *walk, const char *what, const char *value,
                                     struct sm_error *err) SM_CHECKED;
/** A finding at walk->line of the sheet. */
enum sm_status sm_sheet__note(struct sm_sheet_walk *walk, const char *fmt, ...) SM_CHECKED SM_PRINTF(2, 3);

/* ---- tables
 * ------------------------------------------------------------------------------------------------ */

/** Read the kits file the sheet names and the cure table; both replace what the sheet holds. */
enum sm_status sm_sheet__read_kits(struct sm_sheet *sheet, struct sm_error *err) SM_CHECKED;

enum { SM_SHEET_LIMIT_BYTES = 4 << 20, SM_SHEET_TABLE_LIMIT_BYTES = 16 << 20 };

#endif
