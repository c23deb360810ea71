/* schedule.csv: one row a repair, for a spreadsheet. Lengths in metres; text cannot be taken for a formula.
 */
#include "schedule_internal.h"

#include <math.h>

static const char header[] =
    "segment,order,repair,kit,liner_length_m,start_m,end_m,stop_m,stop_from_far_m,mark_m,enter_at,"
    "covers,error_m,doubtful,slack_m,prepare,reopens,cost\n";

static void add_comma(struct sm_text *out)
{
    sm_text_add(out, ",");
}

/* Empty where not known. */
static void add_number(struct sm_text *out, double value, int max_decimals)
{
    add_comma(out);
    if (isfinite(value)) {
        sm_text_add_number(out, value, 0, max_decimals);
    }
}

static void add_field(struct sm_text *out, const char *text)
{
    add_comma(out);
    sm_text_add_csv(out, text ? text : "");
}

static void add_ids(struct sm_text *out, const struct sm_schedule *s, const int32_t *idx, size_t n)
{
    struct sm_text ids = {0};
    sm_schedule__add_ids(&ids, s, idx, n, " ");
    out->failed |= ids.failed;
    add_field(out, sm_text_str(&ids));
    sm_schedule__drop(&ids, &out->failed);
}

static void add_prepare(struct sm_text *out, const struct sm_repair *repair)
{
    struct sm_text all = {0};
    for (size_t i = 0; i < repair->n_prepare; i++) {
        sm_text_addf(&all, "%s%s", i ? "; " : "", repair->prepare[i]);
    }
    out->failed |= all.failed;
    add_field(out, sm_text_str(&all));
    sm_schedule__drop(&all, &out->failed);
}

static void add_repair(struct sm_text *out, const struct sm_schedule *s, size_t repair_idx)
{
    const struct sm_repair *repair = &s->plan->repair[repair_idx];
    const struct sm_kit *kit = sm_schedule__kit(s, repair);
    double stop_m = sm_schedule__repair_stop_m(repair);
    sm_text_add_csv(out, s->segment->id ? s->segment->id : "");
    add_number(out, (double)(repair_idx + 1), 0);
    add_field(out, repair->id);
    add_field(out, kit ? kit->name : "");
    add_number(out, sm_schedule__um_to_m(repair->length_um), 6);
    add_number(out, sm_schedule__repair_start_m(repair), 6);
    add_number(out, sm_schedule__repair_end_m(repair), 6);
    add_number(out, stop_m, 6);
    add_number(out, s->alignment->length_m - stop_m, 6);
    add_number(out, repair->mark_m, 6);
    add_field(out, sm_schedule__crew_end(s));
    add_ids(out, s, repair->covers, repair->n_covers);
    add_number(out, sm_schedule__repair_error_m(s, repair), 6);
    add_field(out, sm_schedule__repair_is_doubtful(s, repair) ? "yes" : "no");
    add_number(out, repair->slack_m, 6);
    add_prepare(out, repair);
    add_ids(out, s, repair->reopens, repair->n_reopens);
    add_number(out, repair->cost, 2);
    sm_text_add(out, "\n");
}

enum sm_status sm_schedule_write_csv(struct sm_text *out, const struct sm_schedule *schedule,
                                     struct sm_error *err)
{
    sm_text_add(out, header);
    for (size_t i = 0; i < schedule->plan->n_repairs; i++) {
        add_repair(out, schedule, i);
    }
    return sm_schedule__finish(out, err);
}
