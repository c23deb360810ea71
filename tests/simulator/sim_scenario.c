/*
 * sim_scenario.c - what is planted in the pipe: from a plan written by hand or at random. Codes are main
 * codes of EN 13508-2 with their characterisations, and North American condition codes (both from memory).
 */
#include "sim_internal.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const struct sm_sim_kind_info kinds[SM_SIM_N_KINDS] = {
    [SM_SIM_START_NODE] = {"start", "BCD", "XP", "", "AMH", "start of survey", SM_NAN, SM_NAN, false, false,
                           false},
    [SM_SIM_FINISH_NODE] = {"finish", "BCE", "XP", "", "AMH", "end of survey", SM_NAN, SM_NAN, false, false,
                            false},
    [SM_SIM_CRACK] = {"crack", "BAB", "B", "A", "CL", "crack along, width # mm, at @ o'clock", 1, 6, false,
                      false, true},
    [SM_SIM_CIRCULAR_CRACK] = {"round_crack", "BAB", "B", "B", "CC",
                               "crack around, width # mm, from 12 to 12 o'clock", 1, 4, false, false, false},
    [SM_SIM_LONG_CRACK] = {"long_crack", "BAB", "B", "A", "CL",
                           "crack along, continues, width # mm, at @ o'clock", 1, 5, false, true, true},
    [SM_SIM_BREAK] = {"break", "BAC", "B", "", "B", "pieces missing, # mm, at @ o'clock", 60, 180, false,
                      false, true},
    [SM_SIM_ROOTS] = {"roots", "BBA", "B", "", "RFJ", "fine roots at joint, # %, at @ o'clock", 5, 35, true,
                      false, true},
    [SM_SIM_DEPOSIT] = {"deposit", "BBB", "A", "", "DAE", "encrustation, # %, at @ o'clock", 5, 25, false,
                        false, true},
    [SM_SIM_INFILTRATION] = {"infiltration", "BBF", "B", "", "ID", "dripping at @ o'clock", SM_NAN, SM_NAN,
                             true, false, true},
    [SM_SIM_OFFSET_JOINT] = {"offset_joint", "BAJ", "B", "", "JOM", "offset joint, # mm", 10, 40, true, false,
                             false},
    [SM_SIM_CONNECTION] = {"connection", "BCA", "A", "A", "TF", "connection DN # at @ o'clock", 150, 150,
                           false, false, true},
    [SM_SIM_WATER] = {"water", "BDD", "A", "", "MWL", "water level # %", 10, 30, false, false, false},
    [SM_SIM_BEND] = {"bend", "BCC", "A", "", "LL", "bend # degrees to the left", 5, 15, false, false, false},
};

const struct sm_sim_kind_info *sm_sim__kind(enum sm_sim_kind kind)
{
    return &kinds[kind];
}

struct sm_test_random sm_sim__stream(int64_t seed, enum sm_sim_stream stream)
{
    struct sm_test_random random = {(uint64_t)seed * 0x9e3779b97f4a7c15U +
                                    (uint64_t)stream * 0xd1342543de82ef95U};
    random.state = sm_test_next(&random);
    return random;
}

bool sm_sim__chance(struct sm_test_random *random, double chance)
{
    return sm_test_uniform(random, 0, 1) < chance;
}

static double extent_m(enum sm_sim_kind kind, struct sm_test_random *random)
{
    switch (kind) {
    case SM_SIM_CRACK:
        return sm_test_uniform(random, 0.12, 0.24);
    case SM_SIM_LONG_CRACK:
        return sm_test_uniform(random, 0.6, 2.0);
    case SM_SIM_BREAK:
        return sm_test_uniform(random, 0.08, 0.2);
    case SM_SIM_DEPOSIT:
        return sm_test_uniform(random, 0.06, 0.2);
    case SM_SIM_CONNECTION:
        return 0.15;
    case SM_SIM_START_NODE:
    case SM_SIM_FINISH_NODE:
    case SM_SIM_CIRCULAR_CRACK:
    case SM_SIM_ROOTS:
    case SM_SIM_INFILTRATION:
    case SM_SIM_OFFSET_JOINT:
    case SM_SIM_WATER:
    case SM_SIM_BEND:
        break;
    }
    return 0;
}

