/* The trace as CSV and as JSON. A reading is text, so that 12.30 stays 12.30. */
#include "stopmark/trace.h"

static void add_row(struct sm_text *out, const struct sm_trace *trace, const struct sm_reading *reading)
{
    sm_text_add_fixed(out, reading->time_s, 3);
    sm_text_add(out, ",");
    sm_text_add_reading(out, reading, trace->format.decimals);
    sm_text_add(out, ",");
    sm_text_add(out, sm_unit_name(trace->format.unit));
    sm_text_add(out, ",");
    sm_text_add_fixed(out, (double)reading->confidence, 3);
    sm_text_add(out, ",");
    sm_text_add(out, sm_reading_state_name(reading->state));
    sm_text_add(out, "\n");
}

enum sm_status sm_trace_write_csv(struct sm_text *out, const struct sm_trace *trace, struct sm_error *err)
{
    sm_text_add(out, "time_s,reading,unit,confidence,state\n");
    for (size_t i = 0; i < trace->n_readings; i++) {
        add_row(out, trace, &trace->reading[i]);
    }
    return out->failed ? sm_error_set(err, SM_E_NOMEM, "no memory for the rows of the trace") : SM_OK;
}

static void add_counter(struct sm_json *json, const struct sm_counter_format *format)
{
    sm_json_open(json, "counter", '{');
    sm_json_open_compact(json, "box", '[');
    sm_json_int(json, NULL, format->box.x_px);
    sm_json_int(json, NULL, format->box.y_px);
    sm_json_int(json, NULL, format->box.width_px);
    sm_json_int(json, NULL, format->box.height_px);
    sm_json_close(json, ']');
    sm_json_string(json, "unit", sm_unit_name(format->unit));
    sm_json_int(json, "decimals", format->decimals);
    sm_json_bool(json, "leading_zeros", format->has_leading_zeros);
    sm_json_bool(json, "decimal_comma", format->has_decimal_comma);
    sm_json_close(json, '}');
}

/* text is scratch, reused from row to row. */
static void add_reading(struct sm_json *json, struct sm_text *text, const struct sm_trace *trace,
                        const struct sm_reading *reading)
{
    bool is_hidden = reading->state == SM_READING_HIDDEN;
    sm_text_clear(text);
    sm_text_add_reading(text, reading, trace->format.decimals);
    sm_json_open_compact(json, NULL, '{');
    sm_json_fixed(json, "time_s", reading->time_s, 3);
    sm_json_string(json, "reading", is_hidden ? NULL : sm_text_str(text));
    sm_json_fixed(json, "confidence", (double)reading->confidence, 3);
    sm_json_string(json, "state", sm_reading_state_name(reading->state));
    sm_json_close(json, '}');
}

enum sm_status sm_trace_write_json(struct sm_text *out, const struct sm_trace *trace, struct sm_error *err)
{
    struct sm_json json = {.out = out};
    struct sm_text scratch = {0};
    sm_json_open(&json, NULL, '{');
    sm_json_string(&json, "schema", "stopmark.trace/1");
    add_counter(&json, &trace->format);
    sm_json_fixed(&json, "duration_s", trace->duration_s, 3);
    sm_json_open_compact(&json, "jumps_s", '[');
    for (size_t i = 0; i < trace->n_jumps; i++) {
        sm_json_fixed(&json, NULL, trace->jump_time_s[i], 3);
    }
    sm_json_close(&json, ']');
    sm_json_open(&json, "readings", '[');
    for (size_t i = 0; i < trace->n_readings; i++) {
        add_reading(&json, &scratch, trace, &trace->reading[i]);
    }
    sm_json_close(&json, ']');
    sm_json_close(&json, '}');
    bool has_failed = out->failed || scratch.failed;
    sm_text_release(&scratch);
    return has_failed ? sm_error_set(err, SM_E_NOMEM, "no memory for the trace") : SM_OK;
}
