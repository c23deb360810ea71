/*
 * Whole log files: every fixture under fixtures/logs/<format>/ against its .expected.json (SM_UPDATE=1
 * rewrites those), and dirty input made here.
 */
#include "sm_test.h"

#include <dirent.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "log_dump.h"

static struct sm_obslog *parse(const char *text, const struct sm_obslog_opts *opts)
{
    struct sm_obslog *log = NULL;
    struct sm_error err = {0};
    assert_ok(sm_obslog_parse(&log, text, strlen(text), "logs/x.csv", opts, &err), &err);
    return log;
}

static bool has_finding(const struct sm_obslog *log, uint32_t line, const char *part)
{
    for (size_t k = 0; k < log->findings.n; k++) {
        if (log->findings.item[k].line == line && strstr(log->findings.item[k].message, part)) {
            return true;
        }
    }
    return false;
}

/* ---- fixtures
 * ---------------------------------------------------------------------------------------------- */

static void compare_with_file(const char *path, const char *got)
{
    char *expected = NULL;
    size_t n;
    struct sm_error err = {0};
    if (getenv("SM_UPDATE")) {
        assert_ok(sm_file_write(path, got, strlen(got), &err), &err);
        return;
    }
    assert_ok(sm_file_read(&expected, &n, path, 1 << 24, &err), &err);
    if (strcmp(expected, got) != 0) {
        size_t at = 0;
        while (expected[at] && expected[at] == got[at]) {
            at++;
        }
        at = at > 100 ? at - 100 : 0;
        fail_msg("%s differs near\nexpected: %.300s\ngot: %.300s", path, expected + at, got + at);
    }
    sm_free(expected);
}

static void check_fixture(const char *dir, const char *name)
{
    char path[1400], expected[1200];
    struct sm_obslog *log = NULL;
    struct sm_obslog_list *list = NULL;
    struct sm_text text = {0};
    struct sm_error err = {0};
    snprintf(path, sizeof path, "%s/%s", dir, name);
    snprintf(expected, sizeof expected, "%.*s.expected.json", (int)(strrchr(path, '.') - path), path);
    if (sm_obslog_read(&log, path, NULL, &err) == SM_OK) {
        log_dump(&text, log);
        assert_ok(sm_obslog_list(&list, path, &err), &err);
        if (list->n_inspections > 1) {
            log_dump_list(&text, list);
        }
    } else {
        sm_text_addf(&text, "%s\nline %u column %u: %s\n%s\n", sm_status_text(err.status), (unsigned)err.line,
                     (unsigned)err.column, err.text, err.remedy);
    }
    compare_with_file(expected, sm_text_str(&text));
    sm_text_release(&text);
    sm_obslog_free(&log);
    sm_obslog_list_free(&list);
}

static size_t check_folder(const char *relative)
{
    char dir[900];
    size_t n = 0;
    snprintf(dir, sizeof dir, "%s", sm_test_source(relative));
    DIR *folder = opendir(dir);
    assert_non_null(folder);
    for (const struct dirent *item = readdir(folder); item; item = readdir(folder)) {
        const char *dot = strrchr(item->d_name, '.');
        if (dot && dot != item->d_name && strcmp(dot, ".json") != 0 && strcmp(dot, ".md") != 0) {
            check_fixture(dir, item->d_name);
            n++;
        }
    }
    closedir(folder);
    return n;
}

static void test_csv_fixtures(void **state)
{
    (void)state;
    assert_true(check_folder("fixtures/logs/csv") >= 8);
}

static void test_en13508_fixtures(void **state)
{
    (void)state;
    assert_true(check_folder("fixtures/logs/en13508") >= 6);
}

static void test_xml_fixtures(void **state)
{
    (void)state;
    assert_true(check_folder("fixtures/logs/xml") >= 9);
}

/* ---- rows
 * -------------------------------------------------------------------------------------------------- */

