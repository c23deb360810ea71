/*
 * A log without a sheet: it names the segment, its nodes and size, the date and the video, so that a sheet
 * can be made from it. The sheet is made as text, as a person would have written it: it goes into the job
 * file like any other.
 */
#include <string.h>
#include <unistd.h>

#include "job_internal.h"
#include "stopmark/codes.h"
#include "stopmark/obslog.h"
#include "stopmark/sheet.h"

enum { LOOK_BYTES = 64 << 10, LOG_LIMIT_BYTES = 256 << 20 };
/* A survey within a recording of several goes from its first to its last row, and this much around them. */
#define AROUND_S 5.0

/* ---- sheet or log ---- */

/* The first line that a sheet would not take for a comment begins a section. */
static bool is_sheet_text(const char *text)
{
    text += strncmp(text, "\xEF\xBB\xBF", 3) == 0 ? 3 : 0;
    while (*text) {
        text += strspn(text, " \t\r\n");
        if (*text != '#' && *text != ';') {
            return *text == '[';
        }
        text += strcspn(text, "\n");
    }
    return false;
}

/* What only a log can be: errors are the log reader's to tell. */
static bool is_log_text(const char *text, const char *path)
{
    size_t n = strlen(path);
    text += strncmp(text, "\xEF\xBB\xBF", 3) == 0 ? 3 : 0;
    text += strspn(text, " \t\r\n");
    return *text == '<' || strncmp(text, "#A", 2) == 0 || strncmp(text, "#B0", 3) == 0 ||
           (n > 4 && sm_ascii_ieq(path + n - 4, ".csv"));
}

enum sm_status sm_job__is_log(bool *is_log, const char *path, struct sm_error *err)
{
    char *text = NULL;
    size_t n = 0;
    enum sm_status status = sm_file_read(&text, &n, path, LOG_LIMIT_BYTES, err);
    if (status != SM_OK) {
        return status;
    }
    *is_log = !is_sheet_text(text) && is_log_text(text, path);
    if (!is_sheet_text(text) && !*is_log) {
        struct sm_obslog_list *list = NULL;
        *is_log = sm_obslog_list_parse(&list, text, n, path, NULL) == SM_OK && list->n_inspections > 0;
        sm_obslog_list_free(&list);
    }
    sm_free(text);
    return SM_OK;
}

/* ---- the surveys of a path ---- */

static const char *tell_survey(const struct sm_job_surveys *surveys,
                               const struct sm_obslog_inspection *inspection)
{
    const struct sm_segment *segment = &inspection->segment;
    struct sm_text text = {0};
    sm_text_addf(&text, "segment %s", segment->id ? segment->id : "without a name");
    if (segment->from && segment->to) {
        sm_text_addf(&text, ", entered at %s, to %s", segment->from, segment->to);
    }
    sm_text_addf(&text, "%s%s, %zu rows", inspection->date ? ", " : "",
                 inspection->date ? inspection->date : "", inspection->n_rows);
    const char *words = text.failed ? NULL : sm_arena_strdup(surveys->arena, sm_text_str(&text));
    sm_text_release(&text);
    return words;
}

static enum sm_status add_inspections(struct sm_job_surveys *surveys, const struct sm_obslog_list *list)
{
    struct sm_names taken = {0};
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < list->n_inspections; i++) {
        const struct sm_obslog_inspection *inspection = &list->inspection[i];
        struct sm_job_survey survey = {(int32_t)i + 1,
                                       sm_job__name_survey(&taken, surveys->arena, inspection->segment.id),
                                       tell_survey(surveys, inspection)};
        status = survey.name && survey.words ? SM_OK : SM_E_NOMEM;
        surveys->survey[surveys->n++] = survey;
    }
    sm_names_release(&taken);
    return status;
}

static enum sm_status fill_surveys(struct sm_job_surveys *surveys, struct sm_error *err)
{
    const struct sm_obslog_list *list = surveys->log ? surveys->log->list : NULL;
    size_t n = list ? list->n_inspections : 1;
    surveys->survey = sm_arena_alloc(surveys->arena, n * sizeof *surveys->survey);
    if (!surveys->survey || (list && add_inspections(surveys, list) != SM_OK)) {
        return sm_job__no_memory(err);
    }
    if (!list) {
        surveys->survey[surveys->n++] = (struct sm_job_survey){0, "", ""};
    }
    return SM_OK;
}

