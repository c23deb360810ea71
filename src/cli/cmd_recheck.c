/* stopmark recheck: the survey after the work, into the job. */
#include <string.h>

#include "cli.h"

enum { MAX_CHANGES = 100, MAX_WORDS = 1000 };

struct request {
    const char *out_dir;
    struct sm_job_change change[MAX_CHANGES];
    size_t n_changes;
    struct sm_job_liner_word word[MAX_WORDS];
    size_t n_words;
    char *kept[MAX_CHANGES + MAX_WORDS]; /* copies that were cut up, freed at the end */
    size_t n_kept;
};

static bool take_out(void *user, const char *value, struct sm_error *err)
{
    (void)err;
    ((struct request *)user)->out_dir = value;
    return true;
}

/* A copy cut at the first '='; NULL = there is none. */
static char *cut(struct request *request, const char *value, char **after)
{
    char *copy = sm_strdup(value);
    char *equals = copy ? strchr(copy, '=') : NULL;
    if (!equals) {
        sm_free(copy);
        return NULL;
    }
    *equals = '\0';
    *after = equals + 1;
    request->kept[request->n_kept++] = copy;
    return copy;
}

static bool take_set(void *user, const char *value, struct sm_error *err)
{
    struct request *request = user;
    char *after = NULL;
    char *key = request->n_changes < MAX_CHANGES ? cut(request, value, &after) : NULL;
    if (!key) {
        sm_error_set(err, SM_E_FORMAT, "\"%s\" is no key=value, or one change too many", value);
        sm_error_remedy(err, "give a key of the sheet and its value, as in survey.trust=log");
        return false;
    }
    request->change[request->n_changes++] = (struct sm_job_change){key, after};
    return true;
}

/* R1=seen, R1=not seen, R1=defective: words after a colon are a remark. */
static bool take_liner(void *user, const char *value, struct sm_error *err)
{
    static const char *const words[] = {"seen", "not seen", "defective"};
    struct request *request = user;
    char *after = NULL;
    char *repair = request->n_words < MAX_WORDS ? cut(request, value, &after) : NULL;
    char *remark = after ? strchr(after, ':') : NULL;
    if (remark) {
        *remark++ = '\0';
    }
    for (size_t i = 0; repair && *repair && i < 3; i++) {
        if (sm_ascii_ieq(sm_trim(after), words[i])) {
            request->word[request->n_words++] = (struct sm_job_liner_word){repair, words[i], remark ? sm_trim(remark) : ""};
            return true;
        }
    }
    sm_error_set(err, SM_E_FORMAT, "\"%s\" is no word on a liner", value);
    sm_error_remedy(err, "write REPAIR=seen, REPAIR=not seen or REPAIR=defective, a remark after a colon");
    return false;
}

static const struct sm_cli_option options[] = {
    {"out", take_out, true},
    {"set", take_set, true},
    {"liner", take_liner, true},
    {0},
};

static void tell_findings(const struct sm_job *job)
{
    const struct sm_store_findings *stage;
    size_t n = sm_job_get_findings(job, &stage);
    for (size_t i = 0; i < n; i++) {
        if (strcmp(stage[i].stage, "plan") != 0) { /* of a recheck no plan is made */
            sm_cli_findings(stage[i].findings);
        }
    }
}

struct printing {
    bool is_json;
    struct sm_audit_json json;
    struct sm_text text;
    struct sm_audit_listing *listing;
};

static enum sm_status add_segment(void *user, const struct sm_audit *audit, struct sm_error *err)
{
    struct printing *p = user;
    if (p->is_json) {
        sm_audit_json_add(&p->json, audit);
        return SM_OK;
    }
    return sm_audit_listing_add(p->listing, audit, err);
}

