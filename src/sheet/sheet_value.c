/*
 * Values of the common kinds: quantities with their units, numbers, words, paths. A setter works a value out
 * completely before it touches the sheet, so that a failure changes nothing.
 */
#include "sheet_row.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

/* ---- fields
 * ------------------------------------------------------------------------------------------------ */

/* Enumerations of the model are stored through unsigned; the words' values are all small and not negative. */
_Static_assert(sizeof(enum sm_flow) == sizeof(unsigned) && sizeof(enum sm_datum) == sizeof(unsigned),
               "enumerations are as wide as unsigned");

static void *field(struct sm_sheet *sheet, const struct sm_sheet__row *row)
{
    return (char *)sheet + row->offset;
}

void sm_sheet__put_number(struct sm_sheet *sheet, const struct sm_sheet__row *row, double value)
{
    memcpy(field(sheet, row), &value, sizeof value);
}

static enum sm_status no_memory(struct sm_error *err)
{
    return sm_error_set(err, SM_E_NOMEM, "out of memory");
}

static enum sm_status put_string(struct sm_sheet *sheet, const struct sm_sheet__row *row, const char *value,
                                 struct sm_error *err)
{
    const char *copy = *value ? sm_arena_strdup(sheet->arena, value) : NULL;
    if (*value && !copy) {
        return no_memory(err);
    }
    memcpy(field(sheet, row), &copy, sizeof copy);
    return SM_OK;
}

/* ---- values
 * ------------------------------------------------------------------------------------------------ */

enum sm_status sm_sheet__note(struct sm_sheet_walk *walk, const char *fmt, ...)
{
    char message[400];
    va_list args;
    va_start(args, fmt);
    vsnprintf(message, sizeof message, fmt, args);
    va_end(args);
    return sm_findings_add(&walk->sheet->findings, 0, SM_SEVERITY_WARNING, walk->sheet->path, walk->line,
                           SM_NAN, -1, "%s", message);
}

enum sm_status sm_sheet__check_comma(const char *value, struct sm_error *err)
{
    const char *comma = strchr(value, ',');
    if (!comma || comma == value || strspn(value, "0123456789+- ") != (size_t)(comma - value) ||
        strspn(comma + 1, "0123456789") != 3 || (comma == value + 1 && value[0] == '0')) {
        return SM_OK;
    }
    sm_error_set(err, SM_E_FORMAT, "the comma in \"%.40s\" can stand before decimals or between thousands",
                 value);
    return sm_error_remedy(err, "write a decimal point, and nothing between thousands");
}

static bool has_unit(const char *value)
{
    for (; *value; value++) {
        if (!strchr("0123456789.,+- \t", *value)) {
            return true;
        }
    }
    return false;
}

static enum sm_status range_error(const struct sm_sheet__row *row, const char *value, const char *unit,
                                  double scale, struct sm_error *err)
{
    struct sm_text limits = {0};
    sm_text_add_number(&limits, row->least * scale, 0, 3);
    sm_text_add(&limits, " to ");
    sm_text_add_number(&limits, row->greatest * scale, 0, 3);
    sm_text_addf(&limits, "%s%s", *unit ? " " : "", unit);
    sm_error_set(err, SM_E_RANGE, "%s = %.60s makes no sense", row->key, value);
    sm_error_remedy(err, "write a value from %s, or leave the key out", sm_text_str(&limits));
    sm_text_release(&limits);
    return SM_E_RANGE;
}

enum sm_status sm_sheet__bare_length(struct sm_sheet_walk *walk, const char *what, const char *value,
                                     struct sm_error *err)
{
    if (walk->line == 0 && walk->sheet->counter_unit == SM_UNIT_FT) {
        sm_error_set(err, SM_E_FORMAT, "%s %.40s has no unit, and the counter shows feet", what, value);
        return sm_error_remedy(err, "write %.40s m or %.40s ft", value, value);
    }
    if (walk->bare_length_line == 0) {
        walk->bare_length_line = walk->line;
    }
    return sm_sheet__note(walk, "%s %.60s has no unit, taken as m", what, value);
}

/* A bare number is taken in the key's unit and said so; where that can hardly be meant it is an error. */
static enum sm_status check_bare(struct sm_sheet_walk *walk, const struct sm_sheet__row *row,
                                 const char *value, double in_unit, struct sm_error *err)
{
    if (in_unit == 0) {
        return SM_OK;
    }
    if (fabs(in_unit) < row->bare_least) {
        sm_error_set(err, SM_E_FORMAT, "%s = %.60s has no unit, and %.60s %s can hardly be meant", row->key,
                     value, value, row->bare_unit);
        return sm_error_remedy(err, "write the unit: %.40s %s or %.40s m or %.40s in", value, row->bare_unit,
                               value, value);
    }
    if (strcmp(row->bare_unit, "m") == 0) {
        return sm_sheet__bare_length(walk, row->key, value, err);
    }
    return sm_sheet__note(walk, "%s = %.60s has no unit, taken as %s", row->key, value, row->bare_unit);
}

