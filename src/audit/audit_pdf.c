/* audit.pdf: the audit for the file, on paper: totals, then each segment with its strip, its defects and its pictures. */
#include <stdio.h>
#include <string.h>

#include "audit_tracks.h"

static const struct sm_table_column defect_columns[] = {
    {"Seen", false, false}, {"Distance", true, false}, {"Code", false, false},
    {"State", false, false}, {"Repair", false, false}, {"Why", false, true},
};
static const double defect_shares[] = {0.07, 0.11, 0.10, 0.11, 0.09, 0.52};

/* Cells in an arena, row by row. */
struct cells {
    struct sm_arena *arena;
    const char **cell;
    size_t n, capacity;
    bool has_failed;
};

static void add_cell(struct cells *c, const char *words)
{
    const char *kept = sm_arena_strdup(c->arena, words);
    if (!kept || sm_grow(&c->cell, c->n, &c->capacity, sizeof *c->cell) != SM_OK) {
        c->has_failed = true;
        return;
    }
    c->cell[c->n++] = kept;
}

static void add_text_cell(struct cells *c, struct sm_text *text)
{
    c->has_failed = c->has_failed || text->failed;
    add_cell(c, sm_text_str(text));
    sm_text_clear(text);
}

static bool begin_cells(struct cells *c)
{
    *c = (struct cells){0};
    return sm_arena_new(&c->arena) == SM_OK;
}

static bool end_cells(struct cells *c)
{
    bool is_good = !c->has_failed;
    sm_arena_free(&c->arena);
    sm_free(c->cell);
    return is_good;
}

/* ---- totals ---- */

static bool add_states(struct sm_paper_doc *doc, const struct sm_audit_totals *totals)
{
    static const struct sm_table_column columns[] = {{"State", false, false}, {"Defects", true, false}, {"", false, false}};
    static const double shares[] = {0.25, 0.15, 0.6};
    static const char *const words[SM_AUDIT_N_STATES] = {
        "calls for repair, none is planned", "a repair is planned and not made",
        "liners in place cover it; no recheck has shown them", "a liner is in place and does not cover it",
        "a recheck shows the liner and not the defect", "a recheck logs it again",
        "the recheck did not reach it or could not see", "not for a liner: an engineer or another method"};
    struct cells c;
    struct sm_text text = {0};
    if (!begin_cells(&c)) {
        return false;
    }
    for (size_t i = 0; i < SM_AUDIT_N_STATES; i++) {
        add_cell(&c, sm_audit_state_name((enum sm_audit_state)i));
        sm_text_addf(&text, "%lld", (long long)totals->count[i]);
        add_text_cell(&c, &text);
        add_cell(&c, words[i]);
    }
    sm_text_release(&text);
    sm_paper_table(doc, &(struct sm_table){columns, 3, c.cell, c.n}, shares);
    return end_cells(&c);
}

static bool add_tally(struct sm_paper_doc *doc, const struct sm_audit_totals *totals, enum sm_audit_group group)
{
    bool is_feet = sm_audit__totals_unit(totals) == SM_UNIT_FT;
    const struct sm_table_column columns[] = {
        {"", false, false},       {"Defects", true, false}, {"Done", true, false},
        {"Missed", true, false},  {"Remains", true, false}, {"Unseen", true, false},
        {"To do", true, false},   {"Liners", true, false},  {is_feet ? "ft of liner" : "m of liner", true, false}};
    static const double shares[] = {0.28, 0.09, 0.09, 0.09, 0.09, 0.09, 0.09, 0.08, 0.10};
    struct cells c;
    struct sm_text text = {0};
    if (!begin_cells(&c)) {
        return false;
    }
    for (size_t i = 0; i < totals->n_tallies[group]; i++) {
        const struct sm_audit_tally *t = &totals->tally[group][i];
        const int64_t numbers[] = {t->n_defects, t->count[SM_AUDIT_INSTALLED] + t->count[SM_AUDIT_PROVEN],
                                   t->count[SM_AUDIT_MISSED], t->count[SM_AUDIT_REMAINS], t->count[SM_AUDIT_UNSEEN],
                                   t->count[SM_AUDIT_OPEN] + t->count[SM_AUDIT_PLANNED] + t->count[SM_AUDIT_REFERRED],
                                   t->n_liners};
        add_cell(&c, *t->name ? t->name : "none");
        for (size_t k = 0; k < 7; k++) {
            sm_text_addf(&text, "%lld", (long long)numbers[k]);
            add_text_cell(&c, &text);
        }
        sm_text_add_fixed(&text, is_feet ? t->liner_m / SM_M_PER_FT : t->liner_m, is_feet ? 1 : 2);
        add_text_cell(&c, &text);
    }
    sm_text_release(&text);
    char heading[32];
    snprintf(heading, sizeof heading, "By %s", sm_audit_group_name(group));
    sm_paper_heading(doc, heading);
    sm_paper_table(doc, &(struct sm_table){columns, 9, c.cell, c.n}, shares);
    return end_cells(&c);
}

