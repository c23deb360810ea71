/* Any bytes as a table of working and cure times: none that would let resin set before it is in place. */
#include "fuzz.h"
#include "table_checks.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    struct sm_sheet *sheet = fuzz_sheet_with_table("[kits]\ncure = table.csv\n", data, n);
    for (size_t k = 0; sheet && k < sheet->n_cure_rows; k++) {
        const struct sm_cure_row *row = &sheet->cure_row[k];
        FUZZ_REQUIRE(row->name && *row->name);
        FUZZ_REQUIRE(row->working_min > 0 && row->working_min <= row->cure_min);
        FUZZ_REQUIRE(row->temperature_c >= -30 && row->temperature_c <= 150);
    }
    sm_sheet_free(&sheet);
    return 0;
}
