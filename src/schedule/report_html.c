/*
 * report.html: one file that opens anywhere, without network, script or outside resource (its own policy
 * forbids them). Order: what must be looked at first, the drawing, the plan, then everything it rests on.
 */
#include "report.h"
#include "strip.h"

#include <math.h>

static void add_fact(struct sm_text *out, const char *name, struct sm_text *words)
{
    sm_text_addf(out, "<div><dt>%s</dt><dd>", name);
    sm_schedule__html_words(out, words);
    sm_text_add(out, "</dd></div>\n");
}

static const char *or_unknown(const char *text)
{
    return text && *text ? text : "not said";
}

static void add_facts(struct sm_text *out, const struct sm_schedule *s)
{
    const struct sm_segment *segment = s->segment;
    struct sm_text words = {0};
    sm_text_add(out, "<dl class=\"facts\">\n");
    sm_schedule__add_run(&words, s);
    sm_text_add(&words, words.length ? "" : "ends not named");
    add_fact(out, "From, to", &words);
    sm_schedule__add_length(&words, s, s->alignment->length_m);
    sm_text_add(&words, s->alignment->is_length_assumed ? " (assumed)" : "");
    add_fact(out, "Length", &words);
    sm_schedule__add_diameter(&words, s, segment->diameter_mm);
    add_fact(out, "Diameter", &words);
    sm_text_add(&words, or_unknown(segment->material));
    add_fact(out, "Material", &words);
    if (segment->flow == SM_FLOW_UNKNOWN) {
        sm_text_add(&words, "not said");
    } else {
        bool is_with = segment->flow == SM_FLOW_FROM_TO;
        sm_text_addf(&words, "towards %s", sm_schedule__end_name(s, is_with));
    }
    add_fact(out, "Flow", &words);
    sm_text_add(&words, or_unknown(s->sheet->date));
    add_fact(out, "Surveyed", &words);
    sm_text_addf(&words, "%s, mark at the %s", sm_schedule__crew_end(s),
                 s->sheet->access.reference == SM_REFERENCE_RIM ? "rim" : "pipe edge");
    add_fact(out, "Crew works from", &words);
    sm_text_add(out, "</dl>\n");
    sm_schedule__drop(&words, &out->failed);
}

static size_t count_flagged(const struct sm_alignment *alignment)
{
    size_t n = 0;
    for (size_t i = 0; i < alignment->n_observations; i++) {
        n += sm_schedule__is_flagged(&alignment->observation[i]);
    }
    return n;
}

static void add_sums(struct sm_text *out, const struct sm_schedule *s)
{
    struct sm_text words = {0};
    sm_text_addf(out,
                 "<ul class=\"sum\"><li><b>%zu</b> repairs</li><li><b>%zu</b> left "
                 "unrepaired</li><li><b>%zu</b> flagged</li><li><b>",
                 s->plan->n_repairs, s->plan->n_unrepaired, count_flagged(s->alignment));
    sm_schedule__add_money(&words, s->plan->cost);
    sm_schedule__html_words(out, &words);
    sm_text_add(out, "</b> cost of the repairs</li></ul>\n");
    sm_schedule__drop(&words, &out->failed);
}

static void add_top(struct sm_text *out, const struct sm_schedule *s)
{
    const char *id = or_unknown(s->segment->id);
    sm_text_add(
        out,
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; img-src data:; style-src "
        "'unsafe-inline'; form-action 'none'; base-uri 'none'\">\n"
        "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>Repair schedule ");
    sm_text_add_html(out, id);
    sm_text_add(out, "</title>\n");
    sm_schedule__add_report_style(out);
    sm_text_add(out, "</head>\n<body>\n<a class=\"skip\" href=\"#main\">To the content</a>\n<header>\n<p "
                     "class=\"kind\">Repair "
                     "schedule of segment</p><h1>");
    sm_text_add_html(out, id);
    sm_text_add(out, "</h1><div class=\"tape\" aria-hidden=\"true\"></div>\n");
    add_facts(out, s);
    add_sums(out, s);
    sm_text_add(out, "</header>\n");
}

static void add_contents(struct sm_text *out, const struct sm_schedule *s)
{
    static const char *const items[][2] = {
        {"first", "Look at these first"},
        {"strip", "Strip"},
        {"repairs", "Repairs"},
        {"unrepaired", "Not repaired"},
        {"observations", "Observations"},
        {"trace", "Counter"},
        {"cost", "Totals"},
        {"work", "Materials and times"},
        {"method", "How made"},
        {"cautions", "Cautions"},
    };
    sm_text_add(out, "<nav aria-label=\"Contents\"><ul>\n");
    for (size_t i = 0; i < sizeof items / sizeof items[0]; i++) {
        if (s->trace || items[i][0][0] != 't') {
            sm_text_addf(out, "<li><a href=\"#%s\">%s</a></li>\n", items[i][0], items[i][1]);
        }
    }
    sm_text_add(out, "</ul></nav>\n");
}

/* ---- look at these first ---- */

static void add_source(struct sm_text *out, const struct sm_finding *finding)
{
    if (!finding->source) {
        return;
    }
    sm_text_add(out, " <span class=\"soft\">(");
    sm_text_add_html(out, finding->source);
    if (finding->line) {
        sm_text_addf(out, ", line %u", (unsigned)finding->line);
    }
    sm_text_add(out, ")</span>");
}

static void add_message(struct sm_text *out, const struct sm_finding *finding)
{
    sm_text_add_html(out, finding->message ? finding->message : "");
    add_source(out, finding);
}

