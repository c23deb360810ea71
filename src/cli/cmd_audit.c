/* stopmark audit: which defects were addressed, by what, with which evidence. */
#include "cli.h"

enum { MAX_LISTED = 500 };

struct request {
    const char *out_dir, *segment, *grades;
    int32_t warranty_months;
    bool is_verify;
    const char *chain;
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

static bool take_grades(void *user, const char *value, struct sm_error *err)
{
    (void)err;
    ((struct request *)user)->grades = value;
    return true;
}

static bool take_warranty(void *user, const char *value, struct sm_error *err)
{
    int64_t months;
    if (!sm_parse_int(value, 1, 600, &months)) {
        sm_error_set(err, SM_E_FORMAT, "\"%s\" is no number of months", value);
        sm_error_remedy(err, "give whole months from the work to the recheck, as in --warranty 24");
        return false;
    }
    ((struct request *)user)->warranty_months = (int32_t)months;
    return true;
}

static bool take_verify(void *user, const char *value, struct sm_error *err)
{
    (void)value;
    (void)err;
    ((struct request *)user)->is_verify = true;
    return true;
}

static bool take_chain(void *user, const char *value, struct sm_error *err)
{
    (void)err;
    ((struct request *)user)->chain = value;
    ((struct request *)user)->is_verify = true;
    return true;
}

static const struct sm_cli_option options[] = {
    {"verify", take_verify, false},
    {"chain", take_chain, true},
    {"out", take_out, true},
    {"segment", take_segment, true},
    {"grades", take_grades, true},
    {"warranty", take_warranty, true},
    {0},
};

/* What is printed, gathered as the segments come. */
struct printing {
    const struct sm_cli_common *common;
    struct sm_audit_json json;
    struct sm_text text;
    struct sm_audit_listing *listing;
};

static enum sm_status add_segment(void *user, const struct sm_audit *audit, struct sm_error *err)
{
    struct printing *p = user;
    if (p->common->is_json) {
        sm_audit_json_add(&p->json, audit);
        return SM_OK;
    }
    return p->listing ? sm_audit_listing_add(p->listing, audit, err) : SM_OK;
}

static enum sm_status finish(struct printing *p, const struct sm_job_audited *audited, struct sm_error *err)
{
    if (p->common->is_json) {
        enum sm_status status = sm_audit_json_turn(&p->json, audited->totals, &audited->head, err);
        return status == SM_OK ? sm_audit_json_close(&p->json, err) : status;
    }
    return p->listing ? sm_audit_listing_print(&p->text, p->listing, audited->totals, sm_cli_columns(), sm_cli_is_utf8(), err)
                      : SM_OK;
}

static void tell(const struct request *request, const struct sm_job_audited *audited)
{
    for (size_t i = 0; i < audited->conflicts->n; i++) {
        const struct sm_store_conflict *c = &audited->conflicts->item[i];
        struct sm_error line;
        sm_error_set(&line, SM_OK, "conflict: %s%s%s: %s", c->segment, *c->subject ? " " : "", c->subject, c->text);
        sm_cli_note("%s", line.text);
    }
    if (request->out_dir) {
        sm_cli_note("results are in %s", request->out_dir);
    }
}

static int audit(const struct request *request, const struct sm_cli_common *common, const char *job)
{
    struct printing p = {.common = common};
    struct sm_cli_progress progress = sm_cli_progress_start(common);
    struct sm_job_audited *audited = NULL;
    struct sm_error err = {0};
    char now[32];
    sm_cli_now(now);
    struct sm_job_audit_opts opts = {.job_path = job, .segment = request->segment, .out_dir = request->out_dir, .now = now,
                                     .warranty_months = request->warranty_months, .grades_path = request->grades,
                                     .each = add_segment, .each_user = &p, .progress = sm_cli_progress_tell,
                                     .progress_user = &progress};
    enum sm_status status = common->is_json || (common->is_quiet && request->out_dir)
                                ? SM_OK
                                : sm_audit_listing_new(&p.listing, MAX_LISTED, &err);
    sm_audit_json_open(&p.json, &p.text);
    if (!common->is_json) {
        sm_text_clear(&p.text);
    }
    if (status == SM_OK) {
        status = sm_job_audit(&audited, &opts, &err);
    }
    if (status == SM_OK) {
        status = finish(&p, audited, &err);
    }
    sm_cli_progress_end(&progress);
    if (status == SM_OK && !common->is_quiet) {
        tell(request, audited);
    }
    int result = status == SM_OK ? sm_cli_print(&p.text) : sm_cli_fail(&err);
    sm_audit_listing_free(&p.listing);
    sm_audit_json_release(&p.json);
    sm_text_release(&p.text);
    sm_job_audited_free(&audited);
    return result;
}

/* ---- verify ---- */

static void add_verified_json(struct sm_text *text, const struct sm_store_checked *checked)
{
    struct sm_json json = {.out = text};
    sm_json_open(&json, NULL, '{');
    sm_json_string(&json, "schema", "stopmark.verify/1");
    sm_json_bool(&json, "sound", checked->n_tampered == 0);
    sm_json_int(&json, "events", checked->n_events);
    sm_json_string(&json, "chain", checked->chain);
    sm_json_int(&json, "surveys", checked->n_surveys);
    sm_json_int(&json, "as_built", checked->n_as_built);
    sm_json_int(&json, "verdicts", checked->n_verdicts);
    sm_json_int(&json, "decisions", checked->n_decisions);
    sm_json_int(&json, "inputs", checked->n_inputs);
    sm_json_int(&json, "inputs_missing", checked->n_missing);
    sm_json_int(&json, "inputs_changed", checked->n_changed);
    sm_json_open(&json, "findings", '[');
    for (size_t i = 0; i < checked->findings.n; i++) {
        const struct sm_finding *f = &checked->findings.item[i];
        sm_json_open_compact(&json, NULL, '{');
        sm_json_string(&json, "kind", f->severity == SM_SEVERITY_WARNING ? "job changed" : "input");
        sm_json_string(&json, "where", f->source);
        sm_json_string(&json, "message", f->message);
        sm_json_close(&json, '}');
    }
    sm_json_close(&json, ']');
    sm_json_close(&json, '}');
}

static int verify(const struct request *request, const struct sm_cli_common *common, const char *job)
{
    struct sm_cli_progress progress = sm_cli_progress_start(common);
    struct sm_store_checked checked = {0};
    struct sm_error err = {0};
    struct sm_text text = {0};
    enum sm_status status = sm_job_verify(&checked, job, request->chain, sm_cli_progress_tell, &progress, &err);
    sm_cli_progress_end(&progress);
    int result = status == SM_OK ? SM_CLI_DONE : sm_cli_fail(&err);
    if (status == SM_OK) {
        sm_cli_findings(&checked.findings);
        if (common->is_json) {
            add_verified_json(&text, &checked);
        } else if (!common->is_quiet) {
            sm_text_addf(&text,
                         "%s: %lld events, %lld surveys, %lld as-built rows, %lld verdicts, %lld decisions; %lld input files, "
                         "%lld missing, %lld changed\nchain %s\n",
                         checked.n_tampered ? "the job was changed from outside" : "the job is what it was",
                         (long long)checked.n_events, (long long)checked.n_surveys, (long long)checked.n_as_built,
                         (long long)checked.n_verdicts, (long long)checked.n_decisions, (long long)checked.n_inputs,
                         (long long)checked.n_missing, (long long)checked.n_changed, checked.chain);
        }
        result = sm_cli_print(&text);
        result = result == SM_CLI_DONE && checked.n_tampered ? SM_CLI_FAILED : result;
    }
    sm_text_release(&text);
    sm_findings_release(&checked.findings);
    return result;
}

static int run(int argc, char **argv)
{
    struct request request = {0};
    struct sm_cli_common common = {0};
    int n_operands = 0;
    enum sm_cli_parsed parsed = sm_cli_parse(&sm_cli_audit, options, &request, &common, argc, argv, &n_operands);
    if (parsed != SM_CLI_GO_ON) {
        return parsed == SM_CLI_HELP_SHOWN ? SM_CLI_DONE : SM_CLI_USAGE;
    }
    if (n_operands != 1) {
        return sm_cli_misuse(&sm_cli_audit, n_operands ? "more than one job named" : "no job named");
    }
    return request.is_verify ? verify(&request, &common, argv[0]) : audit(&request, &common, argv[0]);
}

const struct sm_cli_command sm_cli_audit = {
    .name = "audit",
    .run = run,
    .line = "Show which defects were addressed, with the evidence",
    .usage = "audit JOB [--out DIR] [--segment NAME] [--warranty MONTHS] [--grades FILE] [--verify [--chain HASH]]",
    .help = "States: open, planned, installed, missed (a liner is in and does not cover the defect), proven (a recheck shows the\n"
            "liner and not the defect), remains (a recheck logs it again), unseen, referred.\n\n"
            "  --out DIR           write audit.json, audit.csv, audit.html, audit.pdf and the pictures there\n"
            "  --segment NAME      this segment only\n"
            "  --warranty MONTHS   list when each liner is due for its recheck, counted from the work\n"
            "  --grades FILE       rating summaries too, by this table of grades (docs/formats/grades.md)\n"
            "  --verify            hold the job against its own history and its input files; status 1 when it was changed\n"
            "  --chain HASH        and against the chain that an earlier audit printed\n",
};
