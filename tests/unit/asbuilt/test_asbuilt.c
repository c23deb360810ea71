/* The as-built file: units, times, dirt, what is no such file. */
#include <string.h>

#include "sm_test.h"
#include "sm_test_alloc.h"
#include "stopmark/asbuilt.h"

static struct sm_as_built_file *parse(const char *text)
{
    struct sm_as_built_file *file = NULL;
    struct sm_error err = {0};
    assert_ok(sm_asbuilt_parse(&file, text, strlen(text), "day.csv", &err), &err);
    return file;
}

static void test_parse__plain(void **state)
{
    (void)state;
    struct sm_as_built_file *file =
        parse("repair,date,crew,liner_length,stop,mark,test_pressure,pressure,pipe_temperature,mixed,inflated,deflated,"
              "kit,lot,result,remark\n"
              "R1,2031-03-20,North,0.6 m,12.34,14.74 m,50,0.9 bar,12,09:10,09:25,10:40,short,L7,ok,clean\n"
              "R2,20.03.2031,North,24 in,101 ft 6 in,,,13 psi,54 F,2031-03-20T11:00:30+01:00,11:20,2031-03-20 "
              "12:40,long,,failed,\n");
    assert_int_equal(file->n_rows, 2);
    assert_int_equal(file->findings.n, 0);
    const struct sm_as_built *row = file->row;
    assert_string_equal(row[0].repair, "R1");
    assert_string_equal(row[0].mixed, "2031-03-20T09:10");
    assert_string_equal(row[0].remark, "clean");
    assert_close(row[0].liner_length_m, 0.6, 1e-12);
    assert_close(row[0].pressure_kpa, 90, 1e-9);
    assert_true(row[0].is_in_place);
    assert_string_equal(row[1].date, "2031-03-20");
    assert_string_equal(row[1].mixed, "2031-03-20T11:00:30");
    assert_string_equal(row[1].inflated, "2031-03-20T11:20");
    assert_close(row[1].stop_m, 101.5 * 0.3048, 1e-9);
    assert_close(row[0].stop_digit_m, 0.01, 1e-12);
    assert_close(row[1].stop_digit_m, 0.0254 / 16, 1e-12);
    assert_close(row[1].liner_length_m, 0.6096, 1e-9);
    assert_close(row[1].pipe_temperature_c, 12.2222, 1e-3);
    assert_close(row[1].mark_m, SM_NAN, 0);
    assert_false(row[1].is_in_place);
    assert_close(sm_asbuilt_minutes_between(row[1].mixed, row[1].inflated), 19.5, 1e-9);
    sm_asbuilt_free(&file);
    assert_null(file);
}

/* Nothing a crew wrote is lost, whatever it looks like. */
static void test_parse__dirt_is_told_and_kept(void **state)
{
    (void)state;
    struct sm_as_built_file *file =
        parse("Repair;Stop [ft];Liner length (mm);Mixed;Date;Result;Weather\n"
              "R1;40,5;600;half past nine;31.02.2031;sort of;rain\n"
              ";about 12;;;;;\n");
    assert_int_equal(file->n_rows, 2);
    assert_close(file->row[0].stop_m, 40.5 * 0.3048, 1e-9);
    assert_close(file->row[0].stop_digit_m, 0.03048, 1e-9);
    assert_close(file->row[0].liner_length_m, 0.6, 1e-9);
    assert_string_equal(file->row[0].remark, "date: 31.02.2031; mixed: half past nine; Weather: rain");
    assert_string_equal(file->row[0].date, "");
    assert_true(file->row[0].is_in_place);
    assert_string_equal(file->row[1].remark, "stop: about 12");
    assert_int_equal(file->findings.n, 5);
    assert_int_equal(file->findings.item[0].line, 2);
    assert_int_equal(file->findings.item[4].line, 3);
    sm_asbuilt_free(&file);
}

static void test_parse__one_repair_twice(void **state)
{
    (void)state;
    struct sm_as_built_file *file = parse("repair,date,stop\nR1,2031-03-20,1\nR2,2031-03-20,2\nR1,2031-03-20,3\n"
                                          "R1,2031-03-21,4\n");
    assert_int_equal(file->row[0].occurrence, 1);
    assert_int_equal(file->row[1].occurrence, 1);
    assert_int_equal(file->row[2].occurrence, 2);
    assert_int_equal(file->row[3].occurrence, 1);
    assert_int_equal(file->findings.n, 1);
    assert_int_equal(file->findings.item[0].line, 4);
    sm_asbuilt_free(&file);
}

static void test_parse__refuses(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        uint32_t line;
    } cases[] = {
        {"", 1}, {"\n\n", 1}, {"repair,stop\n", 1}, {"time,code\n1,BAB\n", 1}, {"repair\n\"R1\n", 2},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct sm_as_built_file *file = NULL;
        struct sm_error err = {0};
        assert_int_equal(sm_asbuilt_parse(&file, cases[i].text, strlen(cases[i].text), "day.csv", &err), SM_E_FORMAT);
        assert_string_equal(err.source, "day.csv");
        assert_int_equal(err.line, cases[i].line);
        assert_true(err.remedy[0]);
        assert_null(file);
    }
    struct sm_as_built_file *file = NULL;
    assert_int_equal(sm_asbuilt_read(&file, "/nowhere/at/all.csv", NULL), SM_E_IO);
}

static void test_minutes(void **state)
{
    (void)state;
    static const struct {
        const char *from, *to;
        double min;
    } cases[] = {
        {"09:10", "09:25", 15},
        {"23:50", "00:10", 20},
        {"2031-03-20T23:50", "2031-03-21T00:10", 20},
        {"2031-12-31T23:50", "2032-01-01T00:10", 20},
        {"2032-02-28T23:50", "2032-02-29T00:10", 20},
        {"2031-03-20T10:00", "2031-03-20T09:00", -60},
        {"2031-03-20T10:00", "11:30", 90},
        {"", "11:30", -1},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        double expected = *cases[i].from ? cases[i].min : SM_NAN;
        assert_close(sm_asbuilt_minutes_between(cases[i].from, cases[i].to), expected, 1e-9);
    }
    double minute = 0;
    bool has_day = false;
    assert_true(sm_asbuilt_minute("1970-01-02T00:01", &minute, &has_day));
    assert_true(has_day);
    assert_close(minute, 1441, 0);
    assert_true(sm_asbuilt_minute("2000-03-01T00:00", &minute, &has_day));
    assert_close(minute / 1440, 11017, 0); /* date -d 2000-03-01 +%s / 86400, GNU coreutils */
    assert_false(sm_asbuilt_minute("24:00", &minute, &has_day));
    assert_false(sm_asbuilt_minute("9.30", &minute, &has_day));
}

static int parse_with_failures(void *user)
{
    static const char text[] = "repair,stop,date,other\nR1,x,y,z\nR1,1,,\n";
    (void)user;
    struct sm_as_built_file *file = NULL;
    int status = sm_asbuilt_parse(&file, text, sizeof text - 1, "day.csv", NULL);
    sm_asbuilt_free(&file);
    return status;
}

static void test_allocations__every_failure_is_told(void **state)
{
    (void)state;
    sm_test_alloc_all(parse_with_failures, NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_parse__plain),
        cmocka_unit_test(test_parse__dirt_is_told_and_kept),
        cmocka_unit_test(test_parse__one_repair_twice),
        cmocka_unit_test(test_parse__refuses),
        cmocka_unit_test(test_minutes),
        cmocka_unit_test(test_allocations__every_failure_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
