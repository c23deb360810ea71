/*
 * The audit of a job, segment by segment: what belongs to a segment is loaded for it and let go again, and what a document
 * has behind all segments waits in a file.
 */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "job_internal.h"
#include "stopmark/schedule.h"

/* On paper more segments than these are summed up only; audit.html and audit.json have them all. */
enum { PIECE_BYTES = 1 << 20, STILL_QUALITY = 85, MAX_PAPER_SEGMENTS = 200 };

struct auditing {
    const struct sm_job_audit_opts *opts;
    struct sm_job_audited *result;
    struct sm_store *store;
    struct sm_store_surveys *surveys;
    struct sm_store_verdicts *verdicts;
    struct sm_job__folder *folder;       /* NULL = nothing is written */
    struct sm_audit_json json;
    struct sm_text json_text, csv_text, html_text;
    FILE *html_body, *json_parts;        /* segments wait here for the totals that stand before them */
    struct sm_paper_doc *pdf;            /* NULL = the second pass, which draws segments, is not under way */
    struct sm_error *err;
};

/* One segment's share of everything. */
struct share {
    size_t first_survey, n_surveys; /* of the list */
    struct sm_job__stored **loaded; /* one a survey, NULL = not needed */
    struct sm_audit_survey *first, *recheck;
    struct sm_store_as_builts *rows;
    struct sm_store_events *events;
    struct sm_audit_row *row;
    struct sm_audit_event *event;
    struct sm_audit_case about;
};

/* ---- what a segment has ---- */

/* Verdicts are few, and all read: the run of a segment's. */
static size_t run_of_verdicts(const struct auditing *a, const char *segment, size_t *first)
{
    size_t n = 0;
    *first = 0;
    for (size_t i = 0; i < a->verdicts->n; i++) {
        if (strcmp(a->verdicts->item[i].segment, segment) == 0) {
            *first = n ? *first : i;
            n++;
        }
    }
    return n;
}

static enum sm_status read_share(struct auditing *a, struct share *s)
{
    enum sm_status status = sm_store_list_as_built(&s->rows, a->store, s->about.segment, a->err);
    return status == SM_OK ? sm_store_list_events(&s->events, a->store, s->about.segment, a->err) : status;
}

/* ---- loading a segment ---- */

static bool is_spoken_of(const struct share *s, const char *survey_key)
{
    for (size_t i = 0; i < s->rows->n; i++) {
        if (s->rows->item[i].counts && strcmp(s->rows->item[i].survey_key, survey_key) == 0) {
            return true;
        }
    }
    return false;
}

static int compare_dates(const void *left, const void *right)
{
    const struct sm_audit_survey *a = left;
    const struct sm_audit_survey *b = right;
    int order = strcmp(a->date, b->date);
    order = order ? order : strcmp(a->stored_at, b->stored_at);
    return order ? order : strcmp(a->key, b->key);
}

/* Surveys that count, and such plans of earlier runs that a crew's row speaks of. */
static enum sm_status load_surveys(struct auditing *a, struct share *s)
{
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < s->n_surveys; i++) {
        const struct sm_store_survey *item = &a->surveys->item[s->first_survey + i];
        bool is_recheck = item->kind == SM_SURVEY_RECHECK;
        bool counts = item->superseded_by == 0;
        if (!counts && !is_spoken_of(s, item->key)) {
            continue;
        }
        status = sm_job__stored_get(&s->loaded[i], a->store, item->survey_id, is_recheck && a->folder, a->err);
        if (status == SM_OK && counts) {
            struct sm_audit_survey *list = is_recheck ? s->recheck : s->first;
            list[is_recheck ? s->about.n_rechecks++ : s->about.n_first++] = s->loaded[i]->survey;
        }
    }
    qsort(s->first, s->about.n_first, sizeof *s->first, compare_dates);
    qsort(s->recheck, s->about.n_rechecks, sizeof *s->recheck, compare_dates);
    return status;
}

