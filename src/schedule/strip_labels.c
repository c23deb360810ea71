/* Labels of the strip: what they say, which stand, where, and on how many rows. */
#include "strip_internal.h"

#include <math.h>

#define GAP_BETWEEN_LABELS 0.5 /* in text sizes */

void sm_schedule__strip_set_row(struct sm_strip_work *strip, int row, int n_rows)
{
    strip->row = row;
    strip->n_rows = n_rows;
    strip->from_m = strip->length_m * row / n_rows;
    strip->to_m = strip->length_m * (row + 1) / n_rows;
}

/* ---- words ---- */

void sm_schedule__add_repair_title(struct sm_text *text, const struct sm_schedule *s,
                                   const struct sm_repair *repair)
{
    const struct sm_kit *kit = sm_schedule__kit(s, repair);
    sm_text_addf(text, "%s: stop ", repair->id);
    sm_schedule__add_length(text, s, sm_schedule__repair_stop_m(repair));
    sm_text_add(text, ", mark ");
    sm_schedule__add_length(text, s, repair->mark_m);
    sm_text_addf(text, ", %s, liner from ", kit ? kit->name : "kit not known");
    sm_schedule__add_length(text, s, sm_schedule__repair_start_m(repair));
    sm_text_add(text, " to ");
    sm_schedule__add_length(text, s, sm_schedule__repair_end_m(repair));
    sm_text_add(text, ", for ");
    sm_schedule__add_ids(text, s, repair->covers, repair->n_covers, ", ");
}

void sm_schedule__add_observation_title(struct sm_text *text, const struct sm_schedule *s,
                                        size_t observation_idx)
{
    const struct sm_observation *observation = &s->alignment->observation[observation_idx];
    const struct sm_repair *repair = sm_schedule__repair_of(s, observation_idx);
    const char *meaning = sm_schedule__meaning(s, observation);
    const char *reason = sm_schedule__unrepaired_reason(s, observation_idx);
    sm_text_addf(text, "%s: ", observation->id);
    sm_schedule__add_length(text, s, observation->distance_m);
    sm_text_add(text, " \u00b1 ");
    sm_schedule__add_error(text, s, observation->error_m);
    sm_text_add(text, ", ");
    sm_schedule__add_code(text, observation);
    sm_text_addf(text, "%s%s, %s", *meaning ? " " : "", meaning, sm_treatment_name(observation->treatment));
    if (repair) {
        sm_text_addf(text, ", %s", repair->id);
    } else if (reason) {
        sm_text_addf(text, ", not repaired: %s", reason);
    }
    if (sm_schedule__is_flagged(observation)) {
        sm_text_add(text, "; ");
        sm_schedule__add_flag_words(text, observation->flags, ", ");
    }
}

static void add_label_line(const struct sm_strip_work *strip, struct sm_strip_label *label,
                           const struct sm_text *text)
{
    struct sm_type type = {strip->em, label->n_lines == 0, SM_ANCHOR_MIDDLE, SM_INK_LINE};
    char *line = label->line[label->n_lines++];
    sm_strcopy(line, sizeof label->line[0], sm_text_str(text));
    label->width = fmax(label->width, strip->pen->text_width(strip->pen, type, line));
}

static void add_length_line(const struct sm_strip_work *strip, struct sm_strip_label *label, double length_m)
{
    struct sm_text text = {0};
    sm_schedule__add_cell_length(&text, strip->s, length_m);
    add_label_line(strip, label, &text);
    sm_schedule__drop(&text, strip->has_failed);
}

static struct sm_strip_label stop_label(const struct sm_strip_work *strip, size_t idx)
{
    const struct sm_repair *repair = &strip->s->plan->repair[idx];
    double stop_m = sm_schedule__repair_stop_m(repair);
    struct sm_strip_label label = {.at_x = sm_schedule__strip_x(strip, stop_m), .rank = 9, .idx = idx};
    struct sm_text text = {0};
    sm_text_addf(&text, "%s%s", repair->id, sm_schedule__repair_is_doubtful(strip->s, repair) ? " ?" : "");
    add_label_line(strip, &label, &text);
    sm_schedule__drop(&text, strip->has_failed);
    add_length_line(strip, &label, stop_m);
    return label;
}

