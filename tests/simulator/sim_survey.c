/*
 * sim_survey.c - the whole survey: scenario, way, pictures through the encoder, the file read back for its
 * times and for what can be made out on it, then truth and papers.
 */
#include "sim_internal.h"

#include <math.h>
#include <string.h>

/* A digit that is less like itself than this, or that stands out less, nobody reads (looked at on many
 * frames). */
#define LEAST_LIKENESS 0.5
#define LEAST_CONTRAST 7.0
#define LEAST_LEAD                                                                                           \
    0.02 /* by which a digit must be more like itself than like the one shown before or after */

struct run {
    const struct sm_sim_opts *opts;
    struct sm_sim_scenario scenario;
    struct sm_sim_path path;
    struct sm_sim_scene *scene;
    struct sm_sim_damage *damage;
    struct sm_sim_overlay *overlay;
    struct sm_sim_encoder *encoder;
    struct sm_sim_picture picture;
    struct sm_sim_shown shown;
    struct sm_sim_truth truth;
    size_t n_checked;
    const char *before; /* counter text that the last change replaced, in the check */
};

static void run_release(struct run *run)
{
    sm_sim__scenario_release(&run->scenario);
    sm_sim__path_release(&run->path);
    sm_sim__scene_free(&run->scene);
    sm_sim__damage_free(&run->damage);
    sm_sim__overlay_free(&run->overlay);
    sm_sim__encoder_abort(&run->encoder);
    sm_sim__picture_release(&run->picture);
    sm_text_release(&run->shown.text);
    sm_text_release(&run->shown.reading);
    sm_free(run->truth.frame);
}

static enum sm_status prepare(struct run *run, struct sm_error *err)
{
    const struct sm_sim_opts *opts = run->opts;
    enum sm_status status = sm_sim__scenario_make(&run->scenario, opts, err);
    if (status == SM_OK) {
        status = sm_sim__path_make(&run->path, opts, &run->scenario, err);
    }
    if (status == SM_OK) {
        status = sm_sim__scene_new(&run->scene, opts, &run->scenario, err);
    }
    if (status == SM_OK) {
        status = sm_sim__damage_new(&run->damage, opts, err);
    }
    if (status == SM_OK) {
        status = sm_sim__overlay_new(&run->overlay, opts, &run->scenario, &run->path, err);
    }
    if (status == SM_OK) {
        status = sm_sim__picture_make(&run->picture, (int32_t)opts->video.width_px,
                                      (int32_t)opts->video.height_px, err);
    }
    return status;
}

/* ---- pictures
 * ------------------------------------------------------------------------------------------------ */

static enum sm_status draw_wall(struct run *run, double time_s, struct sm_error *err)
{
    double half_s = 0.5 * (double)run->opts->video.rate_den / (double)run->opts->video.rate_num;
    if (!run->opts->damage.is_interlaced) {
        return sm_sim__scene_draw(run->scene, sm_sim__path_at(&run->path, time_s), time_s, 0, 1,
                                  &run->picture, err);
    }
    enum sm_status status = SM_OK;
    for (int32_t field = 0; status == SM_OK && field < 2; field++) {
        double field_s = time_s + field * half_s;
        status = sm_sim__scene_draw(run->scene, sm_sim__path_at(&run->path, field_s), field_s, field, 2,
                                    &run->picture, err);
    }
    return status;
}

static enum sm_status note_frame(struct run *run, double time_s)
{
    struct sm_sim_truth *truth = &run->truth;
    enum sm_status status = sm_grow(&truth->frame, truth->n_frames, &truth->capacity, sizeof *truth->frame);
    if (status != SM_OK) {
        return status;
    }
    struct sm_sim_frame_truth *frame = &truth->frame[truth->n_frames++];
    *frame = (struct sm_sim_frame_truth){.time_s = time_s, .true_m = sm_sim__path_at(&run->path, time_s)};
    bool has_fitted = sm_strcopy(frame->text, sizeof frame->text, sm_text_str(&run->shown.text));
    has_fitted =
        sm_strcopy(frame->reading, sizeof frame->reading, sm_text_str(&run->shown.reading)) && has_fitted;
    frame->is_shown = frame->text[0] != '\0';
    sm_sim__box_add(&truth->box, &run->shown.box);
    return has_fitted ? SM_OK : SM_E_RANGE;
}

static enum sm_status make_frame(struct run *run, double time_s, int64_t tick, struct sm_error *err)
{
    enum sm_status status = draw_wall(run, time_s, err);
    if (status == SM_OK) {
        sm_sim__damage_under(run->damage, &run->picture);
        status = sm_sim__overlay_draw(run->overlay, time_s, &run->picture, &run->shown, err);
    }
    if (status == SM_OK) {
        sm_sim__damage_over(run->damage, &run->picture);
        status = sm_sim__encoder_write(run->encoder, &run->picture, tick, err);
    }
    return status == SM_OK ? note_frame(run, time_s) : status;
}

static enum sm_status make_frames(struct run *run, struct sm_error *err)
{
    const struct sm_sim_video_opts *video = &run->opts->video;
    struct sm_test_random random = sm_sim__stream(run->opts->seed, SM_SIM_STREAM_RATE);
    double end_s = run->path.duration_s;
    if (video->limit_s > 0 && video->limit_s < end_s) {
        end_s = video->limit_s;
    }
    enum sm_status status = SM_OK;
    for (int64_t i = 0; status == SM_OK; i++) {
        double time_s = (double)(i * video->rate_den) / (double)video->rate_num;
        if (time_s >= end_s) {
            break;
        }
        if (!video->is_variable_rate) {
            status = make_frame(run, time_s, i, err);
        } else if (i == 0 || sm_test_int(&random, 0, 9) < 6) {
            int64_t tick = llround(time_s * 1000) + (i > 0 ? sm_test_int(&random, -4, 4) : 0);
            status = make_frame(run, (double)tick / 1000, tick, err);
        }
    }
    return status;
}

