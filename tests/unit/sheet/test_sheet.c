/* The survey sheet: every key, dirty sheets, errors with their line, kits and cure tables. */
#include "sm_test.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "stopmark/sheet.h"

static struct sm_sheet *parse(const char *text)
{
    struct sm_sheet *sheet = NULL;
    struct sm_error err = {0};
    assert_ok(sm_sheet_parse(&sheet, text, strlen(text), "jobs/a.ini", &err), &err);
    return sheet;
}

static bool has_finding(const struct sm_sheet *sheet, uint32_t line, const char *part)
{
    for (size_t k = 0; k < sheet->findings.n; k++) {
        const struct sm_finding *finding = &sheet->findings.item[k];
        if ((line == 0 || finding->line == line) && strstr(finding->message, part)) {
            return true;
        }
    }
    return false;
}

static void print_findings(const struct sm_sheet *sheet)
{
    for (size_t k = 0; k < sheet->findings.n; k++) {
        print_message("finding line %u: %s\n", (unsigned)sheet->findings.item[k].line,
                      sheet->findings.item[k].message);
    }
}

/* The sheet that the documentation shows, without its tables. */
static const char full_sheet[] =
    "[segment]\n"
    "id = T12-T13\n"
    "from = T12                 # access point the camera entered\n"
    "to = T13\n"
    "length = 43.80 m           # pipe edge to pipe edge; leave out when unknown\n"
    "diameter = 200 mm\n"
    "material = vitrified clay\n"
    "flow = from-to             # or to-from\n"
    "[survey]\n"
    "date = 2031-03-14\n"
    "operator = A. Example\n"
    "video = run1.mpg, run2.mpg # in order\n"
    "log = run1.csv\n"
    "log time = clock\n"
    "codes = NA\n"
    "trust = log\n"
    "[counter]\n"
    "unit = ft\n"
    "box = 520,30,160,28\n"
    "datum = manhole centre\n"
    "datum offset = 0.60 m\n"
    "view ahead = 2 in\n"
    "[ties]\n"
    "43.10 = 43.80 m\n"
    "0.00 = 0.00 m\n"
    "[access]\n"
    "enter = to\n"
    "reference = rim\n"
    "rim to pipe edge = 2.40 m\n"
    "pipe temperature = 12 C\n"
    "groundwater head = 1.5 m   # above the invert\n"
    "[rules]\n"
    "end cover = 6 in\n"
    "locate = counter\n"
    "placement = 4 cm\n"
    "distance error = 1 % or 1 ft\n"
    "overlap = 120 mm\n"
    "keep clear = 0.2 m\n"
    "connection diameter = 4 in\n"
    "reopen = yes\n"
    "set-up cost = 400\n"
    "reopen cost = 250.50\n"
    "full lining rate = 420\n";

