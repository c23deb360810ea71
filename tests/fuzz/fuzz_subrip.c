/* Any bytes as subtitles: what is told to be something else is passed over, so that the search stays with this reader. */
#include "distance_checks.h"
#include "distances_internal.h"
#include "fuzz.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    struct sm_text text = {0};
    struct sm_distances *list = NULL;
    struct sm_error err = {0};
    sm_text_add_decoded(&text, (const char *)data, n);
    if (sm_distances__subrip.is_it(sm_text_str(&text))) {
        FUZZ_REQUIRE(sm_distances_new(&list, NULL) == SM_OK);
        if (sm_distances_add_data(list, (const char *)data, n, "fuzz", 0, &err) == SM_OK) {
            fuzz_check_distances(list);
        } else {
            FUZZ_REQUIRE(list->n == 0 && err.text[0]);
        }
    }
    sm_distances_free(&list);
    sm_text_release(&text);
    return 0;
}
