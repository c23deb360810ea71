/* audit.html: one file that opens anywhere. Every text out of a file is escaped here and nowhere else. */
#include <string.h>

#include "audit_tracks.h"

static void add_cell(struct sm_text *out, const char *class_name, const char *words)
{
    sm_text_addf(out, "<td%s%s%s>", *class_name ? " class=\"" : "", class_name, *class_name ? "\"" : "");
    sm_text_add_html(out, words);
    sm_text_add(out, "</td>");
}

static void add_length_cell(struct sm_text *out, double length_m, enum sm_unit unit)
{
    sm_text_add(out, "<td class=\"n\">");
    sm_audit__add_people_length(out, length_m, unit);
    sm_text_add(out, "</td>");
}

/* A state in words; what is not done with is marked by more than colour. */
static void add_state_cell(struct sm_text *out, enum sm_audit_state state)
{
    bool needs_eyes = state == SM_AUDIT_MISSED || state == SM_AUDIT_REMAINS || state == SM_AUDIT_UNSEEN ||
                      state == SM_AUDIT_OPEN;
    sm_text_addf(out, "<td class=\"word%s\">%s</td>", needs_eyes ? " doubt" : "", sm_audit_state_name(state));
}

/* ---- a segment ---- */

static void add_remarks(struct sm_text *out, const struct sm_audit *audit, const struct sm_audit_defect *d)
{
    for (size_t i = 0; i < d->n_liners; i++) {
        const struct sm_recorded *recorded = audit->liner[d->liner[i]].row->recorded;
        for (size_t k = 0; k < recorded->n_remarks; k++) {
            sm_text_add(out, "<br><span class=\"soft\">");
            sm_text_add_html(out, recorded->row.repair);
            sm_text_add(out, ": ");
            sm_text_add_html(out, recorded->remark[k].message);
            sm_text_add(out, "</span>");
        }
    }
}

static void add_pictures(struct sm_text *out, const struct sm_audit *audit, size_t defect_idx, const char *folder)
{
    const struct sm_audit_still *still = audit->still && folder ? &audit->still[defect_idx] : NULL;
    if (!still || (!still->before && !still->after)) {
        return;
    }
    sm_text_add(out, "<div class=\"pairs\"><figure>");
    if (!sm_schedule_add_picture(out, folder, still->before, "before the work")) {
        sm_text_add(out, "<div class=\"none\">no picture</div>");
    }
    sm_text_add(out, "<figcaption>before</figcaption></figure><figure>");
    if (!sm_schedule_add_picture(out, folder, still->after, "after the work")) {
        sm_text_add(out, "<div class=\"none\">no picture</div>");
    }
    sm_text_add(out, "<figcaption>after</figcaption></figure></div>");
}

static void add_defect(struct sm_text *out, const struct sm_audit *audit, size_t idx, const char *folder, enum sm_unit unit)
{
    const struct sm_audit_defect *d = &audit->defect[idx];
    const struct sm_observation *o = &audit->about->first[d->first_idx].alignment->observation[d->observation_idx];
    sm_text_addf(out, "<tr%s><th scope=\"row\">%s</th>",
                 d->state == SM_AUDIT_MISSED || d->state == SM_AUDIT_REMAINS ? " class=\"flag\"" : "", o->id);
    add_length_cell(out, o->distance_m, unit);
    sm_text_add(out, "<td class=\"word\">");
    sm_text_add_html(out, o->code);
    sm_text_addf(out, "%s", *o->ch1 ? " " : "");
    sm_text_add_html(out, o->ch1);
    sm_text_addf(out, "%s", *o->ch2 ? " " : "");
    sm_text_add_html(out, o->ch2);
    sm_text_add(out, "</td>");
    add_state_cell(out, d->state);
    add_cell(out, "", d->repair);
    sm_text_add(out, "<td>");
    sm_text_add_html(out, d->reason);
    add_remarks(out, audit, d);
    add_pictures(out, audit, idx, folder);
    sm_text_add(out, "</td></tr>\n");
}

