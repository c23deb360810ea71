/*
 * A file under construction: a reader announces each inspection it meets with sm_obslog__begin() and hands in
 * the rows. Entries and findings of all inspections stand in one list each, in file order; every inspection
 * has a chain through them, so that rows of several may alternate and a file of many small ones costs no more
 * than one of a few large.
 */
#include "obslog_internal.h"

#include <stdio.h>
#include <string.h>

enum sm_status sm_obslog__no_memory(struct sm_error *err)
{
    return sm_error_set(err, SM_E_NOMEM, "out of memory");
}

static const struct sm_obslog_chain empty_chain = {SM_OBSLOG_NONE, SM_OBSLOG_NONE};

struct sm_obslog_file *sm_obslog__file_new(const char *source)
{
    struct sm_obslog_file *file = sm_calloc(1, sizeof *file);
    if (!file || sm_arena_new(&file->arena) != SM_OK ||
        !(file->source = sm_arena_strdup(file->arena, source))) {
        sm_obslog_file_free(&file);
        return NULL;
    }
    file->of_all = empty_chain;
    return file;
}

void sm_obslog_file_free(struct sm_obslog_file **file)
{
    if (!*file) {
        return;
    }
    sm_findings_release(&(*file)->findings);
    sm_free((*file)->next_finding);
    sm_free((*file)->entry);
    sm_free((*file)->part);
    sm_arena_free(&(*file)->arena);
    sm_free(*file);
    *file = NULL;
}

struct sm_obslog_part *sm_obslog__part(const struct sm_obslog_build *build)
{
    return &build->file->part[build->current_idx];
}

/* ---- findings
 * ---------------------------------------------------------------------------------------------- */

static void chain_finding(struct sm_obslog_file *file, struct sm_obslog_chain *chain, size_t idx)
{
    *(chain->first == SM_OBSLOG_NONE ? &chain->first : &file->next_finding[chain->last]) = idx;
    chain->last = idx;
}

static enum sm_status add_finding(struct sm_obslog_file *file, struct sm_obslog_chain *chain,
                                  const struct sm_finding *finding)
{
    size_t idx = file->findings.n;
    enum sm_status status =
        sm_grow(&file->next_finding, idx, &file->next_capacity, sizeof *file->next_finding);
    if (status == SM_OK) {
        status = sm_findings_add(&file->findings, finding->flag, finding->severity, file->source,
                                 finding->line, SM_NAN, finding->entry_idx, "%s", finding->message);
    }
    if (status == SM_OK) {
        file->next_finding[idx] = SM_OBSLOG_NONE;
        chain_finding(file, chain, idx);
    }
    return status;
}

/* The chain of the inspection that findings go to; entry_idx (may be NULL) gets the entry it is going to have
 * next. */
static struct sm_obslog_chain *owner_chain(struct sm_obslog_build *build, int32_t *entry_idx)
{
    bool is_upcoming = build->owner_idx >= build->file->n_parts;
    struct sm_obslog_part *part = is_upcoming ? NULL : &build->file->part[build->owner_idx];
    if (entry_idx) {
        *entry_idx = part ? (int32_t)part->n_entries : 0;
    }
    return part ? &part->findings : &build->upcoming;
}

enum sm_status sm_obslog__odd(struct sm_obslog_build *build, uint32_t line, const char *fmt, ...)
{
    char message[400];
    va_list args;
    va_start(args, fmt);
    vsnprintf(message, sizeof message, fmt, args);
    va_end(args);
    struct sm_finding finding = {
        .flag = SM_FLAG_ROW_ODD, .severity = SM_SEVERITY_WARNING, .line = line, .message = message};
    struct sm_obslog_chain *chain = owner_chain(build, &finding.entry_idx);
    return add_finding(build->file, chain, &finding);
}

enum sm_status sm_obslog__odd_entry(struct sm_obslog_build *build, uint32_t line, int32_t entry_idx,
                                    enum sm_severity severity, const char *fmt, ...)
{
    char message[400];
    va_list args;
    va_start(args, fmt);
    vsnprintf(message, sizeof message, fmt, args);
    va_end(args);
    struct sm_finding finding = {.flag = SM_FLAG_ROW_ODD,
                                 .severity = severity,
                                 .line = line,
                                 .entry_idx = entry_idx,
                                 .message = message};
    return add_finding(build->file, owner_chain(build, NULL), &finding);
}

enum sm_status sm_obslog__lost(struct sm_obslog_build *build, uint32_t line, const char *fmt, ...)
{
    char message[600];
    int32_t entry_idx;
    va_list args;
    va_start(args, fmt);
    vsnprintf(message, sizeof message, fmt, args);
    va_end(args);
    struct sm_finding finding = {.flag = SM_FLAG_ROW_ODD,
                                 .severity = SM_SEVERITY_WARNING,
                                 .line = line,
                                 .entry_idx = -1,
                                 .message = message};
    struct sm_obslog_chain *chain = owner_chain(build, &entry_idx);
    /* what was found odd in this row belongs to no entry any more */
    for (size_t k = build->file->findings.n; k > 0; k--) {
        struct sm_finding *before = &build->file->findings.item[k - 1];
        if (before->line != line || before->entry_idx != entry_idx) {
            break;
        }
        before->entry_idx = -1;
    }
    return add_finding(build->file, chain, &finding);
}