static void test_full_sheet(void **state)
{
    (void)state;
    struct sm_sheet *sheet = parse(full_sheet);
    print_findings(sheet);
    assert_int_equal(sheet->findings.n, 0);
    assert_string_equal(sheet->segment.id, "T12-T13");
    assert_string_equal(sheet->segment.from, "T12");
    assert_close(sheet->segment.length_m, 43.8, 1e-12);
    assert_close(sheet->segment.diameter_mm, 200, 1e-9);
    assert_string_equal(sheet->segment.material, "vitrified clay");
    assert_int_equal(sheet->segment.flow, SM_FLOW_FROM_TO);
    assert_string_equal(sheet->operator_name, "A. Example");
    assert_int_equal(sheet->n_videos, 2);
    assert_string_equal(sheet->video[1], "jobs/run2.mpg");
    assert_string_equal(sheet->log, "jobs/run1.csv");
    assert_int_equal(sheet->log_time, SM_LOG_TIME_CLOCK);
    assert_int_equal(sheet->codes, SM_CODES_NA);
    assert_int_equal(sheet->trust, SM_TRUST_LOG);
    assert_int_equal(sheet->counter_unit, SM_UNIT_FT);
    assert_int_equal(sheet->counter_box.width_px, 160);
    assert_int_equal(sheet->datum, SM_DATUM_MANHOLE_CENTRE);
    assert_close(sheet->datum_offset_m, 0.6, 1e-12);
    assert_close(sheet->view_ahead_m, 0.0508, 1e-12);
    assert_int_equal(sheet->n_ties, 2);
    assert_close(sheet->tie[0].reading, 0, 0);
    assert_close(sheet->tie[1].true_m, 43.8, 1e-12);
    assert_true(sheet->access.enters_at_to);
    assert_int_equal(sheet->access.reference, SM_REFERENCE_RIM);
    assert_close(sheet->access.rim_to_pipe_edge_m, 2.4, 1e-12);
    assert_close(sheet->access.pipe_temperature_c, 12, 1e-12);
    assert_close(sheet->access.groundwater_head_m, 1.5, 1e-12);
    assert_close(sheet->rules.end_cover_m, 0.1524, 1e-12);
    assert_int_equal(sheet->rules.locate, SM_LOCATE_COUNTER);
    assert_close(sheet->rules.placement_m, 0.04, 1e-12);
    assert_close(sheet->rules.distance_error_frac, 0.01, 1e-12);
    assert_close(sheet->rules.distance_error_m, 0.3048, 1e-12);
    assert_close(sheet->rules.overlap_m, 0.12, 1e-12);
    assert_close(sheet->rules.keep_clear_m, 0.2, 1e-12);
    assert_close(sheet->rules.connection_diameter_mm, 101.6, 1e-9);
    assert_true(sheet->rules.may_reopen);
    assert_close(sheet->rules.set_up_cost, 400, 0);
    assert_close(sheet->rules.reopen_cost, 250.5, 0);
    assert_close(sheet->rules.full_lining_rate_per_m, 420, 0);
    sm_sheet_free(&sheet);
    assert_null(sheet);
}

static void test_defaults(void **state)
{
    (void)state;
    struct sm_sheet *sheet = parse("");
    assert_true(isnan(sheet->segment.length_m) && isnan(sheet->segment.diameter_mm));
    assert_true(isnan(sheet->video_start_s) && isnan(sheet->access.pipe_temperature_c));
    assert_null(sheet->log);
    assert_int_equal(sheet->n_videos, 0);
    assert_int_equal(sheet->codes, SM_CODES_EN);
    assert_int_equal(sheet->counter_unit, SM_UNIT_UNKNOWN);
    assert_int_equal(sheet->counter_box.width_px, 0);
    assert_close(sheet->rules.end_cover_m, 0.15, 1e-12);
    assert_close(sheet->rules.placement_m, 0.05, 1e-12);
    assert_close(sheet->rules.distance_error_frac, 0.005, 1e-12);
    assert_close(sheet->rules.distance_error_m, 0.3, 1e-12);
    assert_close(sheet->rules.overlap_m, 0.1, 1e-12);
    assert_close(sheet->rules.keep_clear_m, 0.1, 1e-12);
    assert_close(sheet->rules.connection_diameter_mm, 150, 1e-9);
    assert_false(sheet->rules.may_reopen);
    assert_close(sheet->rules.set_up_cost, 0, 0);
    assert_true(isnan(sheet->rules.full_lining_rate_per_m));
    sm_sheet_free(&sheet);
}

