/* One row of the table of keys, and what reads a value for it. */
#ifndef STOPMARK_SHEET_ROW_H
#define STOPMARK_SHEET_ROW_H

#include "sheet_internal.h"

enum sm_sheet__kind {
    SM_SHEET__KIND_TEXT,
    SM_SHEET__KIND_PATH,
    SM_SHEET__KIND_PATH_LIST,
    SM_SHEET__KIND_QUANTITY,
    SM_SHEET__KIND_NUMBER,
    SM_SHEET__KIND_COUNT, /* whole number; left out: -1 */
    SM_SHEET__KIND_WORD,
    SM_SHEET__KIND_YES_NO,
    SM_SHEET__KIND_CUSTOM
};

struct sm_sheet__word {
    const char *text; /* folded; NULL ends the list */
    unsigned value;
};

struct sm_sheet__row;
typedef enum sm_status sm_sheet__set_fn(struct sm_sheet_walk *walk, const struct sm_sheet__row *row,
                                        char *value, struct sm_error *err);

struct sm_sheet__row {
    const char *section, *key; /* as shown to people */
    enum sm_sheet__kind kind;
    size_t offset; /* into struct sm_sheet */
    const char *fallback, *help;
    enum sm_quantity quantity;
    const char *bare_unit;  /* unit of a value written without one; NULL = the unit must be written */
    double scale;           /* from the quantity's own unit to the field's */
    double least, greatest; /* allowed, in the quantity's own unit */
    double bare_least;      /* without a unit a value other than 0 below this is not believed; in bare_unit */
    const struct sm_sheet__word *words;
    sm_sheet__set_fn *set;
};

/* ---- keys */

/** The same key or word for people: case, blanks, '_' and '-' aside. */
bool sm_sheet__is_same_key(const char *a, const char *b);

/* ---- values of the common kinds */

/** Set the row's field from a value that is not empty. */
enum sm_status sm_sheet__set_value(struct sm_sheet_walk *walk, const struct sm_sheet__row *row, char *value,
                                   struct sm_error *err) SM_CHECKED;
/** What the field holds when the sheet says nothing. */
enum sm_status sm_sheet__clear_value(struct sm_sheet_walk *walk, const struct sm_sheet__row *row,
                                     struct sm_error *err) SM_CHECKED;
/** A bare number within the row's limits. */
enum sm_status sm_sheet__parse_number(double *out, const struct sm_sheet__row *row, const char *value,
                                      struct sm_error *err) SM_CHECKED;
void sm_sheet__put_number(struct sm_sheet *sheet, const struct sm_sheet__row *row, double value);
/** "1,200" can be 1.2 or 1200: not for a program to guess. */
enum sm_status sm_sheet__check_comma(const char *value, struct sm_error *err) SM_CHECKED;
/** A path as the program opens it, in the sheet's arena; NULL = no memory. */
const char *sm_sheet__resolve(struct sm_sheet *sheet, const char *name);

/* ---- values with a grammar of their own; an empty one means "left out" */

sm_sheet__set_fn sm_sheet__set_codes, sm_sheet__set_inspection, sm_sheet__set_box, sm_sheet__set_distance_error, sm_sheet__set_rate,
    sm_sheet__set_parts;

#endif