static int rank_of(const struct sm_observation *observation)
{
    static const int ranks[] = {[SM_TREATMENT_NONE] = 0,
                                [SM_TREATMENT_LINE] = 3,
                                [SM_TREATMENT_PREPARE] = 3,
                                [SM_TREATMENT_REFER] = 3,
                                [SM_TREATMENT_CLEAR] = 2};
    return ranks[observation->treatment] + (sm_schedule__is_doubtful(observation) ? 1 : 0);
}

static struct sm_strip_label name_label(const struct sm_strip_work *strip, size_t idx)
{
    const struct sm_observation *observation = &strip->s->alignment->observation[idx];
    struct sm_strip_label label = {.at_x = sm_schedule__strip_x(strip, observation->distance_m),
                                   .rank = rank_of(observation),
                                   .idx = idx};
    struct sm_text text = {0};
    sm_text_addf(&text, "%s%s", observation->id, sm_schedule__is_doubtful(observation) ? " ?" : "");
    add_label_line(strip, &label, &text);
    sm_schedule__clear(&text, strip->has_failed);
    if (!strip->opts->is_work_only) {
        sm_text_add(&text, observation->code ? observation->code : "");
        if (text.length > 8) {
            sm_schedule__clear(&text, strip->has_failed);
            sm_text_add(&text, "\u2026");
        }
        add_label_line(strip, &label, &text);
    }
    sm_schedule__drop(&text, strip->has_failed);
    add_length_line(strip, &label, observation->distance_m);
    return label;
}

/* Nodes are the ends of the drawing already. */
bool sm_schedule__strip_shows(const struct sm_strip_work *strip, const struct sm_observation *observation)
{
    bool is_idle = observation->treatment == SM_TREATMENT_NONE && !sm_schedule__is_doubtful(observation);
    return isfinite(observation->distance_m) && !observation->is_node &&
           !(is_idle && strip->opts->is_work_only);
}

/* ---- placing labels ---- */

void sm_schedule__strip_collect_labels(struct sm_strip_work *strip)
{
    const struct sm_schedule *s = strip->s;
    strip->stops.n = strip->names.n = 0;
    for (size_t i = 0; i < s->plan->n_repairs; i++) {
        if (sm_schedule__strip_holds(strip, sm_schedule__repair_stop_m(&s->plan->repair[i]))) {
            strip->stops.item[strip->stops.n++] = stop_label(strip, i);
        }
    }
    for (size_t i = 0; i < s->alignment->n_observations; i++) {
        const struct sm_observation *observation = &s->alignment->observation[i];
        if (sm_schedule__strip_shows(strip, observation) &&
            sm_schedule__strip_holds(strip, observation->distance_m)) {
            strip->names.item[strip->names.n++] = name_label(strip, i);
        }
    }
}

static double widths(const struct sm_strip_labels *labels, double gap)
{
    double total = 0;
    for (size_t i = 0; i < labels->n; i++) {
        total += labels->item[i].is_dropped ? 0 : labels->item[i].width + gap;
    }
    return total;
}

/* Leave out the least important labels until the rest fits; among equals the last. @return how many were left
 * out. */
static size_t drop_labels(struct sm_strip_labels *labels, double gap, double room)
{
    size_t n_dropped = 0;
    while (widths(labels, gap) > room) {
        struct sm_strip_label *least = NULL;
        for (size_t i = 0; i < labels->n; i++) {
            struct sm_strip_label *label = &labels->item[i];
            if (!label->is_dropped && (!least || label->rank <= least->rank)) {
                least = label;
            }
        }
        if (!least) {
            break;
        }
        least->is_dropped = true;
        n_dropped++;
    }
    return n_dropped;
}

static void sort_labels(struct sm_strip_labels *labels)
{
    for (size_t i = 1; i < labels->n; i++) { /* few, and nearly in order: insertion keeps equals in place */
        struct sm_strip_label moved = labels->item[i];
        size_t k = i;
        for (; k > 0 && labels->item[k - 1].at_x > moved.at_x; k--) {
            labels->item[k] = labels->item[k - 1];
        }
        labels->item[k] = moved;
    }
}

