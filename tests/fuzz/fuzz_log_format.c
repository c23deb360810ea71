/*
 * Any bytes as a log of one format (FUZZ_FORMAT, set by the build; one target each): what is told to be of another is passed over,
 * so that the search stays with this reader. No data row is lost: each is an entry or a finding.
 */
#include "fuzz.h"

#include "stopmark/obslog.h"

#include <string.h>

/* Findings of rows carry their line; one row may have several. */
static size_t n_lines_told(const struct sm_obslog *log)
{
    size_t n = 0;
    for (size_t k = 0; k < log->findings.n; k++) {
        n += log->findings.item[k].entry_idx < 0;
    }
    return n;
}

static void look_at(const struct sm_obslog *log, size_t n_rows)
{
    FUZZ_REQUIRE(log->n_entries + n_lines_told(log) >= n_rows);
    for (size_t k = 0; k < log->n_entries; k++) {
        const struct sm_log_entry *entry = &log->entry[k];
        FUZZ_REQUIRE(entry->code && *entry->code && entry->remark && entry->photo && entry->line > 0);
        FUZZ_REQUIRE(entry->clock_from_h >= 0 && entry->clock_from_h <= 12 && entry->clock_to_h >= 0 &&
                     entry->clock_to_h <= 12);
        FUZZ_REQUIRE(isfinite(entry->time_s) || isfinite(entry->distance_m));
    }
}

/* Each inspection that the list names can be asked for. */
static void look_at_each(const uint8_t *data, size_t n, const struct sm_obslog_list *list)
{
    for (size_t k = 0; k < list->n_inspections && k < 4; k++) {
        struct sm_obslog *log = NULL;
        struct sm_error err = {0};
        struct sm_obslog_opts opts = {NULL, SM_UNIT_UNKNOWN, (int32_t)k + 1};
        if (sm_obslog_parse(&log, (const char *)data, n, "fuzz", &opts, &err) == SM_OK) {
            look_at(log, list->inspection[k].n_rows);
        } else {
            FUZZ_REQUIRE(err.text[0]);
        }
        sm_obslog_free(&log);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    const char *format = sm_obslog_guess_format((const char *)data, n);
    if (!format || strcmp(format, FUZZ_FORMAT) != 0) {
        return 0;
    }
    struct sm_obslog_list *list = NULL;
    struct sm_error err = {0};
    if (sm_obslog_list_parse(&list, (const char *)data, n, "fuzz", &err) == SM_OK) {
        FUZZ_REQUIRE(strcmp(list->format, FUZZ_FORMAT) == 0);
        look_at_each(data, n, list);
    } else {
        FUZZ_REQUIRE(err.status != SM_OK && err.text[0]);
    }
    sm_obslog_list_free(&list);
    return 0;
}
