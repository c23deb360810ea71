/*
 * Surveys out of a folder, a list or a single name. The order is that of the names, whatever the file system gives, so
 * that a run over the same files is the same run.
 */
#include "batch_internal.h"

#include <dirent.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

enum { DEEPEST = 32, MOST_SURVEYS = 1000000, LARGEST_LIST = 64 << 20, LARGEST_SHEET = 1 << 20 };

static enum sm_status no_memory(struct sm_batch__search *run)
{
    return sm_error_set(run->err, SM_E_NOMEM, "out of memory");
}

static enum sm_status pass_over(struct sm_batch__search *run, const char *path, const char *why)
{
    if (run->findings && sm_findings_add(run->findings, (enum sm_flag)0, SM_SEVERITY_WARNING, path, 0, SM_NAN,
                                         -1, "passed over: %s", why) != SM_OK) {
        return no_memory(run);
    }
    return SM_OK;
}

/* ---- names ---- */

static bool ends_with(const char *text, const char *end)
{
    size_t n = strlen(text);
    size_t n_end = strlen(end);
    return n > n_end && sm_ascii_ieq(text + n - n_end, end);
}

/* The way from the root as the name of a folder: no ending, no step up, no leading slash. */
static char *name_of(struct sm_arena *arena, const char *way)
{
    const char *slash = strrchr(way, '/');
    const char *dot = strrchr(slash ? slash : way, '.');
    size_t n = dot && dot > (slash ? slash + 1 : way) ? (size_t)(dot - way) : strlen(way);
    n = slash && sm_ascii_ieq(slash, "/sheet.ini") ? (size_t)(slash - way) : n;
    struct sm_text text = {0};
    for (size_t i = 0; i < n;) {
        size_t part = strcspn(way + i, "/");
        part = i + part > n ? n - i : part;
        bool is_here = part == 0 || (part == 1 && way[i] == '.');
        bool is_up = part == 2 && way[i] == '.' && way[i + 1] == '.';
        if (!is_here) {
            sm_text_add(&text, text.length ? "/" : "");
            sm_text_add_n(&text, is_up ? "up" : way + i, is_up ? 2 : part);
        }
        i += part + 1;
    }
    char *name = text.failed ? NULL : sm_arena_strdup(arena, text.length ? text.data : "survey");
    sm_text_release(&text);
    return name;
}

enum sm_status sm_batch__add(struct sm_batch__search *run, const char *path, const char *way,
                             const char *part, int32_t inspection)
{
    struct sm_batch_surveys *found = run->found;
    if (found->n >= MOST_SURVEYS) {
        return sm_error_at(run->err, SM_E_RANGE, path, 0, 0, "more than a million surveys");
    }
    if (sm_grow(&found->item, found->n, &run->capacity, sizeof *found->item) != SM_OK) {
        return no_memory(run);
    }
    struct sm_batch_survey survey = {.path = sm_arena_strdup(found->arena, path),
                                     .name = name_of(found->arena, way),
                                     .inspection = inspection};
    if (part && survey.name) {
        survey.name = sm_arena_printf(found->arena, "%s/%s", survey.name, part);
    }
    if (!survey.path || !survey.name) {
        return no_memory(run);
    }
    found->item[found->n++] = survey;
    return SM_OK;
}

/* ---- what a file is ---- */

enum content { IS_NOTHING, IS_SHEET, IS_LOG, IS_UNREADABLE };

/* Does the line open a section that every sheet has one of? */
static bool opens_survey(const char *line)
{
    char head[16];
    line += strspn(line, " \t\r");
    sm_strcopy(head, sizeof head, line);
    char *end = strchr(head, ']');
    if (!end) {
        return false;
    }
    *end = '\0';
    return sm_ascii_ieq(head, "[survey") || sm_ascii_ieq(head, "[segment");
}

