/* stopmark schedule: survey in, repair schedule out. */
#include <string.h>

#include "cli.h"

enum { MAX_CHANGES = 100 };

struct request {
    const char *job_path, *out_dir;
    struct sm_job_change change[MAX_CHANGES];
    size_t n_changes, n_threads;
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

/* key=value; the key may hold blanks, the value may hold = signs. */
static bool take_set(void *user, const char *value, struct sm_error *err)
{
    struct request *request = user;
    char *copy = sm_strdup(value);
    char *equals = copy ? strchr(copy, '=') : NULL;
    if (!equals || request->n_changes >= MAX_CHANGES) {
        sm_free(copy);
        sm_error_set(err, SM_E_FORMAT, "\"%s\" %s", value,
                     equals ? "is one change too many" : "is no key=value");
        sm_error_remedy(err, "give a key of the sheet and its value, as in rules.overlap=120 mm");
        return false;
    }
    *equals = '\0';
    /* Both live in one block, freed through the key; sm_trim() would move its start. */
    request->change[request->n_changes++] = (struct sm_job_change){copy, equals + 1};
    return true;
}

static bool take_threads(void *user, const char *value, struct sm_error *err)
{
    return sm_cli_take_threads(&((struct request *)user)->n_threads, value, err);
}

static const struct sm_cli_option options[] = {
    {"job", take_job, true},
    {"out", take_out, true},
    {"set", take_set, true},
    {"threads", take_threads, true},
    {0},
};

static void release(struct request *request)
{
    for (size_t i = 0; i < request->n_changes; i++) {
        char *block;
        memcpy(&block, &request->change[i].key, sizeof block);
        sm_free(block);
    }
}

static void tell_findings(const struct sm_job *job)
{
    const struct sm_store_findings *stage;
    size_t n = sm_job_get_findings(job, &stage);
    for (size_t i = 0; i < n; i++) {
        sm_cli_findings(stage[i].findings);
    }
}

static int print_schedule(const struct sm_job *job, const struct sm_cli_common *common)
{
    struct sm_text text = {0};
    struct sm_error err = {0};
    const struct sm_schedule *schedule = sm_job_get_schedule(job);
    enum sm_status status =
        common->is_json ? sm_schedule_write_json(&text, schedule, &err)
                        : sm_schedule_write_table(&text, schedule, sm_cli_columns(), sm_cli_is_utf8(), &err);
    int result = status == SM_OK ? sm_cli_print(&text) : sm_cli_fail(&err);
    sm_text_release(&text);
    return result;
}

static void tell_delivered(const struct request *request, bool is_known)
{
    if (request->out_dir) {
        sm_cli_note("results are in %s", request->out_dir);
    }
    if (request->job_path) {
        sm_cli_note(is_known ? "%s held this survey already: unchanged" : "stored in %s", request->job_path);
    }
}

static int deliver(struct sm_job *job, const struct request *request, const struct sm_cli_common *common,
                   struct sm_cli_progress *progress)
{
    char now[32];
    sm_cli_now(now);
    struct sm_job_delivery delivery = {
        .out_dir = request->out_dir, .job_path = request->job_path, .now = now, .who = sm_cli_who()};
    struct sm_error err = {0};
    bool is_known = false;
    bool has_place = request->out_dir || request->job_path;
    enum sm_status status = has_place ? sm_job_deliver(job, &delivery, &is_known, &err) : SM_OK;
    sm_cli_progress_end(progress);
    if (status != SM_OK) {
        return sm_cli_fail(&err);
    }
    if (!common->is_quiet) {
        tell_delivered(request, is_known);
    }
    if (!common->is_quiet && common->is_json) { /* the table shows them itself */
        tell_findings(job);
    }
    return common->is_quiet && has_place && !common->is_json ? SM_CLI_DONE : print_schedule(job, common);
}

static int schedule(const struct request *request, const struct sm_cli_common *common, const char *sheet)
{
    struct sm_cli_progress progress = sm_cli_progress_start(common);
    struct sm_job_opts opts = {.sheet_path = sheet,
                               .n_changes = request->n_changes,
                               .change = request->change,
                               .progress = sm_cli_progress_tell,
                               .progress_user = &progress,
                               .n_threads = request->n_threads};
    struct sm_job *job = NULL;
    struct sm_error err = {0};
    enum sm_status status = sm_job_schedule(&job, &opts, &err);
    if (status != SM_OK) {
        sm_cli_progress_end(&progress);
        return sm_cli_fail(&err);
    }
    int result = deliver(job, request, common, &progress);
    sm_job_free(&job);
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
    if (parsed == SM_CLI_GO_ON && n_operands != 1) {
        result = sm_cli_misuse(&sm_cli_schedule, n_operands ? "more than one sheet named" : "no sheet named");
    } else if (parsed == SM_CLI_GO_ON) {
        result = schedule(&request, &common, argv[0]);
    }
    release(&request);
    return result;
}

const struct sm_cli_command sm_cli_schedule = {
    .name = "schedule",
    .run = run,
    .line = "Turn a survey into a repair schedule",
    .usage = "schedule SHEET [--job JOB] [--out DIR] [--set KEY=VALUE]... [--threads N]",
    .help =
        "SHEET names the videos, the operator's log, the kits and the owner's rules. Prints the schedule.\n\n"
        "  --job JOB           keep the survey and its schedule in this job file, made when missing\n"
        "  --out DIR           write schedule.json, schedule.csv, crew sheet, report, drawing and stills there\n"
        "  --set KEY=VALUE     another value than the sheet's, as in --set \"rules.overlap=120 mm\"\n"
        "  --threads N         read the video with N threads; the schedule is the same for any N\n",
};
