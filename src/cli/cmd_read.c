/* stopmark read: the counter of a video as a trace. */
#include <string.h>

#include "cli.h"
#include "stopmark/trace.h"

enum { MAX_TIMES = 1000000, MAX_LISTS = 1000 };

enum kind { KIND_CSV, KIND_JSON, KIND_SVG, KIND_PDF, N_KINDS };
static const char *const endings[N_KINDS] = {".csv", ".json", ".svg", ".pdf"};

struct request {
    struct sm_job_read_opts job;
    double *at_s;
    size_t n_at, at_capacity;
    const char **distances;
    size_t n_distances, distances_capacity;
    const char *out, *picture;
    enum kind out_kind;
};

static bool wrong(struct sm_error *err, const char *value, const char *what, const char *remedy)
{
    sm_error_set(err, SM_E_FORMAT, "\"%s\" %s", value, what);
    sm_error_remedy(err, "%s", remedy);
    return false;
}

static bool add_time(struct request *request, char *word, struct sm_error *err)
{
    double time_s;
    if (sm_parse_quantity(word, SM_TIME, "", &time_s, err) != SM_OK) {
        return false;
    }
    if (request->n_at >= MAX_TIMES ||
        sm_grow(&request->at_s, request->n_at, &request->at_capacity, sizeof *request->at_s) != SM_OK) {
        return wrong(err, word, "is one time too many", "ask for fewer at once");
    }
    request->at_s[request->n_at++] = time_s;
    return true;
}

/* Commas part the times, so a decimal comma cannot stand here. */
static bool take_at(void *user, const char *value, struct sm_error *err)
{
    struct request *request = user;
    char *words = sm_strdup(value);
    bool is_good = words != NULL;
    for (char *word = words; is_good && word;) {
        char *comma = strchr(word, ',');
        if (comma) {
            *comma = '\0';
        }
        is_good = add_time(request, word, err);
        word = comma ? comma + 1 : NULL;
    }
    sm_free(words);
    return is_good;
}

static bool take_box(void *user, const char *value, struct sm_error *err)
{
    struct request *request = user;
    int64_t side[4];
    char word[64];
    const char *from = value;
    for (int i = 0; i < 4; i++) {
        size_t n = strcspn(from, ",");
        bool is_last = from[n] == '\0';
        if (n >= sizeof word || is_last != (i == 3)) {
            return wrong(err, value, "is no box", "give it as X,Y,W,H in pixels, as in 520,30,160,28");
        }
        memcpy(word, from, n);
        word[n] = '\0';
        if (!sm_parse_int(word, i < 2 ? 0 : 1, 65535, &side[i])) {
            return wrong(err, value, "is no box", "give it as X,Y,W,H in pixels, as in 520,30,160,28");
        }
        from += n + !is_last;
    }
    request->job.box =
        (struct sm_box){(int32_t)side[0], (int32_t)side[1], (int32_t)side[2], (int32_t)side[3]};
    return true;
}

static bool take_unit(void *user, const char *value, struct sm_error *err)
{
    struct request *request = user;
    if (!sm_ascii_ieq(value, "m") && !sm_ascii_ieq(value, "ft")) {
        return wrong(err, value, "is no unit of a counter", "give m or ft");
    }
    request->job.unit = sm_ascii_ieq(value, "ft") ? SM_UNIT_FT : SM_UNIT_M;
    return true;
}

static bool take_distances(void *user, const char *value, struct sm_error *err)
{
    struct request *request = user;
    if (request->n_distances >= MAX_LISTS || sm_grow(&request->distances, request->n_distances,
                                                     &request->distances_capacity, sizeof value) != SM_OK) {
        return wrong(err, value, "is one list too many", "name one for each video, or one for all");
    }
    request->distances[request->n_distances++] = value;
    return true;
}

