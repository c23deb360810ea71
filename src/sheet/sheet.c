/*
 * Reading a survey sheet: the INI walk hands each line to the key table, ties are kept apart, then what only
 * shows when all is read is checked, and the tables the sheet names are read.
 */
#include "sheet_internal.h"

#include <math.h>
#include <string.h>

static enum sm_status no_memory(struct sm_error *err)
{
    return sm_error_set(err, SM_E_NOMEM, "out of memory");
}

/* ---- ties
 * -------------------------------------------------------------------------------------------------- */

/* Array with one tie put in by rising reading, in the place of one with the same reading. NULL = no memory.
 */
static struct sm_tie *insert_tie(struct sm_sheet *sheet, struct sm_tie tie, size_t *n_out, bool *is_double)
{
    struct sm_tie *all = sm_arena_alloc(sheet->arena, (sheet->n_ties + 1) * sizeof *all);
    size_t n = 0;
    if (!all) {
        return NULL;
    }
    *is_double = false;
    while (n < sheet->n_ties && sheet->tie[n].reading < tie.reading) {
        all[n] = sheet->tie[n];
        n++;
    }
    size_t rest = n;
    if (rest < sheet->n_ties && !(sheet->tie[rest].reading > tie.reading)) {
        *is_double = true;
        rest++;
    }
    all[n++] = tie;
    for (; rest < sheet->n_ties; rest++) {
        all[n++] = sheet->tie[rest];
    }
    *n_out = n;
    return all;
}

static enum sm_status read_tie_distance(struct sm_sheet_walk *walk, char *value, double *true_m,
                                        struct sm_error *err)
{
    double bare;
    bool is_bare = sm_parse_number(value, &bare);
    enum sm_status status = sm_parse_quantity(value, SM_LENGTH, "m", true_m, err);
    if (status != SM_OK) {
        return status;
    }
    if (fabs(*true_m) > 10000) {
        sm_error_set(err, SM_E_RANGE, "the true distance %.40s of a tie makes no sense", value);
        return sm_error_remedy(err, "write the distance from the datum, as in 43.10 = 43.80 m");
    }
    if (is_bare && bare != 0) {
        return sm_sheet__bare_length(walk, "the true distance of a tie", value, err);
    }
    return SM_OK;
}

enum sm_status sm_sheet__set_tie(struct sm_sheet_walk *walk, const char *reading, char *value,
                                 struct sm_error *err)
{
    struct sm_sheet *sheet = walk->sheet;
    struct sm_tie tie = {0};
    if (!sm_parse_number(reading, &tie.reading) || !isfinite(tie.reading) || fabs(tie.reading) > 1e6) {
        sm_error_set(err, SM_E_FORMAT, "\"%.40s\" is no counter reading", reading);
        return sm_error_remedy(
            err, "write reading = true distance, the reading as the picture shows it and without a unit, "
                 "as in 43.10 = 43.80 m");
    }
    enum sm_status status =
        sm_sheet__unquote(value) ? SM_OK : sm_error_set(err, SM_E_FORMAT, "the quotes do not match");
    if (status == SM_OK) {
        status = read_tie_distance(walk, value, &tie.true_m, err);
    }
    if (status != SM_OK) {
        return status;
    }
    size_t n;
    bool is_double;
    struct sm_tie *all = insert_tie(sheet, tie, &n, &is_double);
    if (!all) {
        return no_memory(err);
    }
    sheet->tie = all;
    sheet->n_ties = n;
    return is_double && walk->line
               ? sm_sheet__note(walk, "the tie at reading %s stands twice, the later one counts", reading)
               : SM_OK;
}

/* ---- what only shows when all is read
 * ---------------------------------------------------------------------- */

static enum sm_status sense_error(struct sm_error *err, const char *text, const char *remedy)
{
    sm_error_set(err, SM_E_RANGE, "%s", text);
    return sm_error_remedy(err, "%s", remedy);
}

static enum sm_status check_ties(const struct sm_sheet *sheet, struct sm_error *err)
{
    for (size_t k = 1; k < sheet->n_ties; k++) {
        const struct sm_tie *a = &sheet->tie[k - 1], *b = &sheet->tie[k];
        if (!(b->true_m > a->true_m)) {
            struct sm_text text = {0};
            sm_text_add(&text, "the ties contradict each other: reading ");
            sm_text_add_number(&text, b->reading, 2, 3);
            sm_text_add(&text, " is after ");
            sm_text_add_number(&text, a->reading, 2, 3);
            sm_text_add(&text, " but its true distance is not farther");
            enum sm_status status =
                sense_error(err, sm_text_str(&text), "check both true distances in [ties]");
            sm_text_release(&text);
            return status;
        }
    }
    return SM_OK;
}

