#include "read_score.h"

#include "read_reference.h"

#include "stopmark/counter.h"
#include "stopmark/media.h"
#include "stopmark/trace.h"

#include <dirent.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

struct truth_row {
    double time_s;
    int64_t counts;
    bool is_visible; /**< a person could read it */
    bool is_shown;   /**< it stands in the picture, legible or not */
};
struct truth {
    struct truth_row *row;
    size_t n, capacity;
    enum sm_unit unit;
    int32_t decimals;
    bool shows_unit;
    struct sm_box box; /* of the counter; width 0 where the truth names none */
};

static bool option_value(const char *text, const char *key, char *value, size_t size)
{
    size_t n = strlen(key);
    for (const char *line = text; line && *line; line = strchr(line, '\n') ? strchr(line, '\n') + 1 : NULL) {
        if (strncmp(line, key, n) == 0 && line[n] == '=') {
            size_t length = strcspn(line + n + 1, "\r\n");
            length = length < size - 1 ? length : size - 1;
            memcpy(value, line + n + 1, length);
            value[length] = 0;
            return true;
        }
    }
    return false;
}

static size_t column(struct sm_csv_row header, const char *name)
{
    for (size_t i = 0; i < header.n_fields; i++) {
        if (strcmp(header.field[i], name) == 0) {
            return i;
        }
    }
    return SIZE_MAX;
}

/** "box": [513, 32, 175, 22] of the truth's JSON. */
static struct sm_box box_read(const char *dir)
{
    char path[1024], *data = NULL;
    size_t n = 0;
    int64_t side[4] = {0};
    snprintf(path, sizeof path, "%s/truth.json", dir);
    if (sm_file_read(&data, &n, path, 1 << 20, NULL) != SM_OK) {
        return (struct sm_box){0};
    }
    const char *at = strstr(data, "\"box\": [");
    at = at ? strchr(at, '[') + 1 : NULL;
    for (int i = 0; at && i < 4; i++) {
        char number[16] = "";
        size_t length = strcspn(at, ",]");
        memcpy(number, at, length < sizeof number ? length : sizeof number - 1);
        at = sm_parse_int(sm_trim(number), INT32_MIN, INT32_MAX, &side[i]) ? at + length + 1 : NULL;
    }
    sm_free(data);
    return at ? (struct sm_box){(int32_t)side[0], (int32_t)side[1], (int32_t)side[2], (int32_t)side[3]}
              : (struct sm_box){0};
}

static enum sm_status truth_read(struct truth *truth, const char *dir, struct sm_error *err)
{
    char path[1024], value[64], *data = NULL;
    size_t n = 0;
    snprintf(path, sizeof path, "%s/options.txt", dir);
    enum sm_status status = sm_file_read(&data, &n, path, 1 << 20, err);
    if (status != SM_OK) {
        return status;
    }
    truth->unit =
        option_value(data, "unit", value, sizeof value) && strcmp(value, "ft") == 0 ? SM_UNIT_FT : SM_UNIT_M;
    truth->shows_unit = option_value(data, "suffix", value, sizeof value) && value[0];
    truth->decimals = option_value(data, "decimals", value, sizeof value) ? value[0] - '0' : 2;
    truth->box = box_read(dir);
    sm_free(data);
    snprintf(path, sizeof path, "%s/truth.csv", dir);
    status = sm_file_read(&data, &n, path, (size_t)256 << 20, err);
    if (status != SM_OK) {
        return status;
    }
    struct sm_csv *csv = NULL;
    status = sm_csv_parse(&csv, data, n, ',', path, err);
    sm_free(data);
    if (status != SM_OK) {
        return status;
    }
    struct sm_csv_row header = sm_csv_row(csv, 0);
    size_t time = column(header, "time_s"), reading = column(header, "reading"),
           visible = column(header, "visible");
    for (size_t i = 1; status == SM_OK && i < sm_csv_n_rows(csv); i++) {
        struct sm_csv_row row = sm_csv_row(csv, i);
        struct truth_row t = {0};
        double number = 0;
        sm_parse_number(row.field[time], &t.time_s);
        t.is_visible = row.field[visible][0] == '1' || row.field[visible][0] == 'y';
        bool has_number = sm_parse_number(row.field[reading], &number);
        t.is_visible = t.is_visible && has_number;
        t.is_shown = has_number;
        t.counts = llround(number * pow(10, truth->decimals));
        status = sm_grow(&truth->row, truth->n, &truth->capacity, sizeof *truth->row);
        if (status == SM_OK) {
            truth->row[truth->n++] = t;
        }
    }
    sm_csv_free(&csv);
    return status;
}

