/* Any bytes as a survey sheet, and its first line as a change to one. */
#include "fuzz.h"

#include "stopmark/sheet.h"

#include <string.h>

static void change(struct sm_sheet *sheet, const uint8_t *data, size_t n)
{
    char line[200] = "";
    struct sm_error err = {0};
    memcpy(line, data, n < sizeof line - 1 ? n : sizeof line - 1);
    char *equals = strchr(line, '=');
    if (equals && !strstr(line, "file") && !strstr(line, "cure")) {
        *equals = '\0';
        FUZZ_REQUIRE(sm_sheet_set(sheet, line, equals + 1, &err) == SM_OK || err.text[0]);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    struct sm_sheet *sheet = NULL;
    struct sm_error err = {0};
    if (sm_sheet_parse(&sheet, (const char *)data, n, "/nowhere/fuzz.ini", &err) == SM_OK) {
        change(sheet, data, n);
    } else {
        FUZZ_REQUIRE(err.status != SM_OK && err.text[0]);
    }
    sm_sheet_free(&sheet);
    return 0;
}
