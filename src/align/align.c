/* Chains the parts of the stage. Each reads what the ones before left in sm_align__work and adds its own. */
#include "align_internal.h"

void sm_alignment_free(struct sm_alignment **alignment)
{
    if (!alignment || !*alignment) {
        return;
    }
    sm_findings_release(&(*alignment)->findings);
    sm_arena_free(&(*alignment)->arena);
    sm_free(*alignment);
    *alignment = NULL;
}

static void release_work(struct sm_align__work *work)
{
    sm_alignment_free(&work->out);
    sm_free(work->place);
    sm_free(work->stretch);
    sm_free(work->standstill);
    sm_free(work->axis.knot);
    sm_free(work->owner);
    sm_free(work->end_idx);
}

static enum sm_status start_work(struct sm_align__work *work, struct sm_error *err)
{
    size_t n = work->log->n_entries + 1;
    work->out = sm_calloc(1, sizeof *work->out);
    work->place = sm_calloc(n, sizeof *work->place);
    work->owner = sm_calloc(n, sizeof *work->owner);
    work->end_idx = sm_calloc(n, sizeof *work->end_idx);
    if (!work->out || !work->place || !work->owner || !work->end_idx ||
        sm_arena_new(&work->out->arena) != SM_OK) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for %zu log entries", work->log->n_entries);
    }
    return SM_OK;
}

/* The counter as the picture shows it; the sheet's word where the picture does not say, or there is none,
 * else the log's. */
static struct sm_counter_format counter_format(const struct sm_trace *trace, const struct sm_sheet *sheet,
                                               const struct sm_obslog *log)
{
    struct sm_counter_format format = {.unit = sheet->counter_unit, .decimals = 2};
    if (trace) {
        format = trace->format;
        format.unit = format.unit == SM_UNIT_UNKNOWN ? sheet->counter_unit : format.unit;
    } else if (format.unit == SM_UNIT_UNKNOWN) {
        format.unit = log->unit; /* the ties are in it too */
    }
    return format;
}

enum sm_status sm_align(struct sm_alignment **out, const struct sm_obslog *log, const struct sm_trace *trace,
                        const struct sm_sheet *sheet, const struct sm_codes *codes, struct sm_error *err)
{
    static enum sm_status (*const part[])(struct sm_align__work *, struct sm_error *) = {
        start_work,
        sm_align__read_places,
        sm_align__report_clock,
        sm_align__move_to_standstills,
        sm_align__find_stretches,
        sm_align__compare,
        sm_align__build_axis,
        sm_align__choose,
        sm_align__pair_extents,
        sm_align__observe,
        sm_align__settle_length,
        sm_align__close_extents,
        sm_align__judge,
    };
    struct sm_align__work work = {.log = log,
                                  .trace = trace && trace->n_readings > 0 ? trace : NULL,
                                  .sheet = sheet,
                                  .codes = codes,
                                  .format = counter_format(trace, sheet, log),
                                  .finish_idx = -1};
    work.agree_m = sm_align__agree_m(log, &work.format);
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < sizeof part / sizeof *part; i++) {
        status = part[i](&work, err);
    }
    if (status == SM_OK) {
        *out = work.out;
        work.out = NULL;
    }
    release_work(&work);
    return status;
}
