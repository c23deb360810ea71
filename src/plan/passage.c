/*
 * What lies between the crew's end and a repair that a packer on a rod must get past. Which codes stand in a
 * packer's way is common practice, no source; the meanings of the codes are EN 13508-2's and the North
 * American condition codes'.
 */
#include "plan_internal.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define UM_PER_M 1e6
#define SHORTER_BY 0.75 /* a push from the other end is worth a word when it is at most this share */

/* Codes by their beginning; the first that fits counts, so longer ones stand first. */
static const struct {
    const char *beginning;
    bool is_en;
    const char *what;
} obstacles[] = {
    {"BAA", true, "deformation"},
    {"BAC", true, "break"},
    {"BAG", true, "intruding connection"},
    {"BAI", true, "intruding seal"},
    {"BAJ", true, "offset"},
    {"BAK", true, "lining defect"},
    {"BBA", true, "roots"},
    {"BBB", true, "deposits"},
    {"BBC", true, "deposits"},
    {"BBD", true, "soil"},
    {"BBE", true, "obstacle"},
    {"BCB", true, "earlier repair"},
    {"BCC", true, "bend"},
    {"AEC", true, "change of bore"},
    {"AEE", true, "change of lining"},
    {"DA", false, "deposits"},
    {"DS", false, "deposits"},
    {"DN", false, "soil"},
    {"D", false, "deformation"},
    {"X", false, "collapse"},
    {"JO", false, "offset"},
    {"JA", false, "angle"},
    {"IS", false, "intruding seal"},
    {"OB", false, "obstacle"},
    {"LF", false, "lining defect"},
    {"L", false, "bend"},
    {"RP", false, "earlier repair"},
    {"R", false, "roots"},
};

static bool begins_with(const char *code, const char *beginning)
{
    return strncmp(code, beginning, strlen(beginning)) == 0;
}

static bool is_tap_that_intrudes(const char *code)
{
    size_t n = strlen(code);
    return n >= 3 && code[0] == 'T' && (code[2] == 'I' || (n >= 4 && code[3] == 'I'));
}

/* What an observation is to a packer, NULL = nothing. */
static const char *obstacle(const struct sm_observation *observation, enum sm_code_system system)
{
    const char *code = observation->code ? observation->code : "";
    bool is_known_system = system != SM_CODES_FILE;
    for (size_t i = 0; i < sizeof obstacles / sizeof *obstacles; i++) {
        if (is_known_system && obstacles[i].is_en == (system == SM_CODES_EN) &&
            begins_with(code, obstacles[i].beginning)) {
            return obstacles[i].what;
        }
    }
    if (system == SM_CODES_NA && is_tap_that_intrudes(code)) {
        return "intruding connection";
    }
    if (observation->treatment == SM_TREATMENT_REFER && !observation->is_connection) {
        return "referred";
    }
    return observation->treatment == SM_TREATMENT_PREPARE ? "to be prepared" : NULL;
}

/* From an end of the pipe to where the observation begins as seen from there. */
static double way_to(const struct sm_observation *observation, double length_m, bool is_from_far)
{
    return is_from_far ? length_m - observation->end_m : observation->start_m;
}

static double way_to_liner_end(const struct sm_repair *repair, double length_m, bool is_from_far)
{
    double start_m = (double)repair->start_um / UM_PER_M;
    return is_from_far ? length_m - start_m : start_m + (double)repair->length_um / UM_PER_M;
}

static bool is_in_way(const struct sm_observation *observation, const struct sm_sheet *sheet, double length_m,
                      double far_m, bool is_from_far)
{
    return !observation->is_node && obstacle(observation, sheet->codes) && isfinite(observation->start_m) &&
           isfinite(observation->end_m) && way_to(observation, length_m, is_from_far) < far_m;
}

static int by_way(const void *left, const void *right)
{
    const struct sm_passage *a = left, *b = right;
    if (a->way_m < b->way_m || a->way_m > b->way_m) {
        return a->way_m < b->way_m ? -1 : 1;
    }
    return (a->observation_idx > b->observation_idx) - (a->observation_idx < b->observation_idx);
}