static void add_flagged(struct sm_text *out, const struct sm_schedule *s, size_t idx)
{
    const struct sm_observation *observation = &s->alignment->observation[idx];
    const struct sm_repair *repair = sm_schedule__repair_of(s, idx);
    struct sm_text words = {0};
    sm_text_addf(out, "<li><b><a href=\"#row-%s\">%s</a></b> at ", observation->id, observation->id);
    sm_schedule__add_length(&words, s, observation->distance_m);
    sm_text_add(&words, ": ");
    sm_schedule__add_flag_words(&words, observation->flags, ", ");
    sm_schedule__html_words(out, &words);
    if (repair) {
        sm_text_addf(out, ". Repair <a href=\"#row-%s\">%s</a> rests on it", repair->id, repair->id);
    }
    sm_text_add(out, ".");
    const struct sm_finding *finding;
    for (size_t i = 0; (finding = sm_schedule__finding(s, i)) != NULL; i++) {
        if (sm_schedule__is_about(finding, observation)) {
            sm_text_add(out, "<br>");
            add_message(out, finding);
        }
    }
    sm_text_add(out, "</li>\n");
    sm_schedule__drop(&words, &out->failed);
}

/* Those that do not stand with a flagged observation already. */
static void add_other_findings(struct sm_text *out, const struct sm_schedule *s, enum sm_severity severity)
{
    const struct sm_finding *finding;
    for (size_t i = 0; (finding = sm_schedule__finding(s, i)) != NULL; i++) {
        const struct sm_observation *observation = sm_schedule__finding_observation(s, finding);
        if (finding->severity != severity || (observation && sm_schedule__is_flagged(observation))) {
            continue;
        }
        sm_text_add(out, severity == SM_SEVERITY_WARNING ? "<li><b></b>" : "<li class=\"note\">");
        if (observation) {
            sm_text_addf(out, "<a href=\"#row-%s\">%s</a>: ", observation->id, observation->id);
        }
        add_message(out, finding);
        sm_text_add(out, "</li>\n");
    }
}

static void add_first(struct sm_text *out, const struct sm_schedule *s)
{
    struct sm_text words = {0};
    sm_text_add(
        out,
        "<section id=\"first\" aria-labelledby=\"h-first\"><h2 id=\"h-first\">Look at these first</h2>\n");
    sm_schedule__add_least_sure(&words, s);
    if (words.length) {
        sm_text_add(out, "<p>");
        sm_schedule__html_words(out, &words);
        sm_text_add(out, ".</p>\n");
    }
    sm_schedule__drop(&words, &out->failed);
    if (count_flagged(s->alignment) == 0 && !sm_schedule__finding(s, 0)) {
        sm_text_add(out, "<p>Nothing is flagged.</p></section>\n");
        return;
    }
    sm_text_add(out, "<ul class=\"first\">\n");
    for (size_t i = 0; i < s->alignment->n_observations; i++) {
        if (sm_schedule__is_flagged(&s->alignment->observation[i])) {
            add_flagged(out, s, i);
        }
    }
    add_other_findings(out, s, SM_SEVERITY_WARNING);
    add_other_findings(out, s, SM_SEVERITY_NOTE);
    sm_text_add(out, "</ul></section>\n");
}

static void add_strip(struct sm_text *out, const struct sm_schedule *s)
{
    sm_text_add(
        out,
        "<section id=\"strip\" aria-labelledby=\"h-strip\"><h2 id=\"h-strip\">Strip of the segment</h2>\n"
        "<figure><div class=\"wide\">");
    sm_schedule__add_svg(out, s, "#row-");
    sm_text_add(out, "</div><figcaption>Point at a mark, or move to it with the keyboard, to read it in "
                     "words; follow it to its "
                     "row below.</figcaption></figure></section>\n");
}

static void add_cautions(struct sm_text *out, const struct sm_schedule *s)
{
    sm_text_add(out, "<section id=\"cautions\" aria-labelledby=\"h-cautions\"><h2 "
                     "id=\"h-cautions\">Cautions</h2>\n<ul>\n");
    struct sm_text words = {0};
    for (size_t i = 0; sm_schedule__add_caution(&words, s, i); i++) {
        sm_text_add(out, "<li>");
        sm_schedule__html_words(out, &words);
        sm_text_add(out, "</li>\n");
    }
    sm_text_add(out, "</ul></section>\n");
    sm_schedule__drop(&words, &out->failed);
}

enum sm_status sm_schedule_write_html(struct sm_text *out, const struct sm_schedule *schedule,
                                      struct sm_error *err)
{
    add_top(out, schedule);
    add_contents(out, schedule);
    sm_text_add(out, "<main id=\"main\">\n");
    add_first(out, schedule);
    add_strip(out, schedule);
    sm_schedule__add_report_repairs(out, schedule);
    sm_schedule__add_report_unrepaired(out, schedule);
    sm_schedule__add_report_observations(out, schedule);
    sm_schedule__add_trace_plot(out, schedule);
    sm_schedule__add_report_cost(out, schedule);
    sm_schedule__add_report_work(out, schedule);
    sm_schedule__add_report_method(out, schedule);
    add_cautions(out, schedule);
    sm_text_add(out, "</main>\n<footer><p>Distances are measured from the pipe edge at ");
    sm_text_add_html(out, sm_schedule__end_name(schedule, false));
    sm_text_add(out, ". A number in doubt is marked with an exclamation mark; check it with the camera "
                     "before a liner is placed.</p>"
                     "</footer>\n</body>\n</html>\n");
    return sm_schedule__finish(out, err);
}