static void add_line(struct sm_text *out, const char *class_name, struct sm_text *words)
{
    sm_text_addf(out, "<li%s>%s", *class_name ? " class=\"note\"" : "", *class_name ? "" : "<b></b>");
    sm_text_add_html(out, sm_text_str(words));
    sm_text_add(out, "</li>\n");
    out->failed |= words->failed;
    sm_text_clear(words);
}

static void add_shown(struct sm_text *out, const struct sm_audit *audit, struct sm_text *words, enum sm_unit unit)
{
    for (size_t i = 0; i < audit->n_not_made; i++) {
        const struct sm_audit_not_made *item = &audit->not_made[i];
        sm_text_addf(words, "%s is planned and not made: %s",
                     audit->about->first[item->first_idx].plan->repair[item->repair_idx].id, item->reason);
        add_line(out, "", words);
    }
    for (size_t i = 0; i < audit->n_liners; i++) {
        if (!audit->liner[i].row->repair) {
            sm_text_addf(words, "%s was made and not planned", audit->liner[i].row->recorded->row.repair);
            add_line(out, "", words);
        }
    }
    for (size_t i = 0; i < audit->n_new; i++) {
        const struct sm_audit_new_defect *item = &audit->new_defect[i];
        const struct sm_observation *o =
            &audit->about->recheck[item->recheck_idx].alignment->observation[item->observation_idx];
        sm_text_addf(words, "new in the recheck: %s %s at ", o->id, o->code);
        sm_audit__add_people_length(words, item->start_m, unit);
        sm_text_addf(words, "%s%s", *item->where ? ", " : "", item->where);
        add_line(out, "", words);
    }
    for (size_t i = 0; i < audit->n_openings; i++) {
        const struct sm_audit_opening *item = &audit->opening[i];
        sm_text_addf(words, "connection %s at %s: %s",
                     audit->about->first[item->first_idx].alignment->observation[item->observation_idx].id,
                     audit->liner[item->liner_idx].row->recorded->row.repair, item->words);
        add_line(out, strcmp(item->state, "reopened") == 0 ? "note" : "", words);
    }
}

static void add_axes(struct sm_text *out, const struct sm_audit *audit, struct sm_text *words, enum sm_unit unit)
{
    for (size_t r = 0; r < audit->about->n_rechecks; r++) {
        const struct sm_audit_axis *axis = sm_audit_get_axis(audit, 0, r);
        sm_text_addf(words, "recheck %s: %zu ties with the first survey%s, misclosure ", audit->about->recheck[r].date,
                     axis->n_ties, axis->is_reverse ? ", from the other end" : "");
        sm_audit__add_people_length(words, axis->misclosure_m, unit);
        sm_text_add(words, ", places known to within ");
        sm_audit__add_people_length(words, axis->error_m, unit);
        add_line(out, "note", words);
    }
}

static void add_strips(struct sm_text *out, const struct sm_audit *audit, enum sm_unit unit)
{
    for (size_t f = 0; f < audit->about->n_first; f++) {
        struct sm_arena *arena = NULL;
        struct sm_tracks tracks;
        bool is_made = sm_arena_new(&arena) == SM_OK && sm_audit__tracks(&tracks, arena, audit, f, unit);
        if (is_made && tracks.length_m > 0) {
            sm_text_add(out, "<div class=\"wide\">");
            sm_schedule_add_tracks(out, &tracks);
            sm_text_add(out, "</div>\n");
        }
        out->failed |= !is_made;
        sm_arena_free(&arena);
    }
}

