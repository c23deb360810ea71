/* All that the page shows, as JSON: metres, millimetres, seconds; the page turns them into people's units. */
#include "web_internal.h"

#include <string.h>

#include "stopmark/codes.h"

enum sm_status sm_web__no_memory(struct sm_error *err)
{
    return sm_error_set(err, SM_E_NOMEM, "out of memory");
}

static void add_words(struct sm_json *json, const char *key, const char *value)
{
    sm_json_string(json, key, value ? value : "");
}

static void add_pair(struct sm_json *json, const char *key, double a, double b)
{
    sm_json_open_compact(json, key, '[');
    sm_json_number(json, NULL, a, 4);
    sm_json_number(json, NULL, b, 4);
    sm_json_close(json, ']');
}

/* ---- segment, video, counter ---- */

static void add_segment(struct sm_json *json, const struct sm_schedule *s)
{
    sm_json_open(json, "segment", '{');
    add_words(json, "id", s->segment->id);
    add_words(json, "from", s->segment->from);
    add_words(json, "to", s->segment->to);
    sm_json_number(json, "length_m", s->alignment->length_m, 4);
    sm_json_bool(json, "is_length_assumed", s->alignment->is_length_assumed);
    sm_json_number(json, "diameter_mm", s->segment->diameter_mm, 1);
    add_words(json, "material", s->segment->material);
    sm_json_bool(json, "flows_to_from", s->segment->flow == SM_FLOW_TO_FROM);
    add_words(json, "date", s->sheet->date);
    sm_json_bool(json, "crew_enters_at_to", s->sheet->access.enters_at_to);
    sm_json_close(json, '}');
}

/* Frame times as few straight runs: [first frame, its time, time a frame]. A page computes the time of any frame to
 * within a quarter of a millisecond, and the server takes half a one for the same. */
static void add_frame_runs(struct sm_json *json, const struct sm_job_frames *frames)
{
    const double tolerance_s = 0.00025;
    size_t n = sm_job_frames_count(frames);
    sm_json_open(json, "runs", '[');
    for (size_t first = 0; first < n;) {
        double start_s = sm_job_frames_time(frames, first);
        double least = 0;
        double most = SM_INFINITY;
        double slope = 0;
        size_t next = first + 1;
        for (; next < n; next++) { /* slopes that pass all frames so far; shrinks with each */
            double away_s = sm_job_frames_time(frames, next) - start_s;
            double steps = (double)(next - first);
            double low = fmax(least, (away_s - tolerance_s) / steps);
            double high = fmin(most, (away_s + tolerance_s) / steps);
            if (low > high) {
                break;
            }
            least = low;
            most = high;
            slope = (low + high) / 2;
        }
        sm_json_open_compact(json, NULL, '[');
        sm_json_int(json, NULL, (int64_t)first);
        sm_json_number(json, NULL, start_s, 7);
        sm_json_number(json, NULL, slope, 9);
        sm_json_close(json, ']');
        first = next;
    }
    sm_json_close(json, ']');
}

static const char *video_words(const struct sm_web *web, enum sm_web__video seen)
{
    static const char *const words[] = {"This survey has no video.", "The video is being compared with the job's.", "",
                                        "The video is not the one this survey was made from: do not trust its pictures.",
                                        "The video is not where it was. Put it back, or beside the job file, and start again."};
    return web->video_trouble ? web->video_trouble : words[seen];
}

static void add_video(struct sm_json *json, struct sm_web *web)
{
    static const char *const names[] = {"none", "checking", "same", "changed", "missing"};
    enum sm_web__video seen = sm_web__check_result(web->check);
    const struct sm_job_video *video;
    size_t n = sm_job_review_videos(web->review, &video);
    sm_json_open(json, "video", '{');
    sm_json_string(json, "state", web->video_trouble && seen <= SM_WEB__VIDEO_SAME ? "missing" : names[seen]);
    sm_json_string(json, "words", video_words(web, seen));
    sm_json_string(json, "mark", n ? video[0].sha256 : "");
    if (web->frames) {
        int32_t width_px;
        int32_t height_px;
        double aspect;
        sm_job_frames_size(web->frames, &width_px, &height_px, &aspect);
        sm_json_int(json, "n_frames", (int64_t)sm_job_frames_count(web->frames));
        sm_json_fixed(json, "duration_s", sm_job_frames_duration(web->frames), 3);
        sm_json_int(json, "width_px", width_px);
        sm_json_int(json, "height_px", height_px);
        sm_json_number(json, "pixel_aspect", aspect, 5);
        add_frame_runs(json, web->frames);
    }
    sm_json_close(json, '}');
}