static const char *own_unit(const struct sm_sheet__row *row)
{
    switch (row->quantity) {
    case SM_LENGTH:
        return row->bare_unit ? row->bare_unit : "m";
    case SM_TIME:
        return "s";
    case SM_TEMPERATURE:
        return "C";
    case SM_PRESSURE:
    case SM_MASS:
    case SM_VOLUME:
    case SM_DENSITY:
    case SM_AREA_MASS:
    case SM_SPEED:
    case SM_ANGLE:
    case SM_FRACTION:
    case SM_PLAIN:
        break;
    }
    return "";
}

static enum sm_status set_quantity(struct sm_sheet_walk *walk, const struct sm_sheet__row *row,
                                   const char *value, struct sm_error *err)
{
    double number = 0;
    bool is_bare = !has_unit(value) && row->quantity == SM_LENGTH;
    enum sm_status status = sm_sheet__check_comma(value, err);
    if (status == SM_OK) {
        status = sm_parse_quantity(value, row->quantity, row->bare_unit, &number, err);
    }
    if (status != SM_OK) {
        return status;
    }
    double to_shown = strcmp(own_unit(row), "mm") == 0 ? 1000 : 1;
    if (number < row->least || number > row->greatest) {
        return range_error(row, value, own_unit(row), to_shown, err);
    }
    status = is_bare ? check_bare(walk, row, value, number * to_shown, err) : SM_OK;
    if (status == SM_OK) {
        sm_sheet__put_number(walk->sheet, row, number * row->scale);
    }
    return status;
}

enum sm_status sm_sheet__parse_number(double *out, const struct sm_sheet__row *row, const char *value,
                                      struct sm_error *err)
{
    double number;
    enum sm_status status = sm_sheet__check_comma(value, err);
    if (status != SM_OK) {
        return status;
    }
    if (!sm_parse_number(value, &number) || !isfinite(number)) {
        sm_error_set(err, SM_E_FORMAT, "%s = %.60s is no number", row->key, value);
        return sm_error_remedy(err, "write a number without a unit, for instance 400");
    }
    if (number < row->least || number > row->greatest) {
        return range_error(row, value, "", 1, err);
    }
    *out = number;
    return SM_OK;
}

static enum sm_status set_number(struct sm_sheet_walk *walk, const struct sm_sheet__row *row,
                                 const char *value, struct sm_error *err)
{
    double number;
    enum sm_status status = sm_sheet__parse_number(&number, row, value, err);
    if (status == SM_OK) {
        sm_sheet__put_number(walk->sheet, row, number);
    }
    return status;
}

static enum sm_status set_count(struct sm_sheet_walk *walk, const struct sm_sheet__row *row,
                                const char *value, struct sm_error *err)
{
    double number;
    enum sm_status status = sm_sheet__parse_number(&number, row, value, err);
    if (status == SM_OK && number != floor(number)) {
        sm_error_set(err, SM_E_FORMAT, "%s = %.60s is no whole number", row->key, value);
        return sm_error_remedy(err, "write a whole number, as in 4");
    }
    if (status == SM_OK) {
        int32_t count = (int32_t)number;
        memcpy(field(walk->sheet, row), &count, sizeof count);
    }
    return status;
}

static enum sm_status no_such_word(const struct sm_sheet__row *row, const char *value, struct sm_error *err)
{
    struct sm_text all = {0};
    for (const struct sm_sheet__word *word = row->words; word->text; word++) {
        sm_text_addf(&all, "%s%s", all.length ? ", " : "", word->text);
    }
    sm_error_set(err, SM_E_FORMAT, "%s = %.60s is none of the words it can be", row->key, value);
    sm_error_remedy(err, "write one of: %s", sm_text_str(&all));
    sm_text_release(&all);
    return SM_E_FORMAT;
}

static enum sm_status find_word(const struct sm_sheet__row *row, const char *value, unsigned *found,
                                struct sm_error *err)
{
    for (const struct sm_sheet__word *word = row->words; word->text; word++) {
        if (sm_sheet__is_same_key(word->text, value)) {
            *found = word->value;
            return SM_OK;
        }
    }
    return no_such_word(row, value, err);
}

static enum sm_status set_word(struct sm_sheet *sheet, const struct sm_sheet__row *row, const char *value,
                               struct sm_error *err)
{
    unsigned found;
    enum sm_status status = find_word(row, value, &found, err);
    if (status != SM_OK) {
        return status;
    }
    if (row->kind == SM_SHEET__KIND_YES_NO) {
        bool yes = found != 0;
        memcpy(field(sheet, row), &yes, sizeof yes);
    } else {
        memcpy(field(sheet, row), &found, sizeof found);
    }
    return SM_OK;
}

