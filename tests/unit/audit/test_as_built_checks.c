/* What is off about an as-built row: each check trips on what it is for, and a sound row trips none. */
#include <string.h>

#include "sm_test.h"
#include "stopmark/asbuilt.h"
#include "stopmark/audit.h"

/* A pipe of 200 mm with one repair at 12.00 m, water 1.5 m above the invert, resin at 12 C: 25 min to work, 67 to cure. */
static struct sm_kit kits[] = {
    {"P200-05", 180, 220, 500000, 211, 2, 1.9, 50, 180, "winter"},
    {"P300-05", 280, 320, 500000, 300, 2, 1.9, 50, 180, "winter"},
};
static struct sm_cure_row cure[] = {{"winter", 5, 40, 120}, {"winter", 12, 25, 67}, {"winter", 20, 14, 45}};
static struct sm_repair repair = {.id = "R1", .start_um = 11750000, .length_um = 500000, .mark_m = 14.40, .slack_m = 0.04};
static struct sm_plan plan = {.n_repairs = 1, .repair = &repair};
static struct sm_observation connection = {.id = "O2", .is_connection = true, .distance_m = 13.0, .diameter_mm = 150};
static struct sm_alignment alignment = {.length_m = 27.6, .n_observations = 1, .observation = &connection};
static struct sm_sheet sheet = {
    .segment = {.id = "S1", .length_m = 27.6, .diameter_mm = 200},
    .rules = {.placement_m = 0.05, .keep_clear_m = 0.1, .connection_diameter_mm = 150, .overlap_m = 0.1},
    .access = {.pipe_temperature_c = 12, .groundwater_head_m = 1.5},
    .n_kits = 2, .kit = kits, .n_cure_rows = 3, .cure_row = cure,
};
static const struct sm_audit_survey survey = {
    .key = "k", .date = "2031-03-14", .stored_at = "", .sheet = &sheet, .alignment = &alignment, .plan = &plan};

static const char head[] = "repair,date,liner_length,stop,mark,test_pressure,pressure,pipe_temperature,mixed,inflated,"
                           "deflated,kit,lot,result\n";

static struct sm_audit_remarks *check(const char *cells, const struct sm_audit_survey *against)
{
    struct sm_text text = {0};
    sm_text_addf(&text, "%s%s\n", head, cells);
    struct sm_as_built_file *file = NULL;
    struct sm_audit_remarks *remarks = NULL;
    struct sm_error err = {0};
    assert_ok(sm_asbuilt_parse(&file, text.data, text.length, "day.csv", &err), &err);
    assert_ok(sm_audit_check_row(&remarks, &file->row[0], against, "2031-05-01", &err), &err);
    sm_asbuilt_free(&file);
    sm_text_release(&text);
    return remarks;
}

static void test_check__sound_row_has_nothing(void **state)
{
    (void)state;
    struct sm_audit_remarks *remarks =
        check("R1,2031-04-02,0.5 m,12.02,14.42,50,70,12 C,09:00,09:20,10:30,P200-05,L1,ok", &survey);
    assert_int_equal(remarks->n, 0);
    sm_audit_remarks_free(&remarks);
    assert_null(remarks);
}