static void add_counter(struct sm_json *json, const struct sm_trace *trace)
{
    if (!trace) {
        sm_json_null(json, "counter");
        return;
    }
    const struct sm_box *box = &trace->format.box;
    sm_json_open(json, "counter", '{');
    sm_json_string(json, "unit", sm_unit_name(trace->format.unit));
    sm_json_int(json, "decimals", trace->format.decimals);
    sm_json_open_compact(json, "box", '[');
    sm_json_int(json, NULL, box->x_px);
    sm_json_int(json, NULL, box->y_px);
    sm_json_int(json, NULL, box->width_px);
    sm_json_int(json, NULL, box->height_px);
    sm_json_close(json, ']');
    sm_json_close(json, '}');
}

/* ---- observations ---- */

static void add_reading(struct sm_json *json, const struct sm_observation *o, int32_t decimals)
{
    struct sm_text text = {0};
    sm_text_add_reading(&text, &o->reading, decimals);
    sm_json_string(json, "reading", sm_text_str(&text));
    sm_json_number(json, "confidence", (double)o->reading.confidence, 3);
    sm_json_string(json, "seen", sm_reading_state_name(o->reading.state));
    sm_text_release(&text);
}

static void add_flags(struct sm_json *json, uint32_t flags)
{
    sm_json_open_compact(json, "flags", '[');
    for (int bit = 0; bit < SM_N_FLAGS; bit++) {
        if (flags & 1U << bit) {
            sm_json_string(json, NULL, sm_flag_name((enum sm_flag)(1U << bit)));
        }
    }
    sm_json_close(json, ']');
}

static void add_in_plan(struct sm_json *json, const struct sm_plan *plan, size_t idx)
{
    for (size_t i = 0; i < plan->n_targets; i++) {
        if ((size_t)plan->target[i].observation_idx == idx) {
            add_pair(json, "target_m", (double)plan->target[i].start_um / 1e6, (double)plan->target[i].end_um / 1e6);
        }
    }
    for (size_t i = 0; i < plan->n_unrepaired; i++) {
        if ((size_t)plan->unrepaired[i].observation_idx == idx) {
            sm_json_string(json, "unrepaired", plan->unrepaired[i].reason);
        }
    }
}

static void add_meaning(struct sm_json *json, const struct sm_codes *codes, const struct sm_observation *o)
{
    struct sm_text text = {0};
    if (codes) {
        sm_codes_describe(codes, o->code, o->ch1, o->ch2, &text);
    }
    sm_json_string(json, "meaning", sm_text_str(&text));
    sm_text_release(&text);
}

static void add_observation(struct sm_json *json, const struct sm_web *web, const struct sm_schedule *s, size_t idx)
{
    const struct sm_observation *o = &s->alignment->observation[idx];
    sm_json_open(json, NULL, '{');
    sm_json_string(json, "id", o->id);
    sm_json_string(json, "code", o->code);
    sm_json_string(json, "ch1", o->ch1);
    sm_json_string(json, "ch2", o->ch2);
    sm_json_string(json, "q1", o->q1);
    sm_json_string(json, "q2", o->q2);
    add_meaning(json, s->codes, o);
    sm_json_string(json, "remark", o->remark);
    sm_json_int(json, "clock_from", o->clock_from_h);
    sm_json_int(json, "clock_to", o->clock_to_h);
    sm_json_bool(json, "is_at_joint", o->is_at_joint);
    sm_json_number(json, "diameter_mm", o->diameter_mm, 1);
    sm_json_number(json, "time_s", o->time_s, 3);
    add_reading(json, o, s->trace ? s->trace->format.decimals : 2);
    sm_json_number(json, "logged_m", o->logged_m, 4);
    sm_json_number(json, "distance_m", o->distance_m, 4);
    sm_json_number(json, "start_m", o->start_m, 4);
    sm_json_number(json, "end_m", o->end_m, 4);
    sm_json_number(json, "error_m", o->error_m, 4);
    sm_json_string(json, "source", sm_distance_source_name(o->source));
    sm_json_string(json, "treatment", sm_treatment_name(o->treatment));
    add_words(json, "reason", o->reason);
    add_words(json, "prepare", o->prepare);
    add_flags(json, o->flags);
    sm_json_bool(json, "is_node", o->is_node);
    sm_json_bool(json, "is_connection", o->is_connection);
    sm_json_bool(json, "is_settled", sm_web__is_settled(web->review, o));
    add_in_plan(json, s->plan, idx);
    sm_json_close(json, '}');
}

