/*
 * Working and cure time from the kit's own table. Reaction rates follow exp(-E/RT), so over the few degrees
 * between two rows the logarithm of a time is close to straight in the temperature. Beyond the table nothing
 * is said: a resin too cold may never harden, one too warm hardens in the bucket.
 */
#include "stopmark/engineering.h"

#include <math.h>

/* The rows next to a temperature, NULL when there is none on that side. */
struct rows {
    const struct sm_cure_row *below, *above;
};

static bool find_rows(struct rows *rows, const struct sm_sheet *sheet, const char *name, double temperature_c)
{
    bool is_known = false;
    *rows = (struct rows){NULL, NULL};
    for (size_t i = 0; name && i < sheet->n_cure_rows; i++) {
        const struct sm_cure_row *row = &sheet->cure_row[i];
        if (!row->name || !sm_ascii_ieq(row->name, name)) {
            continue;
        }
        is_known = true;
        if (row->temperature_c <= temperature_c &&
            (!rows->below || row->temperature_c > rows->below->temperature_c)) {
            rows->below = row;
        }
        if (row->temperature_c >= temperature_c &&
            (!rows->above || row->temperature_c < rows->above->temperature_c)) {
            rows->above = row;
        }
    }
    return is_known;
}

static double between(double low, double high, double share)
{
    return exp(log(low) + share * (log(high) - log(low)));
}

/* Whole minutes; what lies within a millionth of one counts as that one. */
static double minutes_down(double minutes)
{
    return floor(minutes + 1e-6);
}

static double minutes_up(double minutes)
{
    return ceil(minutes - 1e-6);
}

static enum sm_status outside(const char *name, double temperature_c, bool is_cold, struct sm_error *err)
{
    sm_error_set(err, SM_E_RANGE, "cure table %s says nothing for a pipe as %s as %d C", name,
                 is_cold ? "cold" : "warm", (int)lround(fmax(-999, fmin(999, temperature_c))));
    sm_error_remedy(err, "ask the resin's own sheet; do not go by a time for another temperature");
    return SM_E_RANGE;
}

enum sm_status sm_cure_time_at(struct sm_cure_time *out, const struct sm_sheet *sheet, const char *name,
                               double temperature_c, struct sm_error *err)
{
    struct rows rows;
    if (!find_rows(&rows, sheet, name, temperature_c)) {
        sm_error_set(err, SM_E_NOTFOUND, "there is no cure table for the kit");
        sm_error_remedy(err, "add its rows to the cure table, from the resin's own sheet");
        return SM_E_NOTFOUND;
    }
    if (isnan(temperature_c)) {
        sm_error_set(err, SM_E_NOTFOUND, "the pipe's temperature is not given");
        sm_error_remedy(err, "measure it in the pipe and give it as pipe temperature");
        return SM_E_NOTFOUND;
    }
    if (!rows.below || !rows.above) {
        return outside(name, temperature_c, !rows.below, err);
    }
    double span_c = rows.above->temperature_c - rows.below->temperature_c;
    double share = span_c > 0 ? (temperature_c - rows.below->temperature_c) / span_c : 0;
    if (!(rows.below->working_min > 0 && rows.above->working_min > 0 && rows.below->cure_min > 0 &&
          rows.above->cure_min > 0)) {
        return sm_error_set(err, SM_E_RANGE, "cure table %s has a time that is not above 0", name);
    }
    *out = (struct sm_cure_time){
        .working_min = minutes_down(between(rows.below->working_min, rows.above->working_min, share)),
        .cure_min = minutes_up(between(rows.below->cure_min, rows.above->cure_min, share)),
        .is_between_rows = span_c > 0,
    };
    return SM_OK;
}
