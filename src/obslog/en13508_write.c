/* A log as an EN 13508-2 annex B text file. One inspection, all columns announced, one line an entry. */
#include "obslog_internal.h"

#include <string.h>

struct header {
    struct sm_text codes, values;
};

/* ---- shared by the writers
 * --------------------------------------------------------------------------------- */

const char *sm_obslog__continuous_letter(enum sm_continuous continuous)
{
    switch (continuous) {
    case SM_CONTINUOUS_NONE:
        break;
    case SM_CONTINUOUS_START:
        return "A";
    case SM_CONTINUOUS_CHANGE:
        return "C";
    case SM_CONTINUOUS_END:
        return "B";
    }
    return "";
}

enum sm_status sm_obslog__leave_out(const struct sm_obslog *log, size_t entry_idx, const char *why,
                                    struct sm_findings *findings, struct sm_error *err)
{
    const struct sm_log_entry *entry = &log->entry[entry_idx];
    if (!findings) {
        sm_error_at(err, SM_E_RANGE, log->source, entry->line, 0, "the entry %.40s %s", entry->code, why);
        return sm_error_remedy(err, "leave it out, or use the other format");
    }
    return sm_findings_add(findings, SM_FLAG_ROW_ODD, SM_SEVERITY_WARNING, log->source, entry->line, SM_NAN,
                           (int32_t)entry_idx, "the entry %.40s %s and is left out", entry->code, why);
}

/* ---- fields
 * ------------------------------------------------------------------------------------------------ */

/* A field: quoted where it holds a sign of the format, line breaks as blanks. */
static void add_field(struct sm_text *out, const char *text)
{
    bool is_quoted = strpbrk(text, ";\"\r\n#") != NULL;
    sm_text_add(out, is_quoted ? "\"" : "");
    for (; *text; text++) {
        bool is_break = *text == '\r' || *text == '\n';
        sm_text_add_n(out, is_break ? " " : *text == '"' ? "\"\"" : text, *text == '"' ? 2 : 1);
    }
    sm_text_add(out, is_quoted ? "\"" : "");
}

static void add_header(struct header *header, const char *code, const char *value)
{
    if (!value || !*value) {
        return;
    }
    sm_text_addf(&header->codes, "%s%s", header->codes.length ? ";" : "", code);
    sm_text_add(&header->values, header->values.length ? ";" : "");
    add_field(&header->values, value);
}

static void add_header_number(struct header *header, const char *code, double value)
{
    struct sm_text text = {0};
    if (isfinite(value)) {
        sm_text_add_number(&text, value, 0, 3);
        add_header(header, code, sm_text_str(&text));
    }
    header->codes.failed = header->codes.failed || text.failed;
    sm_text_release(&text);
}

static void write_header(struct sm_text *out, const struct sm_obslog *log)
{
    const struct sm_segment *segment = &log->segment;
    const char *material = sm_obslog__material_en_of(segment->material);
    const char *slash = log->video ? strrchr(log->video, '/') : NULL;
    struct header header = {{0}, {0}};
    add_header(&header, "AAA", segment->id ? segment->id : "?");
    add_header(&header, "AAB", segment->from);
    add_header(&header, "AAD", log->is_against_flow ? segment->to : segment->from);
    add_header(&header, "AAF", log->is_against_flow ? segment->from : segment->to);
    add_header(&header, "AAK",
               segment->flow == SM_FLOW_FROM_TO   ? "A"
               : segment->flow == SM_FLOW_TO_FROM ? "B"
                                                  : "");
    add_header(&header, "ABA", "EN 13508-2:2003+A1:2011");
    add_header(&header, "ABF", log->date);
    add_header(&header, "ABS", slash ? slash + 1 : log->video);
    add_header_number(&header, "ABQ", log->inspection_length_m);
    add_header_number(&header, "ACB", segment->diameter_mm);
    add_header(&header, "ACD", material ? material : segment->material);
    add_header_number(&header, "ACG", segment->pipe_unit_length_m);
    sm_text_addf(out, "#B01=%s\n%s\n", sm_text_str(&header.codes), sm_text_str(&header.values));
    out->failed = out->failed || header.codes.failed || header.values.failed;
    sm_text_release(&header.codes);
    sm_text_release(&header.values);
}

/* ---- rows
 * -------------------------------------------------------------------------------------------------- */

/* (H)MMSS, rounded to the second. */
static void add_time(struct sm_text *out, double time_s)
{
    if (time_s >= 0 && time_s < 999 * 3600) {
        int64_t seconds = llround(time_s);
        sm_text_addf(out, "%lld",
                     (long long)(seconds / 3600 * 10000 + seconds / 60 % 60 * 100 + seconds % 60));
    }
}

static void add_int(struct sm_text *out, int32_t value)
{
    if (value) {
        sm_text_addf(out, "%d", (int)value);
    }
}

static void write_row(struct sm_text *out, const struct sm_log_entry *entry)
{
    bool has_own_size = sm_ascii_ieq(entry->code, "BCA") && !*entry->q1 && entry->diameter_mm > 0;
    sm_text_add_number(out, entry->distance_m, 2, 3);
    sm_text_addf(out, ";%s", sm_obslog__continuous_letter(entry->continuous));
    add_int(out, entry->continuous_id);
    const char *const texts[] = {entry->code, entry->ch1, entry->ch2, entry->q1, entry->q2};
    for (size_t k = 0; k < sizeof texts / sizeof texts[0]; k++) {
        sm_text_add(out, ";");
        add_field(out, texts[k]);
        if (k == 3 && has_own_size) {
            sm_text_add_number(out, entry->diameter_mm, 0, 0);
        }
    }
    sm_text_add(out, ";");
    add_int(out, entry->clock_from_h);
    sm_text_add(out, ";");
    add_int(out, entry->clock_to_h);
    sm_text_addf(out, ";%s;", entry->is_at_joint ? "A" : "");
    add_time(out, entry->time_s);
    sm_text_add(out, ";");
    add_field(out, entry->photo);
    sm_text_add(out, ";");
    add_field(out, entry->remark);
    sm_text_add(out, "\n");
}

enum sm_status sm_obslog_write_en13508(struct sm_text *out, const struct sm_obslog *log,
                                       struct sm_findings *findings, struct sm_error *err)
{
    enum sm_status status = SM_OK;
    sm_text_add(out, "#A1=UTF-8\n#A2=en\n#A3=;\n#A4=.\n#A5=\"\n#A6=2010\n");
    write_header(out, log);
    sm_text_add(out, "#C=I;J;A;B;C;D;E;G;H;K;N;M;F\n");
    for (size_t k = 0; k < log->n_entries && status == SM_OK; k++) {
        if (isfinite(log->entry[k].distance_m)) {
            write_row(out, &log->entry[k]);
        } else {
            status = sm_obslog__leave_out(log, k, "has no distance", findings, err);
        }
    }
    sm_text_add(out, "#Z\n");
    return status == SM_OK && out->failed ? sm_obslog__no_memory(err) : status;
}
