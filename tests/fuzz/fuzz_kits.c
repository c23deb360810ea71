/* Any bytes as a table of kits: every kit that comes out could be put into a pipe. */
#include "fuzz.h"
#include "table_checks.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    struct sm_sheet *sheet = fuzz_sheet_with_table("[kits]\nfile = table.csv\n", data, n);
    for (size_t k = 0; sheet && k < sheet->n_kits; k++) {
        const struct sm_kit *kit = &sheet->kit[k];
        FUZZ_REQUIRE(kit->name && *kit->name && kit->length_um > 0 && kit->cost >= 0 && kit->layers >= 0);
        FUZZ_REQUIRE(kit->diameter_min_mm > 0 && kit->diameter_min_mm <= kit->diameter_max_mm);
        FUZZ_REQUIRE(!(kit->test_pressure_kpa > kit->max_pressure_kpa));
    }
    sm_sheet_free(&sheet);
    return 0;
}