static enum sm_status open_log(struct sm_job_surveys *surveys, const char *path, struct sm_error *err)
{
    bool is_log = false;
    enum sm_status status = sm_job__is_log(&is_log, path, err);
    if (status == SM_OK && is_log) {
        status = sm_job__log_open(&surveys->log, path, err);
    }
    if (status == SM_OK && is_log && surveys->log->list->n_inspections == 0) {
        sm_error_at(err, SM_E_FORMAT, path, 0, 0, "the log holds no inspection");
        status = sm_error_remedy(
            err, "check that the export was finished and that it is of pipes, not of manholes");
    }
    return status;
}

enum sm_status sm_job_surveys(struct sm_job_surveys **out, const char *path, struct sm_error *err)
{
    struct sm_job_surveys *surveys = sm_calloc(1, sizeof *surveys);
    if (!surveys || sm_arena_new(&surveys->arena) != SM_OK) {
        sm_free(surveys);
        return sm_job__no_memory(err);
    }
    enum sm_status status = open_log(surveys, path, err);
    if (status == SM_OK) {
        status = fill_surveys(surveys, err);
    }
    if (status != SM_OK) {
        sm_job_surveys_free(&surveys);
        return status;
    }
    *out = surveys;
    return SM_OK;
}

void sm_job_surveys_free(struct sm_job_surveys **surveys)
{
    if (*surveys) {
        sm_job__log_free(&(*surveys)->log);
        sm_arena_free(&(*surveys)->arena);
        sm_free(*surveys);
        *surveys = NULL;
    }
}

/* ---- the sheet ---- */

static size_t count_known(const struct sm_obslog *log, enum sm_code_system system, enum sm_status *status,
                          struct sm_error *err)
{
    struct sm_codes *codes = NULL;
    struct sm_code_info info;
    size_t n = 0;
    if (*status == SM_OK) {
        *status = sm_codes_builtin(&codes, system, err);
    }
    for (size_t i = 0; *status == SM_OK && i < log->n_entries; i++) {
        n += sm_codes_find(codes, log->entry[i].code, log->entry[i].ch1, &info);
    }
    if (codes) {
        sm_codes_free(&codes);
    }
    return n;
}

static void add_value(struct sm_text *out, const char *key, const char *value)
{
    sm_text_addf(out, "%s = \"%s\"\n", key, value);
}

/* A name as it is seen from the log's folder. */
static const char *beside(const char *path, const char *log_path)
{
    const char *slash = strrchr(log_path, '/');
    size_t n = slash ? (size_t)(slash - log_path) + 1 : 0;
    return strncmp(path, log_path, n) == 0 ? path + n : path;
}

static enum sm_status add_video(struct sm_text *out, struct sm_job *job, const struct sm_obslog *log,
                                const char *log_path, struct sm_error *err)
{
    if (!log->video) {
        return SM_OK;
    }
    if (access(log->video, R_OK) == 0) {
        add_value(out, "video", beside(log->video, log_path));
        return SM_OK;
    }
    return sm_findings_add(&job->own, (enum sm_flag)0, SM_SEVERITY_WARNING, log_path, 0, SM_NAN, -1,
                           "the log names the video %s, which is not there: worked from the log alone",
                           log->video) == SM_OK
               ? SM_OK
               : sm_job__no_memory(err);
}

/* From the first to the last time of a log; false where it has none. */
static bool time_range(const struct sm_obslog *log, double *first_s, double *last_s)
{
    *first_s = *last_s = SM_NAN;
    for (size_t i = 0; i < log->n_entries; i++) {
        *first_s = fmin(*first_s, log->entry[i].time_s);
        *last_s = fmax(*last_s, log->entry[i].time_s);
    }
    return !isnan(*first_s);
}

/* Times of the inspection before (step -1) or after (step 1), when it is in the same video. */
static bool neighbour_range(struct sm_job_log *shared, int32_t number, int step, double *first_s, double *last_s)
{
    const struct sm_obslog_list *list = shared->list;
    int64_t other = (int64_t)number + step;
    if (other < 1 || (size_t)other > list->n_inspections) {
        return false;
    }
    const char *mine = list->inspection[number - 1].video;
    const char *its = list->inspection[other - 1].video;
    struct sm_obslog_opts opts = {.inspection = (int32_t)other};
    struct sm_obslog *log = NULL;
    bool is_there = mine && its && strcmp(mine, its) == 0 &&
                    sm_job__log_pick(&log, shared, &opts, NULL) == SM_OK && time_range(log, first_s, last_s);
    if (log) {
        sm_obslog_free(&log);
    }
    return is_there;
}