static bool find_video(char path[1024], const char *dir)
{
    DIR *d = opendir(dir);
    bool found = false;
    for (struct dirent *e; d && !found && (e = readdir(d));) {
        if (strncmp(e->d_name, "run.", 4) == 0) {
            snprintf(path, 1024, "%s/%s", dir, e->d_name);
            found = true;
        }
    }
    if (d) {
        closedir(d);
    }
    return found;
}

static void tally_at(struct read_score *tally, const struct truth_row *t, const struct sm_reading *r,
                     const struct read_score_opts *options)
{
    if (t->is_shown && !t->is_visible) {
        return; /* half drawn or drowned: neither right nor wrong */
    }
    if (!t->is_visible) {
        tally->n_hidden++;
        tally->n_ghost += r->state == SM_READING_READ;
        return;
    }
    bool right = r->state != SM_READING_HIDDEN && r->counts == t->counts;
    tally->n_visible++;
    tally->n_exact += right;
    if (r->state == SM_READING_READ) {
        int bin = (int)((double)r->confidence * READ_SCORE_BINS);
        tally->bin_n[bin]++;
        tally->bin_right[bin] += right;
    }
    if (r->confidence >= 0.9f && r->state != SM_READING_HIDDEN) {
        tally->n_sure++;
        tally->n_sure_wrong += !right;
    }
    if (!right && options->shows_misses) {
        printf("    t %.3f truth %lld read %lld state %s confidence %.4f\n", t->time_s, (long long)t->counts,
               (long long)r->counts, sm_reading_state_name(r->state), (double)r->confidence);
    }
}

static void tally_trace(struct read_score *tally, const struct truth *truth, const struct sm_trace *trace,
                        const struct read_score_opts *options)
{
    for (size_t i = 0; i < truth->n; i++) {
        if (truth->row[i].is_visible) {
            struct sm_reading r = sm_trace_at(trace, truth->row[i].time_s);
            bool right = r.state != SM_READING_HIDDEN && llabs(r.counts - truth->row[i].counts) <= 1;
            tally->n_trace++;
            tally->n_trace_right += right;
            if (!right && options->shows_misses) {
                printf("    trace t %.3f truth %lld has %lld %s\n", truth->row[i].time_s,
                       (long long)truth->row[i].counts, (long long)r.counts, sm_reading_state_name(r.state));
            }
        }
    }
}

void read_score_add(struct read_score *sum, const struct read_score *t)
{
    sum->n_visible += t->n_visible;
    sum->n_exact += t->n_exact;
    sum->n_sure += t->n_sure;
    sum->n_sure_wrong += t->n_sure_wrong;
    sum->n_hidden += t->n_hidden;
    sum->n_ghost += t->n_ghost;
    sum->n_trace += t->n_trace;
    sum->n_trace_right += t->n_trace_right;
    sum->n_clips += t->n_clips;
    sum->n_format_right += t->n_format_right;
    sum->n_reference += t->n_reference;
    sum->n_reference_ours += t->n_reference_ours;
    sum->n_reference_right += t->n_reference_right;
    sum->cpu_s += t->cpu_s;
    sum->video_s += t->video_s;
    for (int b = 0; b <= READ_SCORE_BINS; b++) {
        sum->bin_n[b] += t->bin_n[b];
        sum->bin_right[b] += t->bin_right[b];
    }
}

double read_score_percent(size_t part, size_t whole)
{
    return whole ? 100.0 * (double)part / (double)whole : 100.0;
}

void read_score_print(const char *name, const struct read_score *t)
{
    printf("%-28s exact %6.2f %% (%zu of %zu)  wrong9 %zu of %zu  ghost %zu of %zu  trace %6.2f %%  format "
           "%zu/%zu  "
           "cpu %.1f s for %.0f s\n",
           name, read_score_percent(t->n_exact, t->n_visible), t->n_exact, t->n_visible, t->n_sure_wrong,
           t->n_sure, t->n_ghost, t->n_hidden, read_score_percent(t->n_trace_right, t->n_trace),
           t->n_format_right, t->n_clips, t->cpu_s, t->video_s);
    fflush(stdout);
}

static size_t n_visible(const struct truth *truth)
{
    size_t n = 0;
    for (size_t i = 0; i < truth->n; i++) {
        n += truth->row[i].is_visible;
    }
    return n;
}

