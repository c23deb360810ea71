/*
 * sim_papers.c - what an office would hold beside the video: the operator's log with the errors asked for,
 * the survey sheet, the kits and their cure table; and log_truth.csv, which says what is wrong in which row.
 * All names invented.
 */
#include "sim_internal.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum slip { SLIP_NONE, SLIP_DIGITS, SLIP_POINT, SLIP_UNIT, SLIP_NO_TIME, SLIP_NO_DISTANCE, SLIP_CODE };
static const char *const slip_names[] = {"", "digits", "point", "unit", "no_time", "no_distance", "code"};

struct row {
    const struct sm_sim_stop *stop;
    const struct sm_sim_item *item;
    double video_s;       /* when the operator pressed the key */
    int64_t distance_raw; /* as logged, in units of its last digit */
    enum slip slip;
};
struct log {
    const struct sm_sim_opts *opts;
    struct row *row;
    size_t n;
};

static const double power[] = {1, 10, 100, 1000};

/* ---- rows
 * ---------------------------------------------------------------------------------------------------- */

static enum sm_status make_rows(struct log *log, const struct sm_sim_scenario *scenario,
                                const struct sm_sim_path *path)
{
    const struct sm_sim_log_opts *opts = &log->opts->log;
    struct sm_test_random random = sm_sim__stream(log->opts->seed, SM_SIM_STREAM_LOG);
    log->row = sm_calloc(path->n_stops + 1, sizeof *log->row);
    if (!log->row) {
        return SM_E_NOMEM;
    }
    for (size_t i = 0; i < path->n_stops; i++) {
        const struct sm_sim_stop *stop = &path->stop[i];
        double reaction_s = sm_test_uniform(&random, opts->reaction_min_s, opts->reaction_max_s);
        if (stop->is_end && opts->has_open_continuous) {
            continue;
        }
        struct row *row = &log->row[log->n++];
        row->stop = stop;
        row->item = &scenario->item[stop->item_idx];
        row->video_s = stop->start_s + reaction_s;
        double shown = (double)sm_sim__counter_counts(log->opts, path, fmin(row->video_s, stop->end_s)) /
                       power[log->opts->counter.decimals];
        row->distance_raw = llround(shown * power[opts->decimals]);
    }
    return SM_OK;
}

/* Two neighbouring digits that differ change places; such a number always exists once there are two digits
 * that differ. */
static bool swap_digits(int64_t *raw)
{
    for (int64_t place = 1; place * 10 <= *raw; place *= 10) {
        int64_t low = *raw / place % 10, high = *raw / (place * 10) % 10;
        if (low != high) {
            *raw += (low - high) * 10 * place + (high - low) * place;
            return true;
        }
    }
    return false;
}

/* Give n rows that are still right, nodes apart, an error. */
static void spoil(struct log *log, int64_t n, enum slip slip, struct sm_test_random *random)
{
    for (int64_t tries = 0; n > 0 && tries < 1000 && log->n > 2; tries++) {
        struct row *row = &log->row[sm_test_int(random, 1, (int64_t)log->n - 2)];
        if (row->slip != SLIP_NONE) {
            continue;
        }
        enum slip made = slip;
        if (slip == SLIP_DIGITS && sm_test_int(random, 0, 2) == 0) {
            made = SLIP_POINT;
        }
        if (made == SLIP_DIGITS && !swap_digits(&row->distance_raw)) {
            continue;
        }
        if (made == SLIP_POINT) {
            row->distance_raw *= 10;
        }
        if (made == SLIP_UNIT) {
            bool is_feet = log->opts->counter.unit == SM_SIM_FEET;
            row->distance_raw =
                llround((double)row->distance_raw * (is_feet ? SM_M_PER_FT : 1 / SM_M_PER_FT));
        }
        row->slip = made;
        n--;
    }
}

static void spoil_all(struct log *log)
{
    const struct sm_sim_log_opts *opts = &log->opts->log;
    struct sm_test_random random = sm_sim__stream(log->opts->seed + 1, SM_SIM_STREAM_LOG);
    spoil(log, opts->n_typing, SLIP_DIGITS, &random);
    spoil(log, opts->n_unit, SLIP_UNIT, &random);
    spoil(log, opts->n_no_time, SLIP_NO_TIME, &random);
    spoil(log, opts->n_no_distance, SLIP_NO_DISTANCE, &random);
    spoil(log, opts->n_unknown_code, SLIP_CODE, &random);
}

/* ---- log.csv
 * ------------------------------------------------------------------------------------------------- */

static double logged_time_s(const struct sm_sim_opts *opts, double video_s)
{
    if (opts->log.time == SM_SIM_LOG_VIDEO) {
        return video_s;
    }
    return opts->overlay.clock_start_s + video_s * (1 + opts->log.clock_drift) + opts->log.clock_offset_s;
}

