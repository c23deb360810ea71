#include "log_dump.h"

#include <math.h>
#include <string.h>

static void add_string(struct sm_json *json, const char *key, const char *value)
{
    if (value && *value) {
        sm_json_string(json, key, value);
    }
}

static void add_number(struct sm_json *json, const char *key, double value)
{
    if (!isnan(value)) {
        sm_json_number(json, key, value, 6);
    }
}

static void add_int(struct sm_json *json, const char *key, int64_t value)
{
    if (value) {
        sm_json_int(json, key, value);
    }
}

static void add_segment(struct sm_json *json, const struct sm_segment *segment)
{
    add_string(json, "id", segment->id);
    add_string(json, "from", segment->from);
    add_string(json, "to", segment->to);
    add_number(json, "length_m", segment->length_m);
    add_number(json, "diameter_mm", segment->diameter_mm);
    add_number(json, "pipe_unit_length_m", segment->pipe_unit_length_m);
    add_string(json, "material", segment->material);
    add_string(json, "flow",
               segment->flow == SM_FLOW_FROM_TO   ? "from-to"
               : segment->flow == SM_FLOW_TO_FROM ? "to-from"
                                                  : "");
}

static void add_datum(struct sm_json *json, bool has_datum, enum sm_datum datum)
{
    static const char *const names[] = {"pipe edge", "manhole wall", "manhole centre"};
    add_string(json, "datum", has_datum ? names[datum] : "");
}

static void add_entry(struct sm_json *json, const struct sm_log_entry *entry)
{
    static const char *const continuous[] = {"", "start", "change", "end"};
    sm_json_open_compact(json, NULL, '{');
    sm_json_int(json, "line", entry->line);
    add_number(json, "time_s", entry->time_s);
    if (entry->time_frames) {
        sm_json_int(json, "frames", entry->time_frames);
    }
    add_number(json, "distance_m", entry->distance_m);
    add_number(json, "digit_m", entry->distance_digit_m);
    sm_json_string(json, "code", entry->code);
    add_string(json, "ch1", entry->ch1);
    add_string(json, "ch2", entry->ch2);
    add_string(json, "q1", entry->q1);
    add_number(json, "q1_value", entry->q1_value);
    add_string(json, "q2", entry->q2);
    add_number(json, "q2_value", entry->q2_value);
    add_int(json, "clock_from", entry->clock_from_h);
    add_int(json, "clock_to", entry->clock_to_h);
    add_string(json, "continuous", continuous[entry->continuous]);
    add_int(json, "continuous_id", entry->continuous_id);
    if (entry->is_at_joint) {
        sm_json_bool(json, "joint", true);
    }
    add_number(json, "diameter_mm", entry->diameter_mm);
    add_string(json, "remark", entry->remark);
    add_string(json, "photo", entry->photo);
    add_int(json, "group", entry->group);
    sm_json_close(json, '}');
}

static void add_findings(struct sm_json *json, const struct sm_findings *findings)
{
    sm_json_open(json, "findings", '[');
    for (size_t k = 0; k < findings->n; k++) {
        const struct sm_finding *finding = &findings->item[k];
        const char *flag = finding->flag ? sm_flag_name(finding->flag) : NULL;
        sm_json_open_compact(json, NULL, '{');
        add_int(json, "line", finding->line);
        if (finding->entry_idx >= 0) {
            sm_json_int(json, "entry", finding->entry_idx);
        }
        add_string(json, "flag", flag);
        sm_json_string(json, "message", finding->message);
        sm_json_close(json, '}');
    }
    sm_json_close(json, ']');
}

void log_dump(struct sm_text *out, const struct sm_obslog *log)
{
    struct sm_json json = {.out = out};
    sm_json_open(&json, NULL, '{');
    sm_json_string(&json, "format", log->format);
    sm_json_open_compact(&json, "segment", '{');
    add_segment(&json, &log->segment);
    sm_json_close(&json, '}');
    add_string(&json, "date", log->date);
    add_string(&json, "video",
               log->video ? strrchr(log->video, '/') ? strrchr(log->video, '/') + 1 : log->video : "");
    add_number(&json, "inspection_length_m", log->inspection_length_m);
    if (log->is_against_flow) {
        sm_json_bool(&json, "against_flow", true);
    }
    add_datum(&json, log->has_datum, log->datum);
    sm_json_open(&json, "entries", '[');
    for (size_t k = 0; k < log->n_entries; k++) {
        add_entry(&json, &log->entry[k]);
    }
    sm_json_close(&json, ']');
    add_findings(&json, &log->findings);
    sm_json_close(&json, '}');
    sm_text_add(out, "\n");
}

void log_dump_list(struct sm_text *out, const struct sm_obslog_list *list)
{
    struct sm_json json = {.out = out};
    sm_json_open(&json, NULL, '[');
    for (size_t k = 0; k < list->n_inspections; k++) {
        const struct sm_obslog_inspection *inspection = &list->inspection[k];
        sm_json_open_compact(&json, NULL, '{');
        add_segment(&json, &inspection->segment);
        add_string(&json, "date", inspection->date);
        add_number(&json, "inspection_length_m", inspection->inspection_length_m);
        if (inspection->is_against_flow) {
            sm_json_bool(&json, "against_flow", true);
        }
        add_datum(&json, inspection->has_datum, inspection->datum);
        sm_json_int(&json, "line", inspection->line);
        sm_json_int(&json, "rows", (int64_t)inspection->n_rows);
        sm_json_close(&json, '}');
    }
    sm_json_close(&json, ']');
    sm_text_add(out, "\n");
}
