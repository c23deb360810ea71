/* stopmark schedule: survey in, repair schedule out. */
#include <string.h>

#include "cli.h"

#include "stopmark/plan.h"

struct request {
    const char *job_path, *out_dir, *export_form;
    struct sm_cli_changes changes;
    size_t n_threads;
    const char *explain; /* name of a repair, or "all" */
    bool is_compare;
};

static bool take_job(void *user, const char *value, struct sm_error *err)
{
    (void)err;
    ((struct request *)user)->job_path = value;
    return true;
}

static bool take_out(void *user, const char *value, struct sm_error *err)
{
    (void)err;
    ((struct request *)user)->out_dir = value;
    return true;
}

static bool take_set(void *user, const char *value, struct sm_error *err)
{
    return sm_cli_changes_add(&((struct request *)user)->changes, value, err);
}

static bool take_export(void *user, const char *value, struct sm_error *err)
{
    ((struct request *)user)->export_form = value;
    if (sm_job_is_export(value)) {
        return true;
    }
    sm_error_set(err, SM_E_FORMAT, "\"%s\" is no form a log is written in", value);
    sm_error_remedy(err, "choose en13508 or isybau");
    return false;
}

static bool take_paper(void *user, const char *value, struct sm_error *err)
{
    struct sm_text change = {0};
    sm_text_addf(&change, "documents.paper=%s", value);
    bool is_taken = !change.failed && take_set(user, sm_text_str(&change), err);
    sm_text_release(&change);
    return is_taken;
}

static bool take_explain(void *user, const char *value, struct sm_error *err)
{
    (void)err;
    ((struct request *)user)->explain = value;
    return true;
}

static bool take_compare(void *user, const char *value, struct sm_error *err)
{
    (void)value;
    (void)err;
    ((struct request *)user)->is_compare = true;
    return true;
}

static bool take_threads(void *user, const char *value, struct sm_error *err)
{
    return sm_cli_take_threads(&((struct request *)user)->n_threads, value, err);
}

static const struct sm_cli_option options[] = {
    {"job", take_job, true},          {"out", take_out, true},         {"set", take_set, true},
    {"export", take_export, true},    {"paper", take_paper, true},     {"explain", take_explain, true},
    {"compare", take_compare, false}, {"threads", take_threads, true}, {0},
};

static void tell_findings(const struct sm_job *job)
{
    const struct sm_store_findings *stage;
    size_t n = sm_job_get_findings(job, &stage);
    for (size_t i = 0; i < n; i++) {
        sm_cli_findings(stage[i].findings);
    }
}

/* ---- one survey ---- */

/* What one survey is run with; out_dir is its own folder. */
struct one {
    const struct request *request;
    const struct sm_cli_common *common;
    const char *path, *out_dir;
    struct sm_job_log *log; /* with its other surveys, where there are some */
    struct sm_job_hashes *hashes;
    struct sm_text *text; /* what is printed in the end */
};

static enum sm_status add_schedule(struct sm_text *text, const struct sm_job *job, bool is_json,
                                   struct sm_error *err)
{
    const struct sm_schedule *schedule = sm_job_get_schedule(job);
    return is_json ? sm_schedule_write_json(text, schedule, err)
                   : sm_schedule_write_table(text, schedule, sm_cli_columns(), sm_cli_is_utf8(), err);
}

static void tell_delivered(const struct one *one, bool is_known)
{
    if (one->out_dir) {
        sm_cli_note("results are in %s", one->out_dir);
    }
    if (one->request->job_path) {
        sm_cli_note(is_known ? "%s held this survey already: unchanged" : "stored in %s",
                    one->request->job_path);
    }
}

