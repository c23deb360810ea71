/*
 * The axis: from an even count to the distance from the datum.
 *   no tie       distance = count - how far along the run the pipe edge lies
 *   one tie      a shift
 *   two or more  piecewise linear between the ties; beyond the outer ones with the slope of the whole,
 * because the piece nearest the end may be too short for its slope to mean anything Ties that would make the
 * distance fall while the counter rises are left out and reported.
 */
#include "align_internal.h"

#include <math.h>
#include <stdlib.h>

/* A piece stretched or shrunk more than this is a wrong tie; wheels and cables err by a few per cent at most.
 */
#define WORST_SCALE_FRAC 0.2

static double slope(const struct sm_align__knot *a, const struct sm_align__knot *b)
{
    return (b->true_m - a->true_m) / (b->count_m - a->count_m);
}

double sm_align__axis_at(const struct sm_align__axis *axis, double count_m)
{
    if (axis->n_knots == 0) {
        return count_m - axis->datum_m;
    }
    const struct sm_align__knot *first = &axis->knot[0];
    const struct sm_align__knot *last = &axis->knot[axis->n_knots - 1];
    double whole = axis->n_knots > 1 ? slope(first, last) : 1;
    if (count_m <= first->count_m) {
        return first->true_m + (count_m - first->count_m) * whole;
    }
    if (count_m >= last->count_m) {
        return last->true_m + (count_m - last->count_m) * whole;
    }
    size_t i = 1;
    while (i + 1 < axis->n_knots && axis->knot[i].count_m < count_m) {
        i++;
    }
    const struct sm_align__knot *before = &axis->knot[i - 1];
    return before->true_m + (count_m - before->count_m) * slope(before, &axis->knot[i]);
}

double sm_align__axis_count(const struct sm_align__axis *axis, double true_m)
{
    if (axis->n_knots == 0) {
        return true_m + axis->datum_m;
    }
    const struct sm_align__knot *first = &axis->knot[0];
    const struct sm_align__knot *last = &axis->knot[axis->n_knots - 1];
    double whole = axis->n_knots > 1 ? slope(first, last) : 1;
    if (true_m <= first->true_m) {
        return first->count_m + (true_m - first->true_m) / whole;
    }
    if (true_m >= last->true_m) {
        return last->count_m + (true_m - last->true_m) / whole;
    }
    size_t i = 1;
    while (i + 1 < axis->n_knots && axis->knot[i].true_m < true_m) {
        i++;
    }
    const struct sm_align__knot *before = &axis->knot[i - 1];
    return before->count_m + (true_m - before->true_m) / slope(before, &axis->knot[i]);
}

bool sm_align__axis_is_between(const struct sm_align__axis *axis, double count_m)
{
    return axis->n_knots > 1 && count_m >= axis->knot[0].count_m &&
           count_m <= axis->knot[axis->n_knots - 1].count_m;
}

double sm_align__axis_misfit(const struct sm_align__axis *axis)
{
    double worst_m = 0;
    for (size_t i = 1; i < axis->n_knots; i++) {
        double counted_m = axis->knot[i].count_m - axis->knot[i - 1].count_m;
        double true_m = axis->knot[i].true_m - axis->knot[i - 1].true_m;
        worst_m = fmax(worst_m, fabs(true_m - counted_m));
    }
    return worst_m;
}

/* The stretch of the counter a tie's reading belongs to: where it was shown; of several the one it fits best.
 */
static size_t stretch_of(const struct sm_align__work *work, double reading_m, double true_m)
{
    size_t best = 0;
    double least_m = HUGE_VAL;
    for (size_t i = 0; i < work->n_stretches; i++) {
        const struct sm_align__stretch *stretch = &work->stretch[i];
        bool is_shown =
            reading_m >= stretch->low_m - work->agree_m && reading_m <= stretch->high_m + work->agree_m;
        double miss_m = fabs(reading_m + stretch->shift_m - sm_align__axis_count(&work->axis, true_m));
        miss_m += is_shown ? 0 : 1e6; /* one that was never shown goes where it fits, after all that were */
        if (miss_m < least_m) {
            least_m = miss_m;
            best = i;
        }
    }
    return best;
}

static int compare_knots(const void *a, const void *b)
{
    const struct sm_align__knot *x = a;
    const struct sm_align__knot *y = b;
    return (x->count_m > y->count_m) - (x->count_m < y->count_m);
}

static enum sm_status report_tie(struct sm_align__work *work, const struct sm_align__knot *knot,
                                 const char *words, struct sm_error *err)
{
    struct sm_text text = {0};
    sm_text_add(&text, "tie ");
    sm_align__add_length(&text, work, knot->count_m);
    sm_text_add(&text, " = ");
    sm_text_add_number(&text, knot->true_m, 2, 3);
    sm_text_addf(&text, " m %s", words);
    return sm_align__report(work, (enum sm_flag)0, SM_SEVERITY_WARNING, -1, &text, err);
}