enum sm_status sm_obslog__note(struct sm_obslog_build *build, uint32_t line, const char *fmt, ...)
{
    char message[600];
    va_list args;
    va_start(args, fmt);
    vsnprintf(message, sizeof message, fmt, args);
    va_end(args);
    struct sm_finding finding = {
        .severity = SM_SEVERITY_NOTE, .line = line, .entry_idx = -1, .message = message};
    return add_finding(build->file, owner_chain(build, NULL), &finding);
}

enum sm_status sm_obslog__note_all(struct sm_obslog_build *build, uint32_t line, enum sm_severity severity,
                                   const char *fmt, ...)
{
    char message[600];
    va_list args;
    va_start(args, fmt);
    vsnprintf(message, sizeof message, fmt, args);
    va_end(args);
    struct sm_finding finding = {.flag = severity == SM_SEVERITY_WARNING ? SM_FLAG_ROW_ODD : (enum sm_flag)0,
                                 .severity = severity,
                                 .line = line,
                                 .entry_idx = -1,
                                 .message = message};
    return add_finding(build->file, &build->file->of_all, &finding);
}

enum sm_status sm_obslog__broken(struct sm_obslog_build *build, uint32_t line, uint32_t column,
                                 const char *why)
{
    sm_error_at(&build->file->broken, SM_E_FORMAT, build->file->source, line, column, "the XML is broken: %s",
                why);
    sm_error_remedy(&build->file->broken, "export the log again, or have it repaired at this place");
    return sm_obslog__note_all(
        build, line, SM_SEVERITY_WARNING,
        "the XML breaks off in line %u column %u (%s); only the rows before it are read", (unsigned)line,
        (unsigned)column, why);
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

void sm_obslog__announce(struct sm_obslog_build *build)
{
    build->owner_idx = build->file->n_parts;
}

enum sm_status sm_obslog__begin(struct sm_obslog_build *build, const struct sm_obslog_inspection *inspection,
                                struct sm_error *err)
{
    struct sm_obslog_file *file = build->file;
    if (file->n_parts >= SM_OBSLOG_LIMIT_INSPECTIONS) {
        sm_error_at(err, SM_E_RANGE, file->source, inspection->line, 0, "more than %d inspections",
                    SM_OBSLOG_LIMIT_INSPECTIONS);
        return sm_error_remedy(err, "cut the log into several files");
    }
    struct sm_obslog_part part = {.head = *inspection, .entries = empty_chain, .findings = build->upcoming};
    if (sm_grow(&file->part, file->n_parts, &file->parts_capacity, sizeof *file->part) != SM_OK ||
        sm_obslog__copy_inspection(file->arena, &part.head) != SM_OK) {
        return sm_obslog__no_memory(err);
    }
    build->upcoming = empty_chain;
    build->current_idx = build->owner_idx = file->n_parts;
    file->part[file->n_parts++] = part;
    return SM_OK;
}

void sm_obslog__resume(struct sm_obslog_build *build, size_t inspection_idx)
{
    build->current_idx = build->owner_idx = inspection_idx;
}

void sm_obslog__count_row(struct sm_obslog_build *build)
{
    sm_obslog__part(build)->head.n_rows++;
    build->file->n_rows++;
}

void sm_obslog__settle(struct sm_obslog_build *build)
{
    struct sm_obslog_file *file = build->file;
    if (build->upcoming.first == SM_OBSLOG_NONE || file->n_parts == 0) {
        return;
    }
    struct sm_obslog_chain *last = &file->part[file->n_parts - 1].findings;
    *(last->first == SM_OBSLOG_NONE ? &last->first : &file->next_finding[last->last]) = build->upcoming.first;
    last->last = build->upcoming.last;
    build->upcoming = empty_chain;
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
    struct sm_obslog_file *file = build->file;
    struct sm_obslog_part *part = sm_obslog__part(build);
    size_t idx = file->n_entries;
    if (idx >= SM_OBSLOG_LIMIT_ROWS) {
        sm_error_at(err, SM_E_RANGE, file->source, entry->line, 0, "more than %d rows", SM_OBSLOG_LIMIT_ROWS);
        return sm_error_remedy(err, "cut the log into several files");
    }
    if (sm_grow(&file->entry, idx, &file->entries_capacity, sizeof *file->entry) != SM_OK) {
        return sm_obslog__no_memory(err);
    }
    struct sm_log_entry *added = &file->entry[idx].entry;
    *added = *entry;
    const char **const strings[] = {&added->code, &added->ch1,    &added->ch2,  &added->q1,
                                    &added->q2,   &added->remark, &added->photo};
    for (size_t k = 0; k < sizeof strings / sizeof strings[0]; k++) {
        *strings[k] = *strings[k] ? *strings[k] : "";
    }
    file->entry[idx].next = SM_OBSLOG_NONE;
    *(part->n_entries ? &file->entry[part->entries.last].next : &part->entries.first) = idx;
    part->entries.last = idx;
    part->n_entries++;
    file->n_entries++;
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
