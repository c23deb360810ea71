/* What the work takes and what could be done instead, in the report. */
#include "report.h"
#include "work.h"

#include <math.h>

#define N(array) (sizeof(array) / sizeof *(array))

/* ---- materials ---- */

static void add_amounts(struct sm_text *out, const struct sm_schedule *s, const struct sm_materials *of)
{
    struct sm_text words = {0};
    sm_schedule__add_mass(&words, s, of->glass_kg);
    sm_schedule__html_cell(out, &words, "n");
    double largest_l = fmax(of->part_a_l, of->part_b_l);
    sm_schedule__add_volume_of(&words, s, of->part_a_l, largest_l);
    sm_text_add(&words, ", ");
    sm_schedule__add_mass(&words, s, of->part_a_kg);
    sm_schedule__html_cell(out, &words, "n");
    sm_schedule__add_volume_of(&words, s, of->part_b_l, largest_l);
    sm_text_add(&words, ", ");
    sm_schedule__add_mass(&words, s, of->part_b_kg);
    sm_schedule__html_cell(out, &words, "n");
    sm_schedule__add_volume(&words, s, of->resin_l);
    sm_text_add(&words, ", of it ");
    sm_schedule__add_volume_of(&words, s, of->waste_l, of->resin_l);
    sm_schedule__html_cell(out, &words, "n");
    sm_text_addf(out, "<td class=\"n\">%d</td><td class=\"n\">%d</td></tr>\n", (int)of->ties,
                 (int)of->sleeves);
    sm_schedule__drop(&words, &out->failed);
}

static void add_repair_row(struct sm_text *out, const struct sm_schedule *s, const struct sm_repair *repair)
{
    struct sm_materials one;
    struct sm_text words = {0};
    if (!sm_schedule__materials(&one, s, repair, NULL)) {
        return;
    }
    sm_text_addf(out, "<tr><th scope=\"row\"><a href=\"#row-%s\">%s</a></th><td>", repair->id, repair->id);
    sm_schedule__add_mats(&words, s, &one);
    sm_text_add(&words, one.layers > 1 ? ", " : "");
    sm_schedule__add_wound(&words, s, &one);
    sm_schedule__html_words(out, &words);
    sm_text_add(out, "</td><td>");
    bool is_enough = sm_schedule__add_wall(&words, s, &one);
    sm_text_add(out, is_enough ? "" : "<strong>");
    sm_schedule__html_words(out, &words);
    sm_text_add(out, is_enough ? "</td>" : "</strong></td>");
    add_amounts(out, s, &one);
    sm_schedule__drop(&words, &out->failed);
}

static void add_materials(struct sm_text *out, const struct sm_schedule *s)
{
    static const char *const columns[] = {"Repair",  "Mat to cut", "Wall, given and needed", "#Glass",
                                          "#Part A", "#Part B",    "#By mass balance, waste",
                                          "#Ties",   "#Sleeves"};
    struct sm_materials sum;
    struct sm_error err = {0};
    if (!sm_schedule__materials_to_load(&sum, s, &err)) {
        sm_text_add(out, "<p>Mat and resin cannot be worked out: ");
        sm_text_add_html(out, err.text);
        sm_text_add(out, ".</p>\n");
        return;
    }
    sm_schedule__html_table(out, "Mat and resin, a repair at a time", columns, N(columns));
    for (size_t i = 0; i < s->plan->n_repairs; i++) {
        add_repair_row(out, s, &s->plan->repair[i]);
    }
    sm_text_addf(out, "<tr><th scope=\"row\">To load</th><td>with %d spare, of the longest kind</td><td></td>",
                 (int)s->sheet->rules.n_spares);
    add_amounts(out, s, &sum);
    sm_schedule__html_table_end(out);
    sm_text_add(out, "<p>Mats are as wide as the pipe is round and the lap. Parts A and B are the kit's own "
                     "resin where it says how much, else the mass balance's with its waste.</p>\n");
}

/* ---- the day ---- */

static void add_clock_cell(struct sm_text *out, double minutes, void add(struct sm_text *, double))
{
    struct sm_text words = {0};
    if (isfinite(minutes)) {
        add(&words, minutes);
    }
    sm_schedule__html_cell(out, &words, "n");
    sm_schedule__drop(&words, &out->failed);
}

