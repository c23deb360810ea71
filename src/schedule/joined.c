/* What several runs of one segment saw, on one axis: as JSON and as a table. */
#include "schedule_internal.h"

#include <math.h>

#include "grid.h"

#define LENGTH_DECIMALS 6

static void add_length(struct sm_json *json, const char *key, double length_m)
{
    sm_json_number(json, key, length_m, LENGTH_DECIMALS);
}

static void add_sighting(struct sm_json *json, const struct sm_sighting *sighting)
{
    sm_json_open_compact(json, NULL, '{');
    sm_json_int(json, "run", (int64_t)sighting->run_idx + 1);
    sm_json_string(json, "observation", sighting->id);
    add_length(json, "distance_m", sighting->distance_m);
    add_length(json, "start_m", sighting->start_m);
    add_length(json, "end_m", sighting->end_m);
    sm_json_int(json, "clock_from", sighting->clock_from_h);
    sm_json_int(json, "clock_to", sighting->clock_to_h);
    sm_json_close(json, '}');
}

static void add_defect(struct sm_json *json, const struct sm_joined_defect *defect)
{
    sm_json_open(json, NULL, '{');
    sm_json_string(json, "code", defect->code);
    add_length(json, "distance_m", defect->distance_m);
    add_length(json, "start_m", defect->start_m);
    add_length(json, "end_m", defect->end_m);
    add_length(json, "difference_m", defect->difference_m);
    sm_json_open(json, "sightings", '[');
    for (size_t i = 0; i < defect->n_sightings; i++) {
        add_sighting(json, &defect->sighting[i]);
    }
    sm_json_close(json, ']');
    sm_json_close(json, '}');
}

void sm_schedule__add_joined_json(struct sm_json *json, const struct sm_joined *joined)
{
    sm_json_open(json, "runs", '[');
    for (size_t i = 0; i < joined->n_runs; i++) {
        sm_json_open_compact(json, NULL, '{');
        sm_json_string(json, "name", joined->run[i].name);
        sm_json_string(json, "from", joined->run[i].from);
        sm_json_string(json, "date", joined->run[i].date);
        sm_json_bool(json, "reverse", joined->run[i].is_reverse);
        sm_json_close(json, '}');
    }
    sm_json_close(json, ']');
    sm_json_open(json, "joined", '{');
    add_length(json, "length_m", joined->length_m);
    add_length(json, "tolerance_m", joined->tolerance_m);
    sm_json_int(json, "seen_twice", (int64_t)joined->n_shared);
    add_length(json, "shift_m", joined->shift_m);
    add_length(json, "spread_m", joined->spread_m);
    sm_json_open(json, "defects", '[');
    for (size_t i = 0; i < joined->n_defects; i++) {
        add_defect(json, &joined->defect[i]);
    }
    sm_json_close(json, ']');
    sm_json_close(json, '}');
}

static void flush_cell(struct sm_grid *grid, struct sm_text *cell)
{
    sm_schedule__grid_cell(grid, sm_text_str(cell));
    sm_text_clear(cell);
}

static void add_row(struct sm_grid *grid, const struct sm_schedule *s, const struct sm_joined_defect *defect)
{
    struct sm_text cell = {0};
    sm_schedule__grid_cell(grid, defect->code);
    sm_schedule__add_length(&cell, s, defect->distance_m);
    flush_cell(grid, &cell);
    for (size_t i = 0; i < defect->n_sightings; i++) {
        sm_text_addf(&cell, "%srun %zu %s ", i ? ", " : "", defect->sighting[i].run_idx + 1, defect->sighting[i].id);
        sm_schedule__add_length(&cell, s, defect->sighting[i].distance_m);
    }
    flush_cell(grid, &cell);
    if (isfinite(defect->difference_m)) {
        sm_schedule__add_length(&cell, s, defect->difference_m);
    }
    flush_cell(grid, &cell);
    sm_schedule__drop(&cell, &grid->cells.failed);
}

void sm_schedule__print_joined(struct sm_text *out, const struct sm_schedule *schedule, int columns, bool utf8)
{
    static const struct sm_grid_column heads[] = {
        {"Code", false, false}, {"Distance", true, false}, {"Seen", false, true}, {"Apart", true, false}};
    struct sm_grid grid = {.column = heads, .n_columns = sizeof heads / sizeof heads[0]};
    for (size_t i = 0; i < schedule->joined->n_defects; i++) {
        add_row(&grid, schedule, &schedule->joined->defect[i]);
    }
    sm_schedule__grid_print(out, &grid, columns, utf8);
    out->failed |= grid.cells.failed;
    sm_schedule__grid_release(&grid);
}