/* Keep what rises; look at how steeply. Told once: the first of two passes over the same ties is not. */
static enum sm_status prune(struct sm_align__work *work, bool is_told, struct sm_error *err)
{
    struct sm_align__axis *axis = &work->axis;
    enum sm_status status = SM_OK;
    size_t n = 0;
    qsort(axis->knot, axis->n_knots, sizeof *axis->knot, compare_knots);
    for (size_t i = 0; status == SM_OK && i < axis->n_knots; i++) {
        struct sm_align__knot knot = axis->knot[i];
        const struct sm_align__knot *last = n ? &axis->knot[n - 1] : NULL;
        bool is_falling = last && (knot.count_m <= last->count_m || knot.true_m <= last->true_m);
        if (is_falling && is_told) {
            status = report_tie(
                work, &knot,
                "contradicts the tie before it (the distance must rise with the counter) and is not used",
                err);
        } else if (last && !is_falling && is_told && fabs(slope(last, &knot) - 1) > WORST_SCALE_FRAC) {
            status = report_tie(
                work, &knot, "stretches the counter by more than 20 % since the tie before it: is it right?",
                err);
        }
        if (!is_falling) {
            axis->knot[n++] = knot;
        }
    }
    axis->n_knots = n;
    return status;
}

/* A tie in a stretch that nothing else settled says how far its counter is off. */
static void settle_by_ties(struct sm_align__work *work, const size_t *stretch_idx)
{
    const struct sm_sheet *sheet = work->sheet;
    double unit_m = sm_unit_to_m(work->format.unit);
    for (size_t i = 0; i < sheet->n_ties; i++) {
        struct sm_align__stretch *stretch = &work->stretch[stretch_idx[i]];
        if (!stretch->is_main && !stretch->is_settled) {
            double shift_m =
                sm_align__axis_count(&work->axis, sheet->tie[i].true_m) - sheet->tie[i].reading * unit_m;
            bool is_as_shown = stretch->log_shift_m == stretch->shift_m;
            stretch->shift_m = shift_m;
            stretch->log_shift_m = is_as_shown ? shift_m : 0;
            stretch->is_settled = true;
        }
    }
}

static size_t collect_knots(struct sm_align__work *work, const size_t *stretch_idx, bool is_main_only)
{
    const struct sm_sheet *sheet = work->sheet;
    double unit_m = sm_unit_to_m(work->format.unit);
    size_t n = 0;
    for (size_t i = 0; i < sheet->n_ties; i++) {
        const struct sm_align__stretch *stretch = &work->stretch[stretch_idx[i]];
        if (stretch->is_main || !is_main_only) {
            work->axis.knot[n++] = (struct sm_align__knot){sheet->tie[i].reading * unit_m + stretch->shift_m,
                                                           sheet->tie[i].true_m};
        }
    }
    qsort(work->axis.knot, n, sizeof *work->axis.knot, compare_knots);
    return n;
}

static enum sm_status tie_axis(struct sm_align__work *work, size_t *stretch_idx, struct sm_error *err)
{
    const struct sm_sheet *sheet = work->sheet;
    double unit_m = sm_unit_to_m(work->format.unit);
    for (size_t i = 0; i < sheet->n_ties; i++) {
        stretch_idx[i] = stretch_of(work, sheet->tie[i].reading * unit_m, sheet->tie[i].true_m);
    }
    work->axis.n_knots = collect_knots(work, stretch_idx, true);
    enum sm_status status = prune(work, work->n_stretches == 1, err);
    if (work->n_stretches == 1 || status != SM_OK) {
        return status;
    }
    settle_by_ties(work, stretch_idx);
    work->axis.n_knots = collect_knots(work, stretch_idx, false);
    return prune(work, true, err);
}

/* The ties as they are handed on: the sheet's own numbers. */
static enum sm_status keep_ties(struct sm_align__work *work, struct sm_error *err)
{
    const struct sm_sheet *sheet = work->sheet;
    if (sheet->n_ties > 0) {
        work->out->tie = sm_arena_alloc(work->out->arena, sheet->n_ties * sizeof *work->out->tie);
        if (!work->out->tie) {
            return sm_error_set(err, SM_E_NOMEM, "no memory for %zu ties", sheet->n_ties);
        }
    }
    for (size_t i = 0; i < sheet->n_ties; i++) {
        work->out->tie[i] = sheet->tie[i];
    }
    work->out->n_ties = sheet->n_ties;
    work->out->tie_misfit_m = sm_align__axis_misfit(&work->axis);
    return SM_OK;
}

enum sm_status sm_align__build_axis(struct sm_align__work *work, struct sm_error *err)
{
    size_t n_ties = work->sheet->n_ties;
    size_t *stretch_idx = sm_calloc(n_ties + 1, sizeof *stretch_idx);
    work->axis.datum_m = work->sheet->datum_offset_m;
    work->axis.knot = sm_calloc(n_ties + 1, sizeof *work->axis.knot);
    enum sm_status status = SM_OK;
    if (!stretch_idx || !work->axis.knot) {
        status = sm_error_set(err, SM_E_NOMEM, "no memory for %zu ties", n_ties);
    } else if (n_ties > 0) {
        status = tie_axis(work, stretch_idx, err);
    }
    sm_free(stretch_idx);
    return status == SM_OK ? keep_ties(work, err) : status;
}
