/* The liners in a pipe: where the crew's rows put them, where a recheck shows them, metres of pipe under them. */
#include "audit_internal.h"

#include <stdlib.h>
#include <string.h>

size_t sm_audit__home(const struct sm_audit_case *about, const struct sm_audit_row *row)
{
    for (size_t i = 0; i < about->n_first; i++) {
        if (row->survey == &about->first[i]) {
            return i;
        }
    }
    return 0;
}

static bool is_other_way(const struct sm_audit_survey *a, const struct sm_audit_survey *b)
{
    const char *a_from = a->sheet->segment.from;
    const char *b_to = b->sheet->segment.to;
    return a_from && b_to && *a_from && sm_ascii_ieq(a_from, b_to);
}

struct sm_audit_span sm_audit_liner_on(const struct sm_audit *audit, size_t liner_idx, size_t first_idx)
{
    const struct sm_audit_liner *liner = &audit->liner[liner_idx];
    const struct sm_audit_survey *first = &audit->about->first[first_idx];
    double length_m = first->alignment->length_m;
    if (!liner->row->survey || !isfinite(length_m) || !is_other_way(liner->row->survey, first)) {
        return liner->span;
    }
    int64_t length_um = sm_audit__um(length_m);
    return (struct sm_audit_span){length_um - liner->span.end_um, length_um - liner->span.start_um};
}

static void place_liner(struct sm_audit_liner *liner)
{
    const struct sm_as_built *row = &liner->row->recorded->row;
    bool enters_at_to = liner->row->survey && liner->row->survey->sheet->access.enters_at_to;
    liner->has_place = sm_audit_place(&liner->span, row, liner->row->repair, enters_at_to, &liner->place_how);
    if (liner->has_place && isfinite(row->stop_digit_m)) {
        int64_t half_um = sm_audit__um(row->stop_digit_m / 2); /* what rounding alone may have moved it */
        liner->span.start_um -= half_um;
        liner->span.end_um += half_um;
    }
}

enum sm_status sm_audit__list_liners(struct sm_audit__work *w)
{
    struct sm_audit *audit = w->audit;
    w->liner = sm_arena_alloc(audit->arena, (w->about->n_rows + 1) * sizeof *w->liner);
    for (size_t i = 0; w->liner && i < w->about->n_rows; i++) {
        if (w->about->row[i].recorded->row.is_in_place) {
            struct sm_audit_liner *liner = &w->liner[audit->n_liners++];
            *liner = (struct sm_audit_liner){.row = &w->about->row[i], .place_how = "", .sight_how = "", .recheck_idx = -1,
                                             .recheck_observation_idx = -1, .seen_start_m = SM_NAN, .seen_end_m = SM_NAN};
            place_liner(liner);
        }
    }
    audit->liner = w->liner;
    return w->liner ? SM_OK : SM_E_NOMEM;
}

/* Where a recheck shows both ends of a liner and they differ from the crew's note by more than they could, the pipe is
 * right and the note is not. */
struct sm_audit_span sm_audit__true_span(const struct sm_audit__work *w, size_t liner_idx, size_t first_idx)
{
    const struct sm_audit_liner *liner = &w->liner[liner_idx];
    struct sm_audit_span span = sm_audit_liner_on(w->audit, liner_idx, first_idx);
    if (isnan(liner->seen_start_m) || sm_audit__home(w->about, liner->row) != first_idx) {
        return span;
    }
    const struct sm_audit_axis *axis = sm_audit_get_axis(w->audit, first_idx, (size_t)liner->recheck_idx);
    struct sm_audit_span seen = {sm_audit__um(liner->seen_start_m), sm_audit__um(liner->seen_end_m)};
    double error_m = axis->error_m + 0.1;
    if (liner->recheck_observation_idx >= 0) {
        error_m = fmax(error_m, axis->sighting[liner->recheck_observation_idx].error_m);
    }
    int64_t error_um = sm_audit__um(error_m);
    bool agrees = llabs(seen.start_um - span.start_um) <= error_um && llabs(seen.end_um - span.end_um) <= error_um;
    return agrees ? span : seen;
}

static int compare_spans(const void *a, const void *b)
{
    const struct sm_audit_span *x = a;
    const struct sm_audit_span *y = b;
    return (x->start_um > y->start_um) - (x->start_um < y->start_um);
}

/* Metres of pipe under liners, on the first survey's axis. */
enum sm_status sm_audit__measure_repaired(struct sm_audit__work *w)
{
    struct sm_audit_span *span = sm_calloc(w->audit->n_liners + 1, sizeof *span);
    size_t n = 0;
    int64_t total_um = 0;
    int64_t reached_um = INT64_MIN;
    for (size_t i = 0; span && i < w->audit->n_liners; i++) {
        if (w->liner[i].has_place) {
            span[n++] = w->about->n_first ? sm_audit_liner_on(w->audit, i, 0) : w->liner[i].span;
            double digit_m = w->liner[i].row->recorded->row.stop_digit_m;
            int64_t half_um = isfinite(digit_m) ? sm_audit__um(digit_m / 2) : 0;
            span[n - 1].start_um += half_um;
            span[n - 1].end_um -= half_um;
        }
    }
    if (span) {
        qsort(span, n, sizeof *span, compare_spans);
    }
    for (size_t i = 0; span && i < n; i++) {
        int64_t from_um = span[i].start_um > reached_um ? span[i].start_um : reached_um;
        total_um += span[i].end_um > from_um ? span[i].end_um - from_um : 0;
        reached_um = span[i].end_um > reached_um ? span[i].end_um : reached_um;
    }
    w->audit->repaired_m = (double)total_um / SM_AUDIT__UM_PER_M;
    enum sm_status status = span ? SM_OK : SM_E_NOMEM;
    sm_free(span);
    return status;
}
