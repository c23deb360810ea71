/* A list under construction: entries come from one reader after the other and are kept in rising time, all
 * with the list's number of decimals. */
#include "distances_internal.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define LARGEST_FILE_BYTES ((size_t)64 * 1024 * 1024)
#define MOST_ENTRIES ((size_t)4000000)
#define MOST_TOLD 12
#define MOST_DECIMALS 3      /* of a counter */
#define LARGEST_VALUE 100000 /* metres or feet: longer is no pipe */
#define LEAST_SHARE_OF_TRACK 0.8
#define FASTEST_M_PER_S 2.0 /* a cable wound in by hand; common practice, no source */
#define MOST_GAP_S 15.0     /* entries farther apart say nothing about the time between */

enum sm_status sm_distances__no_memory(struct sm_error *err)
{
    return sm_error_set(err, SM_E_NOMEM, "out of memory");
}

enum sm_status sm_distances_new(struct sm_distances **out, struct sm_error *err)
{
    struct sm_distances *list = sm_calloc(1, sizeof *list);
    if (!list || sm_arena_new(&list->arena) != SM_OK) {
        sm_free(list);
        return sm_distances__no_memory(err);
    }
    list->source = list->format = "";
    *out = list;
    return SM_OK;
}

void sm_distances_free(struct sm_distances **list)
{
    if (list && *list) {
        sm_free((*list)->item);
        sm_findings_release(&(*list)->findings);
        sm_arena_free(&(*list)->arena);
        sm_free(*list);
        *list = NULL;
    }
}

/* ---- adding ---- */

enum sm_status sm_distances__pass_over(struct sm_distances__build *build, uint32_t line, struct sm_error *err,
                                       const char *fmt, ...)
{
    build->list->n_passed_over++;
    if (build->n_told++ >= MOST_TOLD) {
        return SM_OK;
    }
    char message[300];
    va_list args;
    va_start(args, fmt);
    vsnprintf(message, sizeof message, fmt, args);
    va_end(args);
    enum sm_status status = sm_findings_add(&build->list->findings, SM_FLAG_ROW_ODD, SM_SEVERITY_WARNING,
                                            build->source, line, SM_NAN, -1, "%s", message);
    return status == SM_OK ? SM_OK : sm_distances__no_memory(err);
}

static int64_t ten_to(int32_t power)
{
    int64_t value = 1;
    while (power-- > 0) {
        value *= 10;
    }
    return value;
}

static void widen(struct sm_distances *list, int32_t decimals)
{
    int64_t scale = ten_to(decimals - list->decimals);
    for (size_t i = 0; i < list->n; i++) {
        list->item[i].counts *= scale;
    }
    list->decimals = decimals;
}

static enum sm_status check_unit(struct sm_distances__build *build, uint32_t line, enum sm_unit unit,
                                 struct sm_error *err)
{
    struct sm_distances *list = build->list;
    if (unit == SM_UNIT_UNKNOWN || list->unit == SM_UNIT_UNKNOWN || list->unit == unit) {
        list->unit = unit == SM_UNIT_UNKNOWN ? list->unit : unit;
        return SM_OK;
    }
    sm_error_at(err, SM_E_CONFLICT, build->source, line, 0, "a distance in %s where those before are in %s",
                sm_unit_name(unit), sm_unit_name(list->unit));
    return sm_error_remedy(err, "write all distances in one unit");
}

enum sm_status sm_distances__add(struct sm_distances__build *build, const struct sm_distance *item,
                                 int32_t decimals, enum sm_unit unit, struct sm_error *err)
{
    struct sm_distances *list = build->list;
    struct sm_distance added = *item;
    if (decimals > MOST_DECIMALS) { /* finer than a millimetre */
        added.counts = llround((double)item->counts / (double)ten_to(decimals - MOST_DECIMALS));
        decimals = MOST_DECIMALS;
    }
    added.time_s += build->offset_s;
    added.end_s += build->offset_s;
    if (llabs(added.counts) / ten_to(decimals) > LARGEST_VALUE) {
        return sm_distances__pass_over(build, item->line, err,
                                       "a distance longer than any pipe; passed over");
    }
    if (list->n && added.time_s <= list->item[list->n - 1].time_s) {
        return sm_distances__pass_over(
            build, item->line, err, "%s; passed over",
            added.time_s < list->item[list->n - 1].time_s ? "the time runs back" : "the same time once more");
    }
    enum sm_status status = check_unit(build, item->line, unit, err);
    if (status != SM_OK) {
        return status;
    }
    if (list->n >= MOST_ENTRIES) {
        return sm_error_at(err, SM_E_RANGE, build->source, item->line, 0, "more than %zu entries",
                           MOST_ENTRIES);
    }
    if (sm_grow(&list->item, list->n, &list->capacity, sizeof *list->item) != SM_OK) {
        return sm_distances__no_memory(err);
    }
    if (decimals > list->decimals) {
        widen(list, decimals);
    }
    added.counts *= ten_to(list->decimals - decimals);
    list->item[list->n++] = added;
    return SM_OK;
}