/* ---- plan ---- */

static void add_ids(struct sm_json *json, const char *key, const struct sm_schedule *s, const int32_t *idx, size_t n)
{
    sm_json_open_compact(json, key, '[');
    for (size_t i = 0; i < n; i++) {
        sm_json_string(json, NULL, s->alignment->observation[idx[i]].id);
    }
    sm_json_close(json, ']');
}

static void add_repair(struct sm_json *json, const struct sm_schedule *s, const struct sm_repair *r)
{
    sm_json_open(json, NULL, '{');
    sm_json_string(json, "id", r->id);
    sm_json_string(json, "kit", s->sheet->kit[r->kit_idx].name);
    sm_json_number(json, "start_m", (double)r->start_um / 1e6, 6);
    sm_json_number(json, "end_m", (double)(r->start_um + r->length_um) / 1e6, 6);
    sm_json_number(json, "length_m", (double)r->length_um / 1e6, 6);
    sm_json_number(json, "stop_m", ((double)r->start_um + (double)r->length_um / 2) / 1e6, 4);
    sm_json_number(json, "mark_m", r->mark_m, 4);
    sm_json_number(json, "slack_m", r->slack_m, 4);
    sm_json_number(json, "cost", r->cost, 2);
    add_ids(json, "covers", s, r->covers, r->n_covers);
    add_ids(json, "reopens", s, r->reopens, r->n_reopens);
    sm_json_open_compact(json, "prepare", '[');
    for (size_t i = 0; i < r->n_prepare; i++) {
        sm_json_string(json, NULL, r->prepare[i]);
    }
    sm_json_close(json, ']');
    sm_json_close(json, '}');
}

void sm_web__add_plan(struct sm_json *json, const char *key, const struct sm_schedule *s)
{
    sm_json_open(json, key, '{');
    sm_json_number(json, "cost", s->plan->cost, 2);
    sm_json_number(json, "full_lining_cost", s->plan->full_lining_cost, 2);
    add_words(json, "advice", s->plan->advice);
    sm_json_open(json, "repairs", '[');
    for (size_t i = 0; i < s->plan->n_repairs; i++) {
        add_repair(json, s, &s->plan->repair[i]);
    }
    sm_json_close(json, ']');
    sm_json_open(json, "unrepaired", '[');
    for (size_t i = 0; i < s->plan->n_unrepaired; i++) {
        sm_json_open_compact(json, NULL, '{');
        sm_json_string(json, "observation", s->alignment->observation[s->plan->unrepaired[i].observation_idx].id);
        add_words(json, "reason", s->plan->unrepaired[i].reason);
        sm_json_close(json, '}');
    }
    sm_json_close(json, ']');
    sm_json_close(json, '}');
}

/* ---- rules, needs, decisions, findings ---- */

static void add_rules(struct sm_json *json, const struct sm_rules *rules)
{
    const struct {
        const char *key, *label, *unit;
        double value, least, most, step;
    } slider[] = {
        {"end cover", "Sound pipe covered at each side", "mm", rules->end_cover_m * 1000, 0, 500, 10},
        {"placement", "Error of placing the packer", "mm", rules->placement_m * 1000, 0, 300, 5},
        {"overlap", "Lap of liners that meet", "mm", rules->overlap_m * 1000, 0, 400, 10},
        {"keep clear", "Distance kept from connections", "mm", rules->keep_clear_m * 1000, 0, 500, 10},
        {"set-up cost", "Cost of each set-up", "", rules->set_up_cost, 0, fmax(2000, 2 * rules->set_up_cost), 10},
        {"reopen cost", "Cost of each reopening", "", rules->reopen_cost, 0, fmax(2000, 2 * rules->reopen_cost), 10},
    };
    sm_json_open(json, "rules", '[');
    for (size_t i = 0; i < sizeof slider / sizeof *slider; i++) {
        sm_json_open_compact(json, NULL, '{');
        sm_json_string(json, "key", slider[i].key);
        sm_json_string(json, "label", slider[i].label);
        sm_json_string(json, "unit", slider[i].unit);
        sm_json_number(json, "value", slider[i].value, 3);
        sm_json_number(json, "least", slider[i].least, 0);
        sm_json_number(json, "most", fmax(slider[i].most, slider[i].value), 0);
        sm_json_number(json, "step", slider[i].step, 0);
        sm_json_close(json, '}');
    }
    sm_json_close(json, ']');
    sm_json_bool(json, "may_reopen", rules->may_reopen);
    sm_json_number(json, "keep_clear_m", rules->keep_clear_m, 4);
}