/* Where inspections follow each other in one video, each keeps to its part: beyond it the counter is another
 * run's. */
static void add_part(struct sm_text *out, const struct sm_obslog *log, struct sm_job_log *shared, int32_t number)
{
    double first_s, last_s, before_s[2], after_s[2];
    if (!time_range(log, &first_s, &last_s)) {
        return;
    }
    bool has_before = neighbour_range(shared, number, -1, &before_s[0], &before_s[1]);
    bool has_after = neighbour_range(shared, number, 1, &after_s[0], &after_s[1]);
    if ((!has_before && !has_after) || (has_before && before_s[1] > first_s) ||
        (has_after && after_s[0] < last_s)) {
        return;
    }
    double from_s = fmax(0, first_s - AROUND_S), to_s = last_s + AROUND_S;
    from_s = has_before ? fmax(from_s, (before_s[1] + first_s) / 2) : from_s;
    to_s = has_after ? fmin(to_s, (after_s[0] + last_s) / 2) : to_s;
    sm_text_add(out, "video start = ");
    sm_text_add_fixed(out, from_s, 1);
    sm_text_add(out, " s\nvideo end = ");
    sm_text_add_fixed(out, to_s, 1);
    sm_text_add(out, " s\n");
}

/* Kits that lie beside the log are meant for it. */
static enum sm_status add_kits(struct sm_text *out, struct sm_job *job, const char *log_path,
                               struct sm_error *err)
{
    struct sm_text path = {0};
    enum sm_status status = sm_path_beside(&path, log_path, "kits.csv");
    bool is_there = status == SM_OK && !path.failed && access(sm_text_str(&path), R_OK) == 0;
    if (status == SM_OK && is_there) {
        sm_text_add(out, "[kits]\nfile = kits.csv\n");
        status = sm_findings_add(&job->own, (enum sm_flag)0, SM_SEVERITY_NOTE, log_path, 0, SM_NAN, -1,
                                 "no sheet was given: the kits are those of %s", sm_text_str(&path));
    }
    sm_text_release(&path);
    return status == SM_OK ? SM_OK : sm_job__no_memory(err);
}

static enum sm_status write_sheet(struct sm_text *out, struct sm_job *job, const struct sm_obslog *log, int32_t number,
                                  struct sm_error *err)
{
    const char *path = job->shared_log->path;
    enum sm_status status = SM_OK;
    size_t n_en = count_known(log, SM_CODES_EN, &status, err);
    size_t n_na = count_known(log, SM_CODES_NA, &status, err);
    const char *slash = strrchr(path, '/');
    sm_text_add(out, "# no sheet was given: this is what the log says\n[survey]\n");
    add_value(out, "log", slash ? slash + 1 : path);
    sm_text_addf(out, "inspection = %d\ncodes = %s\n", (int)number, n_na > n_en ? "NA" : "EN");
    if (status == SM_OK) {
        status = add_video(out, job, log, path, err);
    }
    if (status == SM_OK && log->video) {
        add_part(out, log, job->shared_log, number);
    }
    if (status == SM_OK) {
        status = add_kits(out, job, path, err);
    }
    return status == SM_OK && out->failed ? sm_job__no_memory(err) : status;
}

enum sm_status sm_job__make_sheet(struct sm_job *job, int32_t inspection, struct sm_error *err)
{
    struct sm_obslog_opts opts = {.inspection = inspection > 0 ? inspection : 1};
    struct sm_obslog *log = NULL;
    struct sm_text text = {0};
    enum sm_status status = sm_job__log_pick(&log, job->shared_log, &opts, err);
    if (status == SM_OK) {
        status = write_sheet(&text, job, log, opts.inspection, err);
    }
    if (status == SM_OK) {
        job->made_sheet = sm_arena_strdup(job->arena, sm_text_str(&text));
        status = job->made_sheet ? sm_sheet_parse(&job->sheet, text.data, text.length, job->shared_log->path, err)
                                 : sm_job__no_memory(err);
    }
    if (log) {
        sm_obslog_free(&log);
    }
    sm_text_release(&text);
    return status;
}
