/*
 * The schedule on a terminal, in the order a reviewer asks: which pipe, what is done where, what was seen,
 * what is left undone, what it costs, what to doubt. Flagged lines start with '!', so that they stand out
 * without colour.
 */
#include "grid.h"
#include "schedule_internal.h"

#include <math.h>

#define DEFAULT_COLUMNS 100
#define LEAST_COLUMNS 60

struct page {
    struct sm_text *out;
    const struct sm_schedule *s;
    int columns;
    bool utf8;
};

/* Finish one line of words: print it wrapped and empty it. */
static void flush_line(const struct page *page, struct sm_text *line, int indent)
{
    sm_schedule__add_wrapped(page->out, sm_text_str(line), page->columns, indent, page->utf8);
    sm_schedule__clear(line, &page->out->failed);
}

static void flush_cell(struct sm_grid *grid, struct sm_text *cell)
{
    sm_schedule__grid_cell(grid, sm_text_str(cell));
    sm_schedule__clear(cell, &grid->cells.failed);
}

static void print_title(const struct page *page, const char *title)
{
    sm_text_addf(page->out, "\n%s\n", title);
}

static const char *or_unknown(const char *text)
{
    return text && *text ? text : "not said";
}

static void print_header(const struct page *page)
{
    const struct sm_schedule *s = page->s;
    const struct sm_segment *segment = s->segment;
    struct sm_text line = {0};
    bool has_id = segment->id && *segment->id;
    sm_text_addf(&line, "Segment%s%s, ", has_id ? " " : "", has_id ? segment->id : "");
    size_t before = line.length;
    sm_schedule__add_run(&line, s);
    sm_text_add(&line, line.length > before ? ", length " : "length ");
    sm_schedule__add_length(&line, s, s->alignment->length_m);
    sm_text_add(&line,
                s->alignment->is_length_assumed ? " (assumed: not on the sheet), diameter " : ", diameter ");
    sm_schedule__add_diameter(&line, s, segment->diameter_mm);
    sm_text_addf(&line, "%s%s", segment->material && *segment->material ? ", " : "",
                 segment->material ? segment->material : "");
    flush_line(page, &line, 2);
    sm_text_addf(&line, "Distances from the pipe edge at %s", sm_schedule__end_name(s, false));
    if (s->sheet->date && *s->sheet->date) {
        sm_text_addf(&line, ", surveyed %s", s->sheet->date);
    }
    sm_text_addf(&line, ". Crew works from %s, mark at the %s.", sm_schedule__crew_end(s),
                 s->sheet->access.reference == SM_REFERENCE_RIM ? "rim" : "pipe edge");
    flush_line(page, &line, 2);
    sm_schedule__drop(&line, &page->out->failed);
}

/* ---- repairs ---- */

static void add_repair_notes(struct sm_grid *grid, const struct sm_schedule *s,
                             const struct sm_repair *repair, struct sm_text *cell)
{
    for (size_t i = 0; i < repair->n_prepare; i++) {
        sm_text_addf(cell, "%s%s", i ? "; " : "first: ", repair->prepare[i]);
    }
    if (repair->n_reopens) {
        sm_text_add(cell, cell->length ? "; after: reopen " : "after: reopen ");
        sm_schedule__add_ids(cell, s, repair->reopens, repair->n_reopens, ", ");
    }
    if (cell->length) {
        sm_schedule__grid_note(grid, sm_text_str(cell));
        sm_schedule__clear(cell, &grid->cells.failed);
    }
}