/* Fill in all that the kind and the item's own seed decide. end_m SM_NAN = an extent of the kind's own. */
static void finish_item(struct sm_sim_item *item, double place_m, double end_m, int32_t clock_h,
                        uint64_t seed)
{
    const struct sm_sim_kind_info *info = &kinds[item->kind];
    struct sm_test_random random = {seed};
    item->seed = seed;
    double extent = isnan(end_m) ? extent_m(item->kind, &random) : end_m - place_m;
    item->distance_m = place_m;
    item->start_m = info->is_continuous || !isnan(end_m) ? place_m : place_m - extent / 2;
    item->end_m = item->start_m + extent;
    item->q1 = isnan(info->q1_least)
                   ? SM_NAN
                   : floor(sm_test_uniform(&random, info->q1_least, info->q1_greatest + 0.999));
    if (item->kind == SM_SIM_BREAK || item->kind == SM_SIM_OFFSET_JOINT) {
        item->q1 = floor(item->q1 / 10) * 10;
    }
    int32_t drawn_h = (int32_t)sm_test_int(&random, 1, 12);
    if (item->kind == SM_SIM_CONNECTION && drawn_h > 3 && drawn_h < 9) {
        drawn_h = (drawn_h + 6) % 12 == 0 ? 12 : (drawn_h + 6) % 12; /* laterals come in above the middle */
    }
    item->clock_from_h = info->has_clock ? (clock_h ? clock_h : drawn_h) : 0;
    if (item->kind == SM_SIM_CIRCULAR_CRACK) {
        item->clock_from_h = item->clock_to_h = 12;
    }
    item->diameter_mm = item->kind == SM_SIM_CONNECTION ? extent * 1000 : SM_NAN;
}

static enum sm_status add_item(struct sm_sim_scenario *out, struct sm_sim_item item)
{
    enum sm_status status = sm_grow(&out->item, out->n_items, &out->capacity, sizeof *out->item);
    if (status == SM_OK) {
        out->item[out->n_items++] = item;
    }
    return status;
}

static int compare_items(const void *a, const void *b)
{
    const struct sm_sim_item *x = a, *y = b;
    if (x->kind == SM_SIM_START_NODE || y->kind == SM_SIM_FINISH_NODE) {
        return -1;
    }
    if (y->kind == SM_SIM_START_NODE || x->kind == SM_SIM_FINISH_NODE) {
        return 1;
    }
    return (x->start_m > y->start_m) - (x->start_m < y->start_m);
}

/* One entry of a plan, "crack:4.30-4.90@2": kind, place, end, clock. */
static enum sm_status parse_entry(const char *entry, size_t n, const struct sm_sim_opts *opts,
                                  struct sm_sim_item *item, struct sm_error *err)
{
    char kind[24] = {0}, text[64] = {0};
    double place_m = 0, end_m = SM_NAN, clock_h = 0;
    const char *at = text;
    size_t n_kind = strcspn(entry, ":");
    bool is_good = n < sizeof text && n_kind < n && n_kind < sizeof kind;
    if (is_good) {
        memcpy(kind, entry, n_kind);
        memcpy(text, entry + n_kind + 1, n - n_kind - 1);
        is_good = sm_scan_number(at, false, false, &place_m, &at);
        is_good = is_good && (*at != '-' || sm_scan_number(at + 1, false, false, &end_m, &at));
        is_good =
            is_good && (*at != '@' || sm_scan_number(at + 1, false, false, &clock_h, &at)) && *at == '\0';
    }
    size_t found = 0;
    while (found < SM_SIM_N_KINDS && strcmp(kinds[found].name, kind) != 0) {
        found++;
    }
    if (!is_good || found == SM_SIM_N_KINDS || clock_h < 0 || clock_h > 12) {
        (void)sm_error_set(err, SM_E_FORMAT, "\"%.*s\" is no planned observation", (int)n, entry);
        return sm_error_remedy(err, "write kind:place[-end][@clock], for instance crack:4.3-4.9@2");
    }
    if (place_m < 0 || place_m > opts->pipe.length_m || end_m > opts->pipe.length_m || end_m < place_m) {
        return sm_error_set(err, SM_E_RANGE, "\"%.*s\" does not lie in the pipe", (int)n, entry);
    }
    item->kind = (enum sm_sim_kind)found;
    struct sm_test_random random = sm_sim__stream(opts->seed, SM_SIM_STREAM_PLAN);
    finish_item(item, place_m, end_m, (int32_t)clock_h,
                sm_test_next(&random) + (uint64_t)llround(place_m * 1000));
    return SM_OK;
}

