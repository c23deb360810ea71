/* Sections of the report that are tables: repairs with their why, what stays unrepaired, observations, cost.
 */
#include "report.h"
#include "still.h"
#include "strip.h"
#include "work.h"
#include "stopmark/plan.h"

#include <math.h>
#include <string.h>

#define MOST_EXPLAINED 100

void sm_schedule__html_words(struct sm_text *out, struct sm_text *words)
{
    sm_text_add_html(out, sm_text_str(words));
    sm_schedule__clear(words, &out->failed);
}

void sm_schedule__html_cell(struct sm_text *out, struct sm_text *words, const char *class_name)
{
    sm_text_addf(out, *class_name ? "<td class=\"%s\">" : "<td>", class_name);
    sm_schedule__html_words(out, words);
    sm_text_add(out, "</td>");
}

void sm_schedule__html_table(struct sm_text *out, const char *caption, const char *const *column, size_t n_columns)
{
    sm_text_addf(out,
                 "<div class=\"wide\" tabindex=\"0\" role=\"group\" "
                 "aria-label=\"%s\"><table><caption>%s</caption><thead><tr>",
                 caption, caption);
    for (size_t i = 0; i < n_columns; i++) {
        bool is_number = column[i][0] == '#'; /* marks a column of numbers */
        sm_text_addf(out, "<th scope=\"col\"%s>%s</th>", is_number ? " class=\"n\"" : "",
                     column[i] + is_number);
    }
    sm_text_add(out, "</tr></thead><tbody>\n");
}

void sm_schedule__html_table_end(struct sm_text *out)
{
    sm_text_add(out, "</tbody></table></div>\n");
}

static const char *or_dash(const char *text)
{
    return text && *text ? text : "\u2013";
}

static void add_id_links(struct sm_text *out, const struct sm_schedule *s, const int32_t *idx, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        const struct sm_observation *observation = sm_schedule__observation(s, (size_t)idx[i]);
        if (observation) {
            sm_text_addf(out, "%s<a href=\"#row-%s\">%s</a>", i ? ", " : "", observation->id,
                         observation->id);
        }
    }
}

/* ---- repairs ---- */

/* The stretch that the targets of a repair's observations take up together. */
static bool find_needed(const struct sm_schedule *s, const struct sm_repair *repair, double *start_m,
                        double *end_m)
{
    *start_m = HUGE_VAL;
    *end_m = -HUGE_VAL;
    for (size_t i = 0; i < repair->n_covers; i++) {
        const struct sm_target *target = sm_schedule__target(s, (size_t)repair->covers[i]);
        if (target) {
            *start_m = fmin(*start_m, sm_schedule__um_to_m(target->start_um));
            *end_m = fmax(*end_m, sm_schedule__um_to_m(target->end_um));
        }
    }
    return *start_m <= *end_m;
}

/* The planner's own account, each line a paragraph; left out for so many repairs that nobody would read them
 * all. */
static void add_reasons(struct sm_text *out, const struct sm_schedule *s, const struct sm_repair *repair)
{
    if (s->plan->n_repairs > MOST_EXPLAINED) {
        return;
    }
    struct sm_text reasons = {0};
    size_t idx = (size_t)(repair - s->plan->repair);
    enum sm_status status = sm_plan_explain(&reasons, s->plan, s->alignment, s->sheet, idx, NULL);
    out->failed |= status == SM_E_NOMEM;
    if (status == SM_OK && reasons.length) {
        sm_text_add(out, "<details><summary>The plan's reasons</summary>");
        for (char *line = reasons.data, *end; line && (end = strchr(line, '\n')) != NULL; line = end + 1) {
            *end = '\0';
            sm_text_add(out, "<p>");
            sm_text_add_html(out, line);
            sm_text_add(out, "</p>");
        }
        sm_text_add(out, "</details>");
    }
    sm_schedule__drop(&reasons, &out->failed);
}

