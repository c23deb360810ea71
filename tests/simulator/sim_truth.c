/*
 * sim_truth.c - what is known of the survey, for whoever checks a reader or a schedule against it: truth.csv
 * (a row a frame), defects.csv and truth.json (what was planted and when the camera stood there),
 * options.txt.
 */
#include "sim_internal.h"

#include <math.h>
#include <string.h>

enum sm_status sm_sim__text_write(const struct sm_text *text, const char *dir, const char *name,
                                  struct sm_error *err)
{
    struct sm_text path = {0};
    sm_text_addf(&path, "%s/%s", dir, name);
    enum sm_status status = text->failed || path.failed
                                ? sm_error_set(err, SM_E_NOMEM, "no memory for %s", name)
                                : sm_file_write(sm_text_str(&path), sm_text_str(text), text->length, err);
    sm_text_release(&path);
    return status;
}

static void add_optional(struct sm_text *out, double value, int decimals)
{
    if (!isnan(value)) {
        sm_text_add_fixed(out, value, decimals);
    }
}

/* visible: the counter stands on the picture and its digits can be made out; what the worst digit
 * has kept of its drawing: contrast in grey levels, likeness (correlation, 0..1). */
static enum sm_status write_frames(const struct sm_sim_truth *truth, const char *dir, struct sm_error *err)
{
    struct sm_text out = {0};
    sm_text_add(&out, "frame,time_s,true_m,counter_text,reading,visible,contrast,likeness\n");
    for (size_t i = 0; i < truth->n_frames; i++) {
        const struct sm_sim_frame_truth *frame = &truth->frame[i];
        sm_text_addf(&out, "%zu,", i);
        sm_text_add_fixed(&out, frame->time_s, 4);
        sm_text_add(&out, ",");
        sm_text_add_fixed(&out, frame->true_m, 4);
        bool has_comma = strchr(frame->text, ',') || strchr(frame->text, '"');
        sm_text_add(&out, has_comma ? ",\"" : ",");
        for (const char *at = frame->text; *at; at++) {
            sm_text_add(&out, *at == '"' ? "\"" : "");
            sm_text_add_n(&out, at, 1);
        }
        sm_text_addf(&out, "%s,%s,%d,", has_comma ? "\"" : "", frame->reading,
                     frame->reading[0] && frame->is_legible ? 1 : 0);
        sm_text_add_fixed(&out, frame->match.contrast, 0);
        sm_text_add(&out, ",");
        sm_text_add_fixed(&out, frame->match.likeness, 2);
        sm_text_add(&out, "\n");
    }
    enum sm_status status = sm_sim__text_write(&out, dir, "truth.csv", err);
    sm_text_release(&out);
    return status;
}

/* The stop at an item's start (or at its end). */
static const struct sm_sim_stop *find_stop(const struct sm_sim_path *path, size_t item_idx, bool is_end)
{
    for (size_t i = 0; i < path->n_stops; i++) {
        if (path->stop[i].item_idx == item_idx && path->stop[i].is_end == is_end) {
            return &path->stop[i];
        }
    }
    return NULL;
}

static void add_stop_times(struct sm_text *out, const struct sm_sim_stop *stop)
{
    if (stop) {
        sm_text_add_fixed(out, stop->start_s, 2);
        sm_text_add(out, ",");
        sm_text_add_fixed(out, stop->end_s, 2);
    } else {
        sm_text_add(out, ",");
    }
}

static const char *item_code(const struct sm_sim_opts *opts, const struct sm_sim_item *item)
{
    const struct sm_sim_kind_info *info = sm_sim__kind(item->kind);
    return opts->log.is_north_american ? info->code_na : info->code;
}

static enum sm_status write_defects(const struct sm_sim_opts *opts, const struct sm_sim_scenario *scenario,
                                    const struct sm_sim_path *path, const char *dir, struct sm_error *err)
{
    struct sm_text out = {0};
    sm_text_add(&out,
                "kind,code,distance_m,start_m,end_m,clock,q1,diameter_mm,continuous,stand_from_s,stand_to_s,"
                "end_stand_from_s,end_stand_to_s\n");
    for (size_t i = 0; i < scenario->n_items; i++) {
        const struct sm_sim_item *item = &scenario->item[i];
        sm_text_addf(&out, "%s,%s,", sm_sim__kind(item->kind)->name, item_code(opts, item));
        sm_text_add_fixed(&out, item->distance_m, 3);
        sm_text_add(&out, ",");
        sm_text_add_fixed(&out, item->start_m, 3);
        sm_text_add(&out, ",");
        sm_text_add_fixed(&out, item->end_m, 3);
        sm_text_addf(&out, ",%d,", (int)item->clock_from_h);
        add_optional(&out, item->q1, 0);
        sm_text_add(&out, ",");
        add_optional(&out, item->diameter_mm, 0);
        sm_text_addf(&out, ",%d,", (int)item->continuous_id);
        add_stop_times(&out, find_stop(path, i, false));
        sm_text_add(&out, ",");
        add_stop_times(&out, item->continuous_id ? find_stop(path, i, true) : NULL);
        sm_text_add(&out, "\n");
    }
    enum sm_status status = sm_sim__text_write(&out, dir, "defects.csv", err);
    sm_text_release(&out);
    return status;
}