static bool add_ages(struct sm_paper_doc *doc, const struct sm_audit_totals *totals)
{
    static const struct sm_table_column columns[] = {{"Since the survey", false, false}, {"Defects", true, false}, {"", false, false}};
    static const double shares[] = {0.25, 0.15, 0.6};
    struct cells c;
    struct sm_text text = {0};
    if (!begin_cells(&c)) {
        return false;
    }
    for (size_t i = 0; i < SM_AUDIT_N_AGES; i++) {
        if (totals->age[i]) {
            add_cell(&c, sm_audit_age_name(i));
            sm_text_addf(&text, "%lld", (long long)totals->age[i]);
            add_text_cell(&c, &text);
            add_cell(&c, "");
        }
    }
    sm_text_release(&text);
    if (c.n) {
        sm_paper_heading(doc, "Age of defects that are neither installed nor proven");
        sm_paper_table(doc, &(struct sm_table){columns, 3, c.cell, c.n}, shares);
    }
    return end_cells(&c);
}

static bool add_due(struct sm_paper_doc *doc, const struct sm_audit_totals *totals)
{
    static const struct sm_table_column columns[] = {{"Segment", false, false}, {"Repair", false, false}, {"Set", false, false},
                                                     {"Due", false, false},     {"Seen", false, false},   {"Kit, lot", false, false}};
    static const double shares[] = {0.22, 0.12, 0.14, 0.2, 0.14, 0.18};
    struct cells c;
    struct sm_text text = {0};
    if (!totals->n_due) {
        return true;
    }
    if (!begin_cells(&c)) {
        return false;
    }
    for (size_t i = 0; i < totals->n_due; i++) {
        const struct sm_audit_due *due = &totals->due[i];
        add_cell(&c, due->segment);
        add_cell(&c, due->repair);
        add_cell(&c, due->set_on);
        sm_text_addf(&text, "%s%s", due->due_on, due->is_overdue ? ", overdue" : "");
        add_text_cell(&c, &text);
        add_cell(&c, *due->seen_on ? due->seen_on : "not yet");
        sm_text_addf(&text, "%s%s%s", due->kit, *due->lot ? ", " : "", due->lot);
        add_text_cell(&c, &text);
    }
    sm_text_release(&text);
    sm_paper_heading(doc, "Rechecks due");
    sm_paper_table(doc, &(struct sm_table){columns, 6, c.cell, c.n}, shares);
    return end_cells(&c);
}

static bool add_words(struct sm_paper_doc *doc, const struct sm_audit_totals *totals, const struct sm_audit_head *head)
{
    struct sm_text text = {0};
    sm_text_addf(&text, "As of %s: %lld defects in %lld segments; %lld liners in place (%lld not planned), ", head->today,
                 (long long)totals->n_defects, (long long)totals->n_segments, (long long)totals->n_liners,
                 (long long)totals->n_unplanned);
    sm_audit__add_people_length(&text, totals->repaired_m, sm_audit__totals_unit(totals));
    sm_text_addf(&text, " of pipe repaired; %lld planned repairs not made; %lld new defects.", (long long)totals->n_not_made,
                 (long long)totals->n_new);
    sm_paper_words(doc, sm_text_str(&text));
    sm_text_clear(&text);
    sm_text_addf(&text, "History of the job: %lld events, chain %s. What is printed here can be held against the job with "
                        "stopmark audit --verify.",
                 (long long)head->n_events, head->chain);
    sm_paper_words(doc, sm_text_str(&text));
    if (head->grades) {
        sm_text_clear(&text);
        sm_text_addf(&text, "Ratings by the table of grades %s, which says of its grades: %s.", head->grades->name, head->grades->sources);
        sm_paper_words(doc, sm_text_str(&text));
    }
    bool is_good = !text.failed;
    sm_text_release(&text);
    return is_good;
}

enum sm_status sm_audit_pdf_open(struct sm_paper_doc **out, struct sm_text *pdf, const struct sm_audit_totals *totals,
                                 const struct sm_audit_head *head, struct sm_error *err)
{
    struct sm_paper_doc *doc = NULL;
    struct sm_paper_names names = {"Audit", head->job, head->today, SM_PAPER_A4};
    enum sm_status status = sm_paper_open(&doc, pdf, &names, err);
    if (status != SM_OK) {
        return status;
    }
    struct sm_text title = {0};
    sm_text_addf(&title, "Audit of %s", head->job);
    sm_paper_title(doc, sm_text_str(&title));
    bool is_good = !title.failed && add_words(doc, totals, head) && add_states(doc, totals);
    sm_text_release(&title);
    for (size_t g = 0; is_good && g < SM_AUDIT_N_GROUPS; g++) {
        is_good = totals->n_tallies[g] == 0 || add_tally(doc, totals, (enum sm_audit_group)g);
    }
    is_good = is_good && add_ages(doc, totals) && add_due(doc, totals);
    if (!is_good) {
        (void)!sm_paper_close(&doc, NULL);
        return sm_audit__no_memory(err);
    }
    *out = doc;
    return SM_OK;
}

/* ---- a segment ---- */