static enum sm_status add_needs(struct sm_json *json, const struct sm_web *web, const struct sm_schedule *s, struct sm_error *err)
{
    struct sm_web__need *need = sm_calloc(s->alignment->n_observations + 1, sizeof *need);
    if (!need) {
        return sm_web__no_memory(err);
    }
    size_t n = sm_web__needs(need, web->review);
    sm_json_open(json, "needs", '[');
    for (size_t i = 0; i < n; i++) {
        struct sm_text title = {0};
        struct sm_text text = {0};
        sm_web__need_words(&title, &text, &need[i], s);
        sm_json_open(json, NULL, '{');
        sm_json_string(json, "observation", s->alignment->observation[need[i].observation_idx].id);
        sm_json_string(json, "kind", need[i].flag ? sm_flag_name((enum sm_flag)need[i].flag) : "unrepaired");
        sm_json_number(json, "weight", need[i].weight, 1);
        sm_json_string(json, "title", sm_text_str(&title));
        sm_json_string(json, "text", sm_text_str(&text));
        sm_json_close(json, '}');
        sm_text_release(&title);
        sm_text_release(&text);
    }
    sm_json_close(json, ']');
    sm_free(need);
    return SM_OK;
}

static void add_decisions(struct sm_json *json, const struct sm_job_review *review)
{
    const struct sm_review_decision *decision;
    const bool *is_active;
    size_t n = sm_job_review_decisions(review, &decision, &is_active);
    sm_json_open(json, "decisions", '[');
    for (size_t i = 0; i < n; i++) {
        struct sm_text words = {0};
        sm_job_decision_words(&words, &decision[i]);
        sm_json_open(json, NULL, '{');
        sm_json_string(json, "key", decision[i].key);
        sm_json_string(json, "at", decision[i].at);
        sm_json_string(json, "who", decision[i].who);
        sm_json_string(json, "act", sm_review_act_name(decision[i].act));
        add_words(json, "observation", decision[i].observation);
        add_words(json, "of", decision[i].of_key);
        sm_json_string(json, "words", sm_text_str(&words));
        sm_json_bool(json, "is_active", is_active[i]);
        sm_json_close(json, '}');
        sm_text_release(&words);
    }
    sm_json_close(json, ']');
    sm_json_int(json, "n_unissued", (int64_t)sm_job_review_unissued(review));
}

static void add_findings(struct sm_json *json, const struct sm_job *job)
{
    const struct sm_store_findings *stage;
    size_t n = sm_job_get_findings(job, &stage);
    sm_json_open(json, "findings", '[');
    for (size_t s = 0; s < n; s++) {
        for (size_t i = 0; i < stage[s].findings->n; i++) {
            const struct sm_finding *finding = &stage[s].findings->item[i];
            sm_json_open(json, NULL, '{');
            sm_json_bool(json, "is_warning", finding->severity == SM_SEVERITY_WARNING);
            sm_json_number(json, "time_s", finding->time_s, 3);
            sm_json_int(json, "line", finding->line);
            add_words(json, "text", finding->message);
            sm_json_close(json, '}');
        }
    }
    sm_json_close(json, ']');
}

static void add_ties(struct sm_json *json, const struct sm_alignment *alignment)
{
    sm_json_open(json, "ties", '[');
    for (size_t i = 0; i < alignment->n_ties; i++) {
        add_pair(json, NULL, alignment->tie[i].reading, alignment->tie[i].true_m);
    }
    sm_json_close(json, ']');
}

/* What the counter shows and where that is, by observations read off the picture: the page draws the trace on the
 * pipe with it. */