/* ---- the file read back
 * -------------------------------------------------------------------------------------- */

/*
 * AVI holds no times, only frames at a fixed rate, and the last frame of a program stream carries none (NAN):
 * there the written time stands. All other times must agree with what went in.
 */
static enum sm_status check_time(struct run *run, struct sm_sim_frame_truth *frame, size_t idx, double time_s,
                                 struct sm_error *err)
{
    if (run->opts->video.container == SM_SIM_AVI || isnan(time_s)) {
        return SM_OK;
    }
    if (!(fabs(time_s - (frame->time_s - run->truth.frame[0].time_s)) <= 0.0025)) {
        return sm_error_set(err, SM_E_FORMAT, "frame %zu reads back at another time than it was written",
                            idx);
    }
    frame->time_s = time_s;
    return SM_OK;
}

/* The text that takes the place of this frame's, NULL where none with a reading does. */
static const char *text_after(const struct run *run, size_t idx)
{
    const struct sm_sim_frame_truth *frame = run->truth.frame;
    size_t next = idx + 1;
    while (next < run->truth.n_frames && strcmp(frame[next].text, frame[idx].text) == 0) {
        next++;
    }
    return next < run->truth.n_frames && frame[next].reading[0] ? frame[next].text : NULL;
}

/* A starved encoder may still show the digits from before, or already those that follow: only where the
 * picture is clearly more like what was drawn can anybody read that. */
static enum sm_status check_digits(const struct run *run, struct sm_sim_frame_truth *frame, const char *other,
                                   const uint8_t *luma, ptrdiff_t stride, struct sm_error *err)
{
    struct sm_sim_match drawn = {0}, wrong = {0};
    if (!frame->is_legible || !other || strlen(other) != strlen(frame->text)) {
        return SM_OK;
    }
    enum sm_status status =
        sm_sim__overlay_match(run->overlay, frame->text, other, luma, stride, &drawn, err);
    if (status == SM_OK) {
        status = sm_sim__overlay_match(run->overlay, other, frame->text, luma, stride, &wrong, err);
    }
    frame->is_legible = wrong.likeness + LEAST_LEAD < drawn.likeness;
    return status;
}

static enum sm_status check_frame(void *user, size_t idx, double time_s, const uint8_t *luma,
                                  ptrdiff_t stride, struct sm_error *err)
{
    struct run *run = user;
    if (idx >= run->truth.n_frames) {
        return sm_error_set(err, SM_E_FORMAT, "the file holds more frames than were written");
    }
    struct sm_sim_frame_truth *frame = &run->truth.frame[idx];
    run->n_checked = idx + 1;
    enum sm_status status = check_time(run, frame, idx, time_s, err);
    if (status != SM_OK || !frame->reading[0]) {
        return status;
    }
    if (idx > 0 && strcmp(frame[-1].text, frame->text) != 0) {
        run->before = frame[-1].reading[0] ? frame[-1].text : NULL;
    }
    status = sm_sim__overlay_match(run->overlay, frame->text, NULL, luma, stride, &frame->match, err);
    frame->is_legible = frame->match.likeness >= LEAST_LIKENESS && frame->match.contrast >= LEAST_CONTRAST;
    if (status == SM_OK) {
        status = check_digits(run, frame, run->before, luma, stride, err);
    }
    return status == SM_OK ? check_digits(run, frame, text_after(run, idx), luma, stride, err) : status;
}

static enum sm_status check_file(struct run *run, const char *path, struct sm_error *err)
{
    enum sm_status status = sm_sim__decode(path, check_frame, run, err);
    if (status == SM_OK && run->n_checked != run->truth.n_frames) {
        status = sm_error_set(err, SM_E_FORMAT, "%zu frames were written, the file holds %zu",
                              run->truth.n_frames, run->n_checked);
    }
    return status;
}

enum sm_status sm_sim_write_survey(const struct sm_sim_opts *opts, const char *dir, struct sm_error *err)
{
    struct run run = {.opts = opts};
    struct sm_text path = {0};
    enum sm_status status = sm_sim_opts_check(opts, err);
    if (status == SM_OK) {
        status = sm_dir_make(dir, err);
    }
    sm_text_addf(&path, "%s/%s", dir, sm_sim_video_name(opts));
    if (status == SM_OK) {
        status = path.failed ? SM_E_NOMEM : prepare(&run, err);
    }
    if (status == SM_OK) {
        status = sm_sim__encoder_open(&run.encoder, &opts->video, opts->damage.is_interlaced,
                                      sm_text_str(&path), err);
    }
    if (status == SM_OK) {
        status = make_frames(&run, err);
    }
    if (status == SM_OK) {
        status = sm_sim__encoder_close(&run.encoder, err);
    }
    if (status == SM_OK) {
        status = check_file(&run, sm_text_str(&path), err);
    }
    if (status == SM_OK) {
        status = sm_sim__truth_write(opts, &run.scenario, &run.path, &run.truth, dir, err);
    }
    if (status == SM_OK) {
        status = sm_sim__papers_write(opts, &run.scenario, &run.path, dir, err);
    }
    if (status == SM_OK) {
        status = sm_sim__options_write(opts, dir, err);
    }
    sm_text_release(&path);
    run_release(&run);
    return status;
}