/* Other INI files lie about too. */
static enum content look_at_ini(const char *path)
{
    char *bytes = NULL;
    size_t n = 0;
    struct sm_error err = {0};
    if (sm_file_read(&bytes, &n, path, LARGEST_SHEET, &err) != SM_OK) {
        return err.status == SM_E_RANGE ? IS_NOTHING : IS_UNREADABLE;
    }
    struct sm_text text = {0};
    sm_text_add_decoded(&text, bytes, n);
    sm_free(bytes);
    bool is_sheet = false;
    for (const char *line = sm_text_str(&text); line && !is_sheet;) {
        is_sheet = opens_survey(line);
        line = strchr(line, '\n');
        line = line ? line + 1 : NULL;
    }
    enum content content = text.failed ? IS_UNREADABLE : is_sheet ? IS_SHEET : IS_NOTHING;
    sm_text_release(&text);
    return content;
}

static enum content look_at(const char *path)
{
    if (ends_with(path, ".ini")) {
        return look_at_ini(path);
    }
    return sm_batch__is_standard_log(path) && !sm_batch__is_our_log(path) ? IS_LOG : IS_NOTHING;
}

/* ---- a folder ---- */

static int by_name(const void *a, const void *b)
{
    const char *left;
    const char *right;
    memcpy(&left, a, sizeof left);
    memcpy(&right, b, sizeof right);
    return strcmp(left, right);
}

/* Names of a folder in order, hidden ones left out. */
static enum sm_status list_folder(struct sm_batch__search *run, struct sm_arena *arena, const char *path,
                                  const char ***names, size_t *n)
{
    size_t capacity = 0;
    DIR *dir = opendir(path);
    if (!dir) {
        return pass_over(run, path, strerror(errno));
    }
    enum sm_status status = SM_OK;
    for (struct dirent *entry; status == SM_OK && (entry = readdir(dir));) {
        if (entry->d_name[0] == '.') {
            continue;
        }
        char *name = sm_arena_strdup(arena, entry->d_name);
        if (!name || sm_grow(names, *n, &capacity, sizeof **names) != SM_OK) {
            status = no_memory(run);
        } else {
            (*names)[(*n)++] = name;
        }
    }
    closedir(dir);
    if (*n) {
        qsort(*names, *n, sizeof **names, by_name);
    }
    return status;
}

static enum sm_status walk(struct sm_batch__search *run, const char *path, const char *way, int depth);

static enum sm_status take_entry(struct sm_batch__search *run, const char *path, const char *way, int depth)
{
    struct stat entry;
    struct stat target;
    if (lstat(path, &entry) != 0 || stat(path, &target) != 0) {
        return pass_over(run, path, strerror(errno));
    }
    if (S_ISDIR(entry.st_mode)) {
        return walk(run, path, way, depth + 1);
    }
    enum content content = S_ISREG(target.st_mode) ? look_at(path) : IS_NOTHING;
    if (content == IS_UNREADABLE) {
        return pass_over(run, path, "it cannot be read; check its permissions");
    }
    if (content == IS_LOG) {
        return sm_batch__add_log(run, path, way);
    }
    return content == IS_NOTHING ? SM_OK : sm_batch__add(run, path, way, NULL, 0);
}

static enum sm_status walk(struct sm_batch__search *run, const char *path, const char *way, int depth)
{
    if (depth > DEEPEST) {
        return pass_over(run, path, "too deep a folder");
    }
    struct sm_arena *arena = NULL;
    const char **names = NULL;
    size_t n = 0;
    enum sm_status status = sm_arena_new(&arena);
    status = status == SM_OK ? list_folder(run, arena, path, &names, &n) : no_memory(run);
    for (size_t i = 0; status == SM_OK && i < n; i++) {
        struct sm_text to = {0};
        struct sm_text on = {0};
        sm_text_addf(&to, "%s/%s", path, names[i]);
        sm_text_addf(&on, "%s%s%s", way, *way ? "/" : "", names[i]);
        status = to.failed || on.failed ? no_memory(run) : take_entry(run, to.data, on.data, depth);
        sm_text_release(&to);
        sm_text_release(&on);
    }
    sm_free(names);
    sm_arena_free(&arena);
    return status;
}

/* ---- a list ---- */

