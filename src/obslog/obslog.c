/*
 * The registry of formats and the log under construction. A reader announces each inspection it meets with
 * sm_obslog__begin() and hands in the rows; whether they are wanted, or only counted for a list, is decided
 * here.
 */
#include "obslog_internal.h"

#include <stdio.h>
#include <string.h>

static const struct sm_obslog_reader *const readers[] = {&sm_obslog__csv, &sm_obslog__en13508,
                                                         &sm_obslog__isybau, &sm_obslog__m150};

enum sm_status sm_obslog__no_memory(struct sm_error *err)
{
    return sm_error_set(err, SM_E_NOMEM, "out of memory");
}

/* ---- findings
 * ---------------------------------------------------------------------------------------------- */

/* Findings of a list are not kept: it only says what is there. */
static enum sm_status add_finding(struct sm_obslog_build *build, enum sm_flag flag, enum sm_severity severity,
                                  uint32_t line, int32_t entry_idx, const char *message)
{
    if (build->list || build->is_quiet) {
        return SM_OK;
    }
    return sm_findings_add(&build->log->findings, flag, severity, build->input->source, line, SM_NAN,
                           entry_idx, "%s", message);
}

enum sm_status sm_obslog__odd(struct sm_obslog_build *build, uint32_t line, const char *fmt, ...)
{
    char message[400];
    va_list args;
    va_start(args, fmt);
    vsnprintf(message, sizeof message, fmt, args);
    va_end(args);
    int32_t entry_idx = build->list ? -1 : (int32_t)build->log->n_entries;
    return add_finding(build, SM_FLAG_ROW_ODD, SM_SEVERITY_WARNING, line, entry_idx, message);
}

enum sm_status sm_obslog__lost(struct sm_obslog_build *build, uint32_t line, const char *fmt, ...)
{
    char message[600];
    va_list args;
    va_start(args, fmt);
    vsnprintf(message, sizeof message, fmt, args);
    va_end(args);
    /* what was found odd in this row belongs to no entry any more */
    for (size_t k = build->list ? 0 : build->log->findings.n; k > 0; k--) {
        struct sm_finding *finding = &build->log->findings.item[k - 1];
        if (finding->line != line || finding->entry_idx != (int32_t)build->log->n_entries) {
            break;
        }
        finding->entry_idx = -1;
    }
    return add_finding(build, SM_FLAG_ROW_ODD, SM_SEVERITY_WARNING, line, -1, message);
}

enum sm_status sm_obslog__note(struct sm_obslog_build *build, uint32_t line, const char *fmt, ...)
{
    char message[600];
    va_list args;
    va_start(args, fmt);
    vsnprintf(message, sizeof message, fmt, args);
    va_end(args);
    return add_finding(build, (enum sm_flag)0, SM_SEVERITY_NOTE, line, -1, message);
}

/* ---- inspections
 * ------------------------------------------------------------------------------------------- */

struct sm_obslog_inspection sm_obslog__inspection_none(uint32_t line)
{
    return (struct sm_obslog_inspection){
        .segment = {.length_m = SM_NAN, .diameter_mm = SM_NAN, .pipe_unit_length_m = SM_NAN},
        .inspection_length_m = SM_NAN,
        .line = line,
    };
}

/* Copies every string of an inspection into the arena; an empty one counts as not said. */
static enum sm_status copy_inspection(struct sm_arena *arena, struct sm_obslog_inspection *inspection)
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

static enum sm_status list_inspection(struct sm_obslog_build *build,
                                      const struct sm_obslog_inspection *inspection)
{
    struct sm_obslog_list *list = build->list;
    if (sm_grow(&list->inspection, list->n_inspections, &build->list_capacity, sizeof *list->inspection) !=
        SM_OK) {
        return SM_E_NOMEM;
    }
    list->inspection[list->n_inspections++] = *inspection;
    return SM_OK;
}

static void take_inspection(struct sm_obslog *log, const struct sm_obslog_inspection *inspection)
{
    log->segment = inspection->segment;
    log->date = inspection->date;
    log->video = inspection->video;
    log->inspection_length_m = inspection->inspection_length_m;
    log->is_against_flow = inspection->is_against_flow;
    log->has_datum = inspection->has_datum;
    log->datum = inspection->datum;
}

/* An inspection whose file does not name a segment is of whatever segment is asked for. */
static bool is_named(const struct sm_obslog_build *build, const char *id)
{
    const char *asked = build->input->opts->segment;
    return !asked || !*id || strcmp(asked, id) == 0;
}