static void test_no_row_lost(void **state)
{
    (void)state;
    struct sm_obslog *log = parse("time,distance,code,q1,clock_from,continuous,joint,diameter_mm\n"
                                  "1:00,1.0,BAB,2,12,A1,yes,\n"
                                  "1:10,,,2,12,,,\n"                  /* no code */
                                  ",,BAB,2,12,,,\n"                   /* no place */
                                  "x,y,BAB,2,12,,,\n"                 /* place not readable */
                                  "x,2.0,BAB,2,12,,,\n"               /* half of it */
                                  "1:20,-1,BAB,2x,15,Q7,maybe,9 km\n" /* all odd */
                                  "1:30,3.0,BAB,2,12,,no,150,extra\n",
                                  NULL);
    assert_int_equal(log->n_entries, 4);
    assert_true(has_finding(log, 3, "no code"));
    assert_true(has_finding(log, 4, "neither time nor distance"));
    assert_true(has_finding(log, 5, "neither its time nor its distance"));
    assert_true(has_finding(log, 6, "the time \"x\""));
    assert_true(has_finding(log, 7, "negative"));
    assert_true(has_finding(log, 7, "q1 \"2x\""));
    assert_true(has_finding(log, 7, "clock position \"15\""));
    assert_true(has_finding(log, 7, "\"Q7\""));
    assert_true(has_finding(log, 7, "joint \"maybe\""));
    assert_true(has_finding(log, 7, "diameter \"9 km\""));
    assert_true(has_finding(log, 8, "9 fields"));
    assert_string_equal(log->entry[3].remark, "column 9=extra");
    for (size_t k = 0; k < log->findings.n; k++) {
        const struct sm_finding *finding = &log->findings.item[k];
        assert_int_equal(finding->flag, SM_FLAG_ROW_ODD);
        if (finding->line == 6 || finding->line == 7 || finding->line == 8) {
            assert_int_equal(log->entry[finding->entry_idx].line, finding->line);
        } else {
            assert_int_equal(finding->entry_idx, -1);
        }
    }
    sm_obslog_free(&log);
}

static void test_units(void **state)
{
    (void)state;
    struct sm_obslog_opts feet = {NULL, SM_UNIT_FT, 0};
    struct sm_obslog *log = parse("distance,code\n10.0,B\n10.0 m,B\n", &feet);
    assert_close(log->entry[0].distance_m, 3.048, 1e-12);
    assert_close(log->entry[0].distance_digit_m, 0.03048, 1e-12);
    assert_close(log->entry[1].distance_m, 10, 1e-12);
    sm_obslog_free(&log);
    log = parse("distance [m],code\n10.0,B\n", &feet);
    assert_close(log->entry[0].distance_m, 10, 1e-12);
    sm_obslog_free(&log);
    log = parse("distance_ft,code,q1 [in]\n10.0,B,0.5\n", NULL);
    assert_close(log->entry[0].distance_m, 3.048, 1e-12);
    assert_close(log->entry[0].q1_value, 12.7, 1e-12);
    sm_obslog_free(&log);
}

static void test_codes_split(void **state)
{
    (void)state;
    static const struct {
        const char *written, *code, *ch1, *ch2;
    } cases[] = {
        {"bab", "BAB", "", ""},       {"BAB B A", "BAB", "B", "A"}, {"BAB.C.B", "BAB", "C", "B"},
        {"BABBA", "BAB", "B", "A"},   {"BABB", "BAB", "B", ""},     {"BCDXP", "BCD", "XP", ""},
        {"BCD XP", "BCD", "XP", ""},  {"RFJ", "RFJ", "", ""},       {"MWLS", "MWLS", "", ""},
        {"CL S01", "CL S01", "", ""}, {"JOMD", "JOMD", "", ""},     {"BSV", "BSV", "", ""},
        {",BA", ",BA", "", ""},       {". B A", ". B A", "", ""},
    };
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        char text[100];
        snprintf(text, sizeof text, "distance;code\n1;%s\n", cases[k].written);
        struct sm_obslog *log = parse(text, NULL);
        assert_string_equal(log->entry[0].code, cases[k].code);
        assert_string_equal(log->entry[0].ch1, cases[k].ch1);
        assert_string_equal(log->entry[0].ch2, cases[k].ch2);
        sm_obslog_free(&log);
    }
}