static enum sm_status plan_by_hand(struct sm_sim_scenario *out, const struct sm_sim_opts *opts,
                                   struct sm_error *err)
{
    enum sm_status status = SM_OK;
    const char *at = opts->pipe.plan + strspn(opts->pipe.plan, " ");
    while (status == SM_OK && *at) {
        struct sm_sim_item item = {0};
        size_t n = strcspn(at, " ");
        status = parse_entry(at, n, opts, &item, err);
        if (status == SM_OK) {
            status = add_item(out, item);
        }
        at += n;
        at += strspn(at, " ");
    }
    return status;
}

/* Places at random, at least 0.35 m apart, joints where the kind sits at a joint. */
static enum sm_status plan_at_random(struct sm_sim_scenario *out, const struct sm_sim_opts *opts)
{
    static const enum sm_sim_kind mix[] = {SM_SIM_CRACK,          SM_SIM_CRACK,      SM_SIM_BREAK,
                                           SM_SIM_ROOTS,          SM_SIM_CONNECTION, SM_SIM_CONNECTION,
                                           SM_SIM_INFILTRATION,   SM_SIM_DEPOSIT,    SM_SIM_OFFSET_JOINT,
                                           SM_SIM_CIRCULAR_CRACK, SM_SIM_LONG_CRACK, SM_SIM_WATER};
    struct sm_test_random random = sm_sim__stream(opts->seed, SM_SIM_STREAM_PLAN);
    double first_m = fmax(0, opts->motion.start_m) + 0.4, place_m = first_m;
    double last_m = (opts->motion.stop_at_m > 0 ? opts->motion.stop_at_m : opts->pipe.length_m) - 0.4;
    double step_m =
        (last_m - first_m) / (double)(opts->pipe.n_observations > 0 ? opts->pipe.n_observations : 1);
    enum sm_status status = SM_OK;
    for (int64_t i = 0; status == SM_OK && i < opts->pipe.n_observations && step_m > 0.35; i++) {
        struct sm_sim_item item = {.kind = mix[sm_test_int(&random, 0, sizeof mix / sizeof mix[0] - 1)]};
        place_m = fmax(place_m, first_m + step_m * ((double)i + sm_test_uniform(&random, 0.05, 0.65)));
        if (kinds[item.kind].is_at_joint) {
            place_m = ceil(place_m / opts->pipe.unit_length_m) * opts->pipe.unit_length_m;
        }
        finish_item(&item, round(place_m * 100) / 100, SM_NAN, 0, sm_test_next(&random));
        if (item.end_m > last_m) {
            break;
        }
        place_m = item.end_m + 0.35;
        status = add_item(out, item);
    }
    return status;
}

static enum sm_status add_nodes(struct sm_sim_scenario *out, const struct sm_sim_opts *opts)
{
    struct sm_sim_item start = {.kind = SM_SIM_START_NODE}, finish = {.kind = SM_SIM_FINISH_NODE};
    finish_item(&start, 0, 0, 0, 0);
    finish_item(&finish, opts->pipe.length_m, opts->pipe.length_m, 0, 0);
    enum sm_status status = add_item(out, start);
    return status == SM_OK ? add_item(out, finish) : status;
}

static void number_continuous(struct sm_sim_scenario *scenario)
{
    int32_t id = 0;
    for (size_t i = 0; i < scenario->n_items; i++) {
        scenario->item[i].continuous_id = kinds[scenario->item[i].kind].is_continuous ? ++id : 0;
    }
}

enum sm_status sm_sim__scenario_make(struct sm_sim_scenario *out, const struct sm_sim_opts *opts,
                                     struct sm_error *err)
{
    struct sm_sim_scenario made = {0};
    enum sm_status status = opts->pipe.plan[0] ? plan_by_hand(&made, opts, err) : plan_at_random(&made, opts);
    if (status == SM_OK) {
        status = add_nodes(&made, opts);
    }
    if (status != SM_OK) {
        sm_sim__scenario_release(&made);
        return status;
    }
    qsort(made.item, made.n_items, sizeof *made.item, compare_items);
    number_continuous(&made);
    *out = made;
    return SM_OK;
}

void sm_sim__scenario_release(struct sm_sim_scenario *scenario)
{
    sm_free(scenario->item);
    *scenario = (struct sm_sim_scenario){0};
}
