/* What the targets of the tables beside a sheet share: a sheet whose only table is the input. */
#ifndef TABLE_CHECKS_H
#define TABLE_CHECKS_H

#include "stopmark/sheet.h"

#include <stddef.h>
#include <stdint.h>

/** A sheet of these words; the file "table.csv" it names holds data, no other is there. @return NULL refused, with a reason. */
struct sm_sheet *fuzz_sheet_with_table(const char *words, const uint8_t *data, size_t n);

#endif
