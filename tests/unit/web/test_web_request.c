/* Forms, cookies and names from outside, taken apart. */
#include <string.h>

#include "sm_test.h"
#include "web_internal.h"

static bool parses(const char *text)
{
    struct sm_web__form form;
    bool is_good = sm_web__form_parse(&form, text, strlen(text));
    sm_web__form_release(&form);
    return is_good;
}

static void test_form__values(void **state)
{
    (void)state;
    static const struct {
        const char *text, *name, *value;
    } good[] = {
        {"a=1", "a", "1"},
        {"a=1&b=two+words%21", "b", "two words!"},
        {"a=", "a", ""},
        {"who=J%C3%B6rg", "who", "J\xc3\xb6rg"},
        {"a=b=c", "a", "b=c"},
        {"a=1&", "a", "1"},
        {"reason=line%0Abreak", "reason", "line\nbreak"},
    };
    for (size_t i = 0; i < sizeof good / sizeof *good; i++) {
        struct sm_web__form form;
        assert_true(sm_web__form_parse(&form, good[i].text, strlen(good[i].text)));
        assert_string_equal(sm_web__form_get(&form, good[i].name), good[i].value);
        assert_null(sm_web__form_get(&form, "none"));
        sm_web__form_release(&form);
    }
}

static void test_form__refused(void **state)
{
    (void)state;
    static const char *const bad[] = {"a",       "=1",    "a=%",       "a=%g0",    "a=%0",  "a=%00",
                                      "a=%1b[m", "a=%ff", "a=1&a=2",   "a=1&&b=2", "%00=a", "a=%ed%a0%80"};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        assert_false(parses(bad[i]));
    }
    struct sm_web__form form;
    assert_false(sm_web__form_parse(&form, "a=1\0b", 5));
    sm_web__form_release(&form);
    char *large = sm_calloc(SM_WEB__MAX_BODY + 2, 1);
    memset(large, 'a', SM_WEB__MAX_BODY + 1);
    large[1] = '=';
    assert_false(parses(large));
    sm_free(large);
    struct sm_text many = {0};
    for (int i = 0; i <= SM_WEB__MAX_FIELDS; i++) {
        sm_text_addf(&many, "f%d=1&", i);
    }
    assert_false(parses(many.data));
    sm_text_release(&many);
}

static void test_decision__from_a_form(void **state)
{
    (void)state;
    static const char text[] = "act=move&observation=O3&start=12.5&end=13&clock_from=4&box=1,2,30,40&reason=seen";
    struct sm_web__form form;
    struct sm_review_decision decision;
    struct sm_error err = {0};
    assert_true(sm_web__form_parse(&form, text, strlen(text)));
    assert_true(sm_web__form_decision(&decision, &form, &err));
    assert_int_equal(decision.act, SM_REVIEW_MOVE);
    assert_close(decision.start_m, 12.5, 0);
    assert_true(isnan(decision.time_s));
    assert_int_equal(decision.clock_from_h, 4);
    assert_int_equal(decision.box.height_px, 40);
    assert_string_equal(decision.observation, "O3");
    sm_web__form_release(&form);
    static const char *const bad[] = {"x=1",           "act=none",         "act=move&start=x", "act=move&start=1e999",
                                      "act=clock&clock_from=13", "act=box&box=1,2,3", "act=box&box=1,2,3,4,5",
                                      "act=box&box=-1,2,3,4", "act=treatment&treatment=glue"};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        assert_true(sm_web__form_parse(&form, bad[i], strlen(bad[i])));
        assert_false(sm_web__form_decision(&decision, &form, &err));
        sm_web__form_release(&form);
    }
}

static void test_names__own_and_others(void **state)
{
    (void)state;
    char value[8];
    assert_true(sm_web__cookie_get(value, sizeof value, "a=1; stop=abc; b=2", "stop"));
    assert_string_equal(value, "abc");
    assert_false(sm_web__cookie_get(value, sizeof value, "nonstop=abc", "stop"));
    assert_false(sm_web__cookie_get(value, sizeof value, "stop=abcdefgh", "stop"));
    assert_false(sm_web__cookie_get(value, sizeof value, ";;; ;stop", "stop"));
    assert_true(sm_web__is_own_host("127.0.0.1:80", 80));
    assert_true(sm_web__is_own_host("localhost:80", 80));
    static const char *const others[] = {"127.0.0.1", "127.0.0.1:81", "evil:80", "127.0.0.1:80.evil", "[::1]:80", ""};
    for (size_t i = 0; i < sizeof others / sizeof *others; i++) {
        assert_false(sm_web__is_own_host(others[i], 80));
    }
    assert_false(sm_web__is_own_host(NULL, 80));
    assert_true(sm_web__is_own_origin("http://localhost:80", 80));
    assert_false(sm_web__is_own_origin("https://localhost:80", 80));
    assert_false(sm_web__is_own_origin("null", 80));
    assert_true(sm_web__is_secret("abc", "abc"));
    assert_false(sm_web__is_secret("abd", "abc"));
    assert_false(sm_web__is_secret("ab", "abc"));
    assert_false(sm_web__is_secret(NULL, "abc"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_form__values),
        cmocka_unit_test(test_form__refused),
        cmocka_unit_test(test_decision__from_a_form),
        cmocka_unit_test(test_names__own_and_others),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
