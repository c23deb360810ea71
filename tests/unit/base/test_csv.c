/* CSV in and out: dialects, dirt, limits, and reading back what was written. */
#include <string.h>

#include "sm_test.h"

/* Rows as "line:field|field" joined by "\n", so that a case is one string. */
static void render(struct sm_text *out, const struct sm_csv *csv)
{
    for (size_t i = 0; i < sm_csv_n_rows(csv); i++) {
        struct sm_csv_row row = sm_csv_row(csv, i);
        sm_text_addf(out, "%s%u:", i ? "\n" : "", (unsigned)row.line);
        for (size_t f = 0; f < row.n_fields; f++) {
            sm_text_addf(out, "%s%s", f ? "|" : "", row.field[f]);
        }
    }
}

static void test_read__table(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        char separator; /* expected */
        const char *rows;
    } cases[] = {
        {"a,b\n1,2\n", ',', "1:a|b\n2:1|2"},
        {"a,b\r\n1,2", ',', "1:a|b\n2:1|2"},
        {"a,b\r1,2\r", ',', "1:a|b\n2:1|2"},
        {"\xEF\xBB\xBF"
         "a;b\n1,5;2\n",
         ';', "1:a|b\n2:1,5|2"},
        {"a\tb\n 1 \t2,0\n", '\t', "1:a|b\n2:1|2,0"},
        {"a,b\n\n,,\n  ,\n1,2\n", ',', "1:a|b\n5:1|2"},
        {"a,b\n\"x, \"\"y\"\"\nz\",2\n3,4", ',', "1:a|b\n2:x, \"y\"\nz|2\n4:3|4"},
        {"a,b\n\"x\r\ny\",1\n2,3", ',', "1:a|b\n2:x\ny|1\n4:2|3"},
        {"a,b\n 12\" pipe , \" in \" \n", ',', "1:a|b\n2:12\" pipe| in "},
        {"a,b,c\n1\n1,2,3,4\n", ',', "1:a|b|c\n2:1\n3:1|2|3|4"},
        {"a,b\n1,\n,2\n", ',', "1:a|b\n2:1|\n3:|2"},
        {"sep=;\na;b,c\n1;2", ';', "2:a|b,c\n3:1|2"},
        {"only\nx\n", ',', "1:only\n2:x"},
        {"", ',', ""},
        {"\n\n", ',', ""},
        {"time;remark, free\n1;a, b, c\n2;d\n3;e, f", ';',
         "1:time|remark, free\n2:1|a, b, c\n3:2|d\n4:3|e, f"},
        {"\"a;b\",c\n1,2\n", ',', "1:a;b|c\n2:1|2"},
        {"a,b\n\"\",\"\"\"\"\n", ',', "1:a|b\n2:|\""},
        {"a,b\nr\xFChr,\x80\n", ',', "1:a|b\n2:r\xc3\xbchr|\xe2\x82\xac"},
        {"a,b\nr\xc3\xbchr,2\n", ',', "1:a|b\n2:r\xc3\xbchr|2"},
        {"a,b\n\"x\"y,2\n", ',', "1:a|b\n2:xy|2"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct sm_csv *csv = NULL;
        struct sm_error err = {0};
        assert_ok(sm_csv_parse(&csv, cases[i].text, strlen(cases[i].text), 0, "t.csv", &err), &err);
        struct sm_text rows = {0};
        render(&rows, csv);
        assert_string_equal(sm_text_str(&rows), cases[i].rows);
        assert_int_equal(sm_csv_separator(csv), cases[i].separator);
        sm_text_release(&rows);
        sm_csv_free(&csv);
        assert_null(csv);
    }
}

static void test_read__given_separator(void **state)
{
    (void)state;
    struct sm_csv *csv = NULL;
    assert_ok(sm_csv_parse(&csv, "a,b;c", 5, ';', NULL, NULL), NULL);
    assert_int_equal(sm_csv_row(csv, 0).n_fields, 2);
    sm_csv_free(&csv);
}

static void test_read__open_quote(void **state)
{
    (void)state;
    struct sm_csv *csv = NULL;
    struct sm_error err = {0};
    const char text[] = "a,b\n1,2\n\"x,3\n4,5\n";
    assert_int_equal(sm_csv_parse(&csv, text, strlen(text), 0, "t.csv", &err), SM_E_FORMAT);
    assert_int_equal(err.line, 3);
    assert_string_equal(err.source, "t.csv");
    assert_null(csv);
}

static void test_read__zero_byte(void **state)
{
    (void)state;
    struct sm_csv *csv = NULL;
    struct sm_error err = {0};
    assert_int_equal(sm_csv_parse(&csv,
                                  "a,b\n1,\0"
                                  "2\n",
                                  9, 0, "t.csv", &err),
                     SM_E_FORMAT);
    assert_int_equal(err.line, 2);
}