static void add_why(struct sm_text *out, const struct sm_schedule *s, const struct sm_repair *repair)
{
    struct sm_text words = {0};
    double start_m, end_m;
    if (find_needed(s, repair, &start_m, &end_m)) {
        bool is_shared = start_m < sm_schedule__repair_start_m(repair) - 1e-9 ||
                         end_m > sm_schedule__repair_end_m(repair) + 1e-9;
        sm_text_add(&words, "To be covered: ");
        sm_schedule__add_length(&words, s, start_m);
        sm_text_add(&words, " to ");
        sm_schedule__add_length(&words, s, end_m);
        sm_text_add(&words, is_shared ? ", together with its neighbour. " : ". ");
    }
    if (isfinite(repair->slack_m)) {
        sm_text_add(&words, "The liner may sit ");
        sm_schedule__add_allowance(&words, s, repair->slack_m);
        sm_text_add(&words, " off its stop before any of it shows. ");
    }
    for (size_t i = 0; i < repair->n_prepare; i++) {
        sm_text_addf(&words, "%s%s", i ? "; " : "First: ", repair->prepare[i]);
    }
    sm_text_add(&words, repair->n_prepare ? ". " : "");
    if (repair->n_reopens) {
        sm_text_add(&words, "Cut open again afterwards: ");
        sm_schedule__add_ids(&words, s, repair->reopens, repair->n_reopens, ", ");
        sm_text_add(&words, ".");
    }
    sm_text_add(out, "<td>");
    sm_schedule__html_words(out, &words);
    add_reasons(out, s, repair);
    sm_text_add(out, "</td>");
    sm_schedule__drop(&words, &out->failed);
}

static void add_repair_lengths(struct sm_text *out, const struct sm_schedule *s,
                               const struct sm_repair *repair)
{
    struct sm_text words = {0};
    sm_schedule__add_length(&words, s, sm_schedule__repair_stop_m(repair));
    sm_schedule__html_cell(out, &words, "n big");
    sm_schedule__add_length(&words, s, repair->mark_m);
    sm_schedule__html_cell(out, &words, "n big");
    const struct sm_kit *kit = sm_schedule__kit(s, repair);
    bool is_short = kit && strlen(kit->name) <= 12; /* a number torn in two at its hyphen reads as two */
    sm_text_addf(&words, "%s,", kit ? kit->name : "kit not known");
    sm_text_add(out, is_short ? "<td class=\"whole\">" : "<td>");
    sm_schedule__html_words(out, &words);
    sm_text_add(out, "<br><span class=\"whole\">");
    sm_schedule__add_liner_length(&words, s, repair->length_um);
    sm_schedule__html_words(out, &words);
    sm_text_add(out, "</span></td>");
    sm_schedule__add_length(&words, s, sm_schedule__repair_start_m(repair));
    sm_text_add(&words, " \u2013 ");
    sm_schedule__add_length(&words, s, sm_schedule__repair_end_m(repair));
    sm_schedule__html_cell(out, &words, "n");
    sm_text_add(&words, "\u00b1 ");
    sm_schedule__add_error(&words, s, sm_schedule__repair_error_m(s, repair));
    sm_schedule__html_cell(out, &words, sm_schedule__repair_is_doubtful(s, repair) ? "n doubt" : "n");
    sm_schedule__drop(&words, &out->failed);
}

static void add_repair(struct sm_text *out, const struct sm_schedule *s, const struct sm_repair *repair)
{
    struct sm_text words = {0};
    sm_text_addf(out, "<tr id=\"row-%s\"%s><th scope=\"row\">%s</th>", repair->id,
                 sm_schedule__repair_is_doubtful(s, repair) ? " class=\"flag\"" : "", repair->id);
    add_repair_lengths(out, s, repair);
    sm_text_add(out, "<td>");
    add_id_links(out, s, repair->covers, repair->n_covers);
    sm_text_add(out, "</td>");
    add_why(out, s, repair);
    sm_schedule__add_money(&words, repair->cost);
    sm_schedule__html_cell(out, &words, "n");
    sm_text_add(out, "</tr>\n");
    sm_schedule__drop(&words, &out->failed);
}