static void add_day_row(struct sm_text *out, const char *id, const struct sm_day_repair *times)
{
    sm_text_addf(out, "<tr><th scope=\"row\"><a href=\"#row-%s\">%s</a></th>", id, id);
    add_clock_cell(out, times->mixed_min, sm_schedule__add_clock_up);
    add_clock_cell(out, times->inflated_min, sm_schedule__add_clock_up);
    add_clock_cell(out, times->latest_inflate_min, sm_schedule__add_clock_down);
    add_clock_cell(out, times->deflate_min, sm_schedule__add_clock_up);
    add_clock_cell(out, times->end_min, sm_schedule__add_clock_up);
    sm_text_add(out, "<td>");
    sm_text_add_html(out, times->trouble ? times->trouble : "");
    sm_text_add(out, "</td></tr>\n");
}

static void add_day(struct sm_text *out, const struct sm_schedule *s)
{
    static const char *const columns[] = {"Repair",        "#Mixed", "#Inflated", "#Inflate no later than",
                                          "#Deflate from", "#Ready", "Trouble"};
    struct sm_day_plan *day = sm_schedule__day(s, &out->failed);
    struct sm_text shift = {0};
    if (!day) {
        sm_text_add(out, "<p>No times: no cure table was given.</p>\n");
        return;
    }
    sm_schedule__html_table(out, "The day, in hours from the start of work, pauses not counted", columns,
                            N(columns));
    for (size_t i = 0; i < day->n_repairs; i++) {
        add_day_row(out, s->plan->repair[i].id, &day->repair[i]);
    }
    sm_schedule__html_table_end(out);
    sm_schedule__add_clock_down(&shift, s->sheet->day.shift_min);
    sm_text_addf(out,
                 "<p>%d of %zu repairs fit in a shift of %s. Times of the steps are the sheet's, cure and "
                 "working time the kit's table at the pipe's temperature.</p>\n",
                 (int)day->n_in_shift, day->n_repairs, sm_text_str(&shift));
    sm_schedule__drop(&shift, &out->failed);
    sm_day_plan_free(&day);
}

/* ---- instead ---- */

static void add_instead_row(struct sm_text *out, const char *what, const struct sm_schedule *s,
                            double length_m, double total)
{
    struct sm_text words = {0};
    sm_text_addf(out, "<tr><th scope=\"row\">%s</th>", what);
    sm_schedule__add_length(&words, s, length_m);
    sm_schedule__html_cell(out, &words, "n");
    sm_schedule__add_money(&words, total);
    sm_schedule__html_cell(out, &words, "n");
    sm_text_add(out, "</tr>\n");
    sm_schedule__drop(&words, &out->failed);
}

static void add_instead(struct sm_text *out, const struct sm_schedule *s)
{
    static const char *const columns[] = {"What", "#Length", "#Total"};
    struct sm_plan_alternatives of;
    enum sm_status status = sm_plan_alternatives_for(&of, s->plan, s->alignment, s->sheet, NULL);
    out->failed |= status == SM_E_NOMEM;
    bool has_other = status == SM_OK && (isfinite(of.full_lining.total) || isfinite(of.digging.total));
    if (has_other) {
        sm_schedule__html_table(out, "Side by side; a person decides", columns, N(columns));
        add_instead_row(out, "The repairs", s, of.lined_frac * s->alignment->length_m, of.cost);
        if (isfinite(of.full_lining.total)) {
            add_instead_row(out, "Lining the whole length, set-up and connections counted", s,
                            of.full_lining.length_m, of.full_lining.total);
        }
        if (isfinite(of.digging.total)) {
            add_instead_row(out, "Digging up the places", s, of.digging.length_m, of.digging.total);
        }
        sm_schedule__html_table_end(out);
    }
    if (s->plan->advice && *s->plan->advice) {
        sm_text_add(out, "<p>");
        sm_text_add_html(out, s->plan->advice);
        sm_text_add(out, "</p>\n");
    }
}

void sm_schedule__add_report_work(struct sm_text *out, const struct sm_schedule *s)
{
    sm_text_add(
        out, "<section id=\"work\" aria-labelledby=\"h-work\"><h2 id=\"h-work\">Materials and times</h2>\n");
    if (s->plan->n_repairs) {
        add_materials(out, s);
        add_day(out, s);
    } else {
        sm_text_add(out, "<p>No repairs.</p>\n");
    }
    add_instead(out, s);
    sm_text_add(out, "</section>\n");
}
