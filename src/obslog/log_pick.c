/* One inspection out of a file that was read, as a log of its own; and the list of all. */
#include "obslog_internal.h"

#include <string.h>

enum sm_status sm_obslog__copy_inspection(struct sm_arena *arena, struct sm_obslog_inspection *inspection)
{
    const char **const strings[] = {&inspection->segment.id, &inspection->segment.from,
                                    &inspection->segment.to, &inspection->segment.material,
                                    &inspection->date,       &inspection->video};
    for (size_t k = 0; k < sizeof strings / sizeof strings[0]; k++) {
        bool is_said = *strings[k] && **strings[k];
        *strings[k] = is_said ? sm_arena_strdup(arena, *strings[k]) : NULL;
        if (is_said && !*strings[k]) {
            return SM_E_NOMEM;
        }
    }
    return SM_OK;
}

/* ---- which
 * ------------------------------------------------------------------------------------------------- */

/* An inspection whose file does not name a segment is of whatever segment is asked for. */
static bool is_of(const struct sm_obslog_part *part, const char *segment)
{
    return !segment || !part->head.segment.id || strcmp(segment, part->head.segment.id) == 0;
}

/* The n-th inspection of a segment, n = 0: how many there are in n_of_segment. */
static const struct sm_obslog_part *find_part(const struct sm_obslog_file *file,
                                              const struct sm_obslog_opts *opts, size_t *n_of_segment)
{
    size_t number = opts->inspection > 0 ? (size_t)opts->inspection : 1;
    if (!opts->segment) {
        *n_of_segment = file->n_parts;
        return number <= file->n_parts ? &file->part[number - 1] : NULL;
    }
    const struct sm_obslog_part *found = NULL;
    *n_of_segment = 0;
    for (size_t k = 0; k < file->n_parts; k++) {
        bool is_one = is_of(&file->part[k], opts->segment);
        *n_of_segment += is_one;
        found = is_one && *n_of_segment == number ? &file->part[k] : found;
    }
    return found;
}

static enum sm_status missing_inspection(const struct sm_obslog_file *file, const struct sm_obslog_opts *opts,
                                         size_t n_of_segment, struct sm_error *err)
{
    if (file->broken.status != SM_OK) {
        if (err) {
            *err = file->broken;
        }
        return file->broken.status;
    }
    if (opts->segment && n_of_segment == 0) {
        sm_error_at(err, SM_E_NOTFOUND, file->source, 0, 0,
                    "none of the %zu inspections is of segment \"%.80s\"", file->n_parts, opts->segment);
        return sm_error_remedy(err, "write [segment] id as the log has it");
    }
    if (file->n_parts == 0) {
        sm_error_at(err, SM_E_FORMAT, file->source, 0, 0, "the log holds no inspection");
        return sm_error_remedy(err,
                               "check that the export was finished and that it is of pipes, not of manholes");
    }
    sm_error_at(err, SM_E_NOTFOUND, file->source, 0, 0, "there is no inspection number %d, only %zu",
                (int)opts->inspection, n_of_segment);
    return sm_error_remedy(err, "ask for one of those");
}

/* ---- its copy
 * ---------------------------------------------------------------------------------------------- */

static struct sm_obslog *log_new(void)
{
    struct sm_obslog *log = sm_calloc(1, sizeof *log);
    if (log && sm_arena_new(&log->arena) != SM_OK) {
        sm_free(log);
        return NULL;
    }
    return log;
}