void sm_schedule__add_report_repairs(struct sm_text *out, const struct sm_schedule *s)
{
    static const char *const columns[] = {
        "Repair",    "#Stop", "#Mark on the rod", "Liner", "#Covers the pipe",
        "#How sure", "For",   "Why so",           "#Cost"};
    sm_text_add(out, "<section id=\"repairs\" aria-labelledby=\"h-repairs\"><h2 id=\"h-repairs\">Repairs in "
                     "the order of work</h2>\n");
    if (s->plan->n_repairs == 0) {
        sm_text_add(out, "<p>No repairs.</p></section>\n");
        return;
    }
    sm_text_add(out,
                "<p>The stop is the middle of the liner and of the packer, measured from the pipe edge at ");
    sm_text_add_html(out, or_dash(s->segment->from));
    sm_text_add(out, ". The mark is measured along the rod from the middle of the packer; it meets the ");
    sm_text_add(out, s->sheet->access.reference == SM_REFERENCE_RIM ? "rim" : "pipe edge");
    sm_text_add(out, " at ");
    sm_text_add_html(out, sm_schedule__crew_end(s));
    sm_text_add(out, " when the packer is at its stop.</p>\n");
    sm_schedule__html_table(out, "Repairs, farthest from the crew first", columns, sizeof columns / sizeof columns[0]);
    for (size_t i = 0; i < s->plan->n_repairs; i++) {
        add_repair(out, s, &s->plan->repair[i]);
    }
    sm_schedule__html_table_end(out);
    struct sm_text other_end = {0};
    sm_schedule__add_other_end(&other_end, s, &out->failed);
    if (other_end.length) {
        sm_text_add(out, "<p><b>The other end:</b> ");
        sm_schedule__html_words(out, &other_end);
        sm_text_add(out, "</p>\n");
    }
    sm_schedule__drop(&other_end, &out->failed);
    sm_text_add(out, "</section>\n");
}

void sm_schedule__add_report_unrepaired(struct sm_text *out, const struct sm_schedule *s)
{
    static const char *const columns[] = {"Seen", "#Distance", "Code", "Why it stays"};
    struct sm_text words = {0};
    sm_text_add(out, "<section id=\"unrepaired\" aria-labelledby=\"h-unrepaired\"><h2 "
                     "id=\"h-unrepaired\">Not repaired by this plan</h2>\n");
    if (s->plan->n_unrepaired == 0) {
        sm_text_add(out, "<p>Nothing that calls for a liner is left out.</p></section>\n");
        return;
    }
    sm_schedule__html_table(out, "Observations that stay without a liner", columns, sizeof columns / sizeof columns[0]);
    for (size_t i = 0; i < s->plan->n_unrepaired; i++) {
        const struct sm_unrepaired *left = &s->plan->unrepaired[i];
        const struct sm_observation *observation = sm_schedule__observation(s, (size_t)left->observation_idx);
        if (!observation) {
            continue;
        }
        sm_text_addf(out, "<tr><th scope=\"row\"><a href=\"#row-%s\">%s</a></th>", observation->id,
                     observation->id);
        sm_schedule__add_length(&words, s, observation->distance_m);
        sm_schedule__html_cell(out, &words, "n");
        sm_schedule__add_code(&words, observation);
        sm_schedule__html_cell(out, &words, "");
        sm_text_add(&words, or_dash(left->reason));
        sm_schedule__html_cell(out, &words, "");
        sm_text_add(out, "</tr>\n");
    }
    sm_schedule__html_table_end(out);
    sm_text_add(out, "</section>\n");
    sm_schedule__drop(&words, &out->failed);
}

/* ---- observations ---- */

static void add_still(struct sm_text *out, const struct sm_schedule *s, size_t idx)
{
    struct sm_still still;
    struct sm_text words = {0};
    if (!sm_schedule__still_read(&still, s, idx, &out->failed)) {
        sm_text_add(out, "<td class=\"soft\">no picture</td>");
        return;
    }
    sm_text_add(&words, "Still of ");
    sm_schedule__add_observation_title(&words, s, idx);
    sm_text_addf(
        out, "<td><span class=\"zoom\" tabindex=\"0\"><img class=\"still\" width=\"%d\" height=\"%d\" alt=\"",
        still.width_px, still.height_px);
    sm_schedule__html_words(out, &words);
    sm_text_add(out, "\" src=\"data:image/jpeg;base64,");
    sm_schedule__add_base64(out, still.data, still.n);
    sm_text_add(out, "\"></span></td>");
    sm_schedule__drop(&words, &out->failed);
    sm_schedule__still_release(&still);
}

