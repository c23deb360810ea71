/* stopmark crew: the crew's sheets and what to load, out of the job file. */
#include "cli.h"

struct request {
    const char *out_dir, *segment;
};

static bool take_out(void *user, const char *value, struct sm_error *err)
{
    (void)err;
    ((struct request *)user)->out_dir = value;
    return true;
}

static bool take_segment(void *user, const char *value, struct sm_error *err)
{
    (void)err;
    ((struct request *)user)->segment = value;
    return true;
}

static const struct sm_cli_option options[] = {{"out", take_out, true}, {"segment", take_segment, true}, {0}};

static int tell(const struct sm_load *load, const struct request *request, const struct sm_cli_common *common)
{
    struct sm_text text = {0};
    (common->is_json ? sm_schedule_load_write_json : sm_schedule_load_write)(&text, load);
    int result = common->is_quiet && !common->is_json ? SM_CLI_DONE : sm_cli_print(&text);
    if (request->out_dir && !common->is_quiet) {
        sm_cli_note("the sheets are in %s, a folder for each segment", request->out_dir);
    }
    sm_text_release(&text);
    return result;
}

static int run(int argc, char **argv)
{
    struct request request = {0};
    struct sm_cli_common common = {0};
    int n_operands = 0;
    enum sm_cli_parsed parsed = sm_cli_parse(&sm_cli_crew, options, &request, &common, argc, argv, &n_operands);
    if (parsed != SM_CLI_GO_ON) {
        return parsed == SM_CLI_HELP_SHOWN ? SM_CLI_DONE : SM_CLI_USAGE;
    }
    if (n_operands != 1) {
        return sm_cli_misuse(&sm_cli_crew, n_operands ? "more than one job named" : "no job named");
    }
    struct sm_cli_progress progress = sm_cli_progress_start(&common);
    const struct sm_job_crew_opts opts = {.job_path = argv[0],
                                          .segment = request.segment,
                                          .out_dir = request.out_dir,
                                          .progress = sm_cli_progress_tell,
                                          .progress_user = &progress};
    struct sm_load *load = NULL;
    struct sm_findings findings = {0};
    struct sm_error err = {0};
    enum sm_status status = sm_job_crew(&load, &findings, &opts, &err);
    sm_cli_progress_end(&progress);
    if (!common.is_quiet) {
        sm_cli_findings(&findings);
    }
    int result = status == SM_OK ? tell(load, &request, &common) : sm_cli_fail(&err);
    sm_findings_release(&findings);
    sm_schedule_load_free(&load);
    return result;
}

const struct sm_cli_command sm_cli_crew = {
    .name = "crew",
    .run = run,
    .line = "Write the crew's sheets of a job and say what to load",
    .usage = "crew JOB [--segment ID] [--out DIR]",
    .help = "Works from the job file alone, with what was decided in review and issued. Says what to load for all\n"
            "segments together, spares counted.\n\n"
            "  --segment ID        only this segment\n"
            "  --out DIR           write crew sheet, report, schedule and drawing of each segment into a folder there\n",
};