static void test_read__limits(void **state)
{
    (void)state;
    struct sm_csv *csv = NULL;
    struct sm_text wide = {0};
    for (int i = 0; i < 999; i++) {
        sm_text_add(&wide, "x,");
    }
    sm_text_add(&wide, "x");
    assert_ok(sm_csv_parse(&csv, wide.data, wide.length, 0, NULL, NULL), NULL);
    assert_int_equal(sm_csv_row(csv, 0).n_fields, 1000);
    sm_csv_free(&csv);
    sm_text_add(&wide, ",x");
    assert_int_equal(sm_csv_parse(&csv, wide.data, wide.length, 0, NULL, NULL), SM_E_RANGE);
    sm_text_release(&wide);

    struct sm_text tall = {0};
    for (int i = 0; i < 1000001; i++) {
        sm_text_add(&tall, "x\n");
    }
    struct sm_error err = {0};
    assert_int_equal(sm_csv_parse(&csv, tall.data, tall.length, 0, NULL, &err), SM_E_RANGE);
    assert_int_equal(err.line, 1000001);
    sm_text_release(&tall);
}

static void test_write__table(void **state)
{
    (void)state;
    static const struct {
        const char *field, *expected;
    } cases[] = {
        {"", ""},
        {"plain", "plain"},
        {"a,b", "\"a,b\""},
        {"a;b", "\"a;b\""},
        {"say \"x\"", "\"say \"\"x\"\"\""},
        {"a\nb", "\"a\nb\""},
        {"=1+1", "'=1+1"},
        {"-12.5", "-12.5"},
        {"+7", "+7"},
        {"-x", "'-x"},
        {"@cmd", "'@cmd"},
        {"\tx", "\"'\tx\""},
        {" x ", "\" x \""},
        {"=a,b", "\"'=a,b\""},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct sm_text text = {0};
        sm_text_add_csv(&text, cases[i].field);
        assert_string_equal(sm_text_str(&text), cases[i].expected);
        sm_text_release(&text);
    }
}

static void test_write__reads_back(void **state)
{
    (void)state;
    struct sm_test_random random = sm_test_seed(4180);
    static const char alphabet[] = "ab 1,;\t\"\n'.=";
    for (int round = 0; round < 3000; round++) {
        char field[2][9];
        struct sm_text text = {0};
        sm_text_add(&text, "head,more\n");
        for (int f = 0; f < 2; f++) {
            int64_t n = sm_test_int(&random, 1, 8);
            for (int64_t i = 0; i < n; i++) {
                field[f][i] = alphabet[sm_test_int(&random, 0, (int64_t)sizeof alphabet - 2)];
            }
            field[f][0] = 'x'; /* formula guards change the field on purpose */
            field[f][n] = '\0';
            sm_text_add_csv(&text, field[f]);
            sm_text_add(&text, f ? "\n" : ",");
        }
        struct sm_csv *csv = NULL;
        assert_ok(sm_csv_parse(&csv, text.data, text.length, ',', NULL, NULL), NULL);
        assert_int_equal(sm_csv_n_rows(csv), 2);
        assert_string_equal(sm_csv_row(csv, 1).field[0], field[0]);
        assert_string_equal(sm_csv_row(csv, 1).field[1], field[1]);
        sm_csv_free(&csv);
        sm_text_release(&text);
    }
}

/* Whatever the bytes: an answer or an error, and never a read outside them (the copy has no spare byte). */
static void test_read__noise(void **state)
{
    (void)state;
    struct sm_test_random random = sm_test_seed(77);
    static const char alphabet[] = "a,;\t\"\"\r\n \xff\xc3\xa9";
    for (int round = 0; round < 5000; round++) {
        size_t n = (size_t)sm_test_int(&random, 0, 40);
        char *data = sm_calloc(n, 1);
        for (size_t i = 0; i < n; i++) {
            data[i] = alphabet[sm_test_int(&random, 0, (int64_t)sizeof alphabet - 2)];
        }
        struct sm_csv *csv = NULL;
        enum sm_status status = sm_csv_parse(&csv, data, n, 0, NULL, NULL);
        assert_true(status == SM_OK || status == SM_E_FORMAT);
        for (size_t i = 0; status == SM_OK && i < sm_csv_n_rows(csv); i++) {
            struct sm_csv_row row = sm_csv_row(csv, i);
            for (size_t f = 0; f < row.n_fields; f++) {
                assert_true(sm_utf8_valid(row.field[f], strlen(row.field[f])));
            }
        }
        sm_csv_free(&csv);
        sm_free(data);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_read__table),       cmocka_unit_test(test_read__given_separator),
        cmocka_unit_test(test_read__open_quote),  cmocka_unit_test(test_read__zero_byte),
        cmocka_unit_test(test_read__limits),      cmocka_unit_test(test_write__table),
        cmocka_unit_test(test_write__reads_back), cmocka_unit_test(test_read__noise),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