static void test_odd_but_fine(void **state)
{
    (void)state;
    struct sm_sheet *sheet =
        parse("\xef\xbb\xbf; comment\r\n[ Segment ]\r\nID = \"T#1; \"\"a\"\"\" ; b\r\nLength=43,8m\r\n"
              "diameter = 12 in # 0.3048 m\r\nmaterial =\r\n[survey]\rvideo = \"a, b #1.mpg\" , c.mpg\r"
              "[access]\npipe_temperature = 50 F\n[rules]\nset_up_cost = 12,5\nfull lining rate = 100 /ft");
    print_findings(sheet);
    assert_int_equal(sheet->findings.n, 0);
    assert_string_equal(sheet->segment.id, "T#1; \"a\"");
    assert_close(sheet->segment.length_m, 43.8, 1e-12);
    assert_close(sheet->segment.diameter_mm, 304.8, 1e-9);
    assert_null(sheet->segment.material);
    assert_int_equal(sheet->n_videos, 2);
    assert_string_equal(sheet->video[0], "jobs/a, b #1.mpg");
    assert_string_equal(sheet->video[1], "jobs/c.mpg");
    assert_close(sheet->access.pipe_temperature_c, 10, 1e-9);
    assert_close(sheet->rules.set_up_cost, 12.5, 0);
    assert_close(sheet->rules.full_lining_rate_per_m, 100 / 0.3048, 1e-9);
    sm_sheet_free(&sheet);
}

static void test_findings(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        uint32_t line;
        const char *part;
    } cases[] = {
        {"[segmnet]\nid = a\n", 1, "did you mean [segment]"},
        {"[segment]\ndiamter = 200 mm\n", 2, "did you mean \"diameter\""},
        {"[segment]\noverlap = 200 mm\n", 2, "belongs to [rules]"},
        {"[segment]\nwombat = 1\n", 2, "no key of [segment]"},
        {"[segment]\nid = a\n\nID = b\n", 4, "already stands in line 2"},
        {"[segment]\nlength = 43.8\n", 2, "no unit, taken as m"},
        {"[segment]\ndiameter = 200\n", 2, "no unit, taken as mm"},
        {"[ties]\n1 = 1 m\n1.0 = 1.1 m\n", 3, "stands twice"},
        {"[segment]\nlength = 10 m\n[ties]\n1 = 12 m\n", 0, "beyond the segment"},
        {"[access]\nrim to pipe edge = 2 m\n", 0, "not used"},
    };
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        struct sm_sheet *sheet = parse(cases[k].text);
        if (sheet->findings.n != 1 || !has_finding(sheet, cases[k].line, cases[k].part)) {
            print_findings(sheet);
            fail_msg("case %zu: no finding \"%s\"", k, cases[k].part);
        }
        sm_sheet_free(&sheet);
    }
}

static void test_later_key_wins(void **state)
{
    (void)state;
    struct sm_sheet *sheet = parse("[rules]\noverlap = 80 mm\noverlap = 90 mm\n");
    assert_close(sheet->rules.overlap_m, 0.09, 1e-12);
    sm_sheet_free(&sheet);
}

