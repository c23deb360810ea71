/* Any bytes as an as-built file: rows or an error with words; times among themselves. */
#include "fuzz.h"

#include "stopmark/asbuilt.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    struct sm_as_built_file *file = NULL;
    struct sm_error err = {0};
    if (sm_asbuilt_parse(&file, (const char *)data, n, "fuzz.csv", &err) != SM_OK) {
        FUZZ_REQUIRE(err.status != SM_OK && err.text[0] && err.remedy[0]);
        return 0;
    }
    FUZZ_REQUIRE(file->n_rows > 0);
    for (size_t i = 0; i < file->n_rows; i++) {
        const struct sm_as_built *row = &file->row[i];
        double minutes = sm_asbuilt_minutes_between(row->mixed, row->inflated);
        FUZZ_REQUIRE(row->repair && row->remark && row->line > 0 && row->occurrence > 0);
        FUZZ_REQUIRE(minutes >= 0 || minutes != minutes || row->mixed[4] == '-');
    }
    sm_asbuilt_free(&file);
    return 0;
}
