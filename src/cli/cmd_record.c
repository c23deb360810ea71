/* stopmark record: what the crew did, into the job. */
#include "cli.h"

struct request {
    const char *segment;
};

static bool take_segment(void *user, const char *value, struct sm_error *err)
{
    (void)err;
    ((struct request *)user)->segment = value;
    return true;
}

static const struct sm_cli_option options[] = {
    {"segment", take_segment, true},
    {0},
};

static const char *const taken_words[] = {
    "recorded", "recorded, corrects an earlier row", "known already",
    "known already, and corrected since: the correction stands (corrects = yes goes back)"};
static const char *const taken_names[] = {"new", "correction", "known", "outdated"};

static const char *severity_name(enum sm_severity severity)
{
    return severity == SM_SEVERITY_WARNING ? "warning" : "note";
}

static void add_row_json(struct sm_json *json, const struct sm_job_recorded_row *row)
{
    sm_json_open(json, NULL, '{');
    sm_json_int(json, "line", row->row->line);
    sm_json_string(json, "segment", row->row->segment);
    sm_json_string(json, "repair", row->row->repair);
    sm_json_string(json, "taken", taken_names[row->taken]);
    sm_json_bool(json, "planned", row->is_planned);
    sm_json_bool(json, "in_place", row->row->is_in_place);
    sm_json_open(json, "findings", '[');
    for (size_t i = 0; i < row->n_remarks; i++) {
        sm_json_open_compact(json, NULL, '{');
        sm_json_string(json, "concerns", row->remark[i].concerns);
        sm_json_string(json, "severity", severity_name(row->remark[i].severity));
        sm_json_string(json, "message", row->remark[i].message);
        sm_json_close(json, '}');
    }
    sm_json_close(json, ']');
    sm_json_close(json, '}');
}

static void add_json(struct sm_text *text, const struct sm_job_recorded *recorded)
{
    struct sm_json json = {.out = text};
    sm_json_open(&json, NULL, '{');
    sm_json_string(&json, "schema", "stopmark.record/1");
    sm_json_open(&json, "rows", '[');
    for (size_t i = 0; i < recorded->n_rows; i++) {
        add_row_json(&json, &recorded->row[i]);
    }
    sm_json_close(&json, ']');
    sm_json_open(&json, "counts", '{');
    for (size_t i = 0; i < 4; i++) {
        sm_json_int(&json, taken_names[i], (int64_t)recorded->n_of[i]);
    }
    sm_json_close(&json, '}');
    sm_json_close(&json, '}');
}

/* Field texts go through the error record's filter, as findings do. */
static void add_plain(struct sm_text *text, const char *words)
{
    struct sm_error line;
    sm_error_set(&line, SM_OK, "%s", words);
    sm_text_add(text, line.text);
}

static void add_table(struct sm_text *text, const struct sm_job_recorded *recorded)
{
    for (size_t i = 0; i < recorded->n_rows; i++) {
        const struct sm_job_recorded_row *row = &recorded->row[i];
        add_plain(text, *row->row->repair ? row->row->repair : "(no name)");
        sm_text_add(text, "  ");
        add_plain(text, row->row->segment);
        sm_text_addf(text, "  %s%s\n", taken_words[row->taken], row->is_planned ? "" : "  (not planned)");
        bool is_new = row->taken == SM_STORE_TAKEN_NEW || row->taken == SM_STORE_TAKEN_CORRECTION;
        for (size_t k = 0; is_new && k < row->n_remarks; k++) {
            sm_text_addf(text, "    %s: ", severity_name(row->remark[k].severity));
            add_plain(text, row->remark[k].message);
            sm_text_add(text, "\n");
        }
    }
}

static int print(const struct sm_job_recorded *recorded, const struct sm_cli_common *common)
{
    struct sm_text text = {0};
    if (!common->is_quiet) {
        sm_cli_findings(&recorded->file->findings);
    }
    if (common->is_json) {
        add_json(&text, recorded);
    } else if (!common->is_quiet) {
        add_table(&text, recorded);
    }
    int result = sm_cli_print(&text);
    sm_text_release(&text);
    return result;
}

static int run(int argc, char **argv)
{
    struct request request = {0};
    struct sm_cli_common common = {0};
    int n_operands = 0;
    enum sm_cli_parsed parsed =
        sm_cli_parse(&sm_cli_record, options, &request, &common, argc, argv, &n_operands);
    if (parsed != SM_CLI_GO_ON) {
        return parsed == SM_CLI_HELP_SHOWN ? SM_CLI_DONE : SM_CLI_USAGE;
    }
    if (n_operands != 2) {
        return sm_cli_misuse(&sm_cli_record, n_operands < 2 ? "a job and an as-built file are needed"
                                                            : "too many files named");
    }
    char now[32];
    sm_cli_now(now);
    struct sm_job_record_opts opts = {argv[0], argv[1], request.segment, now, sm_cli_who()};
    struct sm_job_recorded *recorded = NULL;
    struct sm_error err = {0};
    if (sm_job_record(&recorded, &opts, &err) != SM_OK) {
        return sm_cli_fail(&err);
    }
    int result = print(recorded, &common);
    sm_job_recorded_free(&recorded);
    return result;
}

const struct sm_cli_command sm_cli_record = {
    .name = "record",
    .run = run,
    .line = "Take in what the crew did",
    .usage = "record JOB ASBUILT.csv [--segment NAME]",
    .help = "Every row is checked against the plan and kept, whatever it says; what is off is told with its "
            "consequence.\n"
            "A row about a liner that is recorded already corrects it; both stay in the job.\n\n"
            "  --segment NAME      segment of rows that do not name theirs\n",
};