static void test_errors(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        uint32_t line;
        enum sm_status status;
    } cases[] = {
        {"[segment]\ndiameter = -200 mm\n", 2, SM_E_RANGE},
        {"[segment]\ndiameter = 0 mm\n", 2, SM_E_RANGE},
        {"[segment]\ndiameter = nan\n", 2, SM_E_FORMAT},
        {"[segment]\ndiameter = inf mm\n", 2, SM_E_FORMAT},
        {"[segment]\nlength = 1e400 m\n", 2, SM_E_UNSUPPORTED},
        {"[segment]\nlength = long\n", 2, SM_E_FORMAT},
        {"[segment]\nlength = 43.8 wombats\n", 2, SM_E_UNSUPPORTED},
        {"[segment]\nlength = 43,800 m\n", 2, SM_E_FORMAT},
        {"[segment]\nlength = -1 m\n", 2, SM_E_RANGE},
        {"[segment]\nflow = sideways\n", 2, SM_E_FORMAT},
        {"\n\n[rules]\nend cover = 0.15\n", 4, SM_E_FORMAT},
        {"[rules]\nkeep clear = -10 mm\n", 2, SM_E_RANGE},
        {"[rules]\nset-up cost = -1\n", 2, SM_E_RANGE},
        {"[rules]\nset-up cost = cheap\n", 2, SM_E_FORMAT},
        {"[rules]\nfull lining rate = 3 /wombat\n", 2, SM_E_UNSUPPORTED},
        {"[rules]\ndistance error = 50 %\n", 2, SM_E_RANGE},
        {"[rules]\ndistance error = 0.3\n", 2, SM_E_UNSUPPORTED},
        {"[rules]\nreopen = perhaps\n", 2, SM_E_FORMAT},
        {"[counter]\nbox = 1,2,3\n", 2, SM_E_FORMAT},
        {"[counter]\nbox = 1,2,3,4,5\n", 2, SM_E_FORMAT},
        {"[counter]\nbox = 1,2,0,4\n", 2, SM_E_FORMAT},
        {"[counter]\ndatum = manhole wall\n", 0, SM_E_RANGE},
        {"[counter]\ndatum offset = 0.6 m\n", 0, SM_E_RANGE},
        {"[counter]\nunit = ft\n[segment]\nlength = 120\n", 4, SM_E_FORMAT},
        {"[access]\nreference = rim\n", 0, SM_E_RANGE},
        {"[access]\npipe temperature = 400 C\n", 2, SM_E_RANGE},
        {"[ties]\nhere = 1 m\n", 2, SM_E_FORMAT},
        {"[ties]\n1 = there\n", 2, SM_E_FORMAT},
        {"[ties]\n1 = 2 m\n2 = 1 m\n", 0, SM_E_RANGE},
        {"[survey]\nvideo = a,,b\n", 2, SM_E_FORMAT},
        {"[survey]\nvideo start = 0:10:00\nvideo end = 0:05:00\n", 0, SM_E_RANGE},
        {"[segment\n", 1, SM_E_FORMAT},
        {"[segment] x\n", 1, SM_E_FORMAT},
        {"id = a\n", 1, SM_E_FORMAT},
        {"[segment]\njust words\n", 2, SM_E_FORMAT},
        {"[segment]\nid = \"a\n", 2, SM_E_FORMAT},
        {"[segment]\nid = \"a\"b\n", 2, SM_E_FORMAT},
        {"[segment]\nid = M\xfcller\n", 2, SM_E_FORMAT},
        {"[kits]\nfile = none/there.csv\n", 0, SM_E_IO},
    };
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        struct sm_sheet *sheet = NULL;
        struct sm_error err = {0};
        enum sm_status status =
            sm_sheet_parse(&sheet, cases[k].text, strlen(cases[k].text), "jobs/a.ini", &err);
        if (status != cases[k].status || err.line != cases[k].line || !err.text[0] || !err.source[0] ||
            sheet) {
            fail_msg("case %zu (%s): status %d line %u: %s", k, cases[k].text, status, (unsigned)err.line,
                     err.text);
        }
        if (status != SM_E_IO && !err.remedy[0] && status != SM_E_UNSUPPORTED) {
            fail_msg("case %zu (%s): no remedy for \"%s\"", k, cases[k].text, err.text);
        }
    }
}

static void test_zero_byte(void **state)
{
    (void)state;
    static const char text[] = "[segment]\nid = a\0b\n";
    struct sm_sheet *sheet = NULL;
    struct sm_error err = {0};
    assert_int_equal(sm_sheet_parse(&sheet, text, sizeof text - 1, "a.ini", &err), SM_E_FORMAT);
    assert_int_equal(err.line, 2);
    assert_int_equal(err.column, 7);
}

static void test_long_line(void **state)
{
    (void)state;
    struct sm_text text = {0};
    sm_text_add(&text, "[segment]\nmaterial = ");
    for (int k = 0; k < 100000; k++) {
        sm_text_add(&text, "clay ");
    }
    struct sm_sheet *sheet = parse(sm_text_str(&text));
    assert_int_equal(strlen(sheet->segment.material), 100000 * 5 - 1);
    sm_sheet_free(&sheet);
    sm_text_release(&text);
}

