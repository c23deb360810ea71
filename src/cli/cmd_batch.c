/* stopmark batch: many surveys in one go. */
#include <stdio.h>
#include <string.h>

#include "cli.h"
#include "stopmark/batch.h"

enum { MOST_WORKERS = 1024 };
#define DEFAULT_TIME_LIMIT_S 7200.0
#define DEFAULT_MEMORY_BYTES ((int64_t)4 << 30)

enum { MOST_SLURM_OPTIONS = 32 };
struct request {
    struct sm_batch_opts batch;
    struct sm_cli_changes changes;
    bool is_slurm;
    struct sm_batch_slurm slurm;
    const char *slurm_option[MOST_SLURM_OPTIONS];
};

static bool take_job(void *user, const char *value, struct sm_error *err)
{
    (void)err;
    ((struct request *)user)->batch.job_path = value;
    return true;
}

static bool take_out(void *user, const char *value, struct sm_error *err)
{
    (void)err;
    ((struct request *)user)->batch.out_dir = value;
    return true;
}

static bool wrong(struct sm_error *err, const char *value, const char *what, const char *remedy)
{
    sm_error_set(err, SM_E_FORMAT, "\"%s\" %s", value, what);
    sm_error_remedy(err, "%s", remedy);
    return false;
}

static bool take_workers(void *user, const char *value, struct sm_error *err)
{
    int64_t n;
    if (!sm_parse_int(value, 1, MOST_WORKERS, &n)) {
        return wrong(err, value, "is no number of workers", "give 1 to 1024, the processor's cores at most");
    }
    ((struct request *)user)->batch.n_workers = (uint32_t)n;
    return true;
}

static bool take_time_limit(void *user, const char *value, struct sm_error *err)
{
    double limit_s;
    if (sm_parse_quantity(value, SM_TIME, "s", &limit_s, err) != SM_OK || !(limit_s >= 0)) {
        return wrong(err, value, "is no time", "give it as 30 min, 2 h or 0 for none");
    }
    ((struct request *)user)->batch.time_limit_s = limit_s;
    return true;
}

static bool take_memory_limit(void *user, const char *value, struct sm_error *err)
{
    static const struct {
        const char *name;
        double bytes;
    } units[] = {{"", 1048576.0}, {"MB", 1048576.0}, {"GB", 1073741824.0}};
    double number;
    const char *end;
    if (sm_scan_number(value, false, false, &number, &end) && number >= 0 && number <= 1e6) {
        end += strspn(end, " ");
        for (size_t i = 0; i < sizeof units / sizeof *units; i++) {
            if (sm_ascii_ieq(end, units[i].name)) {
                ((struct request *)user)->batch.memory_limit_bytes = (int64_t)(number * units[i].bytes);
                return true;
            }
        }
    }
    return wrong(err, value, "is no amount of memory", "give it as 4 GB, 512 MB or 0 for no limit");
}

static bool take_set(void *user, const char *value, struct sm_error *err)
{
    return sm_cli_changes_add(&((struct request *)user)->changes, value, err);
}

static bool take_slurm(void *user, const char *value, struct sm_error *err)
{
    (void)value;
    (void)err;
    ((struct request *)user)->is_slurm = true;
    return true;
}

static bool take_slurm_option(void *user, const char *value, struct sm_error *err)
{
    struct request *request = user;
    if (strncmp(value, "--", 2) != 0 || strchr(value, '\n') || request->slurm.n_options == MOST_SLURM_OPTIONS) {
        return wrong(err, value, "is no option of sbatch", "give it as --slurm-option=--partition=short, at most 32 of them");
    }
    request->slurm_option[request->slurm.n_options++] = value;
    request->is_slurm = true;
    return true;
}

static const struct sm_cli_option options[] = {
    {"job", take_job, true},
    {"out", take_out, true},
    {"workers", take_workers, true},
    {"time-limit", take_time_limit, true},
    {"memory-limit", take_memory_limit, true},
    {"set", take_set, true},
    {"slurm", take_slurm, false},
    {"slurm-option", take_slurm_option, true},
    {0},
};

/* ---- progress ---- */

static bool tell_progress(void *user, const struct sm_batch_progress *batch)
{
    struct sm_text text = {0};
    sm_text_addf(&text, "%zu of %zu surveys over, %zu running", batch->n_over, batch->n_surveys,
                 batch->n_running);
    if (batch->n_failed) {
        sm_text_addf(&text, ", %zu failed", batch->n_failed);
    }
    if (!isnan(batch->left_s)) {
        int64_t left_s = (int64_t)batch->left_s;
        sm_text_addf(&text, ", %lld:%02lld:%02lld left", (long long)(left_s / 3600),
                     (long long)(left_s / 60 % 60), (long long)(left_s % 60));
    }
    bool goes_on = sm_cli_progress_line(user, sm_text_str(&text));
    sm_text_release(&text);
    return goes_on;
}

/* ---- the run ---- */

static int print_report(const struct sm_batch_surveys *surveys, const struct sm_batch_report *report,
                        const struct sm_cli_common *common)
{
    struct sm_text text = {0};
    bool is_whole = sm_batch_count(report, SM_BATCH_DONE) + sm_batch_count(report, SM_BATCH_UNCHANGED) ==
                    report->n;
    if (common->is_json) {
        sm_batch_write_json(&text, surveys, report);
    } else if (!common->is_quiet || !is_whole) {
        sm_batch_write_table(&text, surveys, report);
    }
    int result = sm_cli_print(&text);
    sm_text_release(&text);
    return result == SM_CLI_DONE && !is_whole ? SM_CLI_FAILED : result;
}