/* What is odd about the order of rows is told with the row, in the log's own unit; nothing is changed. */
static void test_order_of_rows(void **state)
{
    (void)state;
    struct sm_obslog *log =
        parse("time,distance [ft],code\n0:10,1.0,B\n1:10,12.5,B\n0:50,8.5,B\n,20.0,B\n3:00,3539.0,B\n", NULL);
    assert_int_equal(log->n_entries, 5);
    assert_true(has_finding(log, 4, "the distance goes back from 12.5 ft to 8.5 ft"));
    assert_true(has_finding(log, 4, "the time goes back from 00:01:10 to 00:00:50"));
    assert_true(has_finding(log, 5, "the row has no time"));
    assert_true(has_finding(log, 6, "the log goes to 3539.0 ft, farther than"));
    assert_int_equal(log->findings.n, 4);
    assert_int_equal(log->findings.item[0].entry_idx, 2);
    sm_obslog_free(&log);
    /* of two rows the one that fits nowhere is the odd one */
    log = parse("distance,code\n10.0,B\n207.1,B\n24.2,B\n27.0,B\n25.0,B\n30.0,B\n", NULL);
    assert_true(has_finding(log, 3, "goes back from 207.1 m to 24.2 m"));
    assert_true(has_finding(log, 6, "goes back from 27.0 m to 25.0 m"));
    assert_int_equal(log->findings.n, 2);
    sm_obslog_free(&log);
    /* past midnight; listed from its end; mostly without times */
    log = parse("time,distance,code\n23:59:50,9,B\n0:00:10,7,B\n0:00:10,7,B\n0:01:00,2,B\n", NULL);
    assert_int_equal(log->findings.n, 0);
    sm_obslog_free(&log);
    log = parse("time,distance,code\n1:00,1,B\n,2,B\n,3,B\n", NULL);
    assert_int_equal(log->findings.n, 1);
    assert_true(has_finding(log, 0, "2 of 3 rows have no time"));
    sm_obslog_free(&log);
}

static void add_alternating_rows(struct sm_text *text, int n_inspections)
{
    sm_text_add(text, "segment;distance;code\n");
    for (int row = 0; row < 3; row++) {
        for (int i = 0; i < n_inspections; i++) {
            sm_text_addf(text, "S%d;%s%d.%d;BAB\n", i, row == 2 && i % 7 == 0 ? "x" : "", row, i % 10);
        }
    }
}

/* Rows of several inspections may alternate in one file; what is found goes with each. */
static void test_many_inspections(void **state)
{
    (void)state;
    enum { N = 3000 };
    struct sm_text text = {0};
    struct sm_obslog_file *file = NULL;
    struct sm_obslog *log = NULL;
    struct sm_error err = {0};
    add_alternating_rows(&text, N);
    assert_ok(sm_obslog_file_parse(&file, text.data, text.length, "x.csv", SM_UNIT_UNKNOWN, &err), &err);
    for (int i = 0; i < N; i++) {
        struct sm_obslog_opts opts = {.inspection = i + 1};
        assert_ok(sm_obslog_file_pick(&log, file, &opts, &err), &err);
        assert_int_equal(log->n_entries, i % 7 ? 3 : 2);
        assert_int_equal(log->findings.n, i % 7 ? 0 : 2); /* what is wrong, and that the row is lost */
        assert_int_equal(log->entry[1].line, 2 + N + i);
        sm_obslog_free(&log);
    }
    struct sm_obslog_opts opts = {.segment = "S17"};
    assert_ok(sm_obslog_file_pick(&log, file, &opts, &err), &err);
    assert_int_equal(log->entry[0].line, 19);
    sm_obslog_free(&log);
    sm_obslog_file_free(&file);
    sm_text_release(&text);
}

/* A segment inspected twice in one direction: each inspection gets the film of its volume, whichever comes
 * first. */
static void test_films_by_volume(void **state)
{
    (void)state;
#define INSPECTION(volume)                                                                                   \
    "<InspizierteAbwassertechnischeAnlage><Objektbezeichnung>S1</Objektbezeichnung><OptischeInspektion>"     \
    "<Inspektionsdatum>2024-05-13</Inspektionsdatum><Videoablagereferenz>" volume                            \
    "</Videoablagereferenz><Rohrleitung><Inspektionsrichtung>O</Inspektionsrichtung><Inspektionsdaten>"      \
    "<RZustand><Station>1.0</Station><Timecode>00001000</Timecode><InspektionsKode>BAB</InspektionsKode>"    \
    "</RZustand></Inspektionsdaten></Rohrleitung></OptischeInspektion></"                                    \
    "InspizierteAbwassertechnischeAnlage>"
#define FILM(name, volume, frame)                                                                            \
    "<Film><Filmname>" name "</Filmname><Videoablagereferenz>" volume "</Videoablagereferenz><Frame><fps>25" \
    "</fps></Frame><Offsets><Offset><TcFrameNr>0</TcFrameNr><MPEGFrameNr>" frame                             \
    "</MPEGFrameNr></Offset></Offsets><FilmObjekte><FilmObjekt><Objektbezeichnung>S1</Objektbezeichnung>"    \
    "<Inspektionsrichtung>O</Inspektionsrichtung></FilmObjekt></FilmObjekte></Film>"
    static const char text[] = "<Identifikation>" INSPECTION("V1") INSPECTION("V2")
        INSPECTION("") "<Filme>" FILM("two.mpg", "V2", "25")
            FILM("one.mpg", "V1", "50") "</Filme></Identifikation>";
    static const struct {
        const char *video;
        double time_s;
    } expected[] = {{"logs/one.mpg", 12}, {"logs/two.mpg", 11}, {"logs/two.mpg", 11}};
    for (int32_t k = 0; k < 3; k++) {
        struct sm_obslog *log = parse(text, &(struct sm_obslog_opts){.inspection = k + 1});
        assert_string_equal(log->video, expected[k].video);
        assert_close(log->entry[0].time_s, expected[k].time_s, 1e-9);
        sm_obslog_free(&log);
    }
}