const char *sm_sheet__resolve(struct sm_sheet *sheet, const char *name)
{
    if (!sheet->path) {
        return sm_arena_strdup(sheet->arena, name);
    }
    struct sm_text text = {0};
    const char *path = NULL;
    if (sm_path_beside(&text, sheet->path, name) == SM_OK && !text.failed) {
        path = sm_arena_strdup(sheet->arena, sm_text_str(&text));
    }
    sm_text_release(&text);
    return path;
}

static enum sm_status set_path(struct sm_sheet *sheet, const struct sm_sheet__row *row, const char *value,
                               struct sm_error *err)
{
    const char *path = sm_sheet__resolve(sheet, value);
    if (!path) {
        return no_memory(err);
    }
    memcpy(field(sheet, row), &path, sizeof path);
    return SM_OK;
}

static void put_list(struct sm_sheet *sheet, const struct sm_sheet__row *row, const char **path, size_t n)
{
    if (row->offset == offsetof(struct sm_sheet, video)) {
        sheet->video = path;
        sheet->n_videos = n;
    } else if (row->offset == offsetof(struct sm_sheet, other_run)) {
        sheet->other_run = path;
        sheet->n_other_runs = n;
    } else {
        sheet->distances = path;
        sheet->n_distances = n;
    }
}

static enum sm_status set_path_list(struct sm_sheet *sheet, const struct sm_sheet__row *row, char *value,
                                    struct sm_error *err)
{
    size_t most = 1, n = 0;
    for (const char *s = value; *s; s++) {
        most += *s == ',';
    }
    const char **path = sm_arena_alloc(sheet->arena, most * sizeof *path);
    if (!path) {
        return no_memory(err);
    }
    for (char *rest = value; rest;) {
        char *item = sm_sheet__next_item(&rest);
        if (!item || !*item) {
            sm_error_set(err, SM_E_FORMAT, "an item of %s is %s", row->key, item ? "empty" : "badly quoted");
            return sm_error_remedy(
                err, "write the files separated by commas, each in \" where it holds a comma or #");
        }
        if (!(path[n++] = sm_sheet__resolve(sheet, item))) {
            return no_memory(err);
        }
    }
    put_list(sheet, row, path, n);
    return SM_OK;
}

/* ---- setting
 * ----------------------------------------------------------------------------------------------- */

enum sm_status sm_sheet__set_value(struct sm_sheet_walk *walk, const struct sm_sheet__row *row, char *value,
                                   struct sm_error *err)
{
    switch (row->kind) {
    case SM_SHEET__KIND_TEXT:
        return put_string(walk->sheet, row, value, err);
    case SM_SHEET__KIND_PATH:
        return set_path(walk->sheet, row, value, err);
    case SM_SHEET__KIND_PATH_LIST:
        return set_path_list(walk->sheet, row, value, err);
    case SM_SHEET__KIND_QUANTITY:
        return set_quantity(walk, row, value, err);
    case SM_SHEET__KIND_NUMBER:
        return set_number(walk, row, value, err);
    case SM_SHEET__KIND_COUNT:
        return set_count(walk, row, value, err);
    case SM_SHEET__KIND_WORD:
    case SM_SHEET__KIND_YES_NO:
        return set_word(walk->sheet, row, value, err);
    case SM_SHEET__KIND_CUSTOM:
        return row->set(walk, row, value, err);
    }
    return SM_OK;
}

enum sm_status sm_sheet__clear_value(struct sm_sheet_walk *walk, const struct sm_sheet__row *row,
                                     struct sm_error *err)
{
    struct sm_sheet *sheet = walk->sheet;
    const char *none = NULL;
    const int32_t not_said = -1;
    char empty[1] = "";
    switch (row->kind) {
    case SM_SHEET__KIND_TEXT:
    case SM_SHEET__KIND_PATH:
        memcpy(field(sheet, row), &none, sizeof none);
        break;
    case SM_SHEET__KIND_PATH_LIST:
        put_list(sheet, row, NULL, 0);
        break;
    case SM_SHEET__KIND_QUANTITY:
    case SM_SHEET__KIND_NUMBER:
        sm_sheet__put_number(sheet, row, SM_NAN);
        break;
    case SM_SHEET__KIND_COUNT:
        memcpy(field(sheet, row), &not_said, sizeof not_said);
        break;
    case SM_SHEET__KIND_WORD:
    case SM_SHEET__KIND_YES_NO:
        memset(field(sheet, row), 0, row->kind == SM_SHEET__KIND_WORD ? sizeof(unsigned) : sizeof(bool));
        break;
    case SM_SHEET__KIND_CUSTOM:
        return row->set(walk, row, empty, err);
    }
    return SM_OK;
}
