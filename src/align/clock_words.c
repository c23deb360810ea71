/* How the clock was settled, as the alignment's method and, where there is doubt, as a finding. */
#include "align_internal.h"

#include <math.h>

#define DAY_S 86400.0
/* Times of day are whole seconds. */
#define LEAST_ERROR_S 0.5
/* Drift below this is not worth a word. */
#define NOTABLE_DRIFT_S 1.0

static void add_evidence(struct sm_text *text, const struct sm_align__clock *clock, const char *what)
{
    sm_text_addf(text, "%zu of %zu %s agree", clock->n_agree, clock->n_asked, what);
    sm_text_add(text, ", settled to ");
    sm_text_add_fixed(text, fmax(clock->halfwidth_s, LEAST_ERROR_S), 1);
    sm_text_add(text, " s");
    double drift_s = (1 / clock->rate - 1) * 3600;
    if (fabs(drift_s) >= NOTABLE_DRIFT_S) {
        sm_text_add(text, ", log clock drifts ");
        sm_text_add_fixed(text, drift_s, 1);
        sm_text_add(text, " s an hour");
    }
}

static void add_method(struct sm_text *text, const struct sm_align__work *work)
{
    switch (work->clock.method) {
    case SM_ALIGN__CLOCK_NONE:
        sm_text_add(text, "logged distances alone");
        break;
    case SM_ALIGN__CLOCK_AS_LOGGED:
        sm_text_add(text, work->trace ? "video time as logged" : "logged distances alone");
        break;
    case SM_ALIGN__CLOCK_DISTANCES:
        sm_text_add(text, work->clock.is_volume ? "log volume time, offset found from logged distances: "
                                                : "clock offset from logged distances: ");
        add_evidence(text, &work->clock, "places");
        break;
    case SM_ALIGN__CLOCK_STANDSTILLS:
        sm_text_add(text, "clock offset from standstills: ");
        add_evidence(text, &work->clock, "entries");
        break;
    case SM_ALIGN__CLOCK_FIRST_ROW:
        sm_text_add(text, "log volume time counted from its first row");
        break;
    case SM_ALIGN__CLOCK_PICTURE:
        sm_text_addf(text, "picture clock: read in %zu pictures, ", work->trace->clock.n_seen);
        sm_text_addf(text, "%zu of %zu entries lie in the video, settled to ", work->clock.n_agree, work->clock.n_asked);
        sm_text_add_fixed(text, fmax(work->clock.halfwidth_s, LEAST_ERROR_S), 1);
        sm_text_add(text, " s");
        break;
    case SM_ALIGN__CLOCK_DOUBTFUL:
        sm_text_add(text, "logged distances alone: clock offset not settled");
        break;
    }
    if (work->sheet->trust == SM_TRUST_LOG) {
        sm_text_add(text, "; the log is trusted over the picture");
    }
}

static void add_offset(struct sm_text *text, double offset_s)
{
    double in_day_s = fmod(offset_s, DAY_S);
    sm_align__add_time(text, in_day_s < 0 ? in_day_s + DAY_S : in_day_s);
}

static enum sm_status report_doubt(struct sm_align__work *work, struct sm_error *err)
{
    const struct sm_align__clock *clock = &work->clock;
    struct sm_text text = {0};
    sm_text_add(&text, "the clock offset could not be settled: ");
    if (clock->n_agree == 0) {
        sm_text_add(&text, "nothing in the log fits the picture at any offset");
    } else if (clock->n_rival > 0 && !isnan(clock->rival_s)) {
        sm_text_addf(&text, "%zu of %zu entries fit with ", clock->n_agree, clock->n_asked);
        add_offset(&text, clock->offset_s);
        sm_text_addf(&text, ", but %zu fit with ", clock->n_rival);
        add_offset(&text, clock->rival_s);
    } else {
        sm_text_addf(&text, "only %zu of %zu entries fit together", clock->n_agree, clock->n_asked);
    }
    sm_text_add(&text,
                "; times are not used: note one video time beside its time of day and log in video time");
    return sm_align__report(work, SM_FLAG_CLOCK_DOUBTFUL, SM_SEVERITY_WARNING, -1, &text, err);
}