static void add_repair_row(struct sm_grid *grid, const struct sm_schedule *s, const struct sm_repair *repair)
{
    const struct sm_kit *kit = sm_schedule__kit(s, repair);
    struct sm_text cell = {0};
    sm_schedule__grid_cell(grid, sm_schedule__repair_is_doubtful(s, repair) ? "!" : "");
    sm_schedule__grid_cell(grid, repair->id);
    sm_schedule__add_cell_length(&cell, s, sm_schedule__repair_stop_m(repair));
    flush_cell(grid, &cell);
    sm_schedule__add_cell_length(&cell, s, repair->mark_m);
    flush_cell(grid, &cell);
    sm_schedule__grid_cell(grid, kit ? kit->name : "");
    sm_schedule__add_liner_length(&cell, s, repair->length_um);
    flush_cell(grid, &cell);
    sm_schedule__add_cell_length(&cell, s, sm_schedule__repair_start_m(repair));
    sm_text_add(&cell, " \u2013 ");
    sm_schedule__add_cell_length(&cell, s, sm_schedule__repair_end_m(repair));
    flush_cell(grid, &cell);
    sm_schedule__add_error(&cell, s, sm_schedule__repair_error_m(s, repair));
    flush_cell(grid, &cell);
    sm_schedule__add_ids(&cell, s, repair->covers, repair->n_covers, " ");
    flush_cell(grid, &cell);
    sm_schedule__add_money(&cell, repair->cost);
    flush_cell(grid, &cell);
    add_repair_notes(grid, s, repair, &cell);
    sm_schedule__drop(&cell, &grid->cells.failed);
}

static void print_repairs(const struct page *page)
{
    static const struct sm_grid_column columns[] = {
        {"", false, false},   {"Repair", false, false}, {"Stop", true, false},        {"Mark", true, false},
        {"Kit", false, true}, {"Liner", true, false},   {"Covers pipe", true, false}, {"\u00b1", true, false},
        {"For", false, true}, {"Cost", true, false},
    };
    const struct sm_plan *plan = page->s->plan;
    if (plan->n_repairs == 0) {
        print_title(page, "No repairs.");
        return;
    }
    print_title(page, "Repairs in the order of work");
    struct sm_grid grid = {.column = columns, .n_columns = sizeof columns / sizeof columns[0]};
    for (size_t i = 0; i < plan->n_repairs; i++) {
        add_repair_row(&grid, page->s, &plan->repair[i]);
    }
    sm_schedule__grid_print(page->out, &grid, page->columns, page->utf8);
    sm_schedule__grid_release(&grid);
}

/* ---- observations ---- */

static void add_extent(struct sm_text *cell, const struct sm_schedule *s,
                       const struct sm_observation *observation)
{
    if (sm_schedule__has_extent(observation)) {
        sm_schedule__add_cell_length(cell, s, observation->start_m);
        sm_text_add(cell, " \u2013 ");
        sm_schedule__add_cell_length(cell, s, observation->end_m);
    } else {
        sm_schedule__add_cell_length(cell, s, observation->distance_m);
    }
}

static void add_observation_row(struct sm_grid *grid, const struct sm_schedule *s, size_t idx)
{
    const struct sm_observation *observation = &s->alignment->observation[idx];
    const struct sm_repair *repair = sm_schedule__repair_of(s, idx);
    struct sm_text cell = {0};
    sm_schedule__grid_cell(grid, sm_schedule__is_flagged(observation) ? "!" : "");
    sm_schedule__grid_cell(grid, observation->id);
    add_extent(&cell, s, observation);
    flush_cell(grid, &cell);
    if (isfinite(observation->error_m)) {
        sm_schedule__add_error(&cell, s, observation->error_m);
    }
    flush_cell(grid, &cell);
    sm_schedule__grid_cell(grid, sm_schedule__source_words(s, observation));
    sm_schedule__add_what(&cell, s, observation);
    flush_cell(grid, &cell);
    sm_text_add(&cell, sm_treatment_name(observation->treatment));
    if (repair) {
        sm_text_addf(&cell, " %s", repair->id);
    } else if (sm_schedule__unrepaired_reason(s, idx)) {
        sm_text_add(&cell, ", not done");
    }
    flush_cell(grid, &cell);
    sm_schedule__add_flag_words(&cell, observation->flags, ", ");
    flush_cell(grid, &cell);
    sm_schedule__drop(&cell, &grid->cells.failed);
}