static bool take_out(void *user, const char *value, struct sm_error *err)
{
    struct request *request = user;
    size_t n = strlen(value);
    request->out = value;
    for (int kind = 0; kind < N_KINDS; kind++) {
        size_t n_ending = strlen(endings[kind]);
        if (n > n_ending && sm_ascii_ieq(value + n - n_ending, endings[kind])) {
            request->out_kind = (enum kind)kind;
            return true;
        }
    }
    return wrong(err, value, "is of no kind that can be written", "name a .csv, .json, .svg or .pdf file");
}

static bool take_picture(void *user, const char *value, struct sm_error *err)
{
    size_t n = strlen(value);
    ((struct request *)user)->picture = value;
    return (n > 4 && sm_ascii_ieq(value + n - 4, ".png")) ||
           wrong(err, value, "is no name of a PNG file", "name a .png file");
}

static bool take_threads(void *user, const char *value, struct sm_error *err)
{
    return sm_cli_take_threads(&((struct request *)user)->job.n_threads, value, err);
}

static bool take_thorough(void *user, const char *value, struct sm_error *err)
{
    (void)value;
    (void)err;
    ((struct request *)user)->job.is_thorough = true;
    return true;
}

static const struct sm_cli_option options[] = {
    {"at", take_at, true},
    {"box", take_box, true},
    {"unit", take_unit, true},
    {"distances", take_distances, true},
    {"out", take_out, true},
    {"threads", take_threads, true},
    {"thorough", take_thorough, false},
    {"picture", take_picture, true},
    {0},
};

static void add_name(struct sm_text *name, const struct request *request)
{
    for (size_t i = 0; i < request->job.n_videos; i++) {
        const char *slash = strrchr(request->job.video[i], '/');
        sm_text_add(name, i ? ", " : "");
        sm_text_add(name, slash && slash[1] ? slash + 1 : request->job.video[i]);
    }
}

static enum sm_status write_trace(struct sm_text *text, const struct request *request, enum kind kind,
                                  const struct sm_trace *trace, struct sm_error *err)
{
    struct sm_text name = {0};
    enum sm_status status = SM_OK;
    add_name(&name, request);
    switch (kind) {
    case KIND_CSV:
        status = sm_trace_write_csv(text, trace, err);
        break;
    case KIND_JSON:
        status = sm_trace_write_json(text, trace, err);
        break;
    case KIND_SVG:
        status = sm_schedule_write_trace_svg(text, trace, sm_text_str(&name), err);
        break;
    case KIND_PDF:
        status = sm_schedule_write_trace_pdf(text, trace, sm_text_str(&name), SM_PAPER_A4, err);
        break;
    case N_KINDS:
        break;
    }
    bool has_failed = text->failed || name.failed;
    sm_text_release(&name);
    return status == SM_OK && has_failed ? sm_error_set(err, SM_E_NOMEM, "out of memory") : status;
}

static int deliver(const struct request *request, const struct sm_cli_common *common,
                   const struct sm_trace *trace)
{
    struct sm_text text = {0};
    struct sm_error err = {0};
    int result = SM_CLI_DONE;
    enum kind kind = request->out ? request->out_kind : common->is_json ? KIND_JSON : KIND_CSV;
    enum sm_status status = write_trace(&text, request, kind, trace, &err);
    if (status == SM_OK && request->out) {
        status = sm_file_write(request->out, text.data, text.length, &err);
    }
    if (status != SM_OK) {
        result = sm_cli_fail(&err);
    } else if (!request->out) {
        result = sm_cli_print(&text);
    }
    sm_text_release(&text);
    return result;
}

/* The picture is written whether the counter was found or not; that it could be is part of what to do. */
static enum sm_status put_picture(const struct request *request, const struct sm_cli_common *common,
                                  const struct sm_text *picture, enum sm_status status, struct sm_error *err)
{
    struct sm_error why = {0};
    if (!request->picture && status == SM_E_NOTFOUND && err->remedy[0]) {
        char remedy[sizeof err->remedy];
        sm_strcopy(remedy, sizeof remedy, err->remedy);
        sm_error_remedy(err, "%s; --picture FILE.png shows what was looked at", remedy);
    }
    if (!picture->length) {
        return status;
    }
    if (sm_file_write(request->picture, picture->data, picture->length, &why) != SM_OK) {
        if (status == SM_OK) {
            *err = why;
        }
        return status == SM_OK ? why.status : status;
    }
    if (!common->is_quiet) {
        sm_cli_note("what was looked at is drawn in %s", request->picture);
    }
    return status;
}

