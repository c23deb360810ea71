/* A long pipe with something every metre. */
#include "plan_large.h"

#include <math.h>

static void fill(struct plan_large *large, size_t n, double share_of_connections)
{
    struct sm_test_random random = {2031};
    for (size_t i = 0; i < n; i++) {
        double at_m = (double)sm_test_int(&random, 0, (int64_t)n * 100) / 100;
        bool is_connection = sm_test_uniform(&random, 0, 1) < share_of_connections;
        bool is_long = !is_connection && sm_test_int(&random, 0, 4) == 0;
        large->observation[i] = (struct sm_observation){
            .id = "O",
            .entry_idx = (int32_t)i,
            .code = is_connection ? "BCA" : "BAB",
            .prepare = "",
            .reason = "",
            .diameter_mm = SM_NAN,
            .distance_m = at_m,
            .start_m = at_m,
            .end_m = fmin((double)n, at_m + (is_long ? (double)sm_test_int(&random, 1, 200) / 100 : 0)),
            .error_m = 0.055,
            .treatment = is_connection ? SM_TREATMENT_CLEAR : SM_TREATMENT_LINE,
            .is_connection = is_connection,
        };
    }
}

void plan_large_make(struct plan_large *large, size_t n_observations, double share_of_connections,
                     bool may_reopen, size_t n_kits)
{
    static const struct sm_kit kits[] = {
        {"a", 150, 250, 500000, 150, 2, 1, 100, 200, NULL},
        {"b", 150, 250, 600000, 170, 2, 1, 100, 200, NULL},
        {"c", 150, 250, 914400, 220, 2, 1, 100, 200, NULL},
        {"d", 150, 250, 1200000, 270, 2, 1, 100, 200, NULL},
        {"e", 150, 250, 1524000, 330, 2, 1, 100, 200, NULL},
        {"f", 150, 250, 3000000, 600, 2, 1, 100, 200, NULL},
    };
    large->alignment = (struct sm_alignment){.length_m = (double)n_observations,
                                             .n_observations = n_observations,
                                             .observation = large->observation};
    large->sheet = (struct sm_sheet){.kit = kits, .n_kits = n_kits, .segment = {.diameter_mm = 200}};
    large->sheet.rules = (struct sm_rules){.end_cover_m = 0.15,
                                           .overlap_m = 0.1,
                                           .keep_clear_m = 0.1,
                                           .set_up_cost = 400,
                                           .reopen_cost = 250,
                                           .connection_diameter_mm = 150,
                                           .may_reopen = may_reopen,
                                           .full_lining_rate_per_m = SM_NAN};
    fill(large, n_observations, share_of_connections);
}