enum sm_status sm_sheet_check(const struct sm_sheet *sheet, struct sm_error *err)
{
    if (sheet->access.reference == SM_REFERENCE_RIM && !(sheet->access.rim_to_pipe_edge_m > 0)) {
        return sense_error(err, "reference = rim needs the way from the rim to the pipe edge",
                           "add rim to pipe edge = ... m to [access]");
    }
    if (sheet->datum != SM_DATUM_PIPE_EDGE && sheet->datum_offset_m == 0 && sheet->n_ties == 0) {
        return sense_error(
            err, "the datum is not the pipe edge and no datum offset is given",
            "add datum offset = ... m to [counter] (from the counter's zero to the pipe edge), or ties");
    }
    if (sheet->datum == SM_DATUM_PIPE_EDGE && sheet->datum_offset_m != 0) {
        return sense_error(err, "a datum offset is given although the datum is the pipe edge",
                           "say datum = manhole wall or manhole centre, or take datum offset out");
    }
    if (sheet->video_end_s <= sheet->video_start_s) {
        return sense_error(err, "video end is not after video start", "correct the two times in [survey]");
    }
    return check_ties(sheet, err);
}

/* Of little use rather than wrong: liners can be chained, and what none covers is told with its reason. */
static enum sm_status note_short_kits(struct sm_sheet_walk *walk)
{
    const struct sm_sheet *sheet = walk->sheet;
    enum sm_status status = SM_OK;
    int64_t longest_um = 0;
    for (size_t k = 0; k < sheet->n_kits; k++) {
        longest_um = sheet->kit[k].length_um > longest_um ? sheet->kit[k].length_um : longest_um;
    }
    double longest_m = (double)longest_um / 1e6;
    if (sheet->n_kits && sheet->rules.overlap_m >= longest_m) {
        status =
            sm_sheet__note(walk, "overlap is not shorter than the longest liner of the kits table: no two "
                                 "liners can be chained");
    }
    if (status == SM_OK && sheet->n_kits && 2 * sheet->rules.end_cover_m >= longest_m) {
        status =
            sm_sheet__note(walk, "end cover on both sides takes up the longest liner of the kits table: no "
                                 "single liner covers a defect with it");
    }
    return status;
}

static enum sm_status note_doubts(struct sm_sheet_walk *walk)
{
    const struct sm_sheet *sheet = walk->sheet;
    enum sm_status status = SM_OK;
    walk->line = 0;
    if (sheet->access.reference == SM_REFERENCE_PIPE_EDGE && sheet->access.rim_to_pipe_edge_m > 0) {
        status = sm_sheet__note(walk,
                                "rim to pipe edge is given but not used, because reference is the pipe edge");
    }
    const struct sm_tie *last = sheet->n_ties ? &sheet->tie[sheet->n_ties - 1] : NULL;
    if (status == SM_OK && last && last->true_m > sheet->segment.length_m + 0.5) {
        status =
            sm_sheet__note(walk, "the last tie lies beyond the segment's length; one of the two is wrong");
    }
    return status == SM_OK ? note_short_kits(walk) : status;
}

/* ---- reading
 * ----------------------------------------------------------------------------------------------- */

static enum sm_status note_unknown_section(struct sm_sheet_walk *walk, const char *section)
{
    const char *near = sm_sheet__nearest_section(section);
    return sm_sheet__note(walk, "[%s] is no section of a sheet, its lines are not used%s%s%s", section,
                          near ? "; did you mean [" : "", near ? near : "", near ? "]?" : "");
}

static enum sm_status note_unknown_key(struct sm_sheet_walk *walk, const char *section, const char *key)
{
    const char *near = sm_sheet__nearest_key(section, key);
    if (near) {
        return sm_sheet__note(walk, "\"%s\" is no key of [%s], the line is not used; did you mean \"%s\"?",
                              key, section, near);
    }
    const char *elsewhere = sm_sheet__section_of(key);
    if (!elsewhere) {
        near = sm_sheet__nearest_key(NULL, key);
        elsewhere = near ? sm_sheet__section_of(near) : NULL;
    }
    if (elsewhere) {
        return sm_sheet__note(walk, "\"%s\" is no key of [%s], the line is not used; \"%s\" belongs to [%s]",
                              key, section, near ? near : key, elsewhere);
    }
    return sm_sheet__note(walk, "\"%s\" is no key of [%s], the line is not used", key, section);
}