static int read_videos(struct request *request, const struct sm_cli_common *common, char **video,
                       int n_videos)
{
    struct sm_cli_progress progress = sm_cli_progress_start(common);
    struct sm_trace *trace = NULL;
    struct sm_findings findings = {0};
    struct sm_error err = {0};
    struct sm_text picture = {0};
    request->job.n_videos = (size_t)n_videos;
    request->job.video = (const char *const *)video;
    request->job.n_at = request->n_at;
    request->job.at_s = request->at_s;
    request->job.n_distances = request->n_distances;
    request->job.distances = request->distances;
    request->job.progress = sm_cli_progress_tell;
    request->job.progress_user = &progress;
    request->job.picture = request->picture ? &picture : NULL;
    sm_cli_warn_of_missing_bars();
    enum sm_status status = sm_job_read(&trace, &request->job, &findings, &err);
    sm_cli_progress_end(&progress);
    status = put_picture(request, common, &picture, status, &err);
    if (!common->is_quiet) {
        sm_cli_findings(&findings);
    }
    int result = status == SM_OK ? deliver(request, common, trace) : sm_cli_fail(&err);
    sm_findings_release(&findings);
    sm_trace_free(&trace);
    sm_text_release(&picture);
    return result;
}

static int run(int argc, char **argv)
{
    struct request request = {0};
    struct sm_cli_common common = {0};
    int n_videos = 0;
    enum sm_cli_parsed parsed = sm_cli_parse(&sm_cli_read, options, &request, &common, argc, argv, &n_videos);
    int result = parsed == SM_CLI_HELP_SHOWN ? SM_CLI_DONE : SM_CLI_USAGE;
    if (parsed == SM_CLI_GO_ON && n_videos == 0) {
        result = sm_cli_misuse(&sm_cli_read, "no video named");
    } else if (parsed == SM_CLI_GO_ON && request.n_at && request.out && request.out_kind >= KIND_SVG) {
        result = sm_cli_misuse(&sm_cli_read, "a drawing is of the whole recording, not of the times of --at");
    } else if (parsed == SM_CLI_GO_ON) {
        result = read_videos(&request, &common, argv, n_videos);
    }
    sm_free(request.at_s);
    sm_free(request.distances);
    return result;
}

const struct sm_cli_command sm_cli_read = {
    .name = "read",
    .run = run,
    .line = "Read the distance counter burned into a survey video",
    .usage = "read VIDEO... [--at T[,T...]] [--box X,Y,W,H] [--unit m|ft] [--distances FILE]... [--out FILE] "
             "[--picture FILE] [--threads N] [--thorough]",
    .help = "Several files are one recording, in the order given. Prints "
            "time_s,reading,unit,confidence,state.\n\n"
            "  --at T[,T...]       only the frames on screen at these times (seconds or H:MM:SS), one row\n"
            "                      each in the order asked\n"
            "  --box X,Y,W,H       where the counter stands in the picture, in pixels; else it is found\n"
            "  --unit m|ft         unit of the counter; else read off the picture\n"
            "  --distances FILE    times and distances beside the picture (CSV or SubRip), held against it; "
            "once for\n"
            "                      each video, or once for all; else a text track or a .srt or .csv of the "
            "video's\n"
            "                      name is taken where there is one\n"
            "  --out FILE          write a file instead of printing: .csv or .json, or the trace drawn as "
            ".svg or .pdf\n"
            "  --picture FILE      write a frame as .png with the texts looked at drawn in, each with its "
            "box for --box\n"
            "  --threads N         read with N threads; the outcome is the same for any N\n"
            "  --thorough          look at every picture, not only where something is left open: slower\n",
};