/** Let the reference read some of the same frames. */
static enum sm_status compare(struct read_score *t, const struct truth *truth,
                              const struct sm_frame_source *source, const struct sm_trace *trace,
                              const size_t *row, size_t n_at, size_t n_wanted, struct sm_error *err)
{
    struct read_reference_frame frame[32];
    size_t n_legible = 0, n = 0, seen = 0;
    for (size_t i = 0; i < n_at; i++) {
        n_legible += truth->row[row[i]].is_visible;
    }
    n_wanted = n_wanted < 32 ? n_wanted : 32;
    for (size_t i = 0; i < n_at && n_wanted > 0; i++) {
        const struct truth_row *at = &truth->row[row[i]];
        if (at->is_visible && seen++ * n_wanted / n_legible >= n) {
            struct sm_reading r = {.state = SM_READING_HIDDEN};
            r = trace ? sm_trace_at(trace, at->time_s + 1e-6) : r;
            t->n_reference_ours += r.state != SM_READING_HIDDEN && r.counts == at->counts;
            frame[n++] = (struct read_reference_frame){at->time_s + 1e-6, at->counts};
        }
    }
    t->n_reference = n;
    return n > 0 ? read_reference_read(&t->n_reference_right, source, truth->box, truth->decimals, frame, n,
                                       err)
                 : SM_OK;
}

/** Find, read, compare; on failure the frames count as missed. */
static enum sm_status clip_read(struct read_score *t, const struct truth *truth, const char *video,
                                const struct read_score_opts *options, struct sm_error *err)
{
    struct sm_media *media = NULL;
    struct sm_counter *counter = NULL;
    struct sm_trace *trace = NULL;
    const struct sm_counter_opts counter_opts = {.effort = options->effort};
    size_t n_at = options->n_frames < truth->n ? options->n_frames : truth->n;
    double *at_s = sm_calloc(n_at + 1, sizeof *at_s);
    size_t *row = sm_calloc(n_at + 1, sizeof *row);
    enum sm_status status = at_s && row ? sm_media_open(&media, &video, 1, err) : SM_E_NOMEM;
    for (size_t i = 0; i < n_at; i++) {
        row[i] = (i * 2 + 1) * truth->n / (2 * n_at);
        at_s[i] = truth->row[row[i]].time_s + 1e-6;
    }
    if (status == SM_OK) {
        struct sm_frame_source source = sm_media_source(media);
        t->video_s = source.duration_s;
        status = sm_counter_find(&counter, &source, NULL, err);
        if (status == SM_OK) {
            const struct sm_counter_format *format = sm_counter_get_format(counter);
            t->n_format_right = format->decimals == truth->decimals &&
                                format->unit == (truth->shows_unit ? truth->unit : SM_UNIT_UNKNOWN);
            if (options->shows_misses) {
                printf("    format: unit %s decimals %d zeros %d box %d,%d,%d,%d\n",
                       sm_unit_name(format->unit), (int)format->decimals, (int)format->has_leading_zeros,
                       (int)format->box.x_px, (int)format->box.y_px, (int)format->box.width_px,
                       (int)format->box.height_px);
                const struct sm_counter_candidate *c;
                size_t n = sm_counter_candidates(counter, &c);
                for (size_t i = 0; i < n && i < 3; i++) {
                    printf("    candidate %-12s score %5.2f box %d,%d,%d,%d %s\n", c[i].example, c[i].score,
                           c[i].box.x_px, c[i].box.y_px, c[i].box.width_px, c[i].box.height_px, c[i].verdict);
                }
            }
            status = sm_counter_read(&trace, counter, &source, at_s, n_at, &counter_opts, err);
        }
    }
    for (size_t i = 0; i < n_at; i++) {
        struct sm_reading none = {.state = SM_READING_HIDDEN};
        struct sm_reading r = trace ? sm_trace_at(trace, at_s[i]) : none;
        tally_at(t, &truth->row[row[i]], &r, options);
    }
    if (trace) {
        tally_trace(t, truth, trace, options);
    } else {
        t->n_trace = n_visible(truth);
        t->n_format_right = t->n_trace == 0; /* nothing there, nothing found */
    }
    if (media && options->n_reference > 0 && truth->box.width_px > 0 && read_reference_exists()) {
        struct sm_frame_source source = sm_media_source(media);
        struct sm_error ignored;
        (void)compare(t, truth, &source, trace, row, n_at, options->n_reference, &ignored);
    }
    sm_trace_free(&trace);
    sm_counter_free(&counter);
    sm_media_close(&media);
    sm_free(at_s);
    sm_free(row);
    return status;
}

static double cpu_now_s(void)
{
    struct timespec now;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

enum sm_status read_score_clip(struct read_score *score, const char *dir, const struct read_score_opts *opts,
                               struct sm_error *err)
{
    struct truth truth = {0};
    char video[1024];
    *score = (struct read_score){.n_clips = 1};
    enum sm_status status = truth_read(&truth, dir, err);
    if (status == SM_OK && !find_video(video, dir)) {
        status = sm_error_at(err, SM_E_NOTFOUND, dir, 0, 0, "no video in the folder");
    }
    if (status == SM_OK) {
        double start_s = cpu_now_s();
        status = clip_read(score, &truth, video, opts, err);
        score->cpu_s = cpu_now_s() - start_s;
    }
    sm_free(truth.row);
    return status;
}
