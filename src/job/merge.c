/* The segment as sheet and log together know it: the sheet's word counts, the log fills in; where they differ
 * it is said. */
#include "job_internal.h"

#include <string.h>

static bool is_empty(const char *text)
{
    return !text || !*text;
}

static enum sm_status tell_word(struct sm_job *job, const char *what, const char *sheet, const char *log)
{
    if (is_empty(sheet) || is_empty(log) || sm_ascii_ieq(sheet, log)) {
        return SM_OK;
    }
    return sm_findings_add(&job->own, (enum sm_flag)0, SM_SEVERITY_WARNING, job->log->source, 0, SM_NAN, -1,
                           "the log says %s %s, the sheet says %s: the sheet counts", what, log, sheet);
}

static enum sm_status tell_number(struct sm_job *job, const char *what, const char *unit, double sheet,
                                  double log, double tolerance)
{
    if (isnan(sheet) || isnan(log) || fabs(sheet - log) <= tolerance) {
        return SM_OK;
    }
    struct sm_text text = {0};
    sm_text_addf(&text, "the log says %s ", what);
    sm_text_add_number(&text, log, 0, 3);
    sm_text_addf(&text, " %s, the sheet says ", unit);
    sm_text_add_number(&text, sheet, 0, 3);
    sm_text_addf(&text, " %s: the sheet counts", unit);
    enum sm_status status = text.failed ? SM_E_NOMEM
                                        : sm_findings_add(&job->own, (enum sm_flag)0, SM_SEVERITY_WARNING,
                                                          job->log->source, 0, SM_NAN, -1, "%s", text.data);
    sm_text_release(&text);
    return status;
}

/* A log of the other direction, or of another pipe, shows here before anything is buried. */
static enum sm_status tell_differences(struct sm_job *job)
{
    const struct sm_segment *sheet = &job->sheet->segment;
    const struct sm_segment *log = &job->log->segment;
    enum sm_status status = tell_word(job, "segment", sheet->id, log->id);
    if (status == SM_OK) {
        status = tell_word(job, "the camera entered at", sheet->from, log->from);
    }
    if (status == SM_OK) {
        status = tell_word(job, "the run ends at", sheet->to, log->to);
    }
    if (status == SM_OK) {
        status = tell_number(job, "length", "m", sheet->length_m, log->length_m, 0.1);
    }
    return status == SM_OK ? tell_number(job, "diameter", "mm", sheet->diameter_mm, log->diameter_mm, 1)
                           : status;
}

static void fill_word(const char **to, const char *from)
{
    *to = is_empty(*to) ? from : *to;
}

static void fill_number(double *to, double from)
{
    *to = isnan(*to) ? from : *to;
}

/* A segment must have a name in the job file: its ends', else the sheet's. */
static const char *name_segment(struct sm_job *job, const struct sm_segment *segment)
{
    if (!is_empty(segment->id)) {
        return segment->id;
    }
    if (!is_empty(segment->from) && !is_empty(segment->to)) {
        return sm_arena_printf(job->arena, "%s-%s", segment->from, segment->to);
    }
    const char *path = job->sheet->path ? job->sheet->path : "survey";
    const char *slash = strrchr(path, '/');
    const char *name = slash ? slash + 1 : path;
    const char *dot = strrchr(name, '.');
    return sm_arena_strndup(job->arena, name, dot && dot > name ? (size_t)(dot - name) : strlen(name));
}

enum sm_status sm_job__merge_segment(struct sm_job *job, struct sm_error *err)
{
    job->merged = *job->sheet;
    struct sm_segment *segment = &job->merged.segment;
    const struct sm_segment *log = &job->log->segment;
    fill_word(&segment->id, log->id);
    fill_word(&segment->from, log->from);
    fill_word(&segment->to, log->to);
    fill_word(&segment->material, log->material);
    fill_word(&job->merged.date, job->log->date);
    fill_number(&segment->length_m, log->length_m);
    fill_number(&segment->diameter_mm, log->diameter_mm);
    fill_number(&segment->pipe_unit_length_m, log->pipe_unit_length_m);
    segment->flow = segment->flow == SM_FLOW_UNKNOWN ? log->flow : segment->flow;
    segment->id = name_segment(job, segment);
    if (!segment->id || tell_differences(job) != SM_OK) {
        return sm_job__no_memory(err);
    }
    return SM_OK;
}
