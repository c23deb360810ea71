/* What a browser, or something that says it is one, can send: forms with decisions, cookies, names of hosts. */
#include <string.h>

#include "fuzz.h"
#include "web_internal.h"

static void try_form(const char *data, size_t n)
{
    struct sm_web__form form;
    struct sm_review_decision decision;
    struct sm_error err = {0};
    if (sm_web__form_parse(&form, data, n) && sm_web__form_decision(&decision, &form, &err)) {
        struct sm_text words = {0};
        sm_job_decision_words(&words, &decision);
        sm_text_release(&words);
    }
    sm_web__form_release(&form);
}

static void try_header(const char *data, size_t n)
{
    char value[33];
    char *text = sm_calloc(n + 1, 1);
    if (text) {
        memcpy(text, data, n);
        (void)sm_web__cookie_get(value, sizeof value, text, "stopmark_8080");
        (void)sm_web__is_own_host(text, 8080);
        (void)sm_web__is_own_origin(text, 8080);
        (void)sm_web__is_secret(text, "0123456789abcdef0123456789abcdef");
    }
    sm_free(text);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    char *copy = sm_calloc(size ? size : 1, 1); /* of exactly this size, so that reading past it shows */
    if (copy && size) {
        memcpy(copy, data, size);
        try_form(copy, size);
        try_header(copy, size);
    }
    sm_free(copy);
    return 0;
}