static void add_reason(struct sm_text *text, const struct sm_audit *audit, const struct sm_audit_defect *d)
{
    sm_text_add(text, d->reason);
    for (size_t i = 0; i < d->n_liners; i++) {
        const struct sm_recorded *recorded = audit->liner[d->liner[i]].row->recorded;
        for (size_t k = 0; k < recorded->n_remarks; k++) {
            sm_text_addf(text, "; %s: %s", recorded->row.repair, recorded->remark[k].message);
        }
    }
}

static bool add_defects(struct sm_paper_doc *doc, const struct sm_audit *audit, enum sm_unit unit)
{
    struct cells c;
    struct sm_text text = {0};
    if (!begin_cells(&c)) {
        return false;
    }
    for (size_t i = 0; i < audit->n_defects; i++) {
        const struct sm_audit_defect *d = &audit->defect[i];
        const struct sm_observation *o = &audit->about->first[d->first_idx].alignment->observation[d->observation_idx];
        add_cell(&c, o->id);
        sm_audit__add_people_length(&text, o->distance_m, unit);
        add_text_cell(&c, &text);
        sm_text_addf(&text, "%s %s %s", o->code, o->ch1, o->ch2);
        add_text_cell(&c, &text);
        add_cell(&c, sm_audit_state_name(d->state));
        add_cell(&c, d->repair);
        add_reason(&text, audit, d);
        add_text_cell(&c, &text);
    }
    sm_text_release(&text);
    if (c.n) {
        sm_paper_table(doc, &(struct sm_table){defect_columns, 6, c.cell, c.n}, defect_shares);
    } else {
        sm_paper_words(doc, "Nothing here calls for repair.");
    }
    return end_cells(&c);
}

static bool add_pictures(struct sm_paper_doc *doc, const struct sm_audit *audit, const char *folder)
{
    struct sm_text text = {0};
    for (size_t i = 0; audit->still && folder && i < audit->n_defects; i++) {
        const struct sm_audit_defect *d = &audit->defect[i];
        const struct sm_observation *o = &audit->about->first[d->first_idx].alignment->observation[d->observation_idx];
        if (!audit->still[i].before && !audit->still[i].after) {
            continue;
        }
        const char *const names[2] = {audit->still[i].before, audit->still[i].after};
        sm_text_clear(&text);
        sm_text_addf(&text, "%s %s, before", o->id, o->code);
        sm_paper_pictures(doc, folder, names, (const char *const[2]){sm_text_str(&text), audit->still[i].after ? "after" : "after: none"});
    }
    bool is_good = !text.failed;
    sm_text_release(&text);
    return is_good;
}

static bool add_acceptance(struct sm_paper_doc *doc, const struct sm_audit *audit)
{
    const struct sm_audit_acceptance *a = audit->acceptance;
    struct sm_text text = {0};
    if (!a) {
        return true;
    }
    sm_text_addf(&text, "Recording before the work: %s; after: %s; whole length seen after: %s.", a->has_video_before ? "yes" : "no",
                 a->has_video_after ? "yes" : "no", a->is_whole_seen ? "yes" : "no");
    if (*a->missing) {
        sm_text_addf(&text, " Not on file: %s.", a->missing);
    }
    sm_paper_words(doc, sm_text_str(&text));
    bool is_good = !text.failed;
    sm_text_release(&text);
    return is_good;
}

static bool add_ratings(struct sm_paper_doc *doc, const struct sm_audit *audit)
{
    size_t n = audit->ratings ? audit->about->n_first + audit->about->n_rechecks : 0;
    struct sm_text text = {0};
    for (size_t i = 0; i < n; i++) {
        bool is_first = i < audit->about->n_first;
        sm_text_addf(&text, "Rating of the %s %s: ", is_first ? "survey" : "recheck",
                     is_first ? audit->about->first[i].date : audit->about->recheck[i - audit->about->n_first].date);
        sm_audit__add_rating(&text, &audit->ratings[i]);
        sm_text_add(&text, ".");
        sm_paper_words(doc, sm_text_str(&text));
        sm_text_clear(&text);
    }
    bool is_good = !text.failed;
    sm_text_release(&text);
    return is_good;
}

enum sm_status sm_audit_pdf_add(struct sm_paper_doc *doc, const struct sm_audit *audit, const char *folder, struct sm_error *err)
{
    enum sm_unit unit = sm_audit__unit(audit);
    struct sm_arena *arena = NULL;
    struct sm_tracks tracks;
    bool is_good = sm_arena_new(&arena) == SM_OK;
    sm_paper_heading(doc, audit->about->segment);
    for (size_t f = 0; is_good && f < audit->about->n_first; f++) {
        is_good = sm_audit__tracks(&tracks, arena, audit, f, unit);
        if (is_good && tracks.length_m > 0) {
            sm_paper_tracks(doc, &tracks);
        }
    }
    is_good = is_good && add_acceptance(doc, audit) && add_ratings(doc, audit) && add_defects(doc, audit, unit) && add_pictures(doc, audit, folder);
    sm_arena_free(&arena);
    return is_good ? SM_OK : sm_audit__no_memory(err);
}