static enum sm_status tell_the_rest(struct sm_distances__build *build, struct sm_error *err)
{
    if (build->n_told <= MOST_TOLD) {
        return SM_OK;
    }
    enum sm_status status = sm_findings_add(
        &build->list->findings, SM_FLAG_ROW_ODD, SM_SEVERITY_WARNING, build->source, 0, SM_NAN, -1,
        "%zu more entries like these were passed over", build->n_told - MOST_TOLD);
    return status == SM_OK ? SM_OK : sm_distances__no_memory(err);
}

/* A first source gives the list its name. */
static enum sm_status name_list(struct sm_distances *list, const char *source, const char *format,
                                struct sm_error *err)
{
    if (list->source[0]) {
        return SM_OK;
    }
    const char *copy = sm_arena_strdup(list->arena, source);
    if (!copy) {
        return sm_distances__no_memory(err);
    }
    list->source = copy;
    list->format = format;
    return SM_OK;
}

/* What a source adds counts whole or not at all. */
static enum sm_status finish(struct sm_distances__build *build, size_t n_before, const char *format,
                             enum sm_status status, struct sm_error *err)
{
    struct sm_distances *list = build->list;
    if (status == SM_OK && list->n == n_before) {
        sm_error_at(err, SM_E_FORMAT, build->source, 0, 0, "not one entry with a time and a distance");
        status = sm_error_remedy(err, "%s",
                                 list->findings.n ? list->findings.item[list->findings.n - 1].message
                                                  : "check that this is the right file");
    }
    if (status == SM_OK) {
        status = tell_the_rest(build, err);
    }
    if (status == SM_OK) {
        status = name_list(list, build->source, format, err);
    }
    if (status != SM_OK) {
        list->n = n_before;
    }
    return status;
}

static const struct sm_distances__reader *const readers[] = {&sm_distances__subrip, &sm_distances__csv};

static enum sm_status add_decoded(struct sm_distances__build *build, const char *text, size_t n,
                                  struct sm_error *err)
{
    for (size_t i = 0; i < sizeof readers / sizeof *readers; i++) {
        if (readers[i]->is_it(text)) {
            size_t n_before = build->list->n;
            return finish(build, n_before, readers[i]->format, readers[i]->read(build, text, n, err), err);
        }
    }
    sm_error_at(err, SM_E_FORMAT, build->source, 0, 0, "this is no list of times and distances");
    return sm_error_remedy(err, "give a CSV table whose header names time and distance, or SubRip subtitles");
}

enum sm_status sm_distances_add_data(struct sm_distances *list, const char *data, size_t n,
                                     const char *source, double offset_s, struct sm_error *err)
{
    struct sm_distances__build build = {.list = list, .source = source, .offset_s = offset_s};
    struct sm_text text = {0};
    if (n && memchr(data, '\0', n < 4096 ? n : 4096) && (unsigned char)data[0] < 0xfe) {
        sm_error_at(err, SM_E_FORMAT, source, 0, 0, "this is no text file");
        return sm_error_remedy(err,
                               "give a CSV table whose header names time and distance, or SubRip subtitles");
    }
    sm_text_add_decoded(&text, data, n);
    enum sm_status status = text.failed ? sm_distances__no_memory(err)
                                        : add_decoded(&build, sm_text_str(&text), text.length, err);
    sm_text_release(&text);
    return status;
}

