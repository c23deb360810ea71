/* JSON out: layout, escapes (RFC 8259 section 7), numbers that JSON has no word for. */
#include <math.h>

#include "sm_test.h"

static void test_json__layout(void **state)
{
    (void)state;
    struct sm_text out = {0};
    struct sm_json json = {.out = &out};
    sm_json_open(&json, NULL, '{');
    sm_json_string(&json, "schema", "x/1");
    sm_json_open(&json, "list", '[');
    sm_json_open_compact(&json, NULL, '{');
    sm_json_int(&json, "a", -3);
    sm_json_open(&json, "in", '[');
    sm_json_bool(&json, NULL, true);
    sm_json_null(&json, NULL);
    sm_json_close(&json, ']');
    sm_json_close(&json, '}');
    sm_json_open(&json, NULL, '{');
    sm_json_close(&json, '}');
    sm_json_close(&json, ']');
    sm_json_fixed(&json, "f", 12.345, 2);
    sm_json_number(&json, "n", 12.5, 3);
    sm_json_close(&json, '}');
    assert_string_equal(
        out.data,
        "{\n  \"schema\": \"x/1\",\n  \"list\": [\n    {\"a\": -3, \"in\": [true, null]},\n    {}\n  ],\n"
        "  \"f\": 12.35,\n  \"n\": 12.5\n}\n");
    sm_text_release(&out);
}

static void test_json__escapes(void **state)
{
    (void)state;
    struct sm_text out = {0};
    struct sm_json json = {.out = &out};
    sm_json_open_compact(&json, NULL, '[');
    sm_json_string(&json, NULL, "\"\\/\b\f\n\r\t\x01\x1f\x7f\xc3\xa9\xff</script>");
    sm_json_string(&json, NULL, NULL);
    sm_json_close(&json, ']');
    assert_string_equal(
        out.data, "[\"\\\"\\\\/\\b\\f\\n\\r\\t\\u0001\\u001f\\u007f\xc3\xa9\xEF\xBF\xBD</script>\", null]\n");
    sm_text_release(&out);
}

static void test_json__not_finite_is_null(void **state)
{
    (void)state;
    struct sm_text out = {0};
    struct sm_json json = {.out = &out};
    sm_json_open_compact(&json, NULL, '{');
    sm_json_fixed(&json, "a", SM_NAN, 2);
    sm_json_number(&json, "b", SM_INFINITY, 2);
    sm_json_fixed(&json, "c", -0.0, 1);
    sm_json_close(&json, '}');
    assert_string_equal(out.data, "{\"a\": null, \"b\": null, \"c\": 0.0}\n");
    sm_text_release(&out);
}

static void test_json__deepest(void **state)
{
    (void)state;
    struct sm_text out = {0};
    struct sm_json json = {.out = &out};
    for (int i = 0; i < 31; i++) {
        sm_json_open_compact(&json, NULL, '[');
    }
    sm_json_int(&json, NULL, 1);
    for (int i = 0; i < 31; i++) {
        sm_json_close(&json, ']');
    }
    assert_int_equal(out.length, 31 + 1 + 31 + 1);
    sm_text_release(&out);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_json__layout),
        cmocka_unit_test(test_json__escapes),
        cmocka_unit_test(test_json__not_finite_is_null),
        cmocka_unit_test(test_json__deepest),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