/* The survey whose plan a row speaks of: one that counts where there is one of that key. */
static const struct sm_audit_survey *survey_of(const struct share *s, const char *key)
{
    for (size_t i = 0; i < s->about.n_first; i++) {
        if (strcmp(s->first[i].key, key) == 0) {
            return &s->first[i];
        }
    }
    for (size_t i = 0; i < s->n_surveys; i++) {
        if (s->loaded[i] && strcmp(s->loaded[i]->survey.key, key) == 0) {
            return &s->loaded[i]->survey;
        }
    }
    return NULL;
}

static enum sm_status gather_rows(struct auditing *a, struct share *s)
{
    s->row = sm_calloc(s->rows->n + 1, sizeof *s->row);
    for (size_t i = 0; s->row && i < s->rows->n; i++) {
        const struct sm_recorded *recorded = &s->rows->item[i];
        if (!recorded->counts) {
            continue;
        }
        const struct sm_audit_survey *survey = survey_of(s, recorded->survey_key);
        s->row[s->about.n_rows++] = (struct sm_audit_row){
            recorded, survey, survey ? sm_audit_find_repair(survey->plan, recorded->row.repair) : NULL};
    }
    s->about.row = s->row;
    return s->row ? SM_OK : sm_job__no_memory(a->err);
}

static enum sm_status gather_events(struct auditing *a, struct share *s)
{
    s->event = sm_calloc(s->events->n + 1, sizeof *s->event);
    for (size_t i = 0; s->event && i < s->events->n; i++) {
        const struct sm_store_event *e = &s->events->item[i];
        s->event[i] = (struct sm_audit_event){e->at, e->who, e->event, e->survey_key, e->subject, e->detail};
    }
    s->about.event = s->event;
    s->about.n_events = s->events->n;
    return s->event ? SM_OK : sm_job__no_memory(a->err);
}

static enum sm_status load_share(struct auditing *a, struct share *s)
{
    s->loaded = sm_calloc(s->n_surveys + 1, sizeof *s->loaded);
    s->first = sm_calloc(s->n_surveys + 1, sizeof *s->first);
    s->recheck = sm_calloc(s->n_surveys + 1, sizeof *s->recheck);
    if (!s->loaded || !s->first || !s->recheck) {
        return sm_job__no_memory(a->err);
    }
    enum sm_status status = read_share(a, s);
    if (status == SM_OK) {
        status = load_surveys(a, s);
    }
    s->about.first = s->first;
    s->about.recheck = s->recheck;
    s->about.today = a->result->today_text;
    s->about.grades = a->result->grades;
    if (status == SM_OK) {
        status = gather_rows(a, s);
    }
    if (status == SM_OK) {
        status = gather_events(a, s);
    }
    size_t first_verdict;
    s->about.n_verdicts = run_of_verdicts(a, s->about.segment, &first_verdict);
    s->about.verdict = a->verdicts->item + (s->about.n_verdicts ? first_verdict : 0);
    return status;
}

static void release_share(struct share *s)
{
    for (size_t i = 0; s->loaded && i < s->n_surveys; i++) {
        sm_job__stored_free(&s->loaded[i]);
    }
    sm_free(s->loaded);
    sm_free(s->first);
    sm_free(s->recheck);
    sm_free(s->row);
    sm_free(s->event);
    sm_store_as_builts_free(&s->rows);
    sm_store_events_free(&s->events);
}

/* ---- a segment ---- */

static enum sm_status flush(struct auditing *a, const char *name, struct sm_text *text, bool is_last)
{
    if (text->failed) {
        return sm_job__no_memory(a->err);
    }
    if (!is_last && text->length < PIECE_BYTES) {
        return SM_OK;
    }
    enum sm_status status = sm_job__folder_append(a->folder, name, text, a->err);
    sm_text_clear(text);
    return status;
}

/* ---- what waits ---- */

static enum sm_status waiting_error(struct auditing *a)
{
    sm_error_at(a->err, SM_E_IO, a->opts->out_dir, 0, 0, "the documents cannot be put together: %s", strerror(errno));
    sm_error_remedy(a->err, "make room in the folder for temporary files");
    return SM_E_IO;
}