/* Of two columns that could be the time, the one called so is; the other is kept. */
static void test_better_name_counts(void **state)
{
    (void)state;
    struct sm_obslog *log = parse("video,Dist. [m],Code:,value,q1,time\nrun1.mpg,2.5,BAB,7,3,1:15\n", NULL);
    assert_close(log->entry[0].time_s, 75, 0);
    assert_close(log->entry[0].distance_m, 2.5, 1e-12);
    assert_close(log->entry[0].q1_value, 3, 0);
    assert_string_equal(log->entry[0].remark, "video=run1.mpg; value=7");
    assert_int_equal(log->findings.n, 0);
    sm_obslog_free(&log);
}

static void test_segment_column(void **state)
{
    (void)state;
    static const char text[] =
        "segment,distance,code\nS1,0,AMH\nS1,3.1,CL\nS2,0,AMH\nS1,9.0,AMH\n,9.5,MSA\nS2,4.5,RFJ\n";
    struct sm_error err = {0};
    struct sm_obslog_opts opts = {"S2", SM_UNIT_UNKNOWN, 0};
    struct sm_obslog *log = parse(text, NULL);
    assert_int_equal(log->n_entries, 4);
    assert_string_equal(log->segment.id, "S1");
    assert_true(has_finding(log, 0, "2 inspections"));
    sm_obslog_free(&log);
    log = parse(text, &opts);
    assert_int_equal(log->n_entries, 2);
    assert_string_equal(log->entry[1].code, "RFJ");
    sm_obslog_free(&log);
    struct sm_obslog_list *list = NULL;
    assert_ok(sm_obslog_list_parse(&list, text, strlen(text), "x.csv", &err), &err);
    assert_int_equal(list->n_inspections, 2);
    assert_int_equal(list->inspection[0].n_rows, 4);
    assert_int_equal(list->inspection[1].n_rows, 2);
    sm_obslog_list_free(&list);
    opts.segment = "S9";
    assert_int_equal(sm_obslog_parse(&log, text, strlen(text), "x.csv", &opts, &err), SM_E_NOTFOUND);
    assert_true(err.remedy[0]);
}

static void test_pick_inspection(void **state)
{
    (void)state;
    struct sm_obslog *log = NULL;
    struct sm_error err = {0};
    char path[1024];
    struct sm_obslog_opts opts = {"S201-S202", SM_UNIT_UNKNOWN, 0};
    snprintf(path, sizeof path, "%s", sm_test_source("fixtures/logs/en13508/two_runs.txt"));
    assert_ok(sm_obslog_read(&log, path, &opts, &err), &err);
    assert_string_equal(log->segment.from, "S201");
    assert_true(has_finding(log, 0, "2 inspections of segment S201-S202, the first is used"));
    sm_obslog_free(&log);
    opts.inspection = 2;
    assert_ok(sm_obslog_read(&log, path, &opts, &err), &err);
    assert_string_equal(log->segment.from, "S202");
    assert_true(log->is_against_flow);
    assert_close(log->entry[3].distance_m, 21.9, 1e-9);
    /* the same duct seen from both ends: 31.8 - 21.9 = 9.9 against 9.75, 8 to 10 o'clock against 2 to 4 */
    sm_obslog_mirror_clock(&log->entry[3].clock_from_h, &log->entry[3].clock_to_h);
    assert_int_equal(log->entry[3].clock_from_h, 2);
    assert_int_equal(log->entry[3].clock_to_h, 4);
    assert_int_equal(log->findings.n, 0);
    sm_obslog_free(&log);
    opts.inspection = 3;
    assert_int_equal(sm_obslog_read(&log, path, &opts, &err), SM_E_NOTFOUND);
    opts = (struct sm_obslog_opts){"T1-T2", SM_UNIT_UNKNOWN, 0};
    assert_int_equal(sm_obslog_read(&log, path, &opts, &err), SM_E_NOTFOUND);
    assert_ok(sm_obslog_read(&log, sm_test_source("fixtures/logs/en13508/one.txt"), &opts, &err), &err);
    assert_true(has_finding(log, 0, "of segment \"S101-S102\", not of \"T1-T2\""));
    sm_obslog_free(&log);
}