/* What the recheck shows: the audit of its segment. */
static int show(const struct request *request, const struct sm_cli_common *common, const char *job, const char *segment,
                struct sm_cli_progress *progress)
{
    struct printing p = {.is_json = common->is_json};
    struct sm_error err = {0};
    char now[32];
    sm_cli_now(now);
    struct sm_job_audit_opts opts = {.job_path = job, .segment = segment, .out_dir = request->out_dir, .now = now,
                                     .each = add_segment, .each_user = &p,
                                     .progress = sm_cli_progress_tell, .progress_user = progress};
    struct sm_job_audited *audited = NULL;
    enum sm_status status = sm_audit_listing_new(&p.listing, 500, &err);
    if (p.is_json) {
        sm_audit_json_open(&p.json, &p.text);
    }
    if (status == SM_OK) {
        status = sm_job_audit(&audited, &opts, &err);
    }
    if (status == SM_OK && p.is_json) {
        status = sm_audit_json_turn(&p.json, audited->totals, &audited->head, &err);
    }
    if (status == SM_OK) {
        status = p.is_json ? sm_audit_json_close(&p.json, &err)
                           : sm_audit_listing_print(&p.text, p.listing, audited->totals, sm_cli_columns(), sm_cli_is_utf8(), &err);
    }
    sm_cli_progress_end(progress);
    bool is_printed = common->is_json || !common->is_quiet;
    int result = status != SM_OK ? sm_cli_fail(&err) : is_printed ? sm_cli_print(&p.text) : SM_CLI_DONE;
    sm_audit_listing_free(&p.listing);
    sm_audit_json_release(&p.json);
    sm_text_release(&p.text);
    sm_job_audited_free(&audited);
    return result;
}

static int recheck(const struct request *request, const struct sm_cli_common *common, const char *job, const char *sheet)
{
    struct sm_cli_progress progress = sm_cli_progress_start(common);
    char now[32];
    sm_cli_now(now);
    struct sm_job_recheck_opts opts = {job,           sheet, request->n_changes, request->change,      request->n_words,
                                       request->word, now,   sm_cli_who(),       sm_cli_progress_tell, &progress};
    struct sm_job_rechecked *rechecked = NULL;
    struct sm_error err = {0};
    sm_cli_warn_of_missing_bars();
    if (sm_job_recheck(&rechecked, &opts, &err) != SM_OK) {
        sm_cli_progress_end(&progress);
        return sm_cli_fail(&err);
    }
    sm_cli_progress_end(&progress);
    if (!common->is_quiet) {
        tell_findings(rechecked->job);
        sm_cli_note(rechecked->is_known ? "%s held this recheck already" : "recheck stored in %s", job);
    }
    int result = show(request, common, job, rechecked->segment, &progress);
    sm_job_rechecked_free(&rechecked);
    return result;
}

static int run(int argc, char **argv)
{
    static struct request request; /* too large for a stack */
    struct sm_cli_common common = {0};
    int n_operands = 0;
    enum sm_cli_parsed parsed = sm_cli_parse(&sm_cli_recheck, options, &request, &common, argc, argv, &n_operands);
    int result = parsed == SM_CLI_HELP_SHOWN ? SM_CLI_DONE : SM_CLI_USAGE;
    if (parsed == SM_CLI_GO_ON && n_operands != 2) {
        result = sm_cli_misuse(&sm_cli_recheck, n_operands < 2 ? "a job and a sheet are needed" : "more than one sheet named");
    } else if (parsed == SM_CLI_GO_ON) {
        result = recheck(&request, &common, argv[0], argv[1]);
    }
    for (size_t i = 0; i < request.n_kept; i++) {
        sm_free(request.kept[i]);
    }
    return result;
}

const struct sm_cli_command sm_cli_recheck = {
    .name = "recheck",
    .run = run,
    .line = "Take in the survey after the work",
    .usage = "recheck JOB SHEET [--liner REPAIR=WORD]... [--out DIR] [--set KEY=VALUE]...",
    .help = "SHEET names the recheck's log and video. It is brought onto the axis of the first survey and held against the liners\n"
            "that are in; prints the audit of the segment.\n\n"
            "  --liner REPAIR=WORD what the reviewer sees: seen, not seen or defective, a remark after a colon\n"
            "  --out DIR           write the segment's audit and the pictures before and after there\n"
            "  --set KEY=VALUE     another value than the sheet's\n",
};