/* An explanation's sentences, one a line. */
static void add_sentences(struct sm_json *json, const char *id, char *sentences)
{
    sm_json_open(json, NULL, '{');
    sm_json_string(json, "repair", id);
    sm_json_open(json, "sentences", '[');
    for (char *line = sentences; line && *line;) {
        char *end = strchr(line, '\n');
        if (end) {
            *end = '\0';
        }
        sm_json_string(json, NULL, line);
        line = end ? end + 1 : NULL;
    }
    sm_json_close(json, ']');
    sm_json_close(json, '}');
}

/* One repair's explanation into the text, or into json where there is one. */
static enum sm_status explain_repair(struct sm_text *text, struct sm_json *json, const struct sm_schedule *schedule,
                                     size_t idx, struct sm_error *err)
{
    struct sm_text words = {0};
    enum sm_status status =
        sm_plan_explain(&words, schedule->plan, schedule->alignment, schedule->sheet, idx, err);
    if (status == SM_OK && json) {
        add_sentences(json, schedule->plan->repair[idx].id, words.data);
    } else if (status == SM_OK) {
        sm_text_add(text, sm_text_str(&words));
    }
    sm_text_release(&words);
    return status;
}

static enum sm_status no_such_repair(const struct sm_plan *plan, const char *name, struct sm_error *err)
{
    sm_error_set(err, SM_E_NOTFOUND, "the plan has no repair %s", name);
    return sm_error_remedy(err, "name one of its %zu repairs as R1, or all", plan->n_repairs);
}

/* Why a repair is as it is; of "all", one after the other. */
static enum sm_status add_explanation(struct sm_text *text, const struct sm_job *job, const char *name,
                                      bool is_json, struct sm_error *err)
{
    const struct sm_schedule *schedule = sm_job_get_schedule(job);
    const struct sm_plan *plan = schedule->plan;
    struct sm_json json = {.out = text};
    bool is_all = sm_ascii_ieq(name, "all"), is_found = is_all;
    enum sm_status status = SM_OK;
    if (is_json) {
        sm_json_open(&json, NULL, '{');
        sm_json_string(&json, "schema", "stopmark.explanation/1");
        sm_json_open(&json, "repairs", '[');
    }
    for (size_t i = 0; status == SM_OK && i < plan->n_repairs; i++) {
        if (is_all || sm_ascii_ieq(name, plan->repair[i].id)) {
            sm_text_add(text, is_all && i && !is_json ? "\n" : "");
            status = explain_repair(text, is_json ? &json : NULL, schedule, i, err);
            is_found = true;
        }
    }
    if (is_json) {
        sm_json_close(&json, ']');
        sm_json_close(&json, '}');
    }
    return is_found ? status : no_such_repair(plan, name, err);
}

static int compare(char **path, bool is_json)
{
    struct sm_schedule_file *before = NULL, *after = NULL;
    struct sm_text text = {0};
    struct sm_error err = {0};
    enum sm_status status = sm_schedule_file_read(&before, path[0], &err);
    if (status == SM_OK) {
        status = sm_schedule_file_read(&after, path[1], &err);
    }
    if (status == SM_OK) {
        status = (is_json ? sm_schedule_file_write_comparison : sm_schedule_file_compare)(&text, before, after,
                                                                                          &err);
    }
    int result = status == SM_OK ? sm_cli_print(&text) : sm_cli_fail(&err);
    sm_text_release(&text);
    sm_schedule_file_free(&before);
    sm_schedule_file_free(&after);
    return result;
}

