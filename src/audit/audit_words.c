/* The audit for a terminal: a table of defects, then what a person has to know beyond it, then the sums. */
#include "audit_internal.h"

#include <string.h>

#include "stopmark/schedule.h"

static const struct sm_table_column columns[] = {
    {"Segment", false, false}, {"Seen", false, false},   {"Distance", true, false}, {"Code", false, false},
    {"State", false, false},   {"Repair", false, false}, {"Why", false, true},
};
enum { N_COLUMNS = sizeof columns / sizeof *columns };

struct sm_audit_listing {
    struct sm_arena *arena;
    const char **cell;
    size_t n_cells, capacity;
    size_t n_left_out, limit;
    struct sm_text more; /* lines below the table */
    bool has_failed;
};

enum sm_status sm_audit_listing_new(struct sm_audit_listing **out, size_t limit, struct sm_error *err)
{
    struct sm_audit_listing *l = sm_calloc(1, sizeof *l);
    if (!l || sm_arena_new(&l->arena) != SM_OK) {
        sm_free(l);
        return sm_audit__no_memory(err);
    }
    l->limit = limit;
    *out = l;
    return SM_OK;
}

void sm_audit_listing_free(struct sm_audit_listing **listing)
{
    if (listing && *listing) {
        sm_arena_free(&(*listing)->arena);
        sm_free((*listing)->cell);
        sm_text_release(&(*listing)->more);
        sm_free(*listing);
        *listing = NULL;
    }
}

static void add_cell(struct sm_audit_listing *l, const char *words)
{
    const char *kept = sm_arena_strdup(l->arena, words);
    if (!kept || sm_grow(&l->cell, l->n_cells, &l->capacity, sizeof *l->cell) != SM_OK) {
        l->has_failed = true;
        return;
    }
    l->cell[l->n_cells++] = kept;
}

static void add_defect(struct sm_audit_listing *l, const struct sm_audit *audit, const struct sm_audit_defect *d)
{
    const struct sm_observation *o = &audit->about->first[d->first_idx].alignment->observation[d->observation_idx];
    struct sm_text text = {0};
    add_cell(l, audit->about->segment);
    add_cell(l, o->id);
    sm_audit__add_people_length(&text, o->distance_m, sm_audit__unit(audit));
    add_cell(l, sm_text_str(&text));
    l->has_failed = l->has_failed || text.failed;
    sm_text_clear(&text);
    sm_text_addf(&text, "%s%s%s%s%s", o->code, *o->ch1 ? " " : "", o->ch1, *o->ch2 ? " " : "", o->ch2);
    add_cell(l, sm_text_str(&text));
    add_cell(l, sm_audit_state_name(d->state));
    add_cell(l, d->repair);
    add_cell(l, d->reason);
    l->has_failed = l->has_failed || text.failed;
    sm_text_release(&text);
}

/* Words out of files into a line of ours. */
static void add_plain(struct sm_text *text, const char *words)
{
    struct sm_error line;
    sm_error_set(&line, SM_OK, "%s", words);
    sm_text_add(text, line.text);
}

static void add_more(struct sm_audit_listing *l, const struct sm_audit *audit)
{
    struct sm_text *text = &l->more;
    for (size_t i = 0; i < audit->n_not_made; i++) {
        const struct sm_audit_not_made *item = &audit->not_made[i];
        sm_text_add(text, "!  ");
        add_plain(text, audit->about->segment);
        sm_text_addf(text, " %s is planned and not made: ",
                     audit->about->first[item->first_idx].plan->repair[item->repair_idx].id);
        add_plain(text, item->reason);
        sm_text_add(text, "\n");
    }
    for (size_t i = 0; i < audit->n_liners; i++) {
        if (!audit->liner[i].row->repair) {
            sm_text_add(text, "!  ");
            add_plain(text, audit->about->segment);
            sm_text_add(text, " ");
            add_plain(text, audit->liner[i].row->recorded->row.repair);
            sm_text_add(text, " was made and not planned\n");
        }
    }
    for (size_t i = 0; i < audit->n_new; i++) {
        const struct sm_audit_new_defect *item = &audit->new_defect[i];
        const struct sm_observation *o =
            &audit->about->recheck[item->recheck_idx].alignment->observation[item->observation_idx];
        sm_text_add(text, "!  ");
        add_plain(text, audit->about->segment);
        sm_text_addf(text, " new in the recheck: %s %s at ", o->id, o->code);
        sm_audit__add_people_length(text, item->start_m, sm_audit__unit(audit));
        sm_text_addf(text, "%s%s\n", *item->where ? ", " : "", item->where);
    }
    for (size_t i = 0; i < audit->n_openings; i++) {
        const struct sm_audit_opening *item = &audit->opening[i];
        if (strcmp(item->state, "reopened") != 0) {
            sm_text_add(text, "!  ");
            add_plain(text, audit->about->segment);
            sm_text_addf(text, " connection %s: %s (%s)\n",
                         audit->about->first[item->first_idx].alignment->observation[item->observation_idx].id, item->words,
                         audit->liner[item->liner_idx].row->recorded->row.repair);
        }
    }
}