static enum sm_status report_volume(struct sm_align__work *work, struct sm_error *err)
{
    struct sm_text text = {0};
    sm_text_add(&text, "the log's times do not start with the video: ");
    sm_align__add_time(&text, work->clock.offset_s);
    sm_text_add(&text, " taken off, ");
    sm_text_add(&text, work->clock.method == SM_ALIGN__CLOCK_FIRST_ROW
                           ? "the time of its first row: check one entry"
                           : "where its entries fit the picture");
    enum sm_severity severity =
        work->clock.method == SM_ALIGN__CLOCK_FIRST_ROW ? SM_SEVERITY_WARNING : SM_SEVERITY_NOTE;
    return sm_align__report(work, (enum sm_flag)0, severity, -1, &text, err);
}

/* Times that could be two things: which was taken, and why. */
static enum sm_status report_form(struct sm_align__work *work, struct sm_error *err)
{
    const struct sm_align__time_form *form = &work->clock.form;
    const char *words = NULL;
    if (form->is_open && work->log->may_be_hours) {
        words = "the log's times can be minutes and seconds or hours and minutes, and both fit the video: taken as "
                "minutes and seconds; write them as H:MM:SS";
    } else if (form->is_open) {
        words = "the log's times can be seconds or running numbers HMMSS, and both fit the video: taken as seconds; name "
                "the column time [s] or time [hmmss]";
    } else if (form->is_hours) {
        words = "the log's times are read as hours and minutes of the day: as minutes and seconds the camera would have "
                "been too fast, or the log longer than the video";
    } else if (form->is_hmmss) {
        words = "the log's times are read as running numbers HMMSS (538 is 5:38): as seconds they do not fit the video, or "
                "not as well";
    } else {
        return SM_OK;
    }
    struct sm_text text = {0};
    sm_text_add(&text, words);
    return sm_align__report(work, form->is_open ? SM_FLAG_CLOCK_DOUBTFUL : (enum sm_flag)0,
                            form->is_open ? SM_SEVERITY_WARNING : SM_SEVERITY_NOTE, -1, &text, err);
}

/* The log was not written by the clock that the picture shows, or a sheet says video time where it is time of day. */
static enum sm_status report_picture_clock(struct sm_align__work *work, struct sm_error *err)
{
    const struct sm_align__clock *clock = &work->clock;
    struct sm_text text = {0};
    if (clock->picture_away_s != 0) {
        sm_text_addf(&text, "the log's clock is %s the clock in the picture by ", clock->picture_away_s > 0 ? "ahead of" : "behind");
        sm_text_add_fixed(&text, fabs(clock->picture_away_s), 0);
        sm_text_add(&text, " s: the logged distances settle the offset");
    } else if (clock->method == SM_ALIGN__CLOCK_PICTURE && work->sheet->log_time == SM_LOG_TIME_VIDEO) {
        sm_text_add(&text, "the log's times are times of day as the picture shows them, though the sheet says video time; "
                           "write log time = clock");
    } else {
        return SM_OK;
    }
    return sm_align__report(work, (enum sm_flag)0, SM_SEVERITY_NOTE, -1, &text, err);
}

enum sm_status sm_align__report_clock(struct sm_align__work *work, struct sm_error *err)
{
    struct sm_text text = {0};
    add_method(&text, work);
    work->out->method = text.failed ? NULL : sm_arena_strdup(work->out->arena, sm_text_str(&text));
    sm_text_release(&text);
    if (!work->out->method) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for the alignment's method");
    }
    work->out->clock_offset_s = sm_align__reported_offset(&work->clock);
    work->out->clock_residual_s = work->clock.residual_s;
    bool is_estimated = sm_align__is_estimated(&work->clock);
    work->out->clock_error_s = is_estimated ? fmax(work->clock.halfwidth_s, LEAST_ERROR_S) : SM_NAN;
    work->out->clock_drift_s_per_h = is_estimated ? (1 / work->clock.rate - 1) * 3600 : 0;
    enum sm_status status = report_form(work, err);
    if (status == SM_OK) {
        status = report_picture_clock(work, err);
    }
    if (status == SM_OK && work->clock.method == SM_ALIGN__CLOCK_DOUBTFUL) {
        status = report_doubt(work, err);
    }
    return status == SM_OK && work->clock.is_volume ? report_volume(work, err) : status;
}