static void test_set(void **state)
{
    (void)state;
    struct sm_sheet *sheet = parse(full_sheet);
    struct sm_error err = {0};
    assert_ok(sm_sheet_set(sheet, "rules.overlap", "130 mm", &err), &err);
    assert_close(sheet->rules.overlap_m, 0.13, 1e-12);
    assert_ok(sm_sheet_set(sheet, "end_cover", "0.2 m", &err), &err);
    assert_close(sheet->rules.end_cover_m, 0.2, 1e-12);
    assert_ok(sm_sheet_set(sheet, "rules.end cover", "", &err), &err);
    assert_close(sheet->rules.end_cover_m, 0.15, 1e-12);
    assert_ok(sm_sheet_set(sheet, "survey.video", "x.mkv", &err), &err);
    assert_string_equal(sheet->video[0], "jobs/x.mkv");
    assert_ok(sm_sheet_set(sheet, "ties.20.5", "20.7 m", &err), &err);
    assert_int_equal(sheet->n_ties, 3);
    assert_close(sheet->tie[1].true_m, 20.7, 1e-12);
    assert_int_equal(sm_sheet_set(sheet, "rules.overlp", "1 mm", &err), SM_E_NOTFOUND);
    assert_non_null(strstr(err.remedy, "rules.overlap"));
    assert_int_equal(sm_sheet_set(sheet, "file", "", &err), SM_OK);
    assert_int_equal(sm_sheet_set(sheet, "overlap", "-5 mm", &err), SM_E_RANGE);
    assert_close(sheet->rules.overlap_m, 0.13, 1e-12);
    assert_int_equal(sm_sheet_set(sheet, "kits.file", "nowhere.csv", &err), SM_E_IO);
    assert_null(sheet->kits_file);
    assert_int_equal(sm_sheet_set(sheet, "segment.length", "120", &err), SM_E_FORMAT);
    sm_sheet_free(&sheet);
}

static void test_owners_numbers(void **state)
{
    (void)state;
    struct sm_sheet *sheet =
        parse("[rules]\ndig rate = 100 /ft\ndig cost = 250\nfull lining set-up cost = 900\n"
              "most repairs = 4\nmost lined = 30 %\nspares = 0\n"
              "[access]\nlateral head = 3 ft\n"
              "[day]\nshift = 10 h\nset-up = 30\npush speed = 30 ft/min\nwet-out = 0:12:00\n"
              "[mat]\nglass = 1400 g/m2\nresin per glass = 1.8\nresin density = 1.4 kg/l\n"
              "waste = 5 %\nparts = 1 to 1\nlap = 1 in\nleast wall = 4 mm\nleast layers = 3\n"
              "[documents]\npaper = Letter\ncrew unit = ft\n");
    assert_close(sheet->rules.dig_rate_per_m, 100 / 0.3048, 1e-9);
    assert_close(sheet->rules.dig_cost, 250, 0);
    assert_close(sheet->rules.full_lining_set_up_cost, 900, 0);
    assert_int_equal(sheet->rules.most_repairs, 4);
    assert_close(sheet->rules.most_lined_frac, 0.3, 1e-12);
    assert_int_equal(sheet->rules.n_spares, 0);
    assert_close(sheet->access.lateral_head_m, 0.9144, 1e-12);
    assert_close(sheet->day.shift_min, 600, 1e-9);
    assert_close(sheet->day.set_up_min, 30, 1e-9);
    assert_close(sheet->day.push_m_per_min, 9.144, 1e-9);
    assert_close(sheet->day.wet_out_min, 12, 1e-9);
    assert_close(sheet->mat.glass_kg_m2, 1.4, 1e-12);
    assert_close(sheet->mat.resin_density_kg_l, 1.4, 1e-12);
    assert_close(sheet->mat.waste_frac, 0.05, 1e-12);
    assert_close(sheet->mat.parts_a, 1, 0);
    assert_close(sheet->mat.parts_b, 1, 0);
    assert_close(sheet->mat.lap_m, 0.0254, 1e-12);
    assert_close(sheet->mat.least_thickness_mm, 4, 1e-12);
    assert_int_equal(sheet->mat.least_layers, 3);
    assert_int_equal(sheet->paper, SM_PAPER_LETTER);
    assert_int_equal(sheet->people_unit, SM_UNIT_FT);
    struct sm_error err = {0};
    assert_ok(sm_sheet_set(sheet, "most repairs", "", &err), &err);
    assert_int_equal(sheet->rules.most_repairs, -1);
    assert_int_equal(sm_sheet_set(sheet, "spares", "1.5", &err), SM_E_FORMAT);
    assert_int_equal(sm_sheet_set(sheet, "most lined", "30", &err), SM_E_RANGE);
    assert_int_equal(sm_sheet_set(sheet, "parts", "2", &err), SM_E_FORMAT);
    sm_sheet_free(&sheet);
}

