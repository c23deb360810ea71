/* A sheet whose only table is the fuzz input: nothing is read from a disk. */
#include "table_checks.h"

#include "fuzz.h"

#include <string.h>

struct input {
    const uint8_t *data;
    size_t n;
};

static enum sm_status give_table(void *user, char **out, size_t *n, const char *path, size_t limit_bytes,
                                 struct sm_error *err)
{
    const struct input *input = user;
    const char *name = strrchr(path, '/');
    if (!name || strcmp(name, "/table.csv") != 0 || input->n > limit_bytes) {
        return sm_error_set(err, SM_E_IO, "no such file");
    }
    *out = sm_calloc(input->n + 1, 1);
    FUZZ_REQUIRE(*out);
    if (input->n) {
        memcpy(*out, input->data, input->n);
    }
    *n = input->n;
    return SM_OK;
}

struct sm_sheet *fuzz_sheet_with_table(const char *words, const uint8_t *data, size_t n)
{
    struct sm_sheet *sheet = NULL;
    struct sm_error err = {0};
    struct input input = {data, n};
    if (sm_sheet_parse_with(&sheet, words, strlen(words), "/nowhere/sheet.ini", give_table, &input, &err) != SM_OK) {
        FUZZ_REQUIRE(err.status != SM_OK && err.text[0] && err.remedy[0]);
        return NULL;
    }
    return sheet;
}
