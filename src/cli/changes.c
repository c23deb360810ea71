/* Changes of a sheet's values as typed: KEY=VALUE; the key may hold blanks, the value may hold = signs. */
#include <string.h>

#include "cli.h"

bool sm_cli_changes_add(struct sm_cli_changes *changes, const char *value, struct sm_error *err)
{
    char *copy = sm_strdup(value);
    char *equals = copy ? strchr(copy, '=') : NULL;
    if (!equals || changes->n >= SM_CLI_MAX_CHANGES) {
        sm_free(copy);
        sm_error_set(err, SM_E_FORMAT, "\"%s\" %s", value,
                     equals ? "is one change too many" : "is no key=value");
        sm_error_remedy(err, "give a key of the sheet and its value, as in rules.overlap=120 mm");
        return false;
    }
    *equals = '\0';
    /* Both live in one block, freed through the key; sm_trim() would move its start. */
    changes->item[changes->n++] = (struct sm_job_change){copy, equals + 1};
    return true;
}

void sm_cli_changes_release(struct sm_cli_changes *changes)
{
    for (size_t i = 0; i < changes->n; i++) {
        char *block;
        memcpy(&block, &changes->item[i].key, sizeof block);
        sm_free(block);
    }
    changes->n = 0;
}
