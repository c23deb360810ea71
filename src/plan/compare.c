/* Two plans side by side. Repairs of the same kit that share pipe are taken for the same one, perhaps moved.
 */
#include "plan_internal.h"

#include <math.h>
#include <string.h>

#define UM_PER_M 1e6

static const char *kit_name(const struct sm_plan_case *side, const struct sm_repair *repair)
{
    return side->sheet->kit[repair->kit_idx].name;
}

static double stop_m(const struct sm_repair *repair)
{
    return ((double)repair->start_um + (double)repair->length_um / 2) / UM_PER_M;
}

static bool is_same(const struct sm_plan_case *a, const struct sm_repair *one, const struct sm_plan_case *b,
                    const struct sm_repair *other)
{
    return strcmp(kit_name(a, one), kit_name(b, other)) == 0 && one->length_um == other->length_um &&
           one->start_um < other->start_um + other->length_um &&
           other->start_um < one->start_um + one->length_um;
}

/* Nearest repair of the other plan that is the same one; NULL = none. */
static const struct sm_repair *partner(const struct sm_plan_case *side, const struct sm_repair *repair,
                                       const struct sm_plan_case *other)
{
    const struct sm_repair *best = NULL;
    for (size_t i = 0; i < other->plan->n_repairs; i++) {
        const struct sm_repair *candidate = &other->plan->repair[i];
        if (is_same(side, repair, other, candidate) &&
            (!best || fabs(stop_m(candidate) - stop_m(repair)) < fabs(stop_m(best) - stop_m(repair)))) {
            best = candidate;
        }
    }
    return best;
}

static void add_total(struct sm_text *text, const struct sm_plan_case *side)
{
    double length_m = 0;
    for (size_t i = 0; i < side->plan->n_repairs; i++) {
        length_m += (double)side->plan->repair[i].length_um / UM_PER_M;
    }
    sm_text_addf(text, "%s: %zu repair%s, ", side->name, side->plan->n_repairs,
                 side->plan->n_repairs == 1 ? "" : "s");
    sm_text_add_fixed(text, length_m, 2);
    sm_text_add(text, " m of liner, cost ");
    sm_text_add_number(text, side->plan->cost, 0, 2);
    sm_text_addf(text, ", %zu not repaired\n", side->plan->n_unrepaired);
}

static void add_repair(struct sm_text *text, const struct sm_plan_case *side, const struct sm_repair *repair)
{
    sm_text_addf(text, "%s %s, stop at ", repair->id, kit_name(side, repair));
    sm_text_add_fixed(text, stop_m(repair), 3);
    sm_text_add(text, " m");
}

/* The two name each other: so that of several near ones none is counted twice. */
static bool are_partners(const struct sm_plan_case *a, const struct sm_repair *one,
                         const struct sm_plan_case *b, const struct sm_repair *other)
{
    return other && partner(b, other, a) == one;
}

static void add_before(struct sm_text *text, const struct sm_plan_case *before,
                       const struct sm_plan_case *after)
{
    for (size_t i = 0; i < before->plan->n_repairs; i++) {
        const struct sm_repair *repair = &before->plan->repair[i];
        const struct sm_repair *now = partner(before, repair, after);
        bool is_kept = are_partners(before, repair, after, now);
        bool has_moved = is_kept && now->start_um != repair->start_um;
        sm_text_add(text, !is_kept ? "- " : has_moved ? "~ " : "= ");
        add_repair(text, before, repair);
        if (is_kept) {
            sm_text_addf(text, has_moved ? " -> %s at " : " -> %s", now->id);
        }
        if (has_moved) {
            sm_text_add_fixed(text, stop_m(now), 3);
            sm_text_add(text, " m");
        }
        sm_text_add(text, "\n");
    }
}

static void add_after(struct sm_text *text, const struct sm_plan_case *before,
                      const struct sm_plan_case *after)
{
    for (size_t i = 0; i < after->plan->n_repairs; i++) {
        const struct sm_repair *repair = &after->plan->repair[i];
        if (!are_partners(after, repair, before, partner(after, repair, before))) {
            sm_text_add(text, "+ ");
            add_repair(text, after, repair);
            sm_text_add(text, "\n");
        }
    }
}

enum sm_status sm_plan_compare(struct sm_text *text, const struct sm_plan_case *before,
                               const struct sm_plan_case *after, struct sm_error *err)
{
    add_total(text, before);
    add_total(text, after);
    sm_text_add(text, "difference in cost ");
    sm_text_add_number(text, after->plan->cost - before->plan->cost, 0, 2);
    sm_text_add(text, "\n");
    add_before(text, before, after);
    add_after(text, before, after);
    return text->failed ? sm_error_set(err, SM_E_NOMEM, "out of memory") : SM_OK;
}

/* ---- the same for programs ---- */

static void write_case(struct sm_json *json, const char *key, const struct sm_plan_case *side)
{
    double length_m = 0;
    for (size_t i = 0; i < side->plan->n_repairs; i++) {
        length_m += (double)side->plan->repair[i].length_um / UM_PER_M;
    }
    sm_json_open_compact(json, key, '{');
    sm_json_string(json, "name", side->name);
    sm_json_int(json, "repairs", (int64_t)side->plan->n_repairs);
    sm_json_fixed(json, "length_m", length_m, 3);
    sm_json_number(json, "cost", side->plan->cost, 2);
    sm_json_int(json, "unrepaired", (int64_t)side->plan->n_unrepaired);
    sm_json_close(json, '}');
}

static void write_repair(struct sm_json *json, const char *key, const struct sm_plan_case *side,
                         const struct sm_repair *repair)
{
    if (!repair) {
        sm_json_null(json, key);
        return;
    }
    sm_json_open_compact(json, key, '{');
    sm_json_string(json, "id", repair->id);
    sm_json_string(json, "kit", kit_name(side, repair));
    sm_json_fixed(json, "stop_m", stop_m(repair), 3);
    sm_json_close(json, '}');
}

static void write_pair(struct sm_json *json, const char *change, const struct sm_plan_case *before,
                       const struct sm_repair *was, const struct sm_plan_case *after,
                       const struct sm_repair *is)
{
    sm_json_open(json, NULL, '{');
    sm_json_string(json, "change", change);
    write_repair(json, "before", before, was);
    write_repair(json, "after", after, is);
    sm_json_close(json, '}');
}

void sm_plan_write_comparison(struct sm_json *json, const struct sm_plan_case *before,
                              const struct sm_plan_case *after)
{
    write_case(json, "before", before);
    write_case(json, "after", after);
    sm_json_number(json, "cost_difference", after->plan->cost - before->plan->cost, 2);
    sm_json_open(json, "repairs", '[');
    for (size_t i = 0; i < before->plan->n_repairs; i++) {
        const struct sm_repair *repair = &before->plan->repair[i];
        const struct sm_repair *now = partner(before, repair, after);
        bool is_kept = are_partners(before, repair, after, now);
        bool has_moved = is_kept && now->start_um != repair->start_um;
        write_pair(json, !is_kept ? "gone" : has_moved ? "moved" : "kept", before, repair, after,
                   is_kept ? now : NULL);
    }
    for (size_t i = 0; i < after->plan->n_repairs; i++) {
        const struct sm_repair *repair = &after->plan->repair[i];
        if (!are_partners(after, repair, before, partner(after, repair, before))) {
            write_pair(json, "new", before, NULL, after, repair);
        }
    }
    sm_json_close(json, ']');
}
