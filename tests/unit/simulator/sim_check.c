/* sim_check.c - see sim_check.h. */
#include "sim_check.h"

#include <stdio.h>
#include <string.h>

void sim_check_make(struct sm_sim_opts *opts, const char *const *settings, const char *dir)
{
    static const char *const small[] = {
        "width=192",        "height=144",       "length=1.2",    "observations=1",
        "digit_px=9",       "int_digits=2",     "stand_min=1",   "stand_max=1.2",
        "lead_in=0.4",      "lead_out=0.2",     "speed_min=0.2", "speed_max=0.25",
        "reaction_min=0.2", "reaction_max=0.6", "layout=alone",  NULL};
    struct sm_error err = {0};
    *opts = sm_sim_opts_default();
    for (const char *const *list = small; list; list = list == small ? settings : NULL) {
        for (size_t i = 0; list[i]; i++) {
            assert_ok(sm_sim_opts_set(opts, list[i], &err), &err);
        }
    }
    assert_ok(sm_sim_write_survey(opts, dir, &err), &err);
}

struct sm_csv *sim_check_table(const char *dir, const char *name)
{
    char path[512], *data = NULL;
    size_t n = 0;
    struct sm_csv *csv = NULL;
    struct sm_error err = {0};
    snprintf(path, sizeof path, "%s/%s", dir, name);
    assert_ok(sm_file_read(&data, &n, path, 1 << 24, &err), &err);
    assert_ok(sm_csv_parse(&csv, data, n, ',', name, &err), &err);
    sm_free(data);
    return csv;
}

const char *sim_check_field(const struct sm_csv *csv, size_t row, const char *column)
{
    struct sm_csv_row header = sm_csv_row(csv, 0), fields = sm_csv_row(csv, row + 1);
    for (size_t i = 0; i < header.n_fields; i++) {
        if (strcmp(header.field[i], column) == 0) {
            assert_true(i < fields.n_fields);
            return fields.field[i];
        }
    }
    fail_msg("no column %s", column);
    return "";
}

double sim_check_number(const struct sm_csv *csv, size_t row, const char *column)
{
    double value = 0;
    const char *field = sim_check_field(csv, row, column);
    if (!sm_parse_number(field, &value)) {
        fail_msg("%s is \"%s\", no number", column, field);
    }
    return value;
}

void sim_check_hash(const char *dir, const char *name, char hex[65])
{
    char path[512];
    struct sm_error err = {0};
    snprintf(path, sizeof path, "%s/%s", dir, name);
    assert_ok(sm_file_sha256(path, hex, &err), &err);
}