static enum sm_status copy_head(struct sm_obslog *log, const struct sm_obslog_file *file,
                                const struct sm_obslog_part *part)
{
    struct sm_obslog_inspection head = part->head;
    if (sm_obslog__copy_inspection(log->arena, &head) != SM_OK) {
        return SM_E_NOMEM;
    }
    log->source = sm_arena_strdup(log->arena, file->source);
    log->format = file->format;
    log->segment = head.segment;
    log->date = head.date;
    log->video = head.video;
    log->inspection_length_m = head.inspection_length_m;
    log->is_against_flow = head.is_against_flow;
    log->has_datum = head.has_datum;
    log->datum = head.datum;
    log->may_be_hours = part->n_times > 0 && part->n_may_be_hours == part->n_times;
    log->may_be_hmmss = part->n_past_minute > 0 && part->n_may_be_hmmss == part->n_times;
    log->unit = part->n_distances == 0                 ? SM_UNIT_UNKNOWN
                : 2 * part->n_feet > part->n_distances ? SM_UNIT_FT
                                                       : SM_UNIT_M;
    return log->source ? SM_OK : SM_E_NOMEM;
}

static enum sm_status copy_entry(struct sm_arena *arena, struct sm_log_entry *to,
                                 const struct sm_log_entry *from)
{
    *to = *from;
    const char **const strings[] = {&to->code, &to->ch1, &to->ch2, &to->q1, &to->q2, &to->remark, &to->photo};
    for (size_t k = 0; k < sizeof strings / sizeof strings[0]; k++) {
        *strings[k] = **strings[k] ? sm_arena_strdup(arena, *strings[k]) : "";
        if (!*strings[k]) {
            return SM_E_NOMEM;
        }
    }
    return SM_OK;
}

static enum sm_status copy_entries(struct sm_obslog *log, const struct sm_obslog_file *file,
                                   const struct sm_obslog_part *part)
{
    if (part->n_entries == 0) {
        return SM_OK;
    }
    log->entry = sm_calloc(part->n_entries, sizeof *log->entry);
    enum sm_status status = log->entry ? SM_OK : SM_E_NOMEM;
    for (size_t k = part->entries.first; status == SM_OK && k != SM_OBSLOG_NONE; k = file->entry[k].next) {
        status = copy_entry(log->arena, &log->entry[log->n_entries++], &file->entry[k].entry);
    }
    return status;
}

/* Its own and everybody's, in the order they were made. */
static enum sm_status copy_findings(struct sm_obslog *log, const struct sm_obslog_file *file,
                                    const struct sm_obslog_part *part)
{
    size_t own = part->findings.first, all = file->of_all.first;
    enum sm_status status = SM_OK;
    while (status == SM_OK && (own != SM_OBSLOG_NONE || all != SM_OBSLOG_NONE)) {
        size_t *at = own < all ? &own : &all; /* none is the largest there is */
        const struct sm_finding *finding = &file->findings.item[*at];
        status = sm_findings_add(&log->findings, finding->flag, finding->severity, file->source,
                                 finding->line, finding->time_s, finding->entry_idx, "%s", finding->message);
        *at = file->next_finding[*at];
    }
    return status;
}

static enum sm_status note_others(struct sm_obslog *log, const struct sm_obslog_file *file,
                                  const struct sm_obslog_opts *opts, const struct sm_obslog_part *part,
                                  size_t n_of_segment)
{
    const char *id = log->segment.id ? log->segment.id : "?";
    if (n_of_segment > 1 && opts->inspection == 0 && opts->segment) {
        return sm_findings_add(&log->findings, (enum sm_flag)0, SM_SEVERITY_NOTE, file->source, 0, SM_NAN, -1,
                               "the file has %zu inspections of segment %.80s, the first is used",
                               n_of_segment, id);
    }
    if (file->n_parts > 1 && !opts->segment && opts->inspection == 0) {
        return sm_findings_add(
            &log->findings, (enum sm_flag)0, SM_SEVERITY_NOTE, file->source, 0, SM_NAN, -1,
            "the file has %zu inspections, the first (segment %.80s) is used; %zu rows belong to others",
            file->n_parts, id, file->n_rows - part->head.n_rows);
    }
    return SM_OK;
}

/* The only inspection of a file is used and said so when it is of another segment, because the sheet may have
 * its own names. */