static void test_decisions(void **state)
{
    (void)state;
    struct sm_sheet *sheet =
        parse("[decisions]\nO3 = refer, the break has grown, seen twice\no7 bab = none, a shadow\n"
              "O3 = line, grown but sound\n");
    struct sm_error err = {0};
    assert_int_equal(sheet->n_decisions, 2);
    assert_string_equal(sheet->decision[0].id, "O7");
    assert_string_equal(sheet->decision[0].code, "BAB");
    assert_int_equal(sheet->decision[0].treatment, SM_TREATMENT_NONE);
    assert_string_equal(sheet->decision[1].id, "O3");
    assert_string_equal(sheet->decision[1].reason, "grown but sound");
    assert_true(has_finding(sheet, 4, "decided about twice"));
    assert_ok(sm_sheet_set(sheet, "decisions.O9", "clear, a valve", &err), &err);
    assert_ok(sm_sheet_set(sheet, "decisions.O3", "", &err), &err);
    assert_int_equal(sheet->n_decisions, 2);
    assert_string_equal(sheet->decision[1].id, "O9");
    static const char *const wrong[][2] = {{"O9", "refer"},   {"O9", "refer, "}, {"O9", "mend, it is broken"},
                                           {"R9", "line, x"}, {"O", "line, x"},  {"Ox", "line, x"}};
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
        char key[32];
        snprintf(key, sizeof key, "decisions.%s", wrong[i][0]);
        assert_int_equal(sm_sheet_set(sheet, key, wrong[i][1], &err), SM_E_FORMAT);
    }
    sm_sheet_free(&sheet);
}

/* Whatever a sheet can say can be said with --set: every key takes its own default back. */
static void test_every_key_can_be_set(void **state)
{
    (void)state;
    struct sm_sheet *sheet = parse("");
    struct sm_sheet_key_info info;
    for (size_t k = 0; sm_sheet_key_info(k, &info); k++) {
        char key[128];
        struct sm_error err = {0};
        snprintf(key, sizeof key, "%s.%s", info.section, info.key);
        if (sm_sheet_set(sheet, key, info.fallback, &err) != SM_OK) {
            fail_msg("%s = \"%s\": %s", key, info.fallback, err.text);
        }
    }
    sm_sheet_free(&sheet);
}

static void test_every_key_documented(void **state)
{
    (void)state;
    char *page = NULL;
    size_t n;
    struct sm_error err = {0};
    assert_ok(sm_file_read(&page, &n, sm_test_source("docs/formats/sheet.md"), 1 << 20, &err), &err);
    struct sm_sheet_key_info info;
    size_t k = 0;
    for (; sm_sheet_key_info(k, &info); k++) {
        char cell[128];
        snprintf(cell, sizeof cell, "`%s`", info.key);
        if (!strstr(page, cell)) {
            fail_msg("docs/formats/sheet.md does not name %s", cell);
        }
    }
    assert_true(k > 30);
    sm_free(page);
}