static enum sm_status let_wait(struct auditing *a, FILE *file, struct sm_text *text)
{
    if (text->failed) {
        return sm_job__no_memory(a->err);
    }
    bool is_written = fwrite(sm_text_str(text), 1, text->length, file) == text->length;
    sm_text_clear(text);
    return is_written ? SM_OK : waiting_error(a);
}

/* All that waits in file, through text into the document. */
static enum sm_status append_waiting(struct auditing *a, const char *name, FILE *file, struct sm_text *text)
{
    enum sm_status status = flush(a, name, text, true);
    char *piece = sm_calloc(1, PIECE_BYTES);
    rewind(file);
    status = status == SM_OK && !piece ? sm_job__no_memory(a->err) : status;
    for (size_t n; status == SM_OK && (n = fread(piece, 1, PIECE_BYTES, file)) > 0;) {
        sm_text_add_n(text, piece, n);
        status = flush(a, name, text, true);
    }
    sm_free(piece);
    return status == SM_OK && ferror(file) ? waiting_error(a) : status;
}

static enum sm_status write_segment(struct auditing *a, struct sm_audit *audit)
{
    const char *folder = sm_job__folder_draft(a->folder);
    enum sm_status status = sm_job__audit_stills(a->folder, audit, STILL_QUALITY, a->err);
    if (status == SM_OK) {
        sm_audit_json_add(&a->json, audit);
        sm_audit_csv_add(&a->csv_text, audit);
        sm_audit_html_add(&a->html_text, audit, folder);
        status = let_wait(a, a->html_body, &a->html_text);
    }
    if (status == SM_OK) {
        status = let_wait(a, a->json_parts, &a->json.parts_text);
    }
    if (status == SM_OK) {
        status = flush(a, "audit.json", &a->json_text, false);
    }
    return status == SM_OK ? flush(a, "audit.csv", &a->csv_text, false) : status;
}

/* The second pass: stills are in the folder already, only their names are wanted. */
static enum sm_status draw_segment(struct auditing *a, struct sm_audit *audit)
{
    enum sm_status status = sm_job__audit_stills(a->folder, audit, 0, a->err);
    return status == SM_OK ? sm_audit_pdf_add(a->pdf, audit, sm_job__folder_draft(a->folder), a->err) : status;
}

static enum sm_status audit_share(struct auditing *a, struct share *s)
{
    struct sm_audit *audit = NULL;
    enum sm_status status = load_share(a, s);
    if (status == SM_OK) {
        status = sm_audit_make(&audit, &s->about, a->err);
    }
    if (status == SM_OK && a->pdf) {
        status = draw_segment(a, audit);
        sm_audit_free(&audit);
        return status;
    }
    if (status == SM_OK) {
        status = sm_audit_totals_add(a->result->totals, audit, a->err);
    }
    if (status == SM_OK && a->folder) {
        status = write_segment(a, audit);
    }
    if (status == SM_OK && a->opts->each) {
        status = a->opts->each(a->opts->each_user, audit, a->err);
    }
    sm_audit_free(&audit);
    return status;
}

static enum sm_status audit_segments(struct auditing *a)
{
    struct sm_job__step step = {a->opts->progress, a->opts->progress_user, "auditing"};
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < a->surveys->n;) {
        struct share s = {.first_survey = i};
        s.about.segment = a->surveys->item[i].segment.id;
        while (i < a->surveys->n && strcmp(a->surveys->item[i].segment.id, s.about.segment) == 0) {
            i++;
            s.n_surveys++;
        }
        status = sm_job__tell(&step, (double)i, (double)a->surveys->n) ? audit_share(a, &s)
                                                                         : sm_error_set(a->err, SM_E_CANCELLED, "stopped");
        release_share(&s);
    }
    return status;
}

/* ---- the job ---- */