/* A log as large and as odd as a city's: thousands of inspections, going back, without times, negative. No
 * row is lost. */
static void test_city_log(void **state)
{
    (void)state;
    enum { N_INSPECTIONS = 3600, N_ROWS = 28000 };
    struct sm_text text = {0};
    struct sm_test_random random = sm_test_seed(28000);
    struct sm_error err = {0};
    size_t n_rows = 0, n_listed = 0;
    sm_text_add(&text, "Section;Footage;Code;Video;Value\n");
    for (int i = 0; i < N_INSPECTIONS; i++) {
        int n = i == N_INSPECTIONS - 1 ? N_ROWS - (int)n_rows : (int)sm_test_int(&random, 1, 14);
        for (int k = 0; k < n; k++, n_rows++) {
            sm_text_addf(&text, "S%d;", i);
            sm_text_add_fixed(&text, (double)sm_test_int(&random, -1, 3100) / 10, 1);
            sm_text_addf(&text, ";%s;", k ? "RFJ" : "AMH");
            if (sm_test_int(&random, 0, 70)) {
                sm_text_addf(&text, "0:%02d:%02d", (int)sm_test_int(&random, 0, 59),
                             (int)sm_test_int(&random, 0, 59));
            }
            sm_text_add(&text, ";5\n");
        }
    }
    struct sm_obslog_list *list = NULL;
    assert_ok(sm_obslog_list_parse(&list, text.data, text.length, "city.csv", &err), &err);
    assert_int_equal(list->n_inspections, N_INSPECTIONS);
    for (size_t k = 0; k < list->n_inspections; k++) {
        n_listed += list->inspection[k].n_rows;
    }
    assert_int_equal(n_listed, N_ROWS);
    for (size_t k = 7; k < list->n_inspections; k += 700) {
        struct sm_obslog *log = NULL;
        struct sm_obslog_opts opts = {list->inspection[k].segment.id, SM_UNIT_FT, 0};
        assert_ok(sm_obslog_parse(&log, text.data, text.length, "city.csv", &opts, &err), &err);
        assert_int_equal(log->n_entries, list->inspection[k].n_rows);
        sm_obslog_free(&log);
    }
    sm_obslog_list_free(&list);
    sm_text_release(&text);
}

static void test_refused(void **state)
{
    (void)state;
    static const char *const texts[] = {
        "",
        "\n\n",
        "just words\nand more\n",
        "a,b,c\n1,2,3\n",
        "code,remark\nBAB,x\n",
        "time,distance\n1,2\n",
        "time,co\"de\n\"1:00,B\"A\"B",
        "\x01\x02\x00",
    };
    for (size_t k = 0; k < sizeof texts / sizeof texts[0]; k++) {
        struct sm_obslog *log = NULL;
        struct sm_error err = {0};
        enum sm_status status = sm_obslog_parse(&log, texts[k], strlen(texts[k]), "x.csv", NULL, &err);
        if (status != SM_E_FORMAT || !err.text[0] || !err.remedy[0] || strcmp(err.source, "x.csv") != 0 ||
            log) {
            fail_msg("case %zu: status %d %s:%u %s; %s", k, status, err.source, (unsigned)err.line, err.text,
                     err.remedy);
        }
    }
}

static void test_huge_field(void **state)
{
    (void)state;
    struct sm_text text = {0};
    sm_text_add(&text, "distance,code,remark\n1.0,BAB,\"");
    for (int k = 0; k < 200000; k++) {
        sm_text_add(&text, "all work ");
    }
    sm_text_add(&text, "\"\n2.0,BAC,\n");
    struct sm_obslog *log = parse(sm_text_str(&text), NULL);
    assert_int_equal(log->n_entries, 2);
    assert_int_equal(strlen(log->entry[0].remark), 200000 * 9);
    sm_obslog_free(&log);
    sm_text_release(&text);
}