/* ---- tables
 * ------------------------------------------------------------------------------------------------ */

static void write_file(const char *dir, const char *name, const char *text)
{
    char path[512];
    struct sm_error err = {0};
    snprintf(path, sizeof path, "%s/%s", dir, name);
    assert_ok(sm_file_write(path, text, strlen(text), &err), &err);
}

static enum sm_status read_with_rules(struct sm_sheet **sheet, const char *rules, const char *kits,
                                      const char *cure, struct sm_error *err)
{
    char dir[256], path[512], text[512];
    sm_test_dir_make(dir);
    snprintf(text, sizeof text, "%s[kits]\nfile = kits.csv\n", rules);
    write_file(dir, "sheet.ini", text);
    write_file(dir, "kits.csv", kits);
    if (cure) {
        write_file(dir, "cure.csv", cure);
    }
    snprintf(path, sizeof path, "%s/sheet.ini", dir);
    enum sm_status status = sm_sheet_read(sheet, path, err);
    sm_test_dir_remove(dir);
    return status;
}

static enum sm_status read_with_kits(struct sm_sheet **sheet, const char *kits, const char *cure,
                                     struct sm_error *err)
{
    return read_with_rules(sheet, "", kits, cure, err);
}

#define KIT_HEAD                                                                                             \
    "kit,diameter_min_mm,diameter_max_mm,length_mm,cost,layers,resin_l,test_pressure_kpa,max_pressure_kpa,"  \
    "cure\n"

static void test_kits(void **state)
{
    (void)state;
    struct sm_sheet *sheet = NULL;
    struct sm_error err = {0};
    assert_ok(read_with_kits(
                  &sheet, KIT_HEAD "K200-600,150,225,600,310,2,1.4,50,200,cold\nK200-1000,150,225,1000,380\n",
                  "cure,temperature_c,working_min,cure_min\ncold,10,35,210\ncold,20,20,120\n", &err),
              &err);
    print_findings(sheet);
    assert_int_equal(sheet->findings.n, 0);
    assert_int_equal(sheet->n_kits, 2);
    assert_string_equal(sheet->kit[0].name, "K200-600");
    assert_close(sheet->kit[0].diameter_max_mm, 225, 1e-9);
    assert_int_equal(sheet->kit[0].length_um, 600000);
    assert_int_equal(sheet->kit[0].layers, 2);
    assert_close(sheet->kit[0].resin_l, 1.4, 1e-12);
    assert_close(sheet->kit[0].max_pressure_kpa, 200, 1e-9);
    assert_string_equal(sheet->kit[0].cure, "cold");
    assert_int_equal(sheet->kit[1].layers, 0);
    assert_true(isnan(sheet->kit[1].resin_l));
    assert_null(sheet->kit[1].cure);
    assert_int_equal(sheet->n_cure_rows, 2);
    assert_close(sheet->cure_row[1].cure_min, 120, 1e-9);
    assert_close(sheet->cure_row[0].working_min, 35, 1e-9);
    sm_sheet_free(&sheet);
}

static void test_kits_in_other_units(void **state)
{
    (void)state;
    struct sm_sheet *sheet = NULL;
    struct sm_error err = {0};
    assert_ok(
        read_with_kits(&sheet,
                       "Cost;Length [ft];Diameter min (in);Diameter max (in);Kit;Test pressure [psi];shelf\n"
                       "310,50;2;6;9;A;10;12\n400;0,9 m;6;225 mm;B;;\n",
                       NULL, &err),
        &err);
    assert_int_equal(sheet->kit[0].length_um, 609600);
    assert_close(sheet->kit[0].diameter_max_mm, 228.6, 1e-9);
    assert_close(sheet->kit[0].cost, 310.5, 1e-12);
    assert_close(sheet->kit[0].test_pressure_kpa, 68.94757293168361, 1e-9);
    assert_int_equal(sheet->kit[1].length_um, 900000);
    assert_close(sheet->kit[1].diameter_max_mm, 225, 1e-9);
    assert_true(has_finding(sheet, 1, "\"shelf\" is not used"));
    sm_sheet_free(&sheet);
}

