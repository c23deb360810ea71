/*
 * Any bytes as an operator's log: read it, list it, write what was read in both formats and read that again.
 * Every entry must be whole, no row lost, and what is written must be read.
 */
#include "fuzz.h"

#include "stopmark/obslog.h"

#include <string.h>

static void look_at(const struct sm_obslog *log)
{
    for (size_t k = 0; k < log->n_entries; k++) {
        const struct sm_log_entry *entry = &log->entry[k];
        FUZZ_REQUIRE(entry->code && entry->ch1 && entry->ch2 && entry->q1 && entry->q2 && entry->remark &&
                     entry->photo);
        FUZZ_REQUIRE(*entry->code);
        FUZZ_REQUIRE(entry->time_s >= 0 || entry->time_s < 0 || entry->distance_m >= 0 ||
                     entry->distance_m < 0);
        FUZZ_REQUIRE(entry->clock_from_h >= 0 && entry->clock_from_h <= 12 && entry->clock_to_h >= 0 &&
                     entry->clock_to_h <= 12);
    }
    for (size_t k = 0; k < log->findings.n; k++) {
        FUZZ_REQUIRE(log->findings.item[k].message &&
                     log->findings.item[k].entry_idx < (int32_t)log->n_entries);
    }
}

static void read_again(const struct sm_text *text, size_t n_entries)
{
    struct sm_obslog *log = NULL;
    struct sm_error err = {0};
    FUZZ_REQUIRE(sm_obslog_parse(&log, sm_text_str(text), text->length, "again", NULL, &err) == SM_OK);
    FUZZ_REQUIRE(log->n_entries <= n_entries);
    sm_obslog_free(&log);
}

static void write_and_read(const struct sm_obslog *log)
{
    struct sm_obslog_write_opts opts = {.date = "2031-03-14"};
    struct sm_findings findings = {0};
    struct sm_text text = {0};
    FUZZ_REQUIRE(sm_obslog_write_en13508(&text, log, &findings, NULL) == SM_OK);
    read_again(&text, log->n_entries);
    sm_text_clear(&text);
    FUZZ_REQUIRE(sm_obslog_write_isybau(&text, log, &opts, &findings, NULL) == SM_OK);
    read_again(&text, log->n_entries);
    sm_findings_release(&findings);
    sm_text_release(&text);
}

/* Every data row of an inspection is an entry or a finding of its own. */
static void look_for_lost_rows(const struct sm_obslog *log, size_t n_rows)
{
    size_t n_told = 0;
    for (size_t k = 0; k < log->findings.n; k++) {
        const struct sm_finding *finding = &log->findings.item[k];
        n_told += finding->flag == SM_FLAG_ROW_ODD && finding->entry_idx < 0;
    }
    FUZZ_REQUIRE(log->n_entries <= n_rows && log->n_entries + n_told >= n_rows);
}

static void look_at_all(const struct sm_obslog_file *file, const struct sm_obslog_list *list)
{
    for (size_t k = 0; k < list->n_inspections && k < 20; k++) {
        struct sm_obslog_opts opts = {.inspection = (int32_t)k + 1};
        struct sm_obslog *log = NULL;
        struct sm_error err = {0};
        if (sm_obslog_file_pick(&log, file, &opts, &err) == SM_OK) {
            look_at(log);
            look_for_lost_rows(log, list->inspection[k].n_rows);
        } else {
            FUZZ_REQUIRE(err.status != SM_OK && err.text[0]);
        }
        sm_obslog_free(&log);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    struct sm_obslog *log = NULL;
    struct sm_obslog_list *list = NULL;
    struct sm_error err = {0};
    if (sm_obslog_parse(&log, (const char *)data, n, "fuzz", NULL, &err) == SM_OK) {
        look_at(log);
        write_and_read(log);
    } else {
        FUZZ_REQUIRE(err.status != SM_OK && err.text[0]);
    }
    struct sm_obslog_file *file = NULL;
    if (sm_obslog_file_parse(&file, (const char *)data, n, "fuzz", SM_UNIT_FT, &err) == SM_OK &&
        sm_obslog_file_list(&list, file, &err) == SM_OK) {
        FUZZ_REQUIRE(list->format);
        look_at_all(file, list);
    }
    sm_obslog_list_free(&list);
    sm_obslog_file_free(&file);
    sm_obslog_free(&log);
    return 0;
}