/* A file cut anywhere never fails worse than with an error. */
static void test_half_files(void **state)
{
    (void)state;
    static const char text[] = "\xef\xbb\xbftitle;;\r\ntime;distance;code;remark\r\n0:10;1,0;BAB;\"a "
                               "\"\"b\"\"\r\nc\"\r\n0:20;2,0;BAC;x\r\n";
    for (size_t n = 0; n < sizeof text; n++) {
        char *copy = sm_calloc(n + 1, 1);
        struct sm_obslog *log = NULL;
        struct sm_error err = {0};
        memcpy(copy, text, n);
        if (sm_obslog_parse(&log, copy, n, "x.csv", NULL, &err) != SM_OK) {
            assert_true(err.text[0] && err.remedy[0]);
        }
        sm_obslog_free(&log);
        sm_free(copy);
    }
}

/* ---- property: a random log written in a random dialect reads back equal
 * ----------------------------------- */

struct dialect {
    char separator, decimal;
    const char *line_end, *bom;
    bool has_hours, is_german, has_title, is_quoted;
};

static void add_cell(struct sm_text *text, const struct dialect *dialect, const char *cell, bool is_last)
{
    if (dialect->is_quoted || strchr(cell, dialect->separator) || strchr(cell, '"') || strchr(cell, '\n')) {
        sm_text_add(text, "\"");
        for (const char *s = cell; *s; s++) {
            sm_text_add_n(text, *s == '"' ? "\"\"" : s, *s == '"' ? 2 : 1);
        }
        sm_text_add(text, "\"");
    } else {
        sm_text_add(text, cell);
    }
    sm_text_add(text, is_last ? dialect->line_end : (char[2]){dialect->separator, '\0'});
}

static void add_number_cell(struct sm_text *text, const struct dialect *dialect, double value, int decimals)
{
    struct sm_text cell = {0};
    if (!isnan(value)) {
        sm_text_add_fixed(&cell, value, decimals);
        for (size_t k = 0; k < cell.length; k++) {
            cell.data[k] = cell.data[k] == '.' ? dialect->decimal : cell.data[k];
        }
    }
    add_cell(text, dialect, sm_text_str(&cell), false);
    sm_text_release(&cell);
}

static void add_time_cell(struct sm_text *text, const struct dialect *dialect, double time_s)
{
    char cell[32] = "";
    int whole = isnan(time_s) ? 0 : (int)time_s;
    if (!isnan(time_s)) {
        if (dialect->has_hours) {
            snprintf(cell, sizeof cell, "%d:%02d:%02d", whole / 3600, whole / 60 % 60, whole % 60);
        } else {
            snprintf(cell, sizeof cell, "%02d:%02d", whole / 60, whole % 60);
        }
    }
    add_cell(text, dialect, cell, false);
}

struct row {
    double time_s, distance_m, q1;
    const char *code, *ch1, *remark;
    int clock_from;
};

static struct row random_row(struct sm_test_random *random)
{
    static const char *const codes[] = {"BAB", "BCA", "BBA", "BAJ", "CL", "MWL"};
    static const char *const letters[] = {"", "A", "B", "XP"};
    static const char *const remarks[] = {"",
                                          "plain",
                                          "with; semicolon",
                                          "with, comma",
                                          "a \"quote\"",
                                          "two\nlines",
                                          "umlaut \xc3\xa4\xc3\xb6\xc3\xbc",
                                          "tab\tinside",
                                          "12,5",
                                          "=1+1"};
    struct row row = {.time_s = (double)sm_test_int(random, 0, 20000),
                      .distance_m = (double)sm_test_int(random, 0, 20000) / 100};
    row.time_s = sm_test_int(random, 0, 5) ? row.time_s : SM_NAN;
    row.distance_m = isnan(row.time_s) || sm_test_int(random, 0, 5) ? row.distance_m : SM_NAN;
    row.q1 = sm_test_int(random, 0, 2) ? (double)sm_test_int(random, 0, 1000) / 10 : SM_NAN;
    row.code = codes[sm_test_int(random, 0, 5)];
    row.ch1 = letters[sm_test_int(random, 0, 3)];
    row.remark = remarks[sm_test_int(random, 0, 9)];
    row.clock_from = (int)sm_test_int(random, 0, 12);
    return row;
}