static void print_observations(const struct page *page)
{
    static const struct sm_grid_column columns[] = {
        {"", false, false},    {"Seen", false, false}, {"Distance", true, false},  {"\u00b1", true, false},
        {"From", false, true}, {"What", false, true},  {"Treatment", false, true}, {"Doubts", false, true},
    };
    struct sm_grid grid = {.column = columns, .n_columns = sizeof columns / sizeof columns[0]};
    print_title(page, "Observations");
    for (size_t i = 0; i < page->s->alignment->n_observations; i++) {
        add_observation_row(&grid, page->s, i);
    }
    sm_schedule__grid_print(page->out, &grid, page->columns, page->utf8);
    sm_schedule__grid_release(&grid);
}

/* ---- what is left over ---- */

static void print_unrepaired(const struct page *page)
{
    const struct sm_plan *plan = page->s->plan;
    struct sm_text line = {0};
    if (plan->n_unrepaired) {
        print_title(page, "Not repaired");
    }
    for (size_t i = 0; i < plan->n_unrepaired; i++) {
        const struct sm_observation *observation =
            sm_schedule__observation(page->s, (size_t)plan->unrepaired[i].observation_idx);
        sm_text_addf(&line, "!  %s at ", observation ? observation->id : "?");
        sm_schedule__add_length(&line, page->s, observation ? observation->distance_m : (double)NAN);
        sm_text_addf(&line, ": %s", or_unknown(plan->unrepaired[i].reason));
        flush_line(page, &line, 3);
    }
    sm_schedule__drop(&line, &page->out->failed);
}

static void print_cost(const struct page *page)
{
    const struct sm_plan *plan = page->s->plan;
    struct sm_text line = {0};
    sm_text_add(&line, "Cost of the repairs ");
    sm_schedule__add_money(&line, plan->cost);
    bool has_advice = plan->advice && *plan->advice; /* compares the two already */
    if (isfinite(plan->full_lining_cost) && !has_advice) {
        sm_text_add(&line, ", lining the whole segment ");
        sm_schedule__add_money(&line, plan->full_lining_cost);
    }
    sm_text_add(&line, ".");
    if (has_advice) {
        sm_text_addf(&line, " %s", plan->advice);
    }
    sm_text_add(page->out, "\n");
    flush_line(page, &line, 2);
    sm_schedule__add_least_sure(&line, page->s);
    if (line.length) {
        sm_text_add(&line, ".");
        flush_line(page, &line, 2);
    }
    sm_schedule__drop(&line, &page->out->failed);
}

static void print_findings(const struct page *page)
{
    struct sm_text line = {0};
    const struct sm_finding *finding = sm_schedule__finding(page->s, 0);
    if (finding) {
        print_title(page, "Findings");
    }
    for (size_t i = 0; (finding = sm_schedule__finding(page->s, i)) != NULL; i++) {
        const struct sm_observation *observation = sm_schedule__finding_observation(page->s, finding);
        sm_text_add(&line, finding->severity == SM_SEVERITY_WARNING ? "!  " : "   ");
        if (observation) {
            sm_text_addf(&line, "%s: ", observation->id);
        }
        if (finding->source && finding->line) {
            sm_text_addf(&line, "%s:%u: ", finding->source, (unsigned)finding->line);
        }
        sm_text_add(&line, finding->message ? finding->message : "");
        flush_line(page, &line, 3);
    }
    sm_schedule__drop(&line, &page->out->failed);
}

enum sm_status sm_schedule_write_table(struct sm_text *out, const struct sm_schedule *schedule, int columns,
                                       bool utf8, struct sm_error *err)
{
    int width = columns > 0 ? columns : DEFAULT_COLUMNS;
    const struct page page = {out, schedule, width < LEAST_COLUMNS ? LEAST_COLUMNS : width, utf8};
    print_header(&page);
    print_repairs(&page);
    print_observations(&page);
    if (schedule->joined) {
        print_title(&page, "Seen by several runs");
        sm_schedule__print_joined(out, schedule, page.columns, utf8);
    }
    print_unrepaired(&page);
    print_cost(&page);
    print_findings(&page);
    return sm_schedule__finish(out, err);
}
