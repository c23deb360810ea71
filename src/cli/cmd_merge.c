/* stopmark merge: jobs made apart into one. */
#include "cli.h"

static const struct sm_cli_option options[] = {{0}};

static void add_conflicts_json(struct sm_json *json, const struct sm_store_conflicts *conflicts)
{
    sm_json_open(json, "conflicts", '[');
    for (size_t i = 0; i < conflicts->n; i++) {
        sm_json_open_compact(json, NULL, '{');
        sm_json_string(json, "segment", conflicts->item[i].segment);
        sm_json_string(json, "subject", conflicts->item[i].subject);
        sm_json_string(json, "text", conflicts->item[i].text);
        sm_json_close(json, '}');
    }
    sm_json_close(json, ']');
}

static void add_json(struct sm_text *text, const struct sm_store_merged *added, const struct sm_store_conflicts *conflicts)
{
    struct sm_json json = {.out = text};
    sm_json_open(&json, NULL, '{');
    sm_json_string(&json, "schema", "stopmark.merge/1");
    sm_json_open(&json, "added", '{');
    sm_json_int(&json, "surveys", added->n_surveys);
    sm_json_int(&json, "as_built", added->n_as_built);
    sm_json_int(&json, "decisions", added->n_decisions);
    sm_json_int(&json, "verdicts", added->n_verdicts);
    sm_json_int(&json, "events", added->n_events);
    sm_json_close(&json, '}');
    add_conflicts_json(&json, conflicts);
    sm_json_close(&json, '}');
}

static void add_words(struct sm_text *text, const struct sm_store_merged *added, const struct sm_store_conflicts *conflicts)
{
    sm_text_addf(text, "added: %lld surveys, %lld as-built rows, %lld decisions, %lld verdicts, %lld events\n",
                 (long long)added->n_surveys, (long long)added->n_as_built, (long long)added->n_decisions,
                 (long long)added->n_verdicts, (long long)added->n_events);
    for (size_t i = 0; i < conflicts->n; i++) {
        struct sm_error line;
        sm_error_set(&line, SM_OK, "%s%s%s: %s", conflicts->item[i].segment, *conflicts->item[i].subject ? " " : "",
                     conflicts->item[i].subject, conflicts->item[i].text);
        sm_text_addf(text, "conflict: %s\n", line.text);
    }
}

static int tell(const char *job_path, const struct sm_store_merged *added, const struct sm_cli_common *common)
{
    struct sm_store *store = NULL;
    struct sm_store_conflicts *conflicts = NULL;
    struct sm_error err = {0};
    struct sm_text text = {0};
    enum sm_status status = sm_store_open(&store, job_path, SM_STORE_READ, &err);
    if (status == SM_OK) {
        status = sm_store_list_conflicts(&conflicts, store, NULL, &err);
    }
    sm_store_close(&store);
    if (status != SM_OK) {
        return sm_cli_fail(&err);
    }
    if (common->is_json) {
        add_json(&text, added, conflicts);
    } else if (!common->is_quiet) {
        add_words(&text, added, conflicts);
    }
    int result = sm_cli_print(&text);
    sm_text_release(&text);
    sm_store_conflicts_free(&conflicts);
    return result;
}

static int run(int argc, char **argv)
{
    struct sm_cli_common common = {0};
    int n_operands = 0;
    enum sm_cli_parsed parsed = sm_cli_parse(&sm_cli_merge, options, NULL, &common, argc, argv, &n_operands);
    if (parsed != SM_CLI_GO_ON) {
        return parsed == SM_CLI_HELP_SHOWN ? SM_CLI_DONE : SM_CLI_USAGE;
    }
    if (n_operands < 2) {
        return sm_cli_misuse(&sm_cli_merge, "a job and at least one other are needed");
    }
    struct sm_store_merged added;
    struct sm_error err = {0};
    const char *const *others = (const char *const *)(argv + 1);
    if (sm_job_merge(&added, argv[0], others, (size_t)n_operands - 1, &err) != SM_OK) {
        return sm_cli_fail(&err);
    }
    return tell(argv[0], &added, &common);
}

const struct sm_cli_command sm_cli_merge = {
    .name = "merge",
    .run = run,
    .line = "Bring jobs made apart into one",
    .usage = "merge JOB OTHER...",
    .help = "JOB, made when missing, takes in what the others have and it lacks; the others are only read. The order makes no\n"
            "difference and nothing is taken in twice. What was said apart and cannot both be so is shown; all of it is kept.\n\n",
};