static void add_axes(struct sm_audit_listing *l, const struct sm_audit *audit)
{
    struct sm_text *text = &l->more;
    for (size_t r = 0; audit->about->n_first && r < audit->about->n_rechecks; r++) {
        const struct sm_audit_axis *axis = sm_audit_get_axis(audit, audit->about->n_first - 1, r);
        sm_text_add(text, "   ");
        add_plain(text, audit->about->segment);
        sm_text_addf(text, " recheck %s: %zu ties with the first survey%s", audit->about->recheck[r].date, axis->n_ties,
                     axis->is_reverse ? ", from the other end" : "");
        if (isfinite(axis->misclosure_m)) {
            sm_text_add(text, ", misclosure ");
            sm_audit__add_people_length(text, axis->misclosure_m, sm_audit__unit(audit));
        }
        sm_text_add(text, ", places are known to within ");
        sm_audit__add_people_length(text, axis->error_m, sm_audit__unit(audit));
        sm_text_add(text, "\n");
    }
}

static void add_acceptance(struct sm_audit_listing *l, const struct sm_audit *audit)
{
    if (audit->acceptance && *audit->acceptance->missing) {
        sm_text_add(&l->more, "!  ");
        add_plain(&l->more, audit->about->segment);
        sm_text_addf(&l->more, " not on file for acceptance: %s\n", audit->acceptance->missing);
    }
}

static void add_ratings(struct sm_audit_listing *l, const struct sm_audit *audit)
{
    size_t n = audit->ratings ? audit->about->n_first + audit->about->n_rechecks : 0;
    for (size_t i = 0; i < n; i++) {
        bool is_first = i < audit->about->n_first;
        const struct sm_audit_survey *survey = is_first ? &audit->about->first[i] : &audit->about->recheck[i - audit->about->n_first];
        sm_text_add(&l->more, "   ");
        add_plain(&l->more, audit->about->segment);
        sm_text_addf(&l->more, " rating of the %s %s: ", is_first ? "survey" : "recheck", survey->date);
        sm_audit__add_rating(&l->more, &audit->ratings[i]);
        sm_text_add(&l->more, "\n");
    }
}

enum sm_status sm_audit_listing_add(struct sm_audit_listing *listing, const struct sm_audit *audit, struct sm_error *err)
{
    for (size_t i = 0; i < audit->n_defects; i++) {
        if (listing->n_cells / N_COLUMNS >= listing->limit) {
            listing->n_left_out++;
        } else {
            add_defect(listing, audit, &audit->defect[i]);
        }
    }
    if (listing->n_left_out == 0) {
        add_more(listing, audit);
        add_axes(listing, audit);
        add_acceptance(listing, audit);
        add_ratings(listing, audit);
    }
    return listing->has_failed || listing->more.failed ? sm_audit__no_memory(err) : SM_OK;
}

/* ---- sums ---- */

static void add_states(struct sm_text *out, const struct sm_audit_totals *totals)
{
    sm_text_addf(out, "%lld defects:", (long long)totals->n_defects);
    bool has_any = false;
    for (size_t i = 0; i < SM_AUDIT_N_STATES; i++) {
        if (totals->count[i]) {
            sm_text_addf(out, "%s %lld %s", has_any ? "," : "", (long long)totals->count[i],
                         sm_audit_state_name((enum sm_audit_state)i));
            has_any = true;
        }
    }
    sm_text_add(out, has_any ? "\n" : " none\n");
}