static void add_axis(struct sm_json *json, const struct sm_schedule *s)
{
    sm_json_open(json, "axis", '[');
    for (size_t i = 0; s->trace && i < s->alignment->n_observations; i++) {
        const struct sm_observation *o = &s->alignment->observation[i];
        if (o->source == SM_DISTANCE_PICTURE && o->reading.state != SM_READING_HIDDEN && isfinite(o->distance_m)) {
            add_pair(json, NULL, sm_reading_value(&o->reading, s->trace->format.decimals), o->distance_m);
        }
    }
    sm_json_close(json, ']');
}

static enum sm_status add_standstills(struct sm_json *json, const struct sm_job_review *review, struct sm_error *err)
{
    struct sm_job_standstill *stand = NULL;
    size_t n = 0;
    enum sm_status status = sm_job_review_standstills(&stand, &n, review, SM_WEB__LEAST_STANDSTILL_S, err);
    sm_json_open(json, "standstills", '[');
    for (size_t i = 0; status == SM_OK && i < n; i++) {
        sm_json_open_compact(json, NULL, '[');
        sm_json_number(json, NULL, stand[i].start_s, 3);
        sm_json_number(json, NULL, stand[i].end_s, 3);
        sm_json_number(json, NULL, stand[i].distance_m, 4);
        sm_json_close(json, ']');
    }
    sm_json_close(json, ']');
    sm_free(stand);
    return status;
}

/* ---- all of it ---- */

enum sm_status sm_web__state(struct sm_text *out, struct sm_web *web, struct sm_error *err)
{
    const struct sm_job *job = sm_job_review_get_job(web->review);
    const struct sm_schedule *s = sm_job_get_schedule(job);
    struct sm_json json = {.out = out};
    sm_json_open(&json, NULL, '{');
    sm_json_string(&json, "schema", "stopmark.review/1");
    sm_json_int(&json, "version", web->version);
    sm_json_string(&json, "program", sm_version());
    sm_json_string(&json, "who", web->who);
    sm_json_string(&json, "unit", s->people_unit == SM_UNIT_FT ? "ft" : "m");
    add_segment(&json, s);
    add_video(&json, web);
    add_counter(&json, s->trace);
    sm_json_open(&json, "observations", '[');
    for (size_t i = 0; i < s->alignment->n_observations; i++) {
        add_observation(&json, web, s, i);
    }
    sm_json_close(&json, ']');
    sm_web__add_plan(&json, "plan", s);
    sm_web__add_plan(&json, "first", sm_job_get_schedule(sm_job_review_get_first(web->review)));
    add_rules(&json, &s->sheet->rules);
    add_decisions(&json, web->review);
    add_findings(&json, job);
    add_ties(&json, s->alignment);
    add_axis(&json, s);
    sm_json_bool(&json, "is_reading", web->is_reading);
    sm_json_number(&json, "reading_frac", web->reading_frac, 3);
    sm_json_string(&json, "reading_trouble", web->reading_trouble);
    enum sm_status status = add_needs(&json, web, s, err);
    if (status == SM_OK) {
        status = add_standstills(&json, web->review, err);
    }
    sm_json_close(&json, '}');
    return status == SM_OK && out->failed ? sm_web__no_memory(err) : status;
}

enum sm_status sm_web__trace(struct sm_text *out, struct sm_web *web, struct sm_error *err)
{
    const struct sm_trace *trace = sm_job_get_schedule(sm_job_review_get_job(web->review))->trace;
    struct sm_json json = {.out = out};
    sm_json_open(&json, NULL, '{');
    sm_json_open_compact(&json, "readings", '[');
    for (size_t i = 0; trace && i < trace->n_readings; i++) {
        const struct sm_reading *reading = &trace->reading[i];
        sm_json_open(&json, NULL, '[');
        sm_json_number(&json, NULL, reading->time_s, 3);
        if (reading->state == SM_READING_HIDDEN) {
            sm_json_null(&json, NULL);
        } else {
            sm_json_number(&json, NULL, sm_reading_value(reading, trace->format.decimals), 3);
        }
        sm_json_number(&json, NULL, (double)reading->confidence, 2);
        sm_json_close(&json, ']');
    }
    sm_json_close(&json, ']');
    sm_json_open_compact(&json, "jumps", '[');
    for (size_t i = 0; trace && i < trace->n_jumps; i++) {
        sm_json_number(&json, NULL, trace->jump_time_s[i], 3);
    }
    sm_json_close(&json, ']');
    sm_json_close(&json, '}');
    return out->failed ? sm_web__no_memory(err) : SM_OK;
}
