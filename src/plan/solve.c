/*
 * The whole pipe: components that cannot influence each other are planned one by one.
 *
 * Two targets with at least three times the longest kit between them never meet through liners: a liner that
 * lies wholly between them serves nothing and can go, those that remain reach at most one length in, and the
 * length or more that is left between them is more than any slack counts for.
 */
#include "plan_internal.h"

#include <string.h>

#define SPAN_LENGTHS 3

void sm_plan__row_release(struct sm_plan__row *row)
{
    sm_free(row->liner);
    *row = (struct sm_plan__row){0};
}

static enum sm_status append(struct sm_plan__row *row, const struct sm_plan__row *part, struct sm_error *err)
{
    for (size_t i = 0; i < part->n; i++) {
        if (sm_grow(&row->liner, row->n, &row->capacity, sizeof *row->liner) != SM_OK) {
            return sm_error_set(err, SM_E_NOMEM, "out of memory");
        }
        row->liner[row->n++] = part->liner[i];
    }
    row->weight.cost += part->weight.cost;
    row->weight.tie += part->weight.tie;
    return SM_OK;
}

static int64_t least_slack(const struct sm_plan__row *row)
{
    int64_t least = INT64_MAX;
    for (size_t i = 0; i < row->n; i++) {
        least = sm_plan__min(least, row->liner[i].slack_um);
    }
    return least;
}

static void swap_rows(struct sm_plan__row *a, struct sm_plan__row *b, bool is_wanted)
{
    if (is_wanted) {
        struct sm_plan__row row = *a;
        *a = *b;
        *b = row;
    }
}

/*
 * Of all rows of the least weight one with the largest least slack: as long as some row of that weight exists
 * with more slack than the best so far, take it and place it. Each round gains, and ends at the optimum,
 * because the rows with slack t are just those of the problem made stricter by t.
 */
static enum sm_status raise_slack(struct sm_plan__row *row, const struct sm_plan__problem *problem,
                                  struct sm_plan__targets targets, struct sm_error *err)
{
    struct sm_plan__row next = {0};
    enum sm_status status = sm_plan__place(row, problem, targets, err);
    bool is_better = true;
    while (status == SM_OK && is_better) {
        status = sm_plan__sweep(&next, &is_better, problem, targets, least_slack(row) + 1, err);
        is_better = is_better && sm_plan__compare(next.weight, row->weight) == 0;
        if (status == SM_OK && is_better) {
            status = sm_plan__place(&next, problem, targets, err);
            is_better =
                least_slack(&next) > least_slack(row); /* not so where it is the liner's length that limits */
            swap_rows(row, &next, is_better);
        }
    }
    sm_plan__row_release(&next);
    return status;
}

static enum sm_status solve_component(struct sm_plan__row *row, bool *is_found,
                                      const struct sm_plan__problem *problem, struct sm_plan__targets targets,
                                      struct sm_error *err)
{
    struct sm_plan__row part = {0};
    enum sm_status status = sm_plan__sweep(&part, is_found, problem, targets, 0, err);
    if (status == SM_OK && *is_found) {
        status = raise_slack(&part, problem, targets, err);
        status = status == SM_OK ? append(row, &part, err) : status;
    }
    sm_plan__row_release(&part);
    return status;
}

static size_t component_end(const struct sm_plan__problem *problem, struct sm_plan__targets targets,
                            size_t first)
{
    int64_t reach = targets.target[first].end_um;
    size_t i = first + 1;
    while (i < targets.n && targets.target[i].start_um - reach < SPAN_LENGTHS * problem->longest_um) {
        reach = sm_plan__max(reach, targets.target[i].end_um);
        i++;
    }
    return i;
}

enum sm_status sm_plan__least_cost(int64_t *cost, bool *is_found, const struct sm_plan__problem *problem,
                                   struct sm_error *err)
{
    struct sm_plan__targets all = {problem->n_targets, problem->target};
    struct sm_plan__row row = {0};
    enum sm_status status = SM_OK;
    *is_found = true;
    *cost = 0;
    for (size_t first = 0; first < all.n && status == SM_OK && *is_found;) {
        size_t end = component_end(problem, all, first);
        status = sm_plan__sweep(&row, is_found, problem,
                                (struct sm_plan__targets){end - first, all.target + first}, 0, err);
        *cost += *is_found ? row.weight.cost : 0;
        first = end;
    }
    sm_plan__row_release(&row);
    return status;
}

