/* Any bytes as a list of distances: told apart, read, held against a trace, made a trace of alone. */
#include "distance_checks.h"
#include "fuzz.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    struct sm_distances *list = NULL;
    struct sm_error err = {0};
    FUZZ_REQUIRE(sm_distances_new(&list, NULL) == SM_OK);
    if (sm_distances_add_data(list, (const char *)data, n, "fuzz", 0, &err) == SM_OK) {
        fuzz_check_distances(list);
    } else {
        FUZZ_REQUIRE(list->n == 0 && err.text[0]);
    }
    sm_distances_free(&list);
    return 0;
}
