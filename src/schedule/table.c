/* Tables of plain words for other documents than the schedule. */
#include <assert.h>

#include "grid.h"
#include "schedule_internal.h"

enum { DEFAULT_WIDTH = 100 };

enum sm_status sm_schedule_print_table(struct sm_text *out, const struct sm_table *table, int columns, bool utf8,
                                       struct sm_error *err)
{
    struct sm_grid_column column[SM_GRID_MAX_COLUMNS];
    struct sm_grid grid = {.column = column, .n_columns = table->n_columns};
    assert(table->n_columns >= 1 && table->n_columns <= SM_GRID_MAX_COLUMNS && table->n_cells % table->n_columns == 0);
    for (size_t i = 0; i < table->n_columns; i++) {
        column[i] = (struct sm_grid_column){table->column[i].head, table->column[i].is_right, table->column[i].may_wrap};
    }
    for (size_t i = 0; i < table->n_cells; i++) {
        sm_schedule__grid_cell(&grid, table->cell[i]);
    }
    sm_schedule__grid_print(out, &grid, columns ? columns : DEFAULT_WIDTH, utf8);
    sm_schedule__grid_release(&grid);
    return sm_schedule__finish(out, err);
}