/* ---- what cannot be covered */

/* Targets still in play, with their places in the problem's list. */
struct kept {
    size_t n;
    struct sm_plan__stretch *target;
    size_t *idx;
};

static bool kept_new(struct kept *kept, size_t n)
{
    kept->n = 0;
    kept->target = sm_calloc(n + 1, sizeof *kept->target);
    kept->idx = sm_calloc(n + 1, sizeof *kept->idx);
    return kept->target && kept->idx;
}

static void kept_release(struct kept *kept)
{
    sm_free(kept->target);
    sm_free(kept->idx);
}

static void keep(struct kept *kept, struct sm_plan__stretch target, size_t idx)
{
    kept->target[kept->n] = target;
    kept->idx[kept->n++] = idx;
}

/* Keep the targets that can be covered each alone; the others no plan covers. */
static enum sm_status keep_coverable(struct kept *kept, bool *is_left_out,
                                     const struct sm_plan__problem *problem, struct sm_error *err)
{
    struct sm_plan__row scratch = {0};
    enum sm_status status = SM_OK;
    for (size_t i = 0; i < problem->n_targets && status == SM_OK; i++) {
        struct sm_plan__targets alone = {1, &problem->target[i]};
        bool is_found = false;
        status = sm_plan__sweep(&scratch, &is_found, problem, alone, 0, err);
        is_left_out[i] = !is_found;
        if (is_found) {
            keep(kept, problem->target[i], i);
        }
    }
    sm_plan__row_release(&scratch);
    return status;
}

/* A component whose targets cannot all be covered together: leave out as few as can be, then plan the rest.
 */
static enum sm_status solve_rest(struct sm_plan__row *row, bool *is_left_out,
                                 const struct sm_plan__problem *problem, const struct kept *all, size_t first,
                                 size_t end, struct sm_error *err)
{
    struct kept rest = {0};
    bool *is_out = sm_calloc(end - first, sizeof *is_out);
    bool is_found = false;
    enum sm_status status =
        is_out && kept_new(&rest, end - first) ? SM_OK : sm_error_set(err, SM_E_NOMEM, "out of memory");
    if (status == SM_OK) {
        struct sm_plan__targets component = {end - first, all->target + first};
        status = sm_plan__leave_out(is_out, problem, component, err);
    }
    for (size_t i = first; i < end && status == SM_OK; i++) {
        is_left_out[all->idx[i]] = is_out[i - first];
        if (!is_out[i - first]) {
            keep(&rest, all->target[i], all->idx[i]);
        }
    }
    if (status == SM_OK && rest.n) {
        status =
            solve_component(row, &is_found, problem, (struct sm_plan__targets){rest.n, rest.target}, err);
    }
    kept_release(&rest);
    sm_free(is_out);
    return status;
}

static enum sm_status solve_components(struct sm_plan__row *row, bool *is_left_out,
                                       const struct sm_plan__problem *problem, const struct kept *kept,
                                       struct sm_error *err)
{
    struct sm_plan__targets all = {kept->n, kept->target};
    enum sm_status status = SM_OK;
    for (size_t first = 0; first < all.n && status == SM_OK;) {
        size_t end = component_end(problem, all, first);
        bool is_found = false;
        struct sm_plan__targets component = {end - first, all.target + first};
        status = solve_component(row, &is_found, problem, component, err);
        if (status == SM_OK && !is_found) {
            status = solve_rest(row, is_left_out, problem, kept, first, end, err);
        }
        first = end;
    }
    return status;
}

enum sm_status sm_plan__solve(struct sm_plan__row *row, bool *is_left_out,
                              const struct sm_plan__problem *problem, struct sm_error *err)
{
    struct kept kept = {0};
    enum sm_status status = SM_OK;
    if (!kept_new(&kept, problem->n_targets)) {
        status = sm_error_set(err, SM_E_NOMEM, "out of memory");
    }
    if (status == SM_OK) {
        status = keep_coverable(&kept, is_left_out, problem, err);
    }
    if (status == SM_OK) {
        status = solve_components(row, is_left_out, problem, &kept, err);
    }
    kept_release(&kept);
    return status;
}