static void test_kits_errors(void **state)
{
    (void)state;
    static const struct {
        const char *kits, *cure;
        uint32_t line;
    } cases[] = {
        {"", NULL, 1},
        {"kit,diameter_min_mm,length_mm,cost\nA,1,2,3\n", NULL, 1},
        {KIT_HEAD "A,150,225,600,310\nA,150,225,900,350\n", NULL, 3},
        {KIT_HEAD "A,225,150,600,310\n", NULL, 2},
        {KIT_HEAD "A,150,225,-600,310\n", NULL, 2},
        {KIT_HEAD "A,150,225,,310\n", NULL, 2},
        {KIT_HEAD "A,150,225,six hundred,310\n", NULL, 2},
        {KIT_HEAD "A,150,225,600 wombats,310\n", NULL, 2},
        {KIT_HEAD "A,150,225,600,-1\n", NULL, 2},
        {KIT_HEAD "A,150,225,600,nan\n", NULL, 2},
        {KIT_HEAD "A,150,225,600,310,1.5\n", NULL, 2},
        {KIT_HEAD "A,150,225,600,310,2,1,300,200\n", NULL, 2},
        {KIT_HEAD "A,150,225,600,310\n", "cure,temperature_c,working_min,cure_min\ncold,10,300,200\n", 2},
        {KIT_HEAD "A,150,225,600,310\n", "cure,temperature_c,working_min\ncold,10,300\n", 1},
        {KIT_HEAD "\"A,150,225,600,310\n", NULL, 2},
    };
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        struct sm_sheet *sheet = NULL;
        struct sm_error err = {0};
        enum sm_status status = read_with_kits(&sheet, cases[k].kits, cases[k].cure, &err);
        if (status == SM_OK || err.line != cases[k].line || !strstr(err.source, ".csv") || !err.remedy[0]) {
            fail_msg("case %zu: status %d, %s:%u: %s; %s", k, status, err.source, (unsigned)err.line,
                     err.text, err.remedy);
        }
    }
}

static void test_rules_against_kits(void **state)
{
    (void)state;
    struct sm_sheet *sheet = NULL;
    struct sm_error err = {0};
    assert_ok(read_with_kits(&sheet, KIT_HEAD "A,150,225,600,310,1,1,50,200,warm\n", NULL, &err), &err);
    assert_true(has_finding(sheet, 0, "cures as \"warm\""));
    sm_sheet_free(&sheet);
    /* Odd rules are the owner's: what no liner can cover then is told by the plan, observation by
     * observation. */
    assert_ok(read_with_rules(&sheet, "[rules]\nend cover = 300 mm\noverlap = 600 mm\n",
                              KIT_HEAD "A,150,225,600,310\n", NULL, &err),
              &err);
    assert_true(has_finding(sheet, 0, "overlap is not shorter"));
    assert_true(has_finding(sheet, 0, "end cover"));
    sm_sheet_free(&sheet);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_full_sheet),
        cmocka_unit_test(test_defaults),
        cmocka_unit_test(test_odd_but_fine),
        cmocka_unit_test(test_findings),
        cmocka_unit_test(test_later_key_wins),
        cmocka_unit_test(test_errors),
        cmocka_unit_test(test_zero_byte),
        cmocka_unit_test(test_long_line),
        cmocka_unit_test(test_set),
        cmocka_unit_test(test_owners_numbers),
        cmocka_unit_test(test_decisions),
        cmocka_unit_test(test_every_key_can_be_set),
        cmocka_unit_test(test_every_key_documented),
        cmocka_unit_test(test_kits),
        cmocka_unit_test(test_kits_in_other_units),
        cmocka_unit_test(test_kits_errors),
        cmocka_unit_test(test_rules_against_kits),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