/* Is the inspection that begins next, of this segment, the one asked for? */
static bool is_wanted_next(const struct sm_obslog_build *build, const char *id)
{
    const struct sm_obslog_opts *opts = build->input->opts;
    size_t number = opts->inspection > 0 ? (size_t)opts->inspection : 1;
    return !build->list && is_named(build, id) && build->n_of_segment + 1 == number;
}

void sm_obslog__announce(struct sm_obslog_build *build, const char *segment_id)
{
    build->is_quiet = !is_wanted_next(build, segment_id ? segment_id : "");
}

enum sm_status sm_obslog__begin(struct sm_obslog_build *build, const struct sm_obslog_inspection *inspection,
                                struct sm_error *err)
{
    struct sm_obslog_inspection own = *inspection;
    const char *id = own.segment.id ? own.segment.id : "";
    build->is_taken = is_wanted_next(build, id);
    build->current_idx = build->n_inspections++;
    build->n_of_segment += is_named(build, id);
    build->is_quiet = false;
    if (!build->list && !build->is_taken) {
        return SM_OK;
    }
    enum sm_status status = copy_inspection(build->arena, &own);
    if (status == SM_OK && build->list) {
        status = list_inspection(build, &own);
    }
    if (status != SM_OK) {
        return sm_obslog__no_memory(err);
    }
    if (build->is_taken) {
        build->has_taken = true;
        build->taken_idx = build->current_idx;
        take_inspection(build->log, &own);
    }
    return SM_OK;
}

void sm_obslog__resume(struct sm_obslog_build *build, size_t inspection_idx)
{
    build->current_idx = inspection_idx;
    build->is_taken = build->has_taken && build->taken_idx == inspection_idx;
}

bool sm_obslog__count_row(struct sm_obslog_build *build)
{
    if (build->list) {
        build->list->inspection[build->current_idx].n_rows++;
    } else if (!build->is_taken) {
        build->n_rows_elsewhere++;
    }
    return build->is_taken;
}

/* ---- entries
 * ----------------------------------------------------------------------------------------------- */

struct sm_log_entry sm_obslog__entry_none(uint32_t line)
{
    return (struct sm_log_entry){
        .line = line,
        .time_s = SM_NAN,
        .distance_m = SM_NAN,
        .distance_digit_m = SM_NAN,
        .q1_value = SM_NAN,
        .q2_value = SM_NAN,
        .diameter_mm = SM_NAN,
    };
}

enum sm_status sm_obslog__add(struct sm_obslog_build *build, const struct sm_log_entry *entry,
                              struct sm_error *err)
{
    struct sm_obslog *log = build->log;
    if (log->n_entries >= SM_OBSLOG_LIMIT_ROWS) {
        sm_error_at(err, SM_E_RANGE, build->input->source, entry->line, 0, "more than %d rows",
                    SM_OBSLOG_LIMIT_ROWS);
        return sm_error_remedy(err, "cut the log into one file for each inspection");
    }
    if (sm_grow(&log->entry, log->n_entries, &build->capacity, sizeof *log->entry) != SM_OK) {
        return sm_obslog__no_memory(err);
    }
    struct sm_log_entry *added = &log->entry[log->n_entries++];
    *added = *entry;
    const char **const strings[] = {&added->code, &added->ch1,    &added->ch2,  &added->q1,
                                    &added->q2,   &added->remark, &added->photo};
    for (size_t k = 0; k < sizeof strings / sizeof strings[0]; k++) {
        *strings[k] = *strings[k] ? *strings[k] : "";
    }
    return SM_OK;
}

/* The log may come from a machine that separates folders with '\\' and has drives; a drive of another machine
 * is left off. */
static void unify_path(struct sm_text *out, const char *name)
{
    bool has_drive = name[0] && name[1] == ':' && (name[2] == '\\' || name[2] == '/');
    const char *last = strrchr(name, '\\');
    if (has_drive) {
        const char *slash = strrchr(name, '/');
        last = slash && (!last || slash > last) ? slash : last;
        name = last + 1;
    }
    for (; *name; name++) {
        sm_text_add_n(out, *name == '\\' ? "/" : name, 1);
    }
}

const char *sm_obslog__beside(struct sm_obslog_build *build, const char *name)
{
    struct sm_text unified = {0}, text = {0};
    const char *path = NULL;
    unify_path(&unified, name);
    if (!unified.failed && sm_path_beside(&text, build->input->source, sm_text_str(&unified)) == SM_OK &&
        !text.failed) {
        path = sm_arena_strdup(build->arena, sm_text_str(&text));
    }
    sm_text_release(&unified);
    sm_text_release(&text);
    return path;
}