enum sm_status sm_plan_passage(const struct sm_passage **out, size_t *n, struct sm_arena *arena,
                               const struct sm_plan *plan, const struct sm_alignment *alignment,
                               const struct sm_sheet *sheet, size_t repair_idx, struct sm_error *err)
{
    assert(repair_idx < plan->n_repairs);
    bool is_from_far = sheet->access.enters_at_to;
    double far_m = way_to_liner_end(&plan->repair[repair_idx], alignment->length_m, is_from_far);
    struct sm_passage *list = sm_arena_alloc(arena, (alignment->n_observations + 1) * sizeof *list);
    if (!list) {
        return sm_error_set(err, SM_E_NOMEM, "out of memory");
    }
    size_t n_found = 0;
    for (size_t i = 0; i < alignment->n_observations; i++) {
        const struct sm_observation *observation = &alignment->observation[i];
        if (is_in_way(observation, sheet, alignment->length_m, far_m, is_from_far)) {
            list[n_found++] = (struct sm_passage){
                .observation_idx = (int32_t)i,
                .way_m = way_to(observation, alignment->length_m, is_from_far),
                .what = obstacle(observation, sheet->codes),
                .is_doubtful = observation->treatment == SM_TREATMENT_REFER,
            };
        }
    }
    qsort(list, n_found, sizeof *list, by_way);
    *n = n_found;
    *out = n_found ? list : NULL;
    return SM_OK;
}

/* ---- the other end */

/* What working from one end means. */
struct end_view {
    size_t n_doubtful; /* referred obstacles in the way of some repair */
    double longest_m;  /* push */
};

static struct end_view view_from(const struct sm_plan *plan, const struct sm_alignment *alignment,
                                 const struct sm_sheet *sheet, bool is_from_far)
{
    struct end_view view = {0, 0};
    double far_m = 0;
    for (size_t i = 0; i < plan->n_repairs; i++) {
        double way_m = way_to_liner_end(&plan->repair[i], alignment->length_m, is_from_far);
        far_m = fmax(far_m, way_m);
        view.longest_m = fmax(view.longest_m, way_m - (double)plan->repair[i].length_um / 2 / UM_PER_M);
    }
    for (size_t i = 0; i < alignment->n_observations; i++) {
        const struct sm_observation *observation = &alignment->observation[i];
        view.n_doubtful += observation->treatment == SM_TREATMENT_REFER &&
                           is_in_way(observation, sheet, alignment->length_m, far_m, is_from_far);
    }
    return view;
}

enum sm_status sm_plan_other_end(struct sm_text *text, const struct sm_plan *plan,
                                 const struct sm_alignment *alignment, const struct sm_sheet *sheet,
                                 struct sm_error *err)
{
    bool is_from_far = sheet->access.enters_at_to;
    struct end_view here = view_from(plan, alignment, sheet, is_from_far);
    struct end_view there = view_from(plan, alignment, sheet, !is_from_far);
    const char *end = is_from_far ? sheet->segment.from : sheet->segment.to;
    bool is_freer = there.n_doubtful < here.n_doubtful;
    bool is_shorter = there.n_doubtful == here.n_doubtful && there.longest_m <= SHORTER_BY * here.longest_m;
    if (plan->n_repairs == 0 || (!is_freer && !is_shorter)) {
        return SM_OK;
    }
    sm_text_addf(text, "From the other end%s%s%s ", end ? " (" : "", end ? end : "", end ? ")" : "");
    if (is_freer) {
        sm_text_addf(text, "%zu instead of %zu referred place%s lie%s in the way, and ", there.n_doubtful,
                     here.n_doubtful, here.n_doubtful == 1 ? "" : "s", here.n_doubtful == 1 ? "s" : "");
    }
    sm_text_add(text, "the longest push is ");
    sm_plan__add_length(text, sheet, there.longest_m * UM_PER_M, 2);
    sm_text_add(text, " instead of ");
    sm_plan__add_length(text, sheet, here.longest_m * UM_PER_M, 2);
    sm_text_add(text, ".");
    return text->failed ? sm_error_set(err, SM_E_NOMEM, "out of memory") : SM_OK;
}
