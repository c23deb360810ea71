/* Targets that cannot all be covered together: which to leave out. */
#include "plan_internal.h"

enum sm_status sm_plan__leave_out(bool *is_out, const struct sm_plan__problem *problem,
                                  struct sm_plan__targets targets, struct sm_error *err)
{
    struct sm_plan__row scratch = {0};
    struct sm_plan__stretch *tried = sm_calloc(targets.n, sizeof *tried);
    enum sm_status status = tried ? SM_OK : sm_error_set(err, SM_E_NOMEM, "out of memory");
    size_t n = 0;
    for (size_t i = 0; i < targets.n && status == SM_OK; i++) {
        bool is_found = false;
        tried[n] = targets.target[i];
        status = sm_plan__sweep(&scratch, &is_found, problem, (struct sm_plan__targets){n + 1, tried}, 0, err);
        is_out[i] = !is_found;
        n += is_found;
    }
    sm_plan__row_release(&scratch);
    sm_free(tried);
    return status;
}