/* ---- reading
 * ----------------------------------------------------------------------------------------------- */

static const struct sm_obslog_reader *find_reader(const struct sm_obslog_input *input)
{
    const struct sm_obslog_reader *best = NULL;
    int best_sure = 0;
    for (size_t k = 0; k < sizeof readers / sizeof readers[0]; k++) {
        int sure = readers[k]->probe(input);
        if (sure > best_sure) {
            best = readers[k];
            best_sure = sure;
        }
    }
    return best;
}

const char *sm_obslog_guess_format(const char *data, size_t n)
{
    struct sm_obslog_input input = {.data = data, .n = n, .source = ""};
    const struct sm_obslog_reader *reader = n ? find_reader(&input) : NULL;
    return reader ? reader->name : NULL;
}

static enum sm_status read_with(const struct sm_obslog_reader **reader, struct sm_obslog_build *build,
                                struct sm_error *err)
{
    const struct sm_obslog_input *input = build->input;
    if (input->n == 0) {
        sm_error_at(err, SM_E_FORMAT, input->source, 0, 0, "the log is empty");
        return sm_error_remedy(err, "check that the export was finished");
    }
    *reader = find_reader(input);
    if (!*reader) {
        sm_error_at(err, SM_E_FORMAT, input->source, 1, 0, "this is no log of a format known here");
        return sm_error_remedy(err, "give a CSV log, an EN 13508-2 text file, ISYBAU XML or DWA-M 150 XML");
    }
    enum sm_status status = (*reader)->read(build, err);
    sm_error_source(status == SM_OK ? NULL : err, input->source);
    return status;
}

static enum sm_status missing_inspection(const struct sm_obslog_build *build, struct sm_error *err)
{
    const struct sm_obslog_opts *opts = build->input->opts;
    if (opts->segment && build->n_of_segment == 0) {
        sm_error_at(err, SM_E_NOTFOUND, build->input->source, 0, 0,
                    "none of the %zu inspections is of segment \"%.80s\"", build->n_inspections,
                    opts->segment);
        return sm_error_remedy(err, "write [segment] id as the log has it");
    }
    if (build->n_inspections == 0) {
        sm_error_at(err, SM_E_FORMAT, build->input->source, 0, 0, "the log holds no inspection");
        return sm_error_remedy(err,
                               "check that the export was finished and that it is of pipes, not of manholes");
    }
    sm_error_at(err, SM_E_NOTFOUND, build->input->source, 0, 0, "there is no inspection number %d, only %zu",
                (int)opts->inspection, build->n_of_segment);
    return sm_error_remedy(err, "ask for one of those");
}

static enum sm_status note_others(struct sm_obslog_build *build)
{
    const char *id = build->log->segment.id ? build->log->segment.id : "?";
    if (build->n_of_segment > 1 && build->input->opts->inspection == 0 && build->input->opts->segment) {
        return sm_obslog__note(build, 0, "the file has %zu inspections of segment %.80s, the first is used",
                               build->n_of_segment, id);
    }
    if (build->n_inspections > 1 && !build->input->opts->segment && build->input->opts->inspection == 0) {
        return sm_obslog__note(
            build, 0,
            "the file has %zu inspections, the first (segment %.80s) is used; %zu rows belong to others",
            build->n_inspections, id, build->n_rows_elsewhere);
    }
    return SM_OK;
}

static struct sm_obslog *log_new(struct sm_error *err)
{
    struct sm_obslog *log = sm_calloc(1, sizeof *log);
    if (!log || sm_arena_new(&log->arena) != SM_OK) {
        sm_free(log);
        sm_obslog__no_memory(err);
        return NULL;
    }
    struct sm_obslog_inspection none = sm_obslog__inspection_none(0);
    take_inspection(log, &none);
    return log;
}

static enum sm_status fill_log(struct sm_obslog *log, const struct sm_obslog_input *input,
                               size_t *n_inspections, struct sm_error *err)
{
    struct sm_obslog_build build = {.input = input, .log = log, .arena = log->arena};
    const struct sm_obslog_reader *reader = NULL;
    log->source = sm_arena_strdup(log->arena, input->source);
    enum sm_status status = log->source ? read_with(&reader, &build, err) : sm_obslog__no_memory(err);
    *n_inspections = build.n_inspections;
    if (status != SM_OK) {
        return status;
    }
    log->format = reader->name;
    log->may_be_hours = build.n_times > 0 && build.n_may_be_hours == build.n_times;
    log->may_be_hmmss = build.n_past_minute > 0 && build.n_may_be_hmmss == build.n_times;
    log->unit = build.n_distances == 0 ? SM_UNIT_UNKNOWN
                : 2 * build.n_feet > build.n_distances ? SM_UNIT_FT
                                                       : SM_UNIT_M;
    if (!build.has_taken) {
        return missing_inspection(&build, err);
    }
    return note_others(&build) == SM_OK ? SM_OK : sm_obslog__no_memory(err);
}