static enum sm_status no_such_segment(struct auditing *a)
{
    sm_error_at(a->err, SM_E_NOTFOUND, a->opts->job_path, 0, 0, "the job has no segment \"%s\"", a->opts->segment);
    sm_error_remedy(a->err, "run without --segment to see all of them");
    return SM_E_NOTFOUND;
}

static enum sm_status read_lists(struct auditing *a)
{
    const char *segment = a->opts->segment;
    enum sm_status status = sm_store_list_surveys(&a->surveys, a->store, segment, a->err);
    if (status == SM_OK && segment && a->surveys->n == 0) {
        return no_such_segment(a);
    }
    if (status == SM_OK) {
        status = sm_store_list_verdicts(&a->verdicts, a->store, segment, a->err);
    }
    if (status == SM_OK) {
        status = sm_store_list_conflicts(&a->result->conflicts, a->store, segment, a->err);
    }
    return status;
}

static enum sm_status read_grades(struct auditing *a)
{
    enum { LIMIT_BYTES = 1 << 20 };
    char *data = NULL;
    size_t n = 0;
    if (!a->opts->grades_path) {
        return SM_OK;
    }
    enum sm_status status = sm_file_read(&data, &n, a->opts->grades_path, LIMIT_BYTES, a->err);
    if (status == SM_OK) {
        status = sm_audit_grades_read(&a->result->grades, data, n, a->opts->grades_path, a->err);
    }
    sm_free(data);
    return status;
}

static enum sm_status make_head(struct auditing *a)
{
    struct sm_job_audited *result = a->result;
    sm_strcopy(result->today_text, 11, a->opts->now);
    result->head.today = result->today_text;
    result->head.job = a->opts->job_path;
    enum sm_status status = sm_store_history_end(a->store, &result->head.n_events, result->chain_text, a->err);
    result->head.chain = result->chain_text;
    result->head.grades = result->grades;
    return status == SM_OK ? sm_audit_totals_new(&result->totals, a->opts->warranty_months, a->err) : status;
}

static enum sm_status open_documents(struct auditing *a)
{
    enum sm_status status = sm_job__folder_new(&a->folder, a->opts->out_dir, a->err);
    if (status == SM_OK) {
        sm_job__folder_leave_stills(a->folder);
        sm_audit_json_open(&a->json, &a->json_text);
        sm_audit_csv_head(&a->csv_text);
        a->html_body = tmpfile();
        a->json_parts = tmpfile();
        status = a->html_body && a->json_parts ? SM_OK : waiting_error(a);
    }
    return status;
}

static enum sm_status write_html(struct auditing *a)
{
    sm_audit_html_head(&a->html_text, a->result->totals, &a->result->head);
    enum sm_status status = append_waiting(a, "audit.html", a->html_body, &a->html_text);
    sm_audit_html_foot(&a->html_text, &a->result->head);
    return status == SM_OK ? flush(a, "audit.html", &a->html_text, true) : status;
}

static enum sm_status write_json(struct auditing *a)
{
    enum sm_status status = sm_audit_json_turn(&a->json, a->result->totals, &a->result->head, a->err);
    if (status == SM_OK) {
        status = append_waiting(a, "audit.json", a->json_parts, &a->json_text);
    }
    if (status == SM_OK) {
        status = sm_audit_json_close(&a->json, a->err);
    }
    return status == SM_OK ? flush(a, "audit.json", &a->json_text, true) : status;
}

static enum sm_status write_pdf(struct auditing *a)
{
    struct sm_text pdf = {0};
    enum sm_status status = sm_audit_pdf_open(&a->pdf, &pdf, a->result->totals, &a->result->head, a->err);
    if (status == SM_OK && a->result->totals->n_segments <= MAX_PAPER_SEGMENTS) {
        status = audit_segments(a);
    }
    if (a->pdf) {
        struct sm_error why = {0};
        enum sm_status closed = sm_paper_close(&a->pdf, &why);
        if (status == SM_OK && closed != SM_OK && a->err) {
            *a->err = why;
        }
        status = status == SM_OK ? closed : status;
    }
    if (status == SM_OK) {
        status = sm_job__folder_append(a->folder, "audit.pdf", &pdf, a->err);
    }
    sm_text_release(&pdf);
    return status;
}