static void add_time(struct sm_text *out, double time_s)
{
    int32_t whole_s = (int32_t)floor(time_s + 86400) % 86400;
    sm_text_addf(out, "%02d:%02d:%02d", (int)(whole_s / 3600), (int)(whole_s / 60 % 60), (int)(whole_s % 60));
}

static void add_code(struct sm_text *out, const struct row *row, bool is_north_american)
{
    const struct sm_sim_kind_info *info = sm_sim__kind(row->item->kind);
    if (row->slip == SLIP_CODE) {
        sm_text_add(out, "QQX,,");
    } else if (is_north_american) {
        sm_text_addf(out, "%s,,", info->code_na);
    } else {
        sm_text_addf(out, "%s,%s,%s", info->code, info->ch1, info->ch2);
    }
}

static void add_row(struct sm_text *out, const struct log *log, const struct row *row)
{
    const struct sm_sim_opts *opts = log->opts;
    const struct sm_sim_item *item = row->item;
    if (row->slip != SLIP_NO_TIME) {
        add_time(out, logged_time_s(opts, row->video_s));
    }
    sm_text_add(out, ",");
    if (row->slip != SLIP_NO_DISTANCE) {
        sm_text_add_fixed(out, (double)row->distance_raw / power[opts->log.decimals],
                          (int)opts->log.decimals);
    }
    sm_text_add(out, ",");
    add_code(out, row, opts->log.is_north_american);
    sm_text_add(out, ",");
    if (!isnan(item->q1) && item->kind != SM_SIM_CONNECTION) {
        sm_text_addf(out, "%d", (int)item->q1);
    }
    sm_text_add(out, ",");
    if (item->clock_from_h) {
        sm_text_addf(out, "%d", (int)item->clock_from_h);
    }
    sm_text_add(out, ",");
    if (item->clock_to_h) {
        sm_text_addf(out, "%d", (int)item->clock_to_h);
    }
    sm_text_add(out, ",");
    if (item->continuous_id) {
        static const char *const marks[2][2] = {{"A", "B"}, {"S", "F"}};
        sm_text_add(out, marks[opts->log.is_north_american][row->stop->is_end]);
        sm_text_addf(out, opts->log.is_north_american ? "%02d" : "%d", (int)item->continuous_id);
    }
    sm_text_addf(out, ",%s,", sm_sim__kind(item->kind)->is_at_joint ? "yes" : "");
    if (!isnan(item->diameter_mm)) {
        sm_text_addf(out, "%d", (int)lround(item->diameter_mm));
    }
    const char *node = item->kind == SM_SIM_START_NODE    ? opts->pipe.from
                       : item->kind == SM_SIM_FINISH_NODE ? opts->pipe.to
                                                          : "";
    sm_text_addf(out, ",%s\n", node);
}

static enum sm_status write_log(const struct log *log, const char *dir, struct sm_error *err)
{
    struct sm_text out = {0}, truth = {0};
    sm_text_add(&out,
                "time,distance,code,ch1,ch2,q1,clock_from,clock_to,continuous,joint,diameter_mm,remark\n");
    sm_text_add(&truth, "line,true_m,video_s,error\n");
    for (size_t i = 0; i < log->n; i++) {
        add_row(&out, log, &log->row[i]);
        sm_text_addf(&truth, "%zu,", i + 2);
        sm_text_add_fixed(&truth, log->row[i].stop->place_m, 3);
        sm_text_add(&truth, ",");
        sm_text_add_fixed(&truth, log->row[i].video_s, 2);
        sm_text_addf(&truth, ",%s\n", slip_names[log->row[i].slip]);
    }
    enum sm_status status = sm_sim__text_write(&out, dir, "log.csv", err);
    if (status == SM_OK) {
        status = sm_sim__text_write(&truth, dir, "log_truth.csv", err);
    }
    sm_text_release(&out);
    sm_text_release(&truth);
    return status;
}

/* ---- sheet
 * --------------------------------------------------------------------------------------------------- */

static void add_key_m(struct sm_text *out, const char *key, double value_m)
{
    sm_text_addf(out, "%s = ", key);
    sm_text_add_fixed(out, value_m, 2);
    sm_text_add(out, " m\n");
}

static void add_tie(struct sm_text *out, const struct sm_sim_opts *opts, double place_m, bool is_set_anew)
{
    sm_text_add_fixed(out, sm_sim__counter_value(opts, place_m, is_set_anew), (int)opts->counter.decimals);
    sm_text_add(out, " = ");
    sm_text_add_fixed(out, place_m, 2);
    sm_text_add(out, " m\n");
}

/* The ends of the pipe, as far as the run saw them with the counter as it was at first. */
static void add_ties(struct sm_text *out, const struct sm_sim_opts *opts, const struct sm_sim_path *path)
{
    sm_text_add(out, "[ties]\n");
    if (opts->motion.start_m <= 0) {
        add_tie(out, opts, 0, false);
    }
    if (isnan(path->set_s) && path->place_m[path->n - 1] >= opts->pipe.length_m - 0.005) {
        add_tie(out, opts, opts->pipe.length_m, false);
    }
}