/* A file with one inspection only, of another segment: it is used and said so, because the sheet may have its
 * own names. */
static enum sm_status fill_other_segment(struct sm_obslog *log, const struct sm_obslog_input *input,
                                         struct sm_error *err)
{
    struct sm_obslog_opts any = {NULL, input->opts->unit, input->opts->inspection};
    struct sm_obslog_input again = {input->data, input->n, input->source, &any};
    size_t n_inspections;
    enum sm_status status = fill_log(log, &again, &n_inspections, err);
    if (status != SM_OK) {
        return status;
    }
    return sm_findings_add(
        &log->findings, (enum sm_flag)0, SM_SEVERITY_WARNING, input->source, 0, SM_NAN, -1,
        "the log is of segment \"%.80s\", not of \"%.80s\"; check that it is the right one",
        log->segment.id ? log->segment.id : "", input->opts->segment);
}

enum sm_status sm_obslog_parse(struct sm_obslog **out, const char *data, size_t n, const char *source,
                               const struct sm_obslog_opts *opts, struct sm_error *err)
{
    static const struct sm_obslog_opts defaults = {NULL, SM_UNIT_UNKNOWN, 0};
    struct sm_obslog_input input = {data, n, source ? source : "", opts ? opts : &defaults};
    struct sm_obslog *log = log_new(err);
    if (!log) {
        return SM_E_NOMEM;
    }
    size_t n_inspections = 0;
    enum sm_status status = fill_log(log, &input, &n_inspections, err);
    if (status == SM_E_NOTFOUND && n_inspections == 1 && input.opts->segment && input.opts->inspection <= 1) {
        sm_obslog_free(&log);
        log = log_new(err);
        status = log ? fill_other_segment(log, &input, err) : SM_E_NOMEM;
    }
    if (status != SM_OK) {
        sm_obslog_free(&log);
        return status;
    }
    *out = log;
    return SM_OK;
}

enum sm_status sm_obslog_read(struct sm_obslog **out, const char *path, const struct sm_obslog_opts *opts,
                              struct sm_error *err)
{
    char *data = NULL;
    size_t n = 0;
    enum sm_status status = sm_file_read(&data, &n, path, SM_OBSLOG_LIMIT_BYTES, err);
    if (status == SM_OK) {
        status = sm_obslog_parse(out, data, n, path, opts, err);
    }
    sm_free(data);
    return status;
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

/* ---- listing
 * ----------------------------------------------------------------------------------------------- */

static enum sm_status fill_list(struct sm_obslog_list *list, const struct sm_obslog_input *input,
                                struct sm_error *err)
{
    struct sm_obslog_build build = {.input = input, .list = list, .arena = list->arena};
    const struct sm_obslog_reader *reader = NULL;
    enum sm_status status = read_with(&reader, &build, err);
    list->format = status == SM_OK ? reader->name : NULL;
    return status;
}

enum sm_status sm_obslog_list_parse(struct sm_obslog_list **out, const char *data, size_t n,
                                    const char *source, struct sm_error *err)
{
    static const struct sm_obslog_opts defaults = {NULL, SM_UNIT_UNKNOWN, 0};
    struct sm_obslog_input input = {data, n, source ? source : "", &defaults};
    struct sm_obslog_list *list = sm_calloc(1, sizeof *list);
    if (!list || sm_arena_new(&list->arena) != SM_OK) {
        sm_free(list);
        return sm_obslog__no_memory(err);
    }
    enum sm_status status = fill_list(list, &input, err);
    if (status != SM_OK) {
        sm_obslog_list_free(&list);
        return status;
    }
    *out = list;
    return SM_OK;
}

enum sm_status sm_obslog_list(struct sm_obslog_list **out, const char *path, struct sm_error *err)
{
    char *data = NULL;
    size_t n = 0;
    enum sm_status status = sm_file_read(&data, &n, path, SM_OBSLOG_LIMIT_BYTES, err);
    if (status == SM_OK) {
        status = sm_obslog_list_parse(out, data, n, path, err);
    }
    sm_free(data);
    return status;
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
