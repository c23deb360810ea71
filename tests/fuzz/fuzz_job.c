/*
 * Any bytes as a job file: opened to read, listed, every survey got whole, held against its history; then a copy of it opened to
 * change, which brings an older one up to date, and an event put. Every step ends, with rows or with an error that has words.
 */
#include "fuzz.h"

#include "stopmark/store.h"

#include <stdio.h>
#include <unistd.h>

static char folder[] = "/dev/shm/fuzz-job-XXXXXX";
static char path[64];

static void remove_all(void)
{
    static const char *const tail[] = {"", "-wal", "-shm", "-journal", ".schema-1", ".schema-2", ".schema-3"};
    for (size_t i = 0; i < sizeof tail / sizeof *tail; i++) {
        char name[96];
        snprintf(name, sizeof name, "%s%s", path, tail[i]);
        unlink(name);
    }
}

static void remove_folder(void)
{
    remove_all();
    rmdir(folder);
}

static void write_input(const uint8_t *data, size_t n)
{
    if (!*path) {
        FUZZ_REQUIRE(mkdtemp(folder));
        snprintf(path, sizeof path, "%s/j", folder);
        atexit(remove_folder);
    }
    remove_all();
    FILE *file = fopen(path, "wb");
    FUZZ_REQUIRE(file && fwrite(data, 1, n, file) == n && fclose(file) == 0);
}

static bool went_well(enum sm_status status, struct sm_error *err)
{
    FUZZ_REQUIRE(status == SM_OK || (err->status == status && err->text[0]));
    *err = (struct sm_error){0};
    return status == SM_OK;
}

static void get_survey(struct sm_store *store, const struct sm_store_survey *survey)
{
    struct sm_error err = {0};
    struct sm_store_record *record = NULL;
    struct sm_store_decisions *decisions = NULL;
    if (went_well(sm_store_get_survey(&record, store, survey->survey_id, &err), &err)) {
        FUZZ_REQUIRE(record->alignment && (!record->trace || record->trace->n_readings == 0 || record->trace->reading));
    }
    if (went_well(sm_store_list_decisions(&decisions, store, survey->key, &err), &err)) {
        FUZZ_REQUIRE(decisions->n == 0 || decisions->item);
    }
    sm_store_record_free(&record);
    sm_store_decisions_free(&decisions);
}

static void look_at_lists(struct sm_store *store)
{
    struct sm_error err = {0};
    struct sm_store_as_builts *as_built = NULL;
    struct sm_store_verdicts *verdicts = NULL;
    struct sm_store_events *events = NULL;
    struct sm_store_conflicts *conflicts = NULL;
    (void)went_well(sm_store_list_as_built(&as_built, store, NULL, &err), &err);
    (void)went_well(sm_store_list_verdicts(&verdicts, store, NULL, &err), &err);
    (void)went_well(sm_store_list_events(&events, store, NULL, &err), &err);
    (void)went_well(sm_store_list_conflicts(&conflicts, store, NULL, &err), &err);
    sm_store_as_builts_free(&as_built);
    sm_store_verdicts_free(&verdicts);
    sm_store_events_free(&events);
    sm_store_conflicts_free(&conflicts);
}

static void look_at(struct sm_store *store)
{
    struct sm_error err = {0};
    struct sm_store_surveys *surveys = NULL;
    struct sm_store_checked checked = {.findings = {0}};
    if (went_well(sm_store_list_surveys(&surveys, store, NULL, &err), &err)) {
        for (size_t i = 0; i < surveys->n && i < 4; i++) {
            get_survey(store, &surveys->item[i]);
        }
    }
    look_at_lists(store);
    (void)went_well(sm_store_check(&checked, store, NULL, NULL, NULL, &err), &err);
    sm_findings_release(&checked.findings);
    sm_store_surveys_free(&surveys);
}

static void change(struct sm_store *store)
{
    static const struct sm_store_event event = {"2031-03-14T09:00:00Z", "fuzz", "tried", "A1-A2", "", "", "a word"};
    struct sm_error err = {0};
    (void)went_well(sm_store_put_event(store, &event, &err), &err);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    struct sm_store *store = NULL;
    struct sm_error err = {0};
    write_input(data, n);
    if (went_well(sm_store_open(&store, path, SM_STORE_READ, &err), &err)) {
        look_at(store);
        sm_store_close(&store);
    }
    if (went_well(sm_store_open(&store, path, SM_STORE_CHANGE, &err), &err)) {
        look_at(store);
        change(store);
        sm_store_close(&store);
    }
    return 0;
}