/* What owners' specifications ask to have on file. */
static void add_acceptance(struct sm_text *out, const struct sm_audit *audit, struct sm_text *words)
{
    const struct sm_audit_acceptance *a = audit->acceptance;
    enum sm_unit unit = sm_audit__unit(audit);
    if (!a) {
        return;
    }
    sm_text_addf(out, "<p>Recording before the work: %s; after: %s; whole length seen after: %s.", a->has_video_before ? "yes" : "no",
                 a->has_video_after ? "yes" : "no", a->is_whole_seen ? "yes" : "no");
    for (size_t i = 0; i < a->n_connections; i++) {
        const struct sm_audit_connection *c = &a->connection[i];
        sm_text_addf(words, "%s %s at ", i ? ";" : " Connections:",
                     audit->about->first[0].alignment->observation[c->observation_idx].id);
        sm_audit__add_people_length(words, c->survey_m, unit);
        sm_text_add(words, ", after the work ");
        sm_audit__add_people_length(words, c->recheck_m, unit);
    }
    sm_text_add_html(out, sm_text_str(words));
    sm_text_add(out, a->n_connections ? "." : "");
    sm_text_clear(words);
    if (*a->missing) {
        sm_text_add(out, " <strong>Not on file: ");
        sm_text_add_html(out, a->missing);
        sm_text_add(out, ".</strong>");
    }
    sm_text_add(out, "</p>\n");
}

/* Every survey with what it is rated by the owner's table. */
static void add_ratings(struct sm_text *out, const struct sm_audit *audit)
{
    size_t n = audit->ratings ? audit->about->n_first + audit->about->n_rechecks : 0;
    if (n == 0) {
        return;
    }
    sm_text_add(out, "<h3>Ratings</h3><div class=\"wide\"><table><thead><tr><th></th><th></th>");
    for (int grade = SM_AUDIT_N_GRADES; grade >= 1; grade--) {
        sm_text_addf(out, "<th class=\"n\">grade %d</th>", grade);
    }
    sm_text_add(out, "<th class=\"n\">rating</th><th class=\"n\">index</th><th class=\"n\">quick</th></tr></thead><tbody>\n");
    for (size_t i = 0; i < n * SM_AUDIT_N_RATED; i++) {
        size_t s = i / SM_AUDIT_N_RATED;
        bool is_first = s < audit->about->n_first;
        const struct sm_audit_rating *rating = &audit->ratings[s].of[i % SM_AUDIT_N_RATED];
        char quick[5];
        sm_audit_rating_quick(quick, rating);
        sm_text_addf(out, "<tr><th scope=\"row\">%s %s</th>", is_first ? "survey" : "recheck",
                     is_first ? audit->about->first[s].date : audit->about->recheck[s - audit->about->n_first].date);
        add_cell(out, "word", sm_audit_rated_name((enum sm_audit_rated)(i % SM_AUDIT_N_RATED)));
        for (int grade = SM_AUDIT_N_GRADES; grade >= 1; grade--) {
            sm_text_addf(out, "<td class=\"n\">%lld</td>", (long long)rating->count[grade - 1]);
        }
        sm_text_addf(out, "<td class=\"n\">%lld</td><td class=\"n\">", (long long)rating->sum);
        sm_text_add_fixed(out, sm_audit_rating_index(rating), 2);
        sm_text_addf(out, "</td><td class=\"n\">%s</td></tr>\n", quick);
    }
    sm_text_add(out, "</tbody></table></div>\n");
}

void sm_audit_html_add(struct sm_text *body, const struct sm_audit *audit, const char *folder)
{
    enum sm_unit unit = sm_audit__unit(audit);
    struct sm_text words = {0};
    sm_text_add(body, "<section><h2>");
    sm_text_add_html(body, audit->about->segment);
    sm_text_add(body, "</h2>\n");
    add_strips(body, audit, unit);
    if (audit->n_defects) {
        sm_text_add(body, "<div class=\"wide\"><table><thead><tr><th>Seen</th><th class=\"n\">Distance</th><th>Code</th>"
                          "<th>State</th><th>Repair</th><th>Why</th></tr></thead><tbody>\n");
        for (size_t i = 0; i < audit->n_defects; i++) {
            add_defect(body, audit, i, folder, unit);
        }
        sm_text_add(body, "</tbody></table></div>\n");
    } else {
        sm_text_add(body, "<p>Nothing here calls for repair.</p>\n");
    }
    add_acceptance(body, audit, &words);
    add_ratings(body, audit);
    sm_text_add(body, "<ul class=\"first\">\n");
    add_shown(body, audit, &words, unit);
    if (audit->about->n_first) {
        add_axes(body, audit, &words, unit);
    }
    sm_text_add(body, "</ul></section>\n");
    sm_text_release(&words);
}