/* "Ann: 3 of 4 defects done, 3 liners, 1.80 m". */
static void add_tally(struct sm_text *out, const struct sm_audit_tally *tally, enum sm_unit unit)
{
    add_plain(out, *tally->name ? tally->name : "none");
    sm_text_addf(out, ": %lld of %lld defects done", (long long)(tally->count[SM_AUDIT_INSTALLED] + tally->count[SM_AUDIT_PROVEN]),
                 (long long)tally->n_defects);
    if (tally->n_liners) {
        sm_text_addf(out, ", %lld liner%s, ", (long long)tally->n_liners, tally->n_liners == 1 ? "" : "s");
        sm_audit__add_people_length(out, tally->liner_m, unit);
    }
}

static void add_tallies(struct sm_text *out, const struct sm_audit_totals *totals, enum sm_audit_group group)
{
    enum { MOST = 12 };
    size_t n = totals->n_tallies[group];
    if (n == 0) {
        return;
    }
    sm_text_addf(out, "by %s: ", sm_audit_group_name(group));
    for (size_t i = 0; i < n && i < MOST; i++) {
        sm_text_add(out, i ? "; " : "");
        add_tally(out, &totals->tally[group][i], sm_audit__totals_unit(totals));
    }
    if (n > MOST) {
        sm_text_addf(out, "; and %zu more", n - MOST);
    }
    sm_text_add(out, "\n");
}

static void add_ages(struct sm_text *out, const struct sm_audit_totals *totals)
{
    bool has_any = false;
    for (size_t i = 0; i < SM_AUDIT_N_AGES; i++) {
        if (totals->age[i]) {
            sm_text_addf(out, "%s%s %lld", has_any ? ", " : "not done with, by age from the survey: ", sm_audit_age_name(i),
                         (long long)totals->age[i]);
            has_any = true;
        }
    }
    sm_text_add(out, has_any ? "\n" : "");
}

static void add_sums(struct sm_text *out, const struct sm_audit_totals *totals)
{
    add_states(out, totals);
    sm_text_addf(out, "%lld liners (%lld not planned), ", (long long)totals->n_liners, (long long)totals->n_unplanned);
    sm_audit__add_people_length(out, totals->repaired_m, sm_audit__totals_unit(totals));
    sm_text_addf(out, " of pipe repaired; %lld planned repairs not made; %lld new defects\n", (long long)totals->n_not_made,
                 (long long)totals->n_new);
    for (int g = SM_AUDIT_BY_TREATMENT; g < SM_AUDIT_N_GROUPS; g++) {
        add_tallies(out, totals, (enum sm_audit_group)g);
    }
    add_ages(out, totals);
    for (size_t i = 0; i < totals->n_due; i++) {
        const struct sm_audit_due *due = &totals->due[i];
        sm_text_add(out, due->is_overdue ? "!  " : "   ");
        add_plain(out, due->segment);
        sm_text_add(out, " ");
        add_plain(out, due->repair);
        sm_text_addf(out, " of %s: recheck due %s%s\n", due->set_on, due->due_on, due->is_overdue ? ", overdue" : "");
    }
}

enum sm_status sm_audit_listing_print(struct sm_text *out, struct sm_audit_listing *listing,
                                      const struct sm_audit_totals *totals, int width, bool utf8, struct sm_error *err)
{
    struct sm_table table = {columns, N_COLUMNS, listing->cell, listing->n_cells};
    enum sm_status status = listing->n_cells ? sm_schedule_print_table(out, &table, width, utf8, err) : SM_OK;
    if (status != SM_OK) {
        return status;
    }
    if (listing->n_left_out) {
        sm_text_addf(out, "... and %zu more; --out DIR writes all of them\n", listing->n_left_out);
    }
    sm_text_add(out, "\n");
    sm_text_add(out, sm_text_str(&listing->more));
    if (listing->more.length) {
        sm_text_add(out, "\n");
    }
    add_sums(out, totals);
    return out->failed ? sm_audit__no_memory(err) : SM_OK;
}