static enum sm_status take_key(struct sm_sheet_walk *walk, const struct sm_ini_line *line,
                               struct sm_error *err)
{
    int key_idx = sm_sheet__find_key(line->section, line->key);
    if (key_idx < 0) {
        return note_unknown_key(walk, line->section, line->key);
    }
    uint32_t before = walk->seen_line[key_idx];
    walk->seen_line[key_idx] = line->line;
    if (before) {
        enum sm_status status = sm_sheet__note(walk, "%s already stands in line %u, this later one counts",
                                               line->key, (unsigned)before);
        if (status != SM_OK) {
            return status;
        }
    }
    return sm_sheet__set_key(walk, key_idx, line->value, err);
}

static enum sm_status take_line(void *user, const struct sm_ini_line *line, struct sm_error *err)
{
    struct sm_sheet_walk *walk = user;
    enum sm_status status = SM_OK;
    walk->line = line->line;
    if (line->is_section) {
        walk->is_section_known = sm_sheet__is_section(line->section);
        return walk->is_section_known ? SM_OK : note_unknown_section(walk, line->section);
    }
    if (!*line->section) {
        sm_error_set(err, SM_E_FORMAT, "\"%.60s\" stands before any [section]", line->key);
        sm_error_remedy(err, "write the section's name above it, as in [segment]");
        status = SM_E_FORMAT;
    } else if (!walk->is_section_known) {
        return SM_OK;
    } else if (strcmp(line->section, "ties") == 0) {
        status = sm_sheet__set_tie(walk, line->key, line->value, err);
    } else if (strcmp(line->section, "decisions") == 0) {
        status = sm_sheet__set_decision(walk, line->key, line->value, err);
    } else {
        status = take_key(walk, line, err);
    }
    if (status != SM_OK && err) {
        err->line = line->line;
    }
    return status;
}

static enum sm_status check_bare_lengths(const struct sm_sheet_walk *walk, struct sm_error *err)
{
    if (walk->bare_length_line == 0 || walk->sheet->counter_unit != SM_UNIT_FT) {
        return SM_OK;
    }
    sm_error_set(err, SM_E_FORMAT, "a length has no unit and the counter shows feet");
    sm_error_remedy(err, "write the unit behind it: m or ft");
    if (err) {
        err->line = walk->bare_length_line;
    }
    return SM_E_FORMAT;
}

static enum sm_status fill_sheet(struct sm_sheet_walk *walk, const char *text, size_t n, struct sm_error *err)
{
    enum sm_status status = sm_sheet__ini_walk(text, n, walk->sheet->path, take_line, walk, err);
    if (status == SM_OK) {
        status = check_bare_lengths(walk, err);
    }
    if (status == SM_OK) {
        status = sm_sheet__read_kits(walk->sheet, err);
    }
    if (status == SM_OK) {
        status = sm_sheet_check(walk->sheet, err);
    }
    return status == SM_OK ? note_doubts(walk) : status;
}

enum sm_status sm_sheet_parse(struct sm_sheet **out, const char *text, size_t n, const char *base_path,
                              struct sm_error *err)
{
    return sm_sheet_parse_with(out, text, n, base_path, NULL, NULL, err);
}

enum sm_status sm_sheet_parse_with(struct sm_sheet **out, const char *text, size_t n, const char *base_path,
                                   sm_read_fn *read, void *read_user, struct sm_error *err)
{
    struct sm_sheet *sheet = NULL;
    enum sm_status status = sm_sheet_new(&sheet, err);
    if (status != SM_OK) {
        return status;
    }
    struct sm_sheet_walk walk = {.sheet = sheet,
                                 .seen_line = sm_calloc(sm_sheet__n_keys(), sizeof(uint32_t))};
    sheet->path = base_path ? sm_arena_strdup(sheet->arena, base_path) : NULL;
    sheet->read = read;
    sheet->read_user = read_user;
    if (!walk.seen_line || (base_path && !sheet->path)) {
        status = no_memory(err);
    } else {
        status = fill_sheet(&walk, text, n, err);
    }
    sm_free(walk.seen_line);
    if (status != SM_OK) {
        if (status == SM_E_NOMEM) {
            no_memory(err); /* a finding that could not be added says nothing itself */
        }
        sm_error_source(err, base_path);
        sm_sheet_free(&sheet);
        return status;
    }
    *out = sheet;
    return SM_OK;
}