/* ---- head and foot ---- */

static const char own_style[] =
    "<style>.pairs{display:flex;flex-wrap:wrap;gap:.8rem;margin:.5rem 0}.pairs figure{flex:0 1 20rem}"
    ".pair{display:block;width:100%;height:auto;border:1px solid var(--rule)}"
    ".word{white-space:nowrap;overflow-wrap:normal}"
    ".none{width:100%;aspect-ratio:4/3;border:1px dashed var(--rule);display:grid;place-items:center;color:var(--soft)}"
    "section{break-inside:auto}.first:empty{display:none}</style>\n";

static void add_sums(struct sm_text *out, const struct sm_audit_totals *totals)
{
    sm_text_add(out, "<ul class=\"sum\">");
    for (size_t i = 0; i < SM_AUDIT_N_STATES; i++) {
        sm_text_addf(out, "<li><b>%lld</b> %s</li>", (long long)totals->count[i], sm_audit_state_name((enum sm_audit_state)i));
    }
    sm_text_addf(out, "<li><b>%lld</b> liners in, %lld not planned</li><li><b>", (long long)totals->n_liners,
                 (long long)totals->n_unplanned);
    sm_audit__add_people_length(out, totals->repaired_m, sm_audit__totals_unit(totals));
    sm_text_addf(out, "</b> of pipe repaired</li><li><b>%lld</b> planned, not made</li><li><b>%lld</b> new defects</li></ul>\n",
                 (long long)totals->n_not_made, (long long)totals->n_new);
}

static void add_tally(struct sm_text *out, const struct sm_audit_totals *totals, enum sm_audit_group group)
{
    enum { MOST = 200 };
    bool is_feet = sm_audit__totals_unit(totals) == SM_UNIT_FT;
    if (totals->n_tallies[group] == 0) {
        return;
    }
    sm_text_addf(out, "<h3>By %s</h3><div class=\"wide\"><table><thead><tr><th></th><th class=\"n\">defects</th>",
                 sm_audit_group_name(group));
    for (size_t i = 0; i < SM_AUDIT_N_STATES; i++) {
        sm_text_addf(out, "<th class=\"n\">%s</th>", sm_audit_state_name((enum sm_audit_state)i));
    }
    sm_text_add(out, "<th class=\"n\">liners</th>");
    sm_text_addf(out, "<th class=\"n\">%s of liner</th></tr></thead><tbody>\n", is_feet ? "ft" : "m");
    for (size_t i = 0; i < totals->n_tallies[group] && i < MOST; i++) {
        const struct sm_audit_tally *tally = &totals->tally[group][i];
        sm_text_add(out, "<tr><th scope=\"row\">");
        sm_text_add_html(out, *tally->name ? tally->name : "none");
        sm_text_addf(out, "</th><td class=\"n\">%lld</td>", (long long)tally->n_defects);
        for (size_t k = 0; k < SM_AUDIT_N_STATES; k++) {
            sm_text_addf(out, tally->count[k] ? "<td class=\"n\">%lld</td>" : "<td class=\"n soft\">%lld</td>",
                         (long long)tally->count[k]);
        }
        sm_text_addf(out, "<td class=\"n\">%lld</td><td class=\"n\">", (long long)tally->n_liners);
        sm_text_add_fixed(out, is_feet ? tally->liner_m / SM_M_PER_FT : tally->liner_m, is_feet ? 1 : 2);
        sm_text_add(out, "</td></tr>\n");
    }
    sm_text_add(out, "</tbody></table></div>\n");
    if (totals->n_tallies[group] > MOST) {
        sm_text_addf(out, "<p class=\"soft\">and %zu more: audit.json has all of them</p>\n", totals->n_tallies[group] - MOST);
    }
}