static void test_check__each_trips(void **state)
{
    (void)state;
    static const struct {
        const char *cells, *concerns, *part;
        enum sm_severity severity;
    } cases[] = {
        {"R9,2031-04-02,0.5,20.0,,50,70,12,09:00,09:20,10:30,P200-05,L1,ok", "repair", "no repair R9", SM_SEVERITY_WARNING},
        {"R1,2031-04-02,0.5,12.0,14.4,50,70,12,09:00,09:20,10:30,P200-05,L1,failed", "result", "not made", SM_SEVERITY_WARNING},
        {"R1,2031-04-02,0.5,12.0,14.4,50,70,12,09:00,09:20,10:30,P300-05,L1,ok", "kit", "200 mm", SM_SEVERITY_WARNING},
        {"R1,2031-04-02,0.5,12.0,14.4,50,70,12,09:00,09:20,10:30,other,L1,ok", "kit", "not in the survey's kits", SM_SEVERITY_WARNING},
        {"R1,2031-04-02,0.4,12.0,14.4,50,70,12,09:00,09:20,10:30,P200-05,L1,ok", "length", "0.40 m long, 0.50 m was planned", SM_SEVERITY_WARNING},
        {"R1,2031-04-02,0.5,12.3,14.7,50,70,12,09:00,09:20,10:30,P200-05,L1,ok", "stop", "off by 0.30 m", SM_SEVERITY_WARNING},
        {"R1,2031-04-02,0.5,12.0,14.8,50,70,12,09:00,09:20,10:30,P200-05,L1,ok", "mark", "needs 14.40 m: off by 0.40 m", SM_SEVERITY_WARNING},
        {"R1,2031-04-02,0.5,12.6,15.0,50,70,12,09:00,09:20,10:30,P200-05,L1,ok", "connection", "ends too close to the connection O2", SM_SEVERITY_WARNING},
        {"R1,2031-04-02,0.5,13.0,15.4,50,70,12,09:00,09:20,10:30,P200-05,L1,ok", "connection", "covers the connection O2", SM_SEVERITY_WARNING},
        {"R1,2031-04-02,0.5,27.55,29.95,50,70,12,09:00,09:20,10:30,P200-05,L1,ok", "stop", "out of the pipe", SM_SEVERITY_WARNING},
        {"R1,2031-04-02,0.5,12.0,14.4,50,60,12,09:00,09:20,10:30,P200-05,L1,ok", "pressure", "at least 64.7 kPa needed", SM_SEVERITY_WARNING},
        {"R1,2031-04-02,0.5,12.0,14.4,50,190,12,09:00,09:20,10:30,P200-05,L1,ok", "pressure", "kit allows 180 kPa", SM_SEVERITY_WARNING},
        {"R1,2031-04-02,0.5,12.0,14.4,90,120,12,09:00,09:20,10:30,P200-05,L1,ok", "pressure", "check gauge", SM_SEVERITY_NOTE},
        {"R1,2031-04-02,0.5,12.0,14.4,50,70,12,09:00,09:30,10:40,P200-05,L1,ok", "working", "30 min after mixing, 25 min allowed at 12 C", SM_SEVERITY_WARNING},
        {"R1,2031-04-02,0.5,12.0,14.4,50,70,12,09:00,09:20,10:12,P200-05,L1,ok", "cure", "cured 52 min, 67 min needed at 12 C: check by recheck", SM_SEVERITY_WARNING},
        {"R1,2031-04-02,0.5,12.0,14.4,50,70,2,09:00,09:20,10:40,P200-05,L1,ok", "cure", "could not be checked", SM_SEVERITY_NOTE},
        {"R1,2031-04-02,0.5,12.0,14.4,50,70,12,09:00,2031-04-02T08:50,10:40,P200-05,L1,ok", "times", "lies before mixed", SM_SEVERITY_WARNING},
        {"R1,2031-04-02,0.5,12.0,14.4,50,70,12,,,10:40,P200-05,L1,ok", "times", "no time noted for mixed, inflated", SM_SEVERITY_NOTE},
        {"R1,2031-03-02,0.5,12.0,14.4,50,70,12,09:00,09:20,10:30,P200-05,L1,ok", "date", "before the survey", SM_SEVERITY_WARNING},
        {"R1,2031-06-02,0.5,12.0,14.4,50,70,12,09:00,09:20,10:30,P200-05,L1,ok", "date", "in the future", SM_SEVERITY_WARNING},
        {"R1,,0.5,12.0,14.4,50,70,12,09:00,09:20,10:30,P200-05,L1,ok", "date", "no day noted", SM_SEVERITY_NOTE},
        {"R1,2031-04-02,0.5,,,50,70,12,09:00,09:20,10:30,P200-05,L1,ok", "stop", "taken as planned", SM_SEVERITY_WARNING},
        {"R1,2031-04-02,0.5,12.0,14.4,50,,12,09:00,09:20,10:30,P200-05,L1,ok", "pressure", "no packer pressure", SM_SEVERITY_NOTE},
        {"R1,2031-04-02,0.5,12.0,14.4,50,70,12,09:00,09:20,10:30,P200-05,,ok", "lot", "traced", SM_SEVERITY_NOTE},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct sm_audit_remarks *remarks = check(cases[i].cells, &survey);
        bool is_told = false;
        for (size_t k = 0; k < remarks->n; k++) {
            is_told = is_told || (strcmp(remarks->item[k].concerns, cases[i].concerns) == 0 &&
                                  strstr(remarks->item[k].message, cases[i].part) &&
                                  remarks->item[k].severity == cases[i].severity);
        }
        if (!is_told) {
            fail_msg("%s: nothing about %s that says \"%s\"; first of %zu: %s", cases[i].cells, cases[i].concerns,
                     cases[i].part, remarks->n, remarks->n ? remarks->item[0].message : "none");
        }
        sm_audit_remarks_free(&remarks);
    }
}

/* The resin's clock goes round midnight; a kit's own temperature table is used at the temperature of the day. */
static void test_check__cold_night(void **state)
{
    (void)state;
    struct sm_audit_remarks *remarks =
        check("R1,2031-04-02,0.5 m,12.02,14.42,50,70,5 C,23:30,00:05,02:06,P200-05,L1,ok", &survey);
    assert_int_equal(remarks->n, 0); /* 35 min of 40, 121 of 120 */
    sm_audit_remarks_free(&remarks);
    remarks = check("R1,2031-04-02,0.5 m,12.02,14.42,50,70,5 C,23:30,00:15,02:10,P200-05,L1,ok", &survey);
    assert_int_equal(remarks->n, 2); /* 45 of 40, 115 of 120 */
    assert_string_equal(remarks->item[0].concerns, "working");
    assert_string_equal(remarks->item[1].concerns, "cure");
    sm_audit_remarks_free(&remarks);
}

static void test_check__without_a_plan(void **state)
{
    (void)state;
    struct sm_audit_remarks *remarks =
        check("R1,2031-04-02,0.5 m,12.02,14.42,50,70,12 C,09:00,09:20,10:30,P200-05,L1,ok", NULL);
    assert_int_equal(remarks->n, 1);
    assert_string_equal(remarks->item[0].concerns, "repair");
    sm_audit_remarks_free(&remarks);
}

static void test_find_repair(void **state)
{
    (void)state;
    assert_ptr_equal(sm_audit_find_repair(&plan, " r1 "), &repair);
    assert_null(sm_audit_find_repair(&plan, "R11"));
    assert_null(sm_audit_find_repair(&plan, ""));
    assert_null(sm_audit_find_repair(NULL, "R1"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_check__sound_row_has_nothing), cmocka_unit_test(test_check__each_trips),
        cmocka_unit_test(test_check__cold_night),            cmocka_unit_test(test_check__without_a_plan),
        cmocka_unit_test(test_find_repair),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