enum sm_status sm_sheet_read(struct sm_sheet **out, const char *path, struct sm_error *err)
{
    char *text = NULL;
    size_t n = 0;
    enum sm_status status = sm_file_read(&text, &n, path, SM_SHEET_LIMIT_BYTES, err);
    if (status == SM_OK) {
        status = sm_sheet_parse(out, text, n, path, err);
    }
    sm_error_source(status == SM_OK ? NULL : err, path);
    sm_free(text);
    return status;
}

/* ---- building and changing
 * --------------------------------------------------------------------------------- */

enum sm_status sm_sheet_new(struct sm_sheet **out, struct sm_error *err)
{
    struct sm_sheet *sheet = sm_calloc(1, sizeof *sheet);
    if (!sheet) {
        return no_memory(err);
    }
    enum sm_status status = sm_arena_new(&sheet->arena);
    if (status == SM_OK) {
        struct sm_sheet_walk walk = {.sheet = sheet};
        status = sm_sheet__set_defaults(&walk, err);
    } else {
        no_memory(err);
    }
    if (status != SM_OK) {
        sm_sheet_free(&sheet);
        return status;
    }
    *out = sheet;
    return SM_OK;
}

void sm_sheet_free(struct sm_sheet **sheet)
{
    if (!*sheet) {
        return;
    }
    sm_findings_release(&(*sheet)->findings);
    sm_arena_free(&(*sheet)->arena);
    sm_free(*sheet);
    *sheet = NULL;
}

static enum sm_status unknown_key_error(const char *key, int found, struct sm_error *err)
{
    if (found == -2) {
        sm_error_set(err, SM_E_NOTFOUND, "several sections have a key \"%.60s\"", key);
        return sm_error_remedy(err, "write section.key, as in survey.date");
    }
    const char *dot = strchr(key, '.');
    const char *near = sm_sheet__nearest_key(NULL, dot ? dot + 1 : key);
    sm_error_set(err, SM_E_NOTFOUND, "a sheet has no key \"%.60s\"", key);
    return near ? sm_error_remedy(err, "did you mean %s.%s?", sm_sheet__section_of(near), near)
                : sm_error_remedy(err, "write section.key, as in rules.overlap");
}

/* Splits "section.key"; section is "" where the key stands alone. */
static const char *split_key(const char *key, char *section, size_t size)
{
    const char *dot = strchr(key, '.');
    char part[64];
    section[0] = '\0';
    if (!dot || (size_t)(dot - key) >= sizeof part) {
        return key;
    }
    memcpy(part, key, (size_t)(dot - key));
    part[dot - key] = '\0';
    sm_key_fold(section, size, part);
    return dot + 1;
}

static enum sm_status set_any(struct sm_sheet *sheet, const char *key, char *value, struct sm_error *err)
{
    char section[64];
    struct sm_sheet_walk walk = {.sheet = sheet};
    const char *name = split_key(key, section, sizeof section);
    if (strcmp(section, "ties") == 0) {
        return sm_sheet__set_tie(&walk, name, value, err);
    }
    if (strcmp(section, "decisions") == 0) {
        return sm_sheet__set_decision(&walk, name, value, err);
    }
    int key_idx = sm_sheet__find_key(*section ? section : NULL, name);
    if (key_idx < 0) {
        return unknown_key_error(key, key_idx, err);
    }
    struct sm_sheet before = *sheet;
    enum sm_status status = sm_sheet__set_key(&walk, key_idx, value, err);
    if (status == SM_OK && (sheet->kits_file != before.kits_file || sheet->cure_file != before.cure_file)) {
        status = sm_sheet__read_kits(sheet, err);
    }
    if (status != SM_OK) {
        before.findings = sheet->findings;
        *sheet = before;
    }
    return status;
}

enum sm_status sm_sheet_set(struct sm_sheet *sheet, const char *key, const char *value, struct sm_error *err)
{
    char *copy = sm_strdup(value);
    if (!copy) {
        return no_memory(err);
    }
    enum sm_status status = set_any(sheet, key, sm_trim(copy), err);
    sm_free(copy);
    return status == SM_E_NOMEM ? no_memory(err) : status;
}