static struct dialect random_dialect(struct sm_test_random *random)
{
    struct dialect dialect = {.separator = ",;\t"[sm_test_int(random, 0, 2)],
                              .line_end = sm_test_int(random, 0, 1) ? "\r\n" : "\n",
                              .bom = sm_test_int(random, 0, 1) ? "\xef\xbb\xbf" : "",
                              .has_hours = sm_test_int(random, 0, 1),
                              .is_german = sm_test_int(random, 0, 1),
                              .has_title = sm_test_int(random, 0, 1),
                              .is_quoted = sm_test_int(random, 0, 3) == 0};
    dialect.decimal = dialect.separator == ',' || sm_test_int(random, 0, 1) ? '.' : ',';
    return dialect;
}

static void write_rows(struct sm_text *text, const struct dialect *dialect, const struct row *rows, size_t n)
{
    static const char *const heads[2][7] = {
        {"time", "distance", "code", "ch1", "q1", "clock_from", "remark"},
        {"Videozeit", "Station [m]", "K\xc3\xbcrzel", "Charakterisierung 1", "Quantifizierung 1", "Lage von",
         "Bemerkung"},
    };
    sm_text_add(text, dialect->bom);
    if (dialect->has_title) {
        add_cell(text, dialect, "Survey of a pipe", true);
    }
    for (int k = 0; k < 7; k++) {
        add_cell(text, dialect, heads[dialect->is_german][k], k == 6);
    }
    for (size_t i = 0; i < n; i++) {
        char clock[8] = "";
        add_time_cell(text, dialect, rows[i].time_s);
        add_number_cell(text, dialect, rows[i].distance_m, 2);
        add_cell(text, dialect, rows[i].code, false);
        add_cell(text, dialect, rows[i].ch1, false);
        add_number_cell(text, dialect, rows[i].q1, 1);
        if (rows[i].clock_from) {
            snprintf(clock, sizeof clock, "%d", rows[i].clock_from);
        }
        add_cell(text, dialect, clock, false);
        add_cell(text, dialect, rows[i].remark, true);
    }
}

static void check_rows(const struct sm_obslog *log, const struct row *rows, size_t n)
{
    assert_int_equal(log->n_entries, n);
    for (size_t i = 0; i < n; i++) {
        const struct sm_log_entry *entry = &log->entry[i];
        assert_close(entry->time_s, rows[i].time_s, 1e-9);
        assert_close(entry->distance_m, rows[i].distance_m, 1e-9);
        assert_close(entry->q1_value, rows[i].q1, 1e-9);
        assert_string_equal(entry->code, rows[i].code);
        assert_string_equal(entry->ch1, rows[i].ch1);
        assert_string_equal(entry->remark, rows[i].remark);
        assert_int_equal(entry->clock_from_h, rows[i].clock_from);
    }
}

static void test_dialects(void **state)
{
    (void)state;
    struct sm_test_random random = sm_test_seed(20310314);
    for (int round = 0; round < 400; round++) {
        struct row rows[12];
        struct sm_text text = {0};
        size_t n = (size_t)sm_test_int(&random, 1, 12);
        struct dialect dialect = random_dialect(&random);
        for (size_t i = 0; i < n; i++) {
            rows[i] = random_row(&random);
        }
        write_rows(&text, &dialect, rows, n);
        struct sm_obslog *log = parse(sm_text_str(&text), NULL);
        check_rows(log, rows, n);
        sm_obslog_free(&log);
        sm_text_release(&text);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_csv_fixtures),
        cmocka_unit_test(test_en13508_fixtures),
        cmocka_unit_test(test_xml_fixtures),
        cmocka_unit_test(test_no_row_lost),
        cmocka_unit_test(test_units),
        cmocka_unit_test(test_codes_split),
        cmocka_unit_test(test_better_name_counts),
        cmocka_unit_test(test_order_of_rows),
        cmocka_unit_test(test_many_inspections),
        cmocka_unit_test(test_films_by_volume),
        cmocka_unit_test(test_segment_column),
        cmocka_unit_test(test_pick_inspection),
        cmocka_unit_test(test_city_log),
        cmocka_unit_test(test_refused),
        cmocka_unit_test(test_huge_field),
        cmocka_unit_test(test_half_files),
        cmocka_unit_test(test_dialects),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