static int work(struct request *request, const struct sm_batch_surveys *surveys,
                const struct sm_cli_common *common)
{
    char now[32];
    struct sm_cli_progress progress = sm_cli_progress_start(common);
    struct sm_batch_report *report = NULL;
    struct sm_error err = {0};
    sm_cli_now(now);
    request->batch.now = now;
    request->batch.who = sm_cli_who();
    request->batch.n_changes = request->changes.n;
    request->batch.change = request->changes.item;
    request->batch.progress = tell_progress;
    request->batch.progress_user = &progress;
    sm_cli_warn_of_missing_bars();
    enum sm_status status = sm_batch_run(&report, surveys, &request->batch, &err);
    sm_cli_progress_end(&progress);
    int result = status == SM_OK ? print_report(surveys, report, common) : sm_cli_fail(&err);
    sm_batch_report_free(&report);
    return result;
}

/* ---- on a cluster ---- */

static void tell_submission(struct sm_text *text, const struct sm_batch_submission *done)
{
    sm_text_addf(text, "%zu surveys: %zu submitted, %zu done before\n", done->n_surveys, done->n_submitted, done->n_held);
    if (done->arrays[0]) {
        sm_text_addf(text, "array%s %s, then merge %s\n", done->n_arrays == 1 ? "" : "s", done->arrays, done->merge);
    } else if (done->merge[0]) {
        sm_text_addf(text, "merge %s\n", done->merge);
    }
    sm_text_addf(text, "what each task says is in %s; submit again for what is missing then\n", done->folder);
}

static int submit(struct request *request, const struct sm_batch_surveys *surveys, const struct sm_cli_common *common)
{
    struct sm_batch_submission done = {0};
    struct sm_text text = {0};
    struct sm_error err = {0};
    request->batch.n_changes = request->changes.n;
    request->batch.change = request->changes.item;
    request->slurm.option = request->slurm_option;
    if (sm_batch_submit(&done, surveys, &request->batch, &request->slurm, &err) != SM_OK) {
        return sm_cli_fail(&err);
    }
    if (common->is_json) {
        sm_batch_write_submission_json(&text, &done);
    } else if (!common->is_quiet) {
        tell_submission(&text, &done);
    }
    int result = sm_cli_print(&text);
    sm_text_release(&text);
    return result;
}

static int batch(struct request *request, const struct sm_cli_common *common, const char *where)
{
    struct sm_batch_surveys *surveys = NULL;
    struct sm_findings findings = {0};
    struct sm_error err = {0};
    enum sm_status status = sm_batch_find(&surveys, where, &findings, &err);
    if (!common->is_quiet) {
        sm_cli_findings(&findings);
    }
    int result = status != SM_OK     ? sm_cli_fail(&err)
                 : request->is_slurm ? submit(request, surveys, common)
                                     : work(request, surveys, common);
    sm_findings_release(&findings);
    sm_batch_surveys_free(&surveys);
    return result;
}

static int run(int argc, char **argv)
{
    struct request request = {.batch = {.n_workers = sm_cli_processors(),
                                        .time_limit_s = DEFAULT_TIME_LIMIT_S,
                                        .memory_limit_bytes = DEFAULT_MEMORY_BYTES}};
    struct sm_cli_common common = {0};
    int n_operands = 0;
    enum sm_cli_parsed parsed =
        sm_cli_parse(&sm_cli_batch, options, &request, &common, argc, argv, &n_operands);
    int result = parsed == SM_CLI_HELP_SHOWN ? SM_CLI_DONE : SM_CLI_USAGE;
    if (parsed == SM_CLI_GO_ON && n_operands != 1) {
        result = sm_cli_misuse(&sm_cli_batch, n_operands ? "more than one folder or list named"
                                                         : "no folder or list named");
    } else if (parsed == SM_CLI_GO_ON && !request.batch.job_path) {
        result = sm_cli_misuse(&sm_cli_batch, "no job file named");
    } else if (parsed == SM_CLI_GO_ON) {
        result = batch(&request, &common, argv[0]);
    }
    sm_cli_changes_release(&request.changes);
    return result;
}

const struct sm_cli_command sm_cli_batch = {
    .name = "batch",
    .run = run,
    .line = "Turn many surveys into repair schedules",
    .usage = "batch DIR-OR-LIST --job JOB [--workers N] [--out DIR] [OPTION]...",
    .help =
        "Takes every survey sheet and every standard log (EN 13508-2, ISYBAU, DWA-M 150) below a folder, or what a\n"
        "text file lists, one a line. Each is worked on in a process of its own. What the job file holds already,\n"
        "unchanged, is skipped: run again to go on.\n\n"
        "  --job JOB           keep the surveys and their schedules in this job file, made when missing\n"
        "  --workers N         surveys worked on at once; the processor's cores when left out\n"
        "  --out DIR           write the documents of each survey into a folder of its name there\n"
        "  --time-limit T      for one survey, 2 h when left out, 0 for none\n"
        "  --memory-limit M    for one survey, 4 GB when left out, 0 for none\n"
        "  --set KEY=VALUE     another value than the sheets', as in --set \"rules.overlap=120 mm\"\n"
        "  --slurm             submit to Slurm: an array, one survey a task, and a merge after it; run again for\n"
        "                      what is missing then\n"
        "  --slurm-option OPT  a word for sbatch, as in --slurm-option=--partition=short\n",
};