static enum sm_status note_file(struct sm_distances *list, const char *path, struct sm_error *err)
{
    const char **file = sm_arena_alloc(list->arena, (list->n_files + 1) * sizeof *file);
    const char *copy = sm_arena_strdup(list->arena, path);
    if (!file || !copy) {
        return sm_distances__no_memory(err);
    }
    for (size_t i = 0; i < list->n_files; i++) {
        file[i] = list->file[i];
    }
    file[list->n_files++] = copy;
    list->file = file;
    return SM_OK;
}

enum sm_status sm_distances_add_file(struct sm_distances *list, const char *path, double offset_s,
                                     struct sm_error *err)
{
    char *data = NULL;
    size_t n = 0;
    enum sm_status status = sm_file_read(&data, &n, path, LARGEST_FILE_BYTES, err);
    if (status == SM_OK) {
        status = note_file(list, path, err);
    }
    if (status == SM_OK) {
        status = sm_distances_add_data(list, data, n, path, offset_s, err);
        list->n_files -= status != SM_OK;
    }
    sm_free(data);
    return status;
}

/* ---- a track ---- */

static enum sm_status add_text(struct sm_distances__build *build, const struct sm_timed_text *text,
                               struct sm_error *err)
{
    int32_t decimals;
    enum sm_unit unit;
    struct sm_distance item = {.time_s = text->start_s, .end_s = text->end_s};
    return sm_distances_scan(text->text, &item.counts, &decimals, &unit)
               ? sm_distances__add(build, &item, decimals, unit, err)
               : SM_OK;
}

enum sm_status sm_distances_add_texts(struct sm_distances *list, const struct sm_timed_text *text, size_t n,
                                      const char *source, struct sm_error *err)
{
    struct sm_distances__build build = {.list = list, .source = source};
    size_t n_before = list->n;
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < n; i++) {
        status = add_text(&build, &text[i], err);
    }
    if (status == SM_OK && (double)(list->n - n_before) < LEAST_SHARE_OF_TRACK * (double)n) {
        status = sm_error_at(err, SM_E_FORMAT, source, 0, 0,
                             "the text track is about something else than distances");
    }
    return finish(&build, n_before, "track", status, err);
}

/* ---- what a list says ---- */

double sm_distances__value(const struct sm_distances *list, size_t idx)
{
    return (double)list->item[idx].counts / (double)ten_to(list->decimals);
}

size_t sm_distances__n_until(const struct sm_distances *list, double time_s)
{
    size_t low = 0, high = list->n;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (list->item[middle].time_s <= time_s) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    return low;
}

/* An entry says something from its start up to its end, and up to the next where that is near. */
static bool reaches(const struct sm_distance *item, const struct sm_distance *next, double time_s)
{
    double until_s = isfinite(item->end_s) ? item->end_s : item->time_s;
    return time_s <= until_s || (next && next->time_s - until_s <= MOST_GAP_S);
}

bool sm_distances__range(const struct sm_distances *list, double time_s, double slack_s, double *low,
                         double *high)
{
    size_t first = sm_distances__n_until(list, time_s - slack_s);
    size_t last = sm_distances__n_until(list, time_s + slack_s);
    first -= first > 0;
    bool is_after_start = list->n && list->item[0].time_s <= time_s;
    size_t at = sm_distances__n_until(list, time_s);
    const struct sm_distance *next = at < list->n ? &list->item[at] : NULL;
    if (!is_after_start || !reaches(&list->item[at - 1], next, time_s)) {
        return false;
    }
    last += last < list->n &&
            !(isfinite(list->item[at - 1].end_s) && time_s + slack_s < list->item[at - 1].end_s);
    *low = HUGE_VAL;
    *high = -HUGE_VAL;
    for (size_t i = first; i < last; i++) {
        double value = sm_distances__value(list, i);
        *low = fmin(*low, value);
        *high = fmax(*high, value);
    }
    return true;
}

bool sm_distances__is_wild(const struct sm_distances *list, size_t idx)
{
    double step = sm_distances__value(list, idx) - sm_distances__value(list, idx - 1);
    double dt_s = list->item[idx].time_s - list->item[idx - 1].time_s;
    double per_s = FASTEST_M_PER_S / (list->unit == SM_UNIT_FT ? SM_M_PER_FT : 1);
    return fabs(step) > per_s * dt_s + 2 / (double)ten_to(list->decimals);
}