/* What stands behind tabs after a path: the inspection of a log and the name. @return false where there are none. */
static bool take_tabs(char *line, int32_t *inspection, const char **name, struct sm_batch__search *run, const char *list,
                      uint32_t line_number, enum sm_status *status)
{
    char *first = strchr(line, '\t');
    char *second = first ? strchr(first + 1, '\t') : NULL;
    int64_t number = 0;
    if (!first) {
        return false;
    }
    *first = '\0';
    if (second) {
        *second = '\0';
    }
    *name = second ? sm_trim(second + 1) : NULL;
    if (!sm_parse_int(sm_trim(first + 1), 0, INT32_MAX, &number) || (*name && !**name)) {
        sm_error_at(run->err, SM_E_FORMAT, list, line_number, 0, "behind a tab stands the number of an inspection");
        sm_error_remedy(run->err, "give PATH, tab, 0 for a sheet or 1 and on for a log, tab, name; or the path alone");
        *status = SM_E_FORMAT;
    }
    *inspection = (int32_t)number;
    return true;
}

static enum sm_status take_line(struct sm_batch__search *run, const char *list, uint32_t line_number, char *line)
{
    char *name = sm_trim(line);
    const char *called = NULL;
    int32_t inspection = 0;
    if (*name == '\0' || *name == '#') {
        return SM_OK;
    }
    enum sm_status status = SM_OK;
    bool is_told = take_tabs(name, &inspection, &called, run, list, line_number, &status);
    struct sm_text path = {0};
    struct stat present;
    if (status == SM_OK) {
        status = sm_path_beside(&path, list, name) == SM_OK ? SM_OK : no_memory(run);
    }
    if (status == SM_OK && (stat(path.data, &present) != 0 || !S_ISREG(present.st_mode))) {
        sm_error_at(run->err, SM_E_FORMAT, list, line_number, 0, "%s is no file here", name);
        sm_error_remedy(run->err, "give the paths of sheets and logs as seen from the list, one a line");
        status = SM_E_FORMAT;
    }
    if (status == SM_OK) {
        status = is_told || ends_with(name, ".ini") ? sm_batch__add(run, path.data, called ? called : name, NULL, inspection)
                                                    : sm_batch__add_log(run, path.data, name);
    }
    sm_text_release(&path);
    return status;
}

static enum sm_status take_list(struct sm_batch__search *run, const char *path)
{
    char *bytes = NULL;
    size_t n = 0;
    enum sm_status status = sm_file_read(&bytes, &n, path, LARGEST_LIST, run->err);
    if (status != SM_OK) {
        return status;
    }
    struct sm_text text = {0};
    sm_text_add_decoded(&text, bytes, n);
    sm_free(bytes);
    status = text.failed ? no_memory(run) : SM_OK;
    uint32_t line_number = 0;
    for (char *line = text.data; status == SM_OK && line;) {
        char *end = strchr(line, '\n');
        if (end) {
            *end = '\0';
        }
        status = take_line(run, path, ++line_number, line);
        line = end ? end + 1 : NULL;
    }
    sm_text_release(&text);
    return status;
}

/* ---- all ---- */

/* The same path twice is one survey; two that would share a folder of documents get numbers. */
static int by_path(const void *a, const void *b)
{
    const struct sm_batch_survey *const *left = a;
    const struct sm_batch_survey *const *right = b;
    int order = strcmp((*left)->path, (*right)->path);
    order = order ? order : (*left)->inspection - (*right)->inspection;
    return order ? order : (*left > *right) - (*left < *right);
}
static int by_survey_name(const void *a, const void *b)
{
    const struct sm_batch_survey *const *left = a;
    const struct sm_batch_survey *const *right = b;
    int order = strcmp((*left)->name, (*right)->name);
    return order ? order : (*left > *right) - (*left < *right);
}

