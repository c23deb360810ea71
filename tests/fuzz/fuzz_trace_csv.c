/*
 * Any rows as a trace written by this program (its head is put in front): read back, no reading differs from what was read, and
 * written and read once more it is the same.
 */
#include "distance_checks.h"
#include "fuzz.h"
#include "stopmark/trace.h"

static const char head[] = "time_s,reading,unit,confidence,state\n";

static struct sm_distances *read_list(const struct sm_text *text)
{
    struct sm_distances *list = NULL;
    struct sm_error err = {0};
    FUZZ_REQUIRE(sm_distances_new(&list, NULL) == SM_OK);
    if (sm_distances_add_data(list, sm_text_str(text), text->length, "fuzz", 0, &err) != SM_OK) {
        FUZZ_REQUIRE(list->n == 0 && err.text[0]);
        sm_distances_free(&list);
    }
    return list;
}

static void write_as_trace(struct sm_text *out, const struct sm_distances *list)
{
    struct sm_trace trace = {.format = {.decimals = list->decimals, .unit = list->unit}, .n_readings = list->n};
    trace.reading = sm_calloc(list->n, sizeof *trace.reading);
    FUZZ_REQUIRE(trace.reading);
    for (size_t i = 0; i < list->n; i++) {
        trace.reading[i] = (struct sm_reading){list->item[i].time_s, list->item[i].counts, 0.95F, SM_READING_READ};
    }
    FUZZ_REQUIRE(sm_trace_write_csv(out, &trace, NULL) == SM_OK);
    sm_free(trace.reading);
}

/* Times are written to the millisecond, so that entries nearer than that may become one. */
static void check_same(const struct sm_distances *again, const struct sm_distances *list)
{
    size_t k = 0;
    FUZZ_REQUIRE(again && again->n <= list->n && again->is_own_trace && again->unit == list->unit);
    for (size_t i = 0; i < again->n; i++, k++) {
        while (k < list->n && fabs(list->item[k].time_s - again->item[i].time_s) > 6e-4) {
            k++;
        }
        FUZZ_REQUIRE(k < list->n && again->item[i].counts == list->item[k].counts);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    struct sm_text text = {0};
    sm_text_add(&text, head);
    sm_text_add_n(&text, (const char *)data, n);
    struct sm_distances *list = read_list(&text), *again = NULL;
    if (list) {
        fuzz_check_distances(list);
        sm_text_clear(&text);
        write_as_trace(&text, list);
        again = read_list(&text);
        check_same(again, list);
    }
    sm_distances_free(&list);
    sm_distances_free(&again);
    sm_text_release(&text);
    return 0;
}