static enum sm_status close_documents(struct auditing *a)
{
    enum sm_status status = write_json(a);
    if (status == SM_OK) {
        status = flush(a, "audit.csv", &a->csv_text, true);
    }
    if (status == SM_OK) {
        status = write_html(a);
    }
    if (status == SM_OK) {
        status = write_pdf(a);
    }
    if (status == SM_OK) {
        status = sm_job__folder_place(a->folder, a->err);
    }
    if (status == SM_OK) {
        sm_job__folder_keep(a->folder);
    }
    return status;
}

static enum sm_status audit_all(struct auditing *a)
{
    enum sm_status status = read_grades(a);
    if (status == SM_OK) {
        status = read_lists(a);
    }
    if (status == SM_OK) {
        status = make_head(a);
    }
    if (status == SM_OK && a->opts->out_dir) {
        status = open_documents(a);
    }
    if (status == SM_OK) {
        status = audit_segments(a);
    }
    return status == SM_OK && a->folder ? close_documents(a) : status;
}

static void release(struct auditing *a)
{
    sm_audit_json_release(&a->json);
    sm_text_release(&a->json_text);
    sm_text_release(&a->csv_text);
    sm_text_release(&a->html_text);
    FILE *const waiting[] = {a->html_body, a->json_parts};
    for (size_t i = 0; i < 2; i++) {
        if (waiting[i]) {
            fclose(waiting[i]);
        }
    }
    sm_job__folder_free(&a->folder);
    sm_store_verdicts_free(&a->verdicts);
    sm_store_surveys_free(&a->surveys);
    sm_store_close(&a->store);
}

void sm_job_audited_free(struct sm_job_audited **audited)
{
    if (audited && *audited) {
        sm_audit_totals_free(&(*audited)->totals);
        sm_audit_grades_free(&(*audited)->grades);
        sm_store_conflicts_free(&(*audited)->conflicts);
        sm_free(*audited);
        *audited = NULL;
    }
}

/* An earlier version's job is brought up to date (with a copy kept), then only read. */
enum sm_status sm_job__open_to_read(struct sm_store **out, const char *path, struct sm_error *err)
{
    struct sm_error why = {0};
    enum sm_status status = sm_store_open(out, path, SM_STORE_READ, &why);
    if (status == SM_E_UNSUPPORTED) {
        struct sm_store *store = NULL;
        status = sm_store_open(&store, path, SM_STORE_CHANGE, &why);
        sm_store_close(&store);
        status = status == SM_OK ? sm_store_open(out, path, SM_STORE_READ, &why) : status;
    }
    if (status != SM_OK && err) {
        *err = why;
    }
    return status;
}

enum sm_status sm_job_audit(struct sm_job_audited **out, const struct sm_job_audit_opts *opts, struct sm_error *err)
{
    struct sm_job_audited *result = sm_calloc(1, sizeof *result);
    if (!result) {
        return sm_job__no_memory(err);
    }
    struct auditing a = {.opts = opts, .result = result, .err = err};
    enum sm_status status = sm_job__open_to_read(&a.store, opts->job_path, err);
    if (status == SM_OK) {
        status = audit_all(&a);
    }
    release(&a);
    if (status != SM_OK) {
        sm_job_audited_free(&result);
        return status;
    }
    *out = result;
    return SM_OK;
}

enum sm_status sm_job_verify(struct sm_store_checked *checked, const char *job_path, const char *expected_chain,
                             sm_job_progress_fn *progress, void *progress_user, struct sm_error *err)
{
    struct sm_job__step step = {progress, progress_user, "checking"};
    struct sm_store *store = NULL;
    enum sm_status status = sm_job__open_to_read(&store, job_path, err);
    if (status == SM_OK) {
        status = sm_store_check(checked, store, expected_chain, sm_job__tell, &step, err);
    }
    sm_store_close(&store);
    return status;
}
