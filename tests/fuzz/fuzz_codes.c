/* Any bytes as a code table; what it decides is whole. */
#include "fuzz.h"

#include "stopmark/codes.h"

static void decide(const struct sm_codes *codes)
{
    static const char *const code[] = {"BAB", "BAJ", "QQ1", ""};
    struct sm_arena *arena = NULL;
    FUZZ_REQUIRE(sm_arena_new(&arena) == SM_OK);
    for (size_t k = 0; k < sizeof code / sizeof code[0]; k++) {
        struct sm_log_entry entry = {
            .code = code[k], .ch1 = "A", .ch2 = "", .q1 = "", .q2 = "", .q1_value = 20, .q2_value = SM_NAN};
        struct sm_decision decision = {SM_TREATMENT_NONE, NULL, NULL};
        FUZZ_REQUIRE(sm_codes_decide(codes, &entry, 200, arena, &decision, NULL) == SM_OK);
        FUZZ_REQUIRE(decision.reason && decision.prepare);
    }
    sm_arena_free(&arena);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    struct sm_codes *codes = NULL;
    struct sm_error err = {0};
    if (sm_codes_parse(&codes, (const char *)data, n, "fuzz", &err) == SM_OK) {
        decide(codes);
    } else {
        FUZZ_REQUIRE(err.status != SM_OK && err.text[0]);
    }
    sm_codes_free(&codes);
    return 0;
}
