/* Values with a grammar of their own. */
#include "sheet_row.h"

#include <string.h>

static enum sm_status no_memory(struct sm_error *err)
{
    return sm_error_set(err, SM_E_NOMEM, "out of memory");
}

enum sm_status sm_sheet__set_codes(struct sm_sheet_walk *walk, const struct sm_sheet__row *row, char *value,
                                   struct sm_error *err)
{
    struct sm_sheet *sheet = walk->sheet;
    char folded[64];
    (void)row;
    sm_key_fold(folded, sizeof folded, value);
    if (strcmp(folded, "en") == 0 || strcmp(folded, "en 13508 2") == 0) {
        sheet->codes = SM_CODES_EN;
        sheet->codes_file = NULL;
    } else if (strcmp(folded, "na") == 0) {
        sheet->codes = SM_CODES_NA;
        sheet->codes_file = NULL;
    } else {
        const char *path = sm_sheet__resolve(sheet, value);
        if (!path) {
            return no_memory(err);
        }
        sheet->codes = SM_CODES_FILE;
        sheet->codes_file = path;
    }
    return SM_OK;
}

enum sm_status sm_sheet__set_inspection(struct sm_sheet_walk *walk, const struct sm_sheet__row *row, char *value,
                                        struct sm_error *err)
{
    int64_t number = 0;
    (void)row;
    if (*value && !sm_parse_int(value, 1, INT32_MAX, &number)) {
        sm_error_set(err, SM_E_FORMAT, "inspection \"%.60s\" is no whole number from 1", value);
        return sm_error_remedy(err, "count the inspections in the log from 1, as in inspection = 2");
    }
    walk->sheet->log_inspection = (int32_t)number;
    return SM_OK;
}

enum sm_status sm_sheet__set_box(struct sm_sheet_walk *walk, const struct sm_sheet__row *row, char *value,
                                 struct sm_error *err)
{
    int64_t side[4] = {0};
    size_t n = 0;
    if (!*value) {
        walk->sheet->counter_box = (struct sm_box){0};
        return SM_OK;
    }
    char *rest = value;
    for (; rest && n < 4; n++) {
        char *item = sm_sheet__next_item(&rest);
        if (!item || !sm_parse_int(item, n < 2 ? 0 : 1, 16384, &side[n])) {
            n = 9;
        }
    }
    if (n != 4 || rest) {
        sm_error_set(err, SM_E_FORMAT, "%s is no box in the picture", row->key);
        return sm_error_remedy(err, "write left, top, width and height in pixels, as in 520,30,160,28");
    }
    walk->sheet->counter_box =
        (struct sm_box){(int32_t)side[0], (int32_t)side[1], (int32_t)side[2], (int32_t)side[3]};
    return SM_OK;
}

static enum sm_status distance_error_part(char *part, double *fraction, double *length_m,
                                          struct sm_error *err)
{
    bool is_percent = strchr(part, '%') != NULL;
    double *to = is_percent ? fraction : length_m;
    enum sm_status status = sm_sheet__check_comma(part, err);
    if (status == SM_OK) {
        status = sm_parse_quantity(part, is_percent ? SM_FRACTION : SM_LENGTH, NULL, to, err);
    }
    if (status == SM_OK && !(*to >= 0 && *to <= (is_percent ? 0.2 : 20.0))) {
        sm_error_set(err, SM_E_RANGE, "distance error %.40s makes no sense", part);
        sm_error_remedy(err, "write at most 20 %% and at most 20 m, as in 0.5 %% or 0.3 m");
        return SM_E_RANGE;
    }
    return status;
}

/* "0.5 % or 0.3 m": either part may stand alone, the other is then 0. Never called empty: it has a default.
 */
enum sm_status sm_sheet__set_distance_error(struct sm_sheet_walk *walk, const struct sm_sheet__row *row,
                                            char *value, struct sm_error *err)
{
    double fraction = 0, length_m = 0;
    char *second = strstr(value, " or ");
    (void)row;
    if (second) {
        *second = '\0';
        second += 4;
    }
    enum sm_status status = distance_error_part(value, &fraction, &length_m, err);
    if (status == SM_OK && second) {
        status = distance_error_part(second, &fraction, &length_m, err);
    }
    if (status == SM_OK) {
        walk->sheet->rules.distance_error_frac = fraction;
        walk->sheet->rules.distance_error_m = length_m;
    }
    return status;
}

/* Cost per metre; "128 /ft" and "128 per ft" are turned. */
enum sm_status sm_sheet__set_rate(struct sm_sheet_walk *walk, const struct sm_sheet__row *row, char *value,
                                  struct sm_error *err)
{
    double per_m = 1;
    if (!*value) {
        sm_sheet__put_number(walk->sheet, row, SM_NAN);
        return SM_OK;
    }
    char *unit = strchr(value, '/');
    size_t skip = 1;
    if (!unit) {
        unit = strstr(value, "per ");
        skip = 4;
    }
    if (unit) {
        char *name = sm_trim(unit + skip);
        *unit = '\0';
        if (sm_ascii_ieq(name, "ft") || sm_ascii_ieq(name, "foot")) {
            per_m = 1 / SM_M_PER_FT;
        } else if (!sm_ascii_ieq(name, "m") && !sm_ascii_ieq(name, "metre") && !sm_ascii_ieq(name, "meter")) {
            sm_error_set(err, SM_E_UNSUPPORTED, "%s is given per \"%.20s\"", row->key, name);
            return sm_error_remedy(err, "write the cost per metre, as in 420, or per foot, as in 128 /ft");
        }
    }
    double rate;
    enum sm_status status = sm_sheet__parse_number(&rate, row, sm_trim(value), err);
    if (status == SM_OK) {
        sm_sheet__put_number(walk->sheet, row, rate * per_m);
    }
    return status;
}

/* "2:1", also "2 to 1" or "2". Never called empty: it has a default. */
enum sm_status sm_sheet__set_parts(struct sm_sheet_walk *walk, const struct sm_sheet__row *row, char *value,
                                   struct sm_error *err)
{
    char *second = strchr(value, ':');
    size_t skip = 1;
    if (!second && (second = strstr(value, " to ")) != NULL) {
        skip = 4;
    }
    double a = 0, b = 0;
    if (second) {
        *second = '\0';
    }
    bool is_ok = second && sm_parse_number(sm_trim(value), &a) && sm_parse_number(sm_trim(second + skip), &b);
    if (!is_ok || !(a >= 0 && b >= 0 && a + b > 0 && a <= 1000 && b <= 1000)) {
        sm_error_set(err, SM_E_FORMAT, "%s are not two numbers", row->key);
        return sm_error_remedy(err, "write parts A and B by volume, as in 2:1");
    }
    walk->sheet->mat.parts_a = a;
    walk->sheet->mat.parts_b = b;
    return SM_OK;
}