static int deliver(struct sm_job *job, const struct one *one, struct sm_cli_progress *progress)
{
    char now[32];
    sm_cli_now(now);
    const struct sm_cli_common *common = one->common;
    struct sm_job_delivery delivery = {.out_dir = one->out_dir,
                                       .job_path = one->request->job_path,
                                       .now = now,
                                       .who = sm_cli_who(),
                                       .export_form = one->request->export_form};
    struct sm_error err = {0};
    bool is_known = false;
    bool has_place = delivery.out_dir || delivery.job_path;
    enum sm_status status = has_place ? sm_job_deliver(job, &delivery, &is_known, &err) : SM_OK;
    sm_cli_progress_end(progress);
    if (status == SM_OK && one->request->explain) {
        status = add_explanation(one->text, job, one->request->explain, common->is_json, &err);
    } else if (status == SM_OK && !(common->is_quiet && has_place && !common->is_json)) {
        status = add_schedule(one->text, job, common->is_json, &err);
    }
    if (status != SM_OK) {
        return sm_cli_fail(&err);
    }
    if (!common->is_quiet) {
        tell_delivered(one, is_known);
    }
    if (!common->is_quiet) {
        sm_cli_findings(sm_job_get_export_findings(job));
    }
    if (!common->is_quiet && common->is_json) { /* the table shows them itself */
        tell_findings(job);
    }
    return SM_CLI_DONE;
}

static int schedule_one(const struct one *one, int32_t inspection)
{
    const struct request *request = one->request;
    struct sm_cli_progress progress = sm_cli_progress_start(one->common);
    struct sm_job_opts opts = {.sheet_path = one->path,
                               .n_changes = request->changes.n,
                               .change = request->changes.item,
                               .progress = sm_cli_progress_tell,
                               .progress_user = &progress,
                               .n_threads = request->n_threads,
                               .inspection = inspection,
                               .log = one->log,
                               .hashes = one->hashes};
    struct sm_job *job = NULL;
    struct sm_error err = {0};
    sm_cli_warn_of_missing_bars();
    enum sm_status status = sm_job_schedule(&job, &opts, &err);
    if (status != SM_OK) {
        sm_cli_progress_end(&progress);
        return sm_cli_fail(&err);
    }
    int result = deliver(job, one, &progress);
    sm_job_free(&job);
    return result;
}

/* ---- all surveys of a log ---- */

/* One of several: told apart by a heading, its results in a folder of its own. */
static int schedule_of_many(struct one one, const struct sm_job_surveys *surveys, size_t idx)
{
    const struct sm_job_survey *survey = &surveys->survey[idx];
    struct sm_text folder = {0};
    size_t before = one.text->length;
    if (one.out_dir) {
        sm_text_addf(&folder, "%s/%s", one.out_dir, survey->name);
        one.out_dir = sm_text_str(&folder);
    }
    if (!one.common->is_quiet) {
        sm_cli_note("inspection %zu of %zu: %s", idx + 1, surveys->n, survey->words);
    }
    bool is_silent = one.common->is_quiet && (one.out_dir || one.request->job_path);
    if (!one.common->is_json && !is_silent) {
        sm_text_addf(one.text, "%sInspection %zu of %zu: %s\n\n", before ? "\n\n" : "", idx + 1, surveys->n,
                     survey->words);
    } else if (one.common->is_json && idx) {
        sm_text_add(one.text, ",\n");
    }
    int result = schedule_one(&one, survey->inspection);
    if (result != SM_CLI_DONE && one.common->is_json) {
        sm_text_addf(one.text, "{\"schema\": \"stopmark.failed/1\", \"inspection\": %zu}\n", idx + 1);
    } else if (result != SM_CLI_DONE) {
        sm_text_add(one.text, "not made, see the message\n");
    }
    sm_text_release(&folder);
    return result;
}

/* The others are made when one cannot be: it is told, and counts in the exit status. Stopped by the user, none is begun any
 * more. */
static int schedule_many(const struct one *one, const struct sm_job_surveys *surveys)
{
    size_t n_made = 0;
    if (one->common->is_json) {
        sm_text_add(one->text, "{\"schema\": \"stopmark.schedules/1\", \"schedules\": [\n");
    }
    for (size_t i = 0; i < surveys->n && !sm_cli_is_stopped(); i++) {
        n_made += schedule_of_many(*one, surveys, i) == SM_CLI_DONE;
    }
    sm_text_add(one->text, one->common->is_json ? "]}\n" : "");
    if (n_made < surveys->n) {
        sm_cli_note("%zu of %zu schedules were made", n_made, surveys->n);
    }
    return n_made == surveys->n ? SM_CLI_DONE : SM_CLI_FAILED;
}