static void add_items(struct sm_json *json, const struct sm_sim_opts *opts,
                      const struct sm_sim_scenario *scenario, const struct sm_sim_path *path)
{
    sm_json_open(json, "observations", '[');
    for (size_t i = 0; i < scenario->n_items; i++) {
        const struct sm_sim_item *item = &scenario->item[i];
        const struct sm_sim_stop *stop = find_stop(path, i, false);
        sm_json_open_compact(json, NULL, '{');
        sm_json_string(json, "kind", sm_sim__kind(item->kind)->name);
        sm_json_string(json, "code", item_code(opts, item));
        sm_json_fixed(json, "distance_m", item->distance_m, 3);
        sm_json_fixed(json, "start_m", item->start_m, 3);
        sm_json_fixed(json, "end_m", item->end_m, 3);
        sm_json_int(json, "clock", item->clock_from_h);
        sm_json_fixed(json, "q1", item->q1, 0);
        sm_json_fixed(json, "stand_from_s", stop ? stop->start_s : SM_NAN, 2);
        sm_json_fixed(json, "stand_to_s", stop ? stop->end_s : SM_NAN, 2);
        sm_json_close(json, '}');
    }
    sm_json_close(json, ']');
}

static void add_counter(struct sm_json *json, const struct sm_sim_opts *opts, const struct sm_sim_path *path,
                        const struct sm_sim_box *box)
{
    sm_json_open(json, "counter", '{');
    sm_json_open_compact(json, "box", '[');
    sm_json_int(json, NULL, box->left_px);
    sm_json_int(json, NULL, box->top_px);
    sm_json_int(json, NULL, box->right_px - box->left_px);
    sm_json_int(json, NULL, box->bottom_px - box->top_px);
    sm_json_close(json, ']');
    sm_json_string(json, "unit", opts->counter.unit == SM_SIM_FEET ? "ft" : "m");
    sm_json_int(json, "decimals", opts->counter.decimals);
    sm_json_fixed(json, "scale", opts->counter.scale, 6);
    sm_json_fixed(json, "offset_m", opts->counter.offset_m, 4);
    sm_json_fixed(json, "set_anew_s", path->set_s, 2);
    sm_json_close(json, '}');
}

static enum sm_status write_summary(const struct sm_sim_opts *opts, const struct sm_sim_scenario *scenario,
                                    const struct sm_sim_path *path, const struct sm_sim_truth *truth,
                                    const char *dir, struct sm_error *err)
{
    struct sm_text out = {0};
    struct sm_json json = {.out = &out};
    sm_json_open(&json, NULL, '{');
    sm_json_int(&json, "seed", opts->seed);
    sm_json_string(&json, "video", sm_sim_video_name(opts));
    sm_json_int(&json, "frames", (int64_t)truth->n_frames);
    sm_json_fixed(&json, "last_frame_s",
                  truth->n_frames > 0 ? truth->frame[truth->n_frames - 1].time_s : SM_NAN, 4);
    sm_json_fixed(&json, "run_start_s", path->run_start_s + opts->overlay.not_running_s, 2);
    sm_json_fixed(&json, "length_m", opts->pipe.length_m, 3);
    sm_json_fixed(&json, "clock_offset_s", opts->overlay.clock_start_s + opts->log.clock_offset_s, 3);
    add_counter(&json, opts, path, &truth->box);
    add_items(&json, opts, scenario, path);
    sm_json_close(&json, '}');
    sm_text_add(&out, "\n");
    enum sm_status status = sm_sim__text_write(&out, dir, "truth.json", err);
    sm_text_release(&out);
    return status;
}

enum sm_status sm_sim__options_write(const struct sm_sim_opts *opts, const char *dir, struct sm_error *err)
{
    struct sm_text out = {0};
    sm_sim_opts_print(opts, &out);
    enum sm_status status = sm_sim__text_write(&out, dir, "options.txt", err);
    sm_text_release(&out);
    return status;
}

enum sm_status sm_sim__truth_write(const struct sm_sim_opts *opts, const struct sm_sim_scenario *scenario,
                                   const struct sm_sim_path *path, const struct sm_sim_truth *truth,
                                   const char *dir, struct sm_error *err)
{
    enum sm_status status = write_frames(truth, dir, err);
    if (status == SM_OK) {
        status = write_defects(opts, scenario, path, dir, err);
    }
    return status == SM_OK ? write_summary(opts, scenario, path, truth, dir, err) : status;
}