/*
 * Side by side without overlap, each as near to its place as its neighbours let it: with the widths before it
 * taken off, the places must not fall, and the nearest such places in the sense of least squares are means of
 * blocks (pool adjacent violators: Barlow, Bartholomew, Bremner and Brunk, Statistical Inference under Order
 * Restrictions, 1972).
 */
static void spread_labels(struct sm_strip_labels *labels, double gap, double low, double high,
                          bool *has_failed)
{
    double offset = 0;
    size_t n_blocks = 0;
    struct block {
        double sum;
        size_t n;
    } *block = sm_calloc(labels->n ? labels->n : 1, sizeof *block);
    if (!block) {
        *has_failed = true;
        return;
    }
    for (size_t i = 0; i < labels->n; i++) {
        struct sm_strip_label *label = &labels->item[i];
        if (label->is_dropped) {
            continue;
        }
        block[n_blocks++] = (struct block){label->at_x - label->width / 2 - offset, 1};
        offset += label->width + gap;
        while (n_blocks > 1 && block[n_blocks - 2].sum / (double)block[n_blocks - 2].n >=
                                   block[n_blocks - 1].sum / (double)block[n_blocks - 1].n) {
            block[n_blocks - 2].sum += block[n_blocks - 1].sum;
            block[n_blocks - 2].n += block[n_blocks - 1].n;
            n_blocks--;
        }
    }
    double last = high - (offset - gap);
    size_t i_block = 0, used = 0;
    offset = 0;
    for (size_t i = 0; i < labels->n; i++) {
        struct sm_strip_label *label = &labels->item[i];
        if (label->is_dropped) {
            continue;
        }
        double mean = block[i_block].sum / (double)block[i_block].n;
        label->x = fmax(fmin(mean, last), low) + offset;
        offset += label->width + gap;
        if (++used == block[i_block].n) {
            used = 0;
            i_block++;
        }
    }
    sm_free(block);
}

void sm_schedule__strip_place_labels(struct sm_strip_work *strip, struct sm_strip_labels *labels)
{
    double gap = GAP_BETWEEN_LABELS * strip->em;
    sort_labels(labels);
    strip->n_unnamed += drop_labels(labels, gap, strip->opts->width);
    spread_labels(labels, gap, 0, strip->opts->width, strip->has_failed);
}

/* ---- how many rows ---- */

static double shortest_liner_m(const struct sm_plan *plan)
{
    double shortest_m = HUGE_VAL;
    for (size_t i = 0; i < plan->n_repairs; i++) {
        shortest_m = fmin(shortest_m, sm_schedule__um_to_m(plan->repair[i].length_um));
    }
    return shortest_m;
}

static bool rows_suffice(struct sm_strip_work *strip, int n_rows)
{
    double gap = GAP_BETWEEN_LABELS * strip->em;
    double px_per_m = (strip->x1 - strip->x0) * n_rows / strip->length_m;
    if (shortest_liner_m(strip->s->plan) * px_per_m < (strip->opts->is_work_only ? 0.8 : 1.1) * strip->em) {
        return false;
    }
    for (int row = 0; row < n_rows; row++) {
        sm_schedule__strip_set_row(strip, row, n_rows);
        sm_schedule__strip_collect_labels(strip);
        if (widths(&strip->stops, gap) > strip->opts->width ||
            widths(&strip->names, gap) > strip->opts->width) {
            return false;
        }
    }
    return true;
}

/* The fewest rows on which liners are wide enough and names fit; for very many, a few more than the fewest.
 */
int sm_schedule__strip_choose_rows(struct sm_strip_work *strip)
{
    int n_rows = 1;
    while (n_rows < strip->opts->max_rows && !rows_suffice(strip, n_rows)) {
        n_rows += 1 + n_rows / 8;
    }
    return n_rows < strip->opts->max_rows ? n_rows : strip->opts->max_rows;
}