static const char *material_word(enum sm_sim_material material)
{
    static const char *const words[] = {"vitrified clay", "concrete", "PVC", "cast iron",
                                        "cured-in-place liner"};
    return words[material];
}

static enum sm_status write_sheet(const struct sm_sim_opts *opts, const struct sm_sim_path *path,
                                  const char *dir, struct sm_error *err)
{
    struct sm_text out = {0};
    sm_text_addf(&out, "# An invented survey: no such pipe exists.\n[segment]\nid = %s\nfrom = %s\nto = %s\n",
                 opts->pipe.id, opts->pipe.from, opts->pipe.to);
    add_key_m(&out, "length", opts->pipe.length_m);
    sm_text_addf(&out, "diameter = %d mm\nmaterial = %s\nflow = from-to\n",
                 (int)lround(opts->pipe.diameter_mm), material_word(opts->pipe.material));
    sm_text_addf(&out, "[survey]\ndate = 2031-03-14\nvideo = %s\nlog = log.csv\nlog time = %s\ncodes = %s\n",
                 sm_sim_video_name(opts), opts->log.time == SM_SIM_LOG_CLOCK ? "clock" : "video",
                 opts->log.is_north_american ? "NA" : "EN");
    sm_text_addf(&out, "[counter]\nunit = %s\ndatum = pipe edge\nview ahead = 0 m\n",
                 opts->counter.unit == SM_SIM_FEET ? "ft" : "m");
    add_ties(&out, opts, path);
    sm_text_add(
        &out,
        "[access]\nenter = from\nreference = pipe edge\npipe temperature = 12 C\ngroundwater head = 1.5 m\n"
        "[rules]\nend cover = 150 mm\nlocate = mark\nplacement = 50 mm\noverlap = 100 mm\nkeep clear = 100 "
        "mm\n"
        "connection diameter = 150 mm\nreopen = no\nset-up cost = 400\nreopen cost = 250\n"
        "full lining rate = 420\n[kits]\nfile = kits.csv\n");
    enum sm_status status = sm_sim__text_write(&out, dir, "sheet.ini", err);
    sm_text_release(&out);
    return status;
}

/* ---- kits
 * ---------------------------------------------------------------------------------------------------- */

/* Five lengths for the pipe's diameter; resin by surface, cost by length: invented figures. */
static enum sm_status write_kits(const struct sm_sim_opts *opts, const char *dir, struct sm_error *err)
{
    static const int32_t lengths_mm[] = {500, 800, 1200, 2000, 3000};
    int32_t diameter_mm = (int32_t)lround(opts->pipe.diameter_mm);
    struct sm_text out = {0};
    sm_text_add(&out, "kit,diameter_min_mm,diameter_max_mm,length_mm,cost,layers,resin_l,test_pressure_kpa,"
                      "max_pressure_kpa,cure\n");
    for (size_t i = 0; i < sizeof lengths_mm / sizeof lengths_mm[0]; i++) {
        sm_text_addf(&out, "P%d-%02d,%d,%d,%d,%d,2,", (int)diameter_mm, (int)(lengths_mm[i] / 100),
                     (int)(diameter_mm * 9 / 10), (int)(diameter_mm * 11 / 10), (int)lengths_mm[i],
                     (int)(140 + lengths_mm[i] * diameter_mm / 1400));
        sm_text_add_fixed(&out, 0.8 + (double)lengths_mm[i] * diameter_mm * 1.1e-5, 1);
        sm_text_add(&out, ",50,180,winter\n");
    }
    enum sm_status status = sm_sim__text_write(&out, dir, "kits.csv", err);
    sm_text_release(&out);
    return status;
}

static enum sm_status write_cure(const char *dir, struct sm_error *err)
{
    struct sm_text out = {0};
    sm_text_add(
        &out, "cure,temperature_c,working_min,cure_min\nwinter,5,40,240\nwinter,10,30,150\nwinter,15,20,105\n"
              "winter,20,14,75\nwinter,25,9,55\n");
    enum sm_status status = sm_sim__text_write(&out, dir, "cure.csv", err);
    sm_text_release(&out);
    return status;
}

enum sm_status sm_sim__papers_write(const struct sm_sim_opts *opts, const struct sm_sim_scenario *scenario,
                                    const struct sm_sim_path *path, const char *dir, struct sm_error *err)
{
    struct log log = {.opts = opts};
    enum sm_status status = make_rows(&log, scenario, path);
    if (status == SM_OK) {
        spoil_all(&log);
        status = write_log(&log, dir, err);
    }
    sm_free(log.row);
    if (status == SM_OK) {
        status = write_sheet(opts, path, dir, err);
    }
    if (status == SM_OK) {
        status = write_kits(opts, dir, err);
    }
    return status == SM_OK ? write_cure(dir, err) : status;
}
