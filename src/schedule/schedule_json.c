/* schedule.json (stopmark.schedule/1). Everything is metres, millimetres, seconds; what is not known is null.
 */
#include "work.h"

#include <math.h>

#define LENGTH_DECIMALS 6

static void add_length(struct sm_json *json, const char *key, double length_m)
{
    sm_json_number(json, key, length_m, LENGTH_DECIMALS);
}

/* Text where an empty one says as little as none. */
static void add_text(struct sm_json *json, const char *key, const char *text)
{
    sm_json_string(json, key, text && *text ? text : NULL);
}

static void add_segment(struct sm_json *json, const struct sm_schedule *s)
{
    const struct sm_segment *segment = s->segment;
    sm_json_open(json, "segment", '{');
    add_text(json, "id", segment->id);
    add_text(json, "from", segment->from);
    add_text(json, "to", segment->to);
    add_length(json, "length_m", s->alignment->length_m);
    sm_json_bool(json, "length_assumed", s->alignment->is_length_assumed);
    sm_json_number(json, "diameter_mm", segment->diameter_mm, 3);
    add_text(json, "material", segment->material);
    sm_json_string(json, "flow", sm_schedule__flow_name(segment->flow));
    sm_json_close(json, '}');
}

static void add_survey(struct sm_json *json, const struct sm_schedule *s)
{
    const struct sm_sheet *sheet = s->sheet;
    sm_json_open(json, "survey", '{');
    add_text(json, "date", sheet->date);
    add_text(json, "operator", sheet->operator_name);
    add_text(json, "log_format", s->log ? s->log->format : NULL);
    sm_json_bool(json, "has_trace", s->trace != NULL);
    sm_json_string(json, "trust", sheet->trust == SM_TRUST_LOG ? "log" : "picture");
    sm_json_close(json, '}');
}

static void add_access(struct sm_json *json, const struct sm_sheet *sheet)
{
    const struct sm_access *access = &sheet->access;
    sm_json_open(json, "access", '{');
    sm_json_string(json, "enter", access->enters_at_to ? "to" : "from");
    sm_json_string(json, "reference", access->reference == SM_REFERENCE_RIM ? "rim" : "pipe edge");
    add_length(json, "rim_to_pipe_edge_m", access->rim_to_pipe_edge_m);
    sm_json_number(json, "pipe_temperature_c", access->pipe_temperature_c, 2);
    add_length(json, "groundwater_head_m", access->groundwater_head_m);
    sm_json_close(json, '}');
}

static void add_rules(struct sm_json *json, const struct sm_rules *rules)
{
    sm_json_open(json, "rules", '{');
    add_length(json, "end_cover_m", rules->end_cover_m);
    sm_json_string(json, "locate", rules->locate == SM_LOCATE_COUNTER ? "counter" : "mark");
    add_length(json, "placement_m", rules->placement_m);
    sm_json_number(json, "distance_error_frac", rules->distance_error_frac, 9);
    add_length(json, "distance_error_m", rules->distance_error_m);
    add_length(json, "overlap_m", rules->overlap_m);
    add_length(json, "keep_clear_m", rules->keep_clear_m);
    sm_json_number(json, "connection_diameter_mm", rules->connection_diameter_mm, 3);
    sm_json_bool(json, "reopen", rules->may_reopen);
    sm_json_number(json, "set_up_cost", rules->set_up_cost, 2);
    sm_json_number(json, "reopen_cost", rules->reopen_cost, 2);
    sm_json_number(json, "full_lining_rate_per_m", rules->full_lining_rate_per_m, 2);
    sm_json_close(json, '}');
}

static void add_alignment(struct sm_json *json, const struct sm_alignment *alignment)
{
    sm_json_open(json, "alignment", '{');
    add_text(json, "method", alignment->method);
    sm_json_number(json, "clock_offset_s", alignment->clock_offset_s, 3);
    sm_json_number(json, "clock_residual_s", alignment->clock_residual_s, 3);
    sm_json_open(json, "ties", '[');
    for (size_t i = 0; i < alignment->n_ties; i++) {
        sm_json_open_compact(json, NULL, '{');
        sm_json_number(json, "reading", alignment->tie[i].reading, LENGTH_DECIMALS);
        add_length(json, "true_m", alignment->tie[i].true_m);
        sm_json_close(json, '}');
    }
    sm_json_close(json, ']');
    add_length(json, "tie_misfit_m", alignment->tie_misfit_m);
    add_length(json, "misclosure_m", alignment->misclosure_m);
    sm_json_close(json, '}');
}