static void add_ages(struct sm_text *out, const struct sm_audit_totals *totals)
{
    sm_text_add(out, "<h3>Age of defects that are neither installed nor proven, from their survey</h3><dl class=\"list\">\n");
    for (size_t i = 0; i < SM_AUDIT_N_AGES; i++) {
        if (totals->age[i]) {
            sm_text_addf(out, "<dt>%s</dt><dd>%lld</dd>\n", sm_audit_age_name(i), (long long)totals->age[i]);
        }
    }
    sm_text_add(out, "</dl>\n");
}

static void add_due(struct sm_text *out, const struct sm_audit_totals *totals)
{
    if (!totals->n_due) {
        return;
    }
    sm_text_addf(out, "<h3>Rechecks due, %d months after the work</h3><div class=\"wide\"><table><thead><tr><th>Segment</th>"
                      "<th>Repair</th><th>Set</th><th>Due</th><th>Seen since</th><th>Crew</th><th>Kit</th><th>Lot</th></tr>"
                      "</thead><tbody>\n",
                 (int)totals->warranty_months);
    for (size_t i = 0; i < totals->n_due; i++) {
        const struct sm_audit_due *due = &totals->due[i];
        sm_text_addf(out, "<tr%s>", due->is_overdue ? " class=\"flag\"" : "");
        const char *const cells[] = {due->segment, due->repair, due->set_on, due->due_on, due->seen_on, due->crew, due->kit, due->lot};
        for (size_t k = 0; k < 8; k++) {
            add_cell(out, k == 3 && due->is_overdue ? "doubt" : "", cells[k]);
        }
        sm_text_add(out, "</tr>\n");
    }
    sm_text_add(out, "</tbody></table></div>\n");
}

void sm_audit_html_head(struct sm_text *out, const struct sm_audit_totals *totals, const struct sm_audit_head *head)
{
    sm_text_add(out, "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
                     "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; img-src data:; style-src "
                     "'unsafe-inline'; form-action 'none'; base-uri 'none'\">\n"
                     "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>Audit ");
    sm_text_add_html(out, head->job);
    sm_text_add(out, "</title>\n");
    sm_schedule_add_style(out);
    sm_text_add(out, own_style);
    sm_text_add(out, "</head>\n<body>\n<a class=\"skip\" href=\"#main\">To the content</a>\n<header>\n<p class=\"kind\">Which "
                     "defects were addressed</p><h1>Audit of ");
    sm_text_add_html(out, head->job);
    sm_text_addf(out, "</h1><div class=\"tape\" aria-hidden=\"true\"></div>\n<p>As of %s: %lld defects in %lld segments.</p>\n",
                 head->today, (long long)totals->n_defects, (long long)totals->n_segments);
    add_sums(out, totals);
    sm_text_add(out, "</header>\n<main id=\"main\">\n<section><h2>Totals</h2>\n");
    for (size_t g = 0; g < SM_AUDIT_N_GROUPS; g++) {
        add_tally(out, totals, (enum sm_audit_group)g);
    }
    add_ages(out, totals);
    add_due(out, totals);
    sm_text_add(out, "</section>\n");
}

void sm_audit_html_foot(struct sm_text *out, const struct sm_audit_head *head)
{
    sm_text_add(out, "</main>\n<footer><p>In the strips: solid bar = defect not done with, outlined bar = installed or proven, "
                     "hatched = liner, crossed = liner in doubt, ring = connection, thick line = seen by the recheck. Distances "
                     "from the pipe edge at the access point named first.</p><p>");
    if (head->grades) {
        sm_text_add(out, "Ratings by the table of grades ");
        sm_text_add_html(out, head->grades->name);
        sm_text_add(out, ", which says of its grades: ");
        sm_text_add_html(out, head->grades->sources);
        sm_text_add(out, ". A rating speaks about the stretch that was surveyed only.</p><p>");
    }
    sm_text_add(out, "History of the job: ");
    sm_text_addf(out, "%lld events, chain %s. ", (long long)head->n_events, head->chain);
    sm_text_add(out, "stopmark audit --verify shows whether the job still holds what is printed here.</p></footer>\n"
                     "</body>\n</html>\n");
}