static enum sm_status note_other_segment(struct sm_obslog *log, const char *segment)
{
    return sm_findings_add(
        &log->findings, (enum sm_flag)0, SM_SEVERITY_WARNING, log->source, 0, SM_NAN, -1,
        "the log is of segment \"%.80s\", not of \"%.80s\"; check that it is the right one",
        log->segment.id ? log->segment.id : "", segment);
}

static enum sm_status copy_part(struct sm_obslog *log, const struct sm_obslog_file *file,
                                const struct sm_obslog_part *part)
{
    enum sm_status status = copy_head(log, file, part);
    if (status == SM_OK) {
        status = copy_entries(log, file, part);
    }
    return status == SM_OK ? copy_findings(log, file, part) : status;
}

enum sm_status sm_obslog_file_pick(struct sm_obslog **out, const struct sm_obslog_file *file,
                                   const struct sm_obslog_opts *opts, struct sm_error *err)
{
    static const struct sm_obslog_opts defaults = {NULL, SM_UNIT_UNKNOWN, 0};
    size_t n_of_segment = 0;
    opts = opts ? opts : &defaults;
    const struct sm_obslog_part *part = find_part(file, opts, &n_of_segment);
    bool is_other_segment = !part && file->n_parts == 1 && opts->segment && opts->inspection <= 1;
    part = is_other_segment ? &file->part[0] : part;
    if (!part || (part->n_entries == 0 && file->broken.status != SM_OK)) {
        return missing_inspection(file, opts, n_of_segment, err);
    }
    struct sm_obslog *log = log_new();
    enum sm_status status = log ? copy_part(log, file, part) : SM_E_NOMEM;
    if (status == SM_OK) {
        status = is_other_segment ? note_other_segment(log, opts->segment)
                                  : note_others(log, file, opts, part, n_of_segment);
    }
    if (status != SM_OK) {
        sm_obslog_free(&log);
        return sm_obslog__no_memory(err);
    }
    *out = log;
    return SM_OK;
}

void sm_obslog_free(struct sm_obslog **log)
{
    if (!*log) {
        return;
    }
    sm_findings_release(&(*log)->findings);
    sm_free((*log)->entry);
    sm_arena_free(&(*log)->arena);
    sm_free(*log);
    *log = NULL;
}

/* ---- the list
 * ---------------------------------------------------------------------------------------------- */

static enum sm_status fill_list(struct sm_obslog_list *list, const struct sm_obslog_file *file)
{
    list->format = file->format;
    if (file->n_parts == 0) {
        return SM_OK;
    }
    list->inspection = sm_calloc(file->n_parts, sizeof *list->inspection);
    enum sm_status status = list->inspection ? SM_OK : SM_E_NOMEM;
    for (size_t k = 0; status == SM_OK && k < file->n_parts; k++) {
        list->inspection[list->n_inspections++] = file->part[k].head;
        status = sm_obslog__copy_inspection(list->arena, &list->inspection[k]);
    }
    return status;
}

enum sm_status sm_obslog_file_list(struct sm_obslog_list **out, const struct sm_obslog_file *file,
                                   struct sm_error *err)
{
    if (file->n_parts == 0 && file->broken.status != SM_OK) {
        if (err) {
            *err = file->broken;
        }
        return file->broken.status;
    }
    struct sm_obslog_list *list = sm_calloc(1, sizeof *list);
    enum sm_status status = list ? sm_arena_new(&list->arena) : SM_E_NOMEM;
    if (status == SM_OK) {
        status = fill_list(list, file);
    }
    if (status != SM_OK) {
        sm_obslog_list_free(&list);
        return sm_obslog__no_memory(err);
    }
    *out = list;
    return SM_OK;
}

void sm_obslog_list_free(struct sm_obslog_list **list)
{
    if (!*list) {
        return;
    }
    sm_free((*list)->inspection);
    sm_arena_free(&(*list)->arena);
    sm_free(*list);
    *list = NULL;
}