static void add_place(struct sm_text *out, const struct sm_schedule *s,
                      const struct sm_observation *observation)
{
    struct sm_text words = {0};
    sm_text_add(out, "<td class=\"n\"><b>");
    bool has_extent = sm_schedule__has_extent(observation);
    sm_schedule__add_length(&words, s, has_extent ? observation->start_m : observation->distance_m);
    sm_schedule__html_words(out, &words);
    sm_text_add(out, "</b>");
    if (has_extent) {
        sm_text_add(&words, " to ");
        sm_schedule__add_length(&words, s, observation->end_m);
        sm_schedule__html_words(out, &words);
    }
    if (isfinite(observation->error_m)) {
        sm_text_add(out, "<br>\u00b1 ");
        sm_schedule__add_error(&words, s, observation->error_m);
        sm_schedule__html_words(out, &words);
    }
    sm_text_add(out, "</td><td>");
    sm_text_add(&words, sm_schedule__source_words(s, observation));
    sm_schedule__html_words(out, &words);
    sm_schedule__add_reading(&words, s, observation);
    if (words.length) {
        sm_text_add(out, "<br><span class=\"soft\">reading ");
        sm_schedule__html_words(out, &words);
        sm_text_add(out, "</span>");
    }
    if (isfinite(observation->logged_m)) {
        sm_text_add(out, "<br><span class=\"soft\">logged ");
        sm_schedule__add_length(&words, s, observation->logged_m);
        sm_schedule__html_words(out, &words);
        sm_text_add(out, "</span>");
    }
    if (isfinite(observation->time_s)) {
        sm_text_add(out, "<br><span class=\"soft\">video ");
        sm_schedule__add_time(&words, observation->time_s);
        sm_schedule__html_words(out, &words);
        sm_text_add(out, "</span>");
    }
    sm_text_add(out, "</td>");
    sm_schedule__drop(&words, &out->failed);
}

static void add_what(struct sm_text *out, const struct sm_schedule *s,
                     const struct sm_observation *observation)
{
    struct sm_text words = {0};
    sm_text_add(out, "<td><b>");
    sm_schedule__add_code(&words, observation);
    sm_schedule__html_words(out, &words);
    sm_text_add(out, "</b>");
    const char *meaning = sm_schedule__meaning(s, observation);
    sm_text_addf(&words, "%s%s", *meaning ? " " : "", meaning);
    if (observation->clock_from_h) {
        sm_text_add(&words, ", ");
        sm_schedule__add_clock(&words, observation);
    }
    sm_text_add(&words, observation->is_at_joint ? ", at a joint" : "");
    sm_schedule__html_words(out, &words);
    if (observation->remark && *observation->remark) {
        sm_text_add(out, "<br><span class=\"soft\">");
        sm_text_add_html(out, observation->remark);
        sm_text_add(out, "</span>");
    }
    sm_text_add(out, "</td>");
    sm_schedule__drop(&words, &out->failed);
}

static void add_decision(struct sm_text *out, const struct sm_schedule *s, size_t idx)
{
    const struct sm_observation *observation = &s->alignment->observation[idx];
    const struct sm_repair *repair = sm_schedule__repair_of(s, idx);
    sm_text_addf(out, "<td><b>%s</b>", sm_treatment_name(observation->treatment));
    if (repair) {
        sm_text_addf(out, ", <a href=\"#row-%s\">%s</a>", repair->id, repair->id);
    } else if (sm_schedule__unrepaired_reason(s, idx)) {
        sm_text_add(out, ", <a href=\"#unrepaired\">not repaired</a>");
    }
    if (observation->reason && *observation->reason) {
        sm_text_add(out, "<br><span class=\"soft\">");
        sm_text_add_html(out, observation->reason);
        sm_text_add(out, "</span>");
    }
    sm_text_add(out, "</td>");
}

