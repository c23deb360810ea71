/* Which decisions of a review count: undo and redo switch what they name. */
#include "review_internal.h"

#include <string.h>

size_t sm_job__decision_find(const struct sm_review_decision *item, size_t n, const char *key)
{
    for (size_t i = 0; key && i < n; i++) {
        if (strcmp(item[i].key, key) == 0) {
            return i;
        }
    }
    return n;
}

bool sm_job__decision_is_switch(const struct sm_review_decision *decision)
{
    return decision->act == SM_REVIEW_UNDO || decision->act == SM_REVIEW_REDO;
}

/* Undo and redo switch what they name, wherever it stands: of two people's words in one second either can come first. A
 * switch itself is never switched. */
bool *sm_job__decisions_active(const struct sm_review_decision *item, size_t n)
{
    bool *is_active = sm_calloc(n + 1, sizeof *is_active);
    for (size_t i = 0; is_active && i < n; i++) {
        is_active[i] = !sm_job__decision_is_switch(&item[i]);
    }
    for (size_t i = 0; is_active && i < n; i++) {
        size_t of = sm_job__decision_is_switch(&item[i]) ? sm_job__decision_find(item, n, item[i].of_key) : n;
        if (of < n && !sm_job__decision_is_switch(&item[of])) {
            is_active[of] = item[i].act == SM_REVIEW_REDO;
        }
    }
    return is_active;
}

/* The latest that counts; for redo the one taken back last, as long as nothing else was decided since. */
const char *sm_job__decision_latest(const struct sm_review_decision *item, const bool *is_active, size_t n,
                          enum sm_review_act act)
{
    for (size_t i = n; i-- > 0;) {
        if (act == SM_REVIEW_UNDO && is_active[i]) {
            return item[i].key;
        }
        if (act == SM_REVIEW_REDO && !sm_job__decision_is_switch(&item[i]) && is_active[i]) {
            return NULL;
        }
        if (act == SM_REVIEW_REDO && item[i].act == SM_REVIEW_UNDO) {
            size_t of = sm_job__decision_find(item, i, item[i].of_key);
            if (of < i && !is_active[of]) {
                return item[of].key;
            }
        }
    }
    return NULL;
}