static void add_target(struct sm_json *json, const struct sm_target *target)
{
    if (!target) {
        sm_json_null(json, "target_m");
        return;
    }
    sm_json_open_compact(json, "target_m", '[');
    add_length(json, NULL, sm_schedule__um_to_m(target->start_um));
    add_length(json, NULL, sm_schedule__um_to_m(target->end_um));
    sm_json_close(json, ']');
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

/* Words between ';', as the treatment tables list them. */
static void add_items(struct sm_json *json, const char *key, const char *items)
{
    sm_json_open_compact(json, key, '[');
    const char *item;
    size_t n;
    while (sm_schedule__next_item(&items, &item, &n)) {
        struct sm_text one = {0};
        sm_text_add_n(&one, item, n);
        json->out->failed |= one.failed;
        sm_json_string(json, NULL, sm_text_str(&one));
        sm_schedule__drop(&one, &json->out->failed);
    }
    sm_json_close(json, ']');
}

static void add_what_was_logged(struct sm_json *json, const struct sm_observation *observation)
{
    add_text(json, "ch1", observation->ch1);
    add_text(json, "ch2", observation->ch2);
    add_text(json, "q1", observation->q1);
    add_text(json, "q2", observation->q2);
    if (observation->clock_from_h) {
        sm_json_int(json, "clock_from", observation->clock_from_h);
    } else {
        sm_json_null(json, "clock_from");
    }
    if (observation->clock_to_h) {
        sm_json_int(json, "clock_to", observation->clock_to_h);
    } else {
        sm_json_null(json, "clock_to");
    }
    sm_json_bool(json, "joint", observation->is_at_joint);
    sm_json_bool(json, "node", observation->is_node);
    sm_json_bool(json, "connection", observation->is_connection);
    sm_json_number(json, "diameter_mm", observation->diameter_mm, 3);
    add_text(json, "remark", observation->remark);
}

static void add_reading(struct sm_json *json, const struct sm_schedule *s,
                        const struct sm_observation *observation)
{
    struct sm_text reading = {0};
    sm_schedule__add_reading(&reading, s, observation);
    json->out->failed |= reading.failed;
    add_text(json, "reading", sm_text_str(&reading));
    sm_json_number(json, "confidence", reading.length ? (double)observation->reading.confidence : (double)NAN,
                   4);
    sm_json_string(json, "state", sm_reading_state_name(observation->reading.state));
    sm_schedule__drop(&reading, &json->out->failed);
}

static void add_place(struct sm_json *json, const struct sm_observation *observation)
{
    add_length(json, "logged_m", observation->logged_m);
    add_text(json, "source", sm_distance_source_name(observation->source));
    add_length(json, "distance_m", observation->distance_m);
    add_length(json, "start_m", observation->start_m);
    add_length(json, "end_m", observation->end_m);
    add_length(json, "error_m", observation->error_m);
    sm_json_open_compact(json, "error_parts_m", '{');
    add_length(json, "placement", observation->error_placement_m);
    add_length(json, "reading", observation->error_reading_m);
    add_length(json, "distance", observation->error_distance_m);
    sm_json_close(json, '}');
}

/* The observation that stands first for the same defect: itself where it stands alone. */
static const char *defect_id(const struct sm_schedule *s, const struct sm_observation *observation)
{
    return observation->group > 0 ? s->alignment->observation[observation->group - 1].id : observation->id;
}

static void add_observation(struct sm_json *json, const struct sm_schedule *s, size_t idx)
{
    const struct sm_observation *observation = &s->alignment->observation[idx];
    const struct sm_repair *repair = sm_schedule__repair_of(s, idx);
    sm_json_open(json, NULL, '{');
    sm_json_string(json, "id", observation->id);
    sm_json_string(json, "code", observation->code);
    add_text(json, "meaning", sm_schedule__meaning(s, observation));
    add_what_was_logged(json, observation);
    sm_json_number(json, "time_s", observation->time_s, 3);
    add_reading(json, s, observation);
    add_place(json, observation);
    sm_json_string(json, "defect", defect_id(s, observation));
    sm_json_string(json, "treatment", sm_treatment_name(observation->treatment));
    add_text(json, "reason", observation->reason);
    add_items(json, "prepare", observation->prepare);
    add_target(json, sm_schedule__target(s, idx));
    sm_json_string(json, "repair", repair ? repair->id : NULL);
    sm_json_string(json, "still", s->still ? s->still[idx] : NULL);
    add_flags(json, observation->flags);
    sm_json_close(json, '}');
}

static void add_ids(struct sm_json *json, const char *key, const struct sm_schedule *s, const int32_t *idx,
                    size_t n)
{
    sm_json_open_compact(json, key, '[');
    for (size_t i = 0; i < n; i++) {
        const struct sm_observation *observation = sm_schedule__observation(s, (size_t)idx[i]);
        sm_json_string(json, NULL, observation ? observation->id : NULL);
    }
    sm_json_close(json, ']');
}

static void add_repair(struct sm_json *json, const struct sm_schedule *s, const struct sm_repair *repair)
{
    const struct sm_kit *kit = sm_schedule__kit(s, repair);
    double stop_m = sm_schedule__repair_stop_m(repair);
    sm_json_open(json, NULL, '{');
    sm_json_string(json, "id", repair->id);
    sm_json_string(json, "kit", kit ? kit->name : NULL);
    add_length(json, "length_m", sm_schedule__um_to_m(repair->length_um));
    add_length(json, "start_m", sm_schedule__repair_start_m(repair));
    add_length(json, "end_m", sm_schedule__repair_end_m(repair));
    add_length(json, "stop_m", stop_m);
    add_length(json, "stop_from_far_m", s->alignment->length_m - stop_m);
    add_length(json, "mark_m", repair->mark_m);
    add_ids(json, "covers", s, repair->covers, repair->n_covers);
    add_length(json, "slack_m", repair->slack_m);
    add_length(json, "error_m", sm_schedule__repair_error_m(s, repair));
    sm_json_bool(json, "doubtful", sm_schedule__repair_is_doubtful(s, repair));
    sm_json_open_compact(json, "prepare", '[');
    for (size_t i = 0; i < repair->n_prepare; i++) {
        sm_json_string(json, NULL, repair->prepare[i]);
    }
    sm_json_close(json, ']');
    add_ids(json, "reopens", s, repair->reopens, repair->n_reopens);
    sm_json_number(json, "cost", repair->cost, 2);
    sm_schedule__json_repair_work(json, s, repair);
    sm_json_close(json, '}');
}

static void add_unrepaired(struct sm_json *json, const struct sm_schedule *s,
                           const struct sm_unrepaired *unrepaired)
{
    const struct sm_observation *observation =
        sm_schedule__observation(s, (size_t)unrepaired->observation_idx);
    sm_json_open_compact(json, NULL, '{');
    sm_json_string(json, "observation", observation ? observation->id : NULL);
    sm_json_string(json, "reason", unrepaired->reason);
    sm_json_close(json, '}');
}

static void add_finding(struct sm_json *json, const struct sm_schedule *s, const struct sm_finding *finding)
{
    const struct sm_observation *observation = sm_schedule__finding_observation(s, finding);
    sm_json_open_compact(json, NULL, '{');
    sm_json_string(json, "severity", finding->severity == SM_SEVERITY_WARNING ? "warning" : "note");
    sm_json_string(json, "flag", sm_flag_name(finding->flag));
    sm_json_string(json, "observation", observation ? observation->id : NULL);
    sm_json_string(json, "source", finding->source);
    if (finding->line) {
        sm_json_int(json, "line", finding->line);
    } else {
        sm_json_null(json, "line");
    }
    sm_json_number(json, "time_s", finding->time_s, 3);
    sm_json_string(json, "message", finding->message);
    sm_json_close(json, '}');
}

static void add_cost(struct sm_json *json, const struct sm_plan *plan)
{
    sm_json_open(json, "cost", '{');
    sm_json_number(json, "repairs", plan->cost, 2);
    sm_json_number(json, "full_lining", plan->full_lining_cost, 2);
    sm_json_close(json, '}');
}

static void add_least_sure(struct sm_json *json, const struct sm_schedule *s)
{
    const struct sm_observation *worst = sm_schedule__least_sure(s);
    if (!worst) {
        sm_json_null(json, "least_sure");
        return;
    }
    sm_json_open_compact(json, "least_sure", '{');
    sm_json_string(json, "observation", worst->id);
    add_length(json, "error_m", worst->error_m);
    sm_json_close(json, '}');
}

static void add_lists(struct sm_json *json, const struct sm_schedule *s)
{
    sm_json_open(json, "observations", '[');
    for (size_t i = 0; i < s->alignment->n_observations; i++) {
        add_observation(json, s, i);
    }
    sm_json_close(json, ']');
    sm_json_open(json, "repairs", '[');
    for (size_t i = 0; i < s->plan->n_repairs; i++) {
        add_repair(json, s, &s->plan->repair[i]);
    }
    sm_json_close(json, ']');
    sm_json_open(json, "unrepaired", '[');
    for (size_t i = 0; i < s->plan->n_unrepaired; i++) {
        add_unrepaired(json, s, &s->plan->unrepaired[i]);
    }
    sm_json_close(json, ']');
}

enum sm_status sm_schedule_write_json(struct sm_text *out, const struct sm_schedule *schedule,
                                      struct sm_error *err)
{
    struct sm_json json = {.out = out};
    sm_json_open(&json, NULL, '{');
    sm_json_string(&json, "schema", "stopmark.schedule/1");
    add_segment(&json, schedule);
    sm_json_string(&json, "unit", sm_unit_name(sm_schedule__counter_unit(schedule)));
    add_survey(&json, schedule);
    add_access(&json, schedule->sheet);
    add_rules(&json, &schedule->sheet->rules);
    add_alignment(&json, schedule->alignment);
    add_lists(&json, schedule);
    if (schedule->joined) {
        sm_schedule__add_joined_json(&json, schedule->joined);
    }
    add_cost(&json, schedule->plan);
    sm_json_string(&json, "advice", schedule->plan->advice ? schedule->plan->advice : "");
    sm_schedule__json_work(&json, schedule);
    add_least_sure(&json, schedule);
    sm_json_open(&json, "findings", '[');
    const struct sm_finding *finding;
    for (size_t i = 0; (finding = sm_schedule__finding(schedule, i)) != NULL; i++) {
        add_finding(&json, schedule, finding);
    }
    sm_json_close(&json, ']');
    sm_json_close(&json, '}');
    return sm_schedule__finish(out, err);
}
