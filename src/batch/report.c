/* What came of a batch, for people and for programs. */
#include "batch_internal.h"

const char *sm_batch_state_name(enum sm_batch_state state)
{
    static const char *const names[] = {"not_reached", "done", "unchanged", "failed", "crashed", "timed_out"};
    return names[state];
}

void sm_batch_report_free(struct sm_batch_report **report)
{
    if (report && *report) {
        sm_free((*report)->result);
        sm_free(*report);
        *report = NULL;
    }
}

size_t sm_batch_count(const struct sm_batch_report *report, enum sm_batch_state state)
{
    size_t n = 0;
    for (size_t i = 0; i < report->n; i++) {
        n += report->result[i].state == state;
    }
    return n;
}

static bool is_failure(enum sm_batch_state state)
{
    return state == SM_BATCH_FAILED || state == SM_BATCH_CRASHED || state == SM_BATCH_TIMED_OUT;
}

/* ---- JSON ---- */

static const char *or_null(const char *text)
{
    return *text ? text : NULL;
}

static void add_error(struct sm_json *json, const struct sm_error *err)
{
    sm_json_open(json, "error", '{');
    sm_json_string(json, "source", or_null(err->source));
    if (err->line) {
        sm_json_int(json, "line", err->line);
    } else {
        sm_json_null(json, "line");
    }
    sm_json_string(json, "text", err->text[0] ? err->text : sm_status_text(err->status));
    sm_json_string(json, "remedy", or_null(err->remedy));
    sm_json_close(json, '}');
}

static void add_survey(struct sm_json *json, const struct sm_batch_survey *survey,
                       const struct sm_batch_result *result)
{
    sm_json_open(json, NULL, '{');
    sm_json_string(json, "path", survey->path);
    sm_json_string(json, "name", survey->name);
    if (survey->inspection) {
        sm_json_int(json, "inspection", survey->inspection);
    }
    sm_json_string(json, "state", sm_batch_state_name(result->state));
    if (result->state == SM_BATCH_DONE) {
        sm_json_string(json, "segment", or_null(result->segment));
        sm_json_int(json, "observations", result->n_observations);
        sm_json_int(json, "repairs", result->n_repairs);
        sm_json_int(json, "unrepaired", result->n_unrepaired);
        sm_json_int(json, "warnings", result->n_warnings);
    }
    if (is_failure(result->state)) {
        add_error(json, &result->err);
    }
    sm_json_close(json, '}');
}

void sm_batch_write_json(struct sm_text *out, const struct sm_batch_surveys *surveys,
                         const struct sm_batch_report *report)
{
    struct sm_json json = {.out = out};
    sm_json_open(&json, NULL, '{');
    sm_json_string(&json, "schema", "stopmark.batch/1");
    sm_json_bool(&json, "stopped", report->is_stopped);
    sm_json_open_compact(&json, "counts", '{');
    for (int state = SM_BATCH_NOT_REACHED; state <= SM_BATCH_TIMED_OUT; state++) {
        sm_json_int(&json, sm_batch_state_name((enum sm_batch_state)state),
                    (int64_t)sm_batch_count(report, (enum sm_batch_state)state));
    }
    sm_json_close(&json, '}');
    sm_json_open(&json, "surveys", '[');
    for (size_t i = 0; i < report->n; i++) {
        add_survey(&json, &surveys->item[i], &report->result[i]);
    }
    sm_json_close(&json, ']');
    sm_json_close(&json, '}');
}

/* ---- for people ---- */

/* The name of a state as people write it. */
static const char *state_words(enum sm_batch_state state)
{
    return state == SM_BATCH_NOT_REACHED ? "not reached"
           : state == SM_BATCH_TIMED_OUT ? "timed out"
                                         : sm_batch_state_name(state);
}

static void add_totals(struct sm_text *out, const struct sm_batch_report *report)
{
    sm_text_addf(out, "%zu survey%s", report->n, report->n == 1 ? "" : "s");
    const char *separator = ": ";
    static const enum sm_batch_state order[] = {SM_BATCH_DONE,    SM_BATCH_UNCHANGED, SM_BATCH_FAILED,
                                                SM_BATCH_CRASHED, SM_BATCH_TIMED_OUT, SM_BATCH_NOT_REACHED};
    for (size_t i = 0; i < sizeof order / sizeof *order; i++) {
        size_t n = sm_batch_count(report, order[i]);
        if (n) {
            sm_text_addf(out, "%s%zu %s", separator, n, state_words(order[i]));
            separator = ", ";
        }
    }
    sm_text_add(out, "\n");
}

static void add_done(struct sm_text *out, const struct sm_batch_survey *survey,
                     const struct sm_batch_result *result)
{
    sm_text_addf(out, "%-11s %s", state_words(result->state), survey->name);
    if (result->state == SM_BATCH_DONE) {
        sm_text_addf(out, ": %s, %u observation%s, %u repair%s, %u unrepaired, %u warning%s", result->segment,
                     result->n_observations, result->n_observations == 1 ? "" : "s", result->n_repairs,
                     result->n_repairs == 1 ? "" : "s", result->n_unrepaired, result->n_warnings,
                     result->n_warnings == 1 ? "" : "s");
    }
    sm_text_add(out, "\n");
}

/* As an error of the program is told: what, where, what to do. */
static void add_failure(struct sm_text *out, const struct sm_batch_survey *survey,
                        const struct sm_batch_result *result)
{
    const struct sm_error *err = &result->err;
    sm_text_addf(out, "%-11s %s: ", state_words(result->state), survey->name);
    if (err->source[0] && err->line) {
        sm_text_addf(out, "%s:%u: ", err->source, err->line);
    } else if (err->source[0]) {
        sm_text_addf(out, "%s: ", err->source);
    }
    sm_text_addf(out, "%s%s%s\n", err->text[0] ? err->text : sm_status_text(err->status),
                 err->remedy[0] ? "; " : "", err->remedy);
}

void sm_batch_write_table(struct sm_text *out, const struct sm_batch_surveys *surveys,
                          const struct sm_batch_report *report)
{
    add_totals(out, report);
    for (size_t i = 0; i < report->n; i++) {
        if (!is_failure(report->result[i].state)) {
            add_done(out, &surveys->item[i], &report->result[i]);
        }
    }
    for (size_t i = 0; i < report->n; i++) {
        if (is_failure(report->result[i].state)) {
            add_failure(out, &surveys->item[i], &report->result[i]);
        }
    }
}