static void add_observation(struct sm_text *out, const struct sm_schedule *s, size_t idx)
{
    const struct sm_observation *observation = &s->alignment->observation[idx];
    struct sm_text words = {0};
    bool is_flagged = sm_schedule__is_flagged(observation);
    sm_text_addf(out, "<tr id=\"row-%s\"%s><th scope=\"row\">%s</th>", observation->id,
                 is_flagged ? " class=\"flag\"" : "", observation->id);
    add_still(out, s, idx);
    add_place(out, s, observation);
    add_what(out, s, observation);
    add_decision(out, s, idx);
    sm_schedule__add_flag_words(&words, observation->flags, "; ");
    sm_schedule__html_cell(out, &words, is_flagged ? "doubt" : "");
    sm_text_add(out, "</tr>\n");
    sm_schedule__drop(&words, &out->failed);
}

void sm_schedule__add_report_observations(struct sm_text *out, const struct sm_schedule *s)
{
    static const char *const columns[] = {"Seen", "Picture",      "#Distance", "Where from",
                                          "What", "What is done", "Doubts"};
    sm_text_add(out, "<section id=\"observations\" aria-labelledby=\"h-observations\"><h2 "
                     "id=\"h-observations\">Observations</h2>\n");
    sm_schedule__html_table(out, "All entries of the log in its order, located", columns,
             sizeof columns / sizeof columns[0]);
    for (size_t i = 0; i < s->alignment->n_observations; i++) {
        add_observation(out, s, i);
    }
    sm_schedule__html_table_end(out);
    sm_text_add(out, "</section>\n");
}

/* ---- cost ---- */

static void add_kit_rows(struct sm_text *out, const struct sm_schedule *s)
{
    struct sm_text words = {0};
    for (size_t k = 0; k < s->sheet->n_kits; k++) {
        const struct sm_kit *kit = &s->sheet->kit[k];
        int n = sm_schedule__n_of_kit(s, k);
        if (n == 0) {
            continue;
        }
        sm_text_add(out, "<tr><th scope=\"row\">");
        sm_text_add_html(out, or_dash(kit->name));
        sm_text_addf(out, "</th><td class=\"n\">%d</td>", n);
        sm_schedule__add_liner_length(&words, s, kit->length_um);
        sm_schedule__html_cell(out, &words, "n");
        sm_schedule__add_money(&words, n * kit->cost);
        sm_schedule__html_cell(out, &words, "n");
        sm_text_add(out, "</tr>\n");
    }
    sm_schedule__drop(&words, &out->failed);
}

static void add_sum_row(struct sm_text *out, const char *what, double amount)
{
    struct sm_text words = {0};
    sm_text_addf(out, "<tr><th scope=\"row\">%s</th><td></td><td></td>", what);
    sm_schedule__add_money(&words, amount);
    sm_schedule__html_cell(out, &words, "n");
    sm_text_add(out, "</tr>\n");
    sm_schedule__drop(&words, &out->failed);
}

static double kits_cost(const struct sm_schedule *s)
{
    double sum = 0;
    for (size_t i = 0; i < s->plan->n_repairs; i++) {
        const struct sm_kit *kit = sm_schedule__kit(s, &s->plan->repair[i]);
        sum += kit ? kit->cost : 0;
    }
    return sum;
}

void sm_schedule__add_report_cost(struct sm_text *out, const struct sm_schedule *s)
{
    static const char *const columns[] = {"Kit", "#Pieces", "#Liner length", "#Cost"};
    sm_text_add(out, "<section id=\"cost\" aria-labelledby=\"h-cost\"><h2 id=\"h-cost\">Totals</h2>\n");
    sm_schedule__html_table(out, "What the repairs take and cost, in the currency of the sheet", columns,
             sizeof columns / sizeof columns[0]);
    add_kit_rows(out, s);
    add_sum_row(out, "Setting up and reopening", s->plan->cost - kits_cost(s));
    add_sum_row(out, "All repairs", s->plan->cost);
    if (isfinite(s->plan->full_lining_cost)) {
        add_sum_row(out, "Lining the whole segment instead", s->plan->full_lining_cost);
    }
    sm_schedule__html_table_end(out);
    sm_text_add(out, "</section>\n");
}