static enum sm_status tell_apart(struct sm_batch__search *run, struct sm_batch_survey **order)
{
    struct sm_batch_surveys *found = run->found;
    qsort(order, found->n, sizeof *order, by_path);
    for (size_t i = found->n - 1; i > 0; i--) {
        if (strcmp(order[i]->path, order[i - 1]->path) == 0 &&
            order[i]->inspection == order[i - 1]->inspection) {
            order[i]->name = NULL; /* the later one goes */
        }
    }
    size_t kept = 0;
    for (size_t i = 0; i < found->n; i++) {
        if (found->item[i].name) {
            found->item[kept++] = found->item[i];
        }
    }
    found->n = kept;
    for (size_t i = 0; i < kept; i++) {
        order[i] = &found->item[i];
    }
    qsort(order, kept, sizeof *order, by_survey_name);
    for (size_t i = 1, same = 1; i < kept; i++) {
        same = strcmp(order[i]->name, order[i - same]->name) == 0 ? same + 1 : 1;
        if (same > 1) {
            order[i]->name = sm_arena_printf(found->arena, "%s-%zu", order[i]->name, same);
            if (!order[i]->name) {
                return no_memory(run);
            }
        }
    }
    return SM_OK;
}

static enum sm_status settle(struct sm_batch__search *run, const char *path)
{
    struct sm_batch_surveys *found = run->found;
    if (found->n == 0) {
        sm_error_at(run->err, SM_E_NOTFOUND, path, 0, 0, "no survey there");
        sm_error_remedy(run->err, "name a folder with survey sheets (.ini) or standard logs, or a list of them");
        return SM_E_NOTFOUND;
    }
    struct sm_batch_survey **order = sm_calloc(found->n, sizeof *order);
    if (!order) {
        return no_memory(run);
    }
    for (size_t i = 0; i < found->n; i++) {
        order[i] = &found->item[i];
    }
    enum sm_status status = tell_apart(run, order);
    sm_free(order);
    return status;
}

static enum sm_status take_named(struct sm_batch__search *run, const char *path)
{
    struct stat status;
    size_t n = strlen(path);
    if (stat(path, &status) != 0) {
        sm_error_at(run->err, SM_E_IO, path, 0, 0, "%s", strerror(errno));
        sm_error_remedy(run->err, "name a folder with survey sheets, or a list of them");
        return SM_E_IO;
    }
    while (n > 1 && path[n - 1] == '/') {
        n--;
    }
    char *root = sm_arena_strndup(run->found->arena, path, n);
    if (!root) {
        return no_memory(run);
    }
    if (S_ISDIR(status.st_mode)) {
        enum sm_status walked = walk(run, root, "", 0);
        return walked == SM_OK ? sm_batch__drop_named_logs(run) : walked;
    }
    const char *slash = strrchr(root, '/');
    const char *way = slash ? slash + 1 : root;
    if (ends_with(root, ".csv") || sm_batch__is_standard_log(root)) {
        return sm_batch__add_log(run, root, way);
    }
    return ends_with(root, ".ini") ? sm_batch__add(run, root, way, NULL, 0) : take_list(run, root);
}

enum sm_status sm_batch_find(struct sm_batch_surveys **out, const char *path, struct sm_findings *findings,
                             struct sm_error *err)
{
    struct sm_batch__search run = {.found = sm_calloc(1, sizeof *run.found), .findings = findings, .err = err};
    if (!run.found || sm_arena_new(&run.found->arena) != SM_OK) {
        sm_free(run.found);
        return no_memory(&run);
    }
    enum sm_status status = take_named(&run, path);
    if (status == SM_OK) {
        status = settle(&run, path);
    }
    if (status != SM_OK) {
        sm_batch_surveys_free(&run.found);
        return status;
    }
    *out = run.found;
    return SM_OK;
}

void sm_batch_surveys_free(struct sm_batch_surveys **surveys)
{
    if (!surveys || !*surveys) {
        return;
    }
    for (size_t i = 0; i < (*surveys)->n_logs; i++) {
        sm_job_surveys_free(&(*surveys)->logs[i]);
    }
    sm_free((*surveys)->logs);
    sm_free((*surveys)->item);
    sm_arena_free(&(*surveys)->arena);
    sm_free(*surveys);
    *surveys = NULL;
}