static int schedule(const struct request *request, const struct sm_cli_common *common, const char *path)
{
    struct sm_text text = {0};
    struct sm_error err = {0};
    struct sm_job_surveys *surveys = NULL;
    struct sm_job_hashes hashes = {0};
    if (sm_job_surveys(&surveys, path, &err) != SM_OK) {
        return sm_cli_fail(&err);
    }
    struct one one = {request, common, path, request->out_dir, surveys->log, &hashes, &text};
    int result =
        surveys->n == 1 ? schedule_one(&one, surveys->survey[0].inspection) : schedule_many(&one, surveys);
    bool is_shown = text.length && (result == SM_CLI_DONE || surveys->n > 1);
    sm_job_surveys_free(&surveys);
    sm_job_hashes_release(&hashes);
    if (is_shown) {
        int printed = sm_cli_print(&text);
        result = result == SM_CLI_DONE ? printed : result;
    }
    sm_text_release(&text);
    return result;
}

static int run(int argc, char **argv)
{
    struct request request = {0};
    struct sm_cli_common common = {0};
    int n_operands = 0;
    enum sm_cli_parsed parsed =
        sm_cli_parse(&sm_cli_schedule, options, &request, &common, argc, argv, &n_operands);
    int result = parsed == SM_CLI_HELP_SHOWN ? SM_CLI_DONE : SM_CLI_USAGE;
    if (parsed == SM_CLI_GO_ON && request.is_compare) {
        result = n_operands == 2 ? compare(argv, common.is_json)
                                 : sm_cli_misuse(&sm_cli_schedule, "--compare takes two schedule.json files");
    } else if (parsed == SM_CLI_GO_ON && n_operands != 1) {
        result = sm_cli_misuse(&sm_cli_schedule,
                               n_operands ? "more than one sheet named" : "no sheet or log named");
    } else if (parsed == SM_CLI_GO_ON && request.export_form && !request.out_dir) {
        result = sm_cli_misuse(&sm_cli_schedule, "--export writes into the folder of --out: name one");
    } else if (parsed == SM_CLI_GO_ON) {
        result = schedule(&request, &common, argv[0]);
    }
    sm_cli_changes_release(&request.changes);
    return result;
}

const struct sm_cli_command sm_cli_schedule = {
    .name = "schedule",
    .run = run,
    .line = "Turn a survey into a repair schedule",
    .usage = "schedule SHEET|LOG [--job JOB] [--out DIR] [--set KEY=VALUE]... [--export FORM] [--paper P] "
             "[--explain R] [--threads N]",
    .help =
        "SHEET names the videos, the operator's log, the kits and the owner's rules. Prints the schedule.\n"
        "A standard LOG names most of that itself; kits.csv beside it is taken. Each of its inspections "
        "gets\n"
        "a schedule, in a folder of its own under --out.\n\n"
        "  --job JOB           keep the survey and its schedule in this job file, made when missing\n"
        "  --out DIR           write schedule.json, schedule.csv, crew sheet, report, drawing and stills "
        "there\n"
        "  --set KEY=VALUE     another value than the sheet's, as in --set \"rules.overlap=120 mm\"\n"
        "  --export FORM       also write the log with its corrected distances: en13508 (aligned-log.txt) or "
        "isybau (.xml)\n"
        "  --paper P           paper of the crew sheet: a4 or letter\n"
        "  --explain R         instead of the schedule say why repair R (R3, or all) is as it is, and what "
        "else "
        "costs\n"
        "  --compare           with two schedule.json files in place of SHEET: what differs between them\n"
        "  --threads N         read the video with N threads; the schedule is the same for any N\n",
};
