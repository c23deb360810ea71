/*
 * Written logs: reading them gives the same log, and ISYBAU files are valid against the published schema
 * (format version 2013-02, files 1302-*.xsd) where its files and xmllint are at hand: in $SM_XSD_DIR, or in a
 * folder near the source tree.
 */
#include "sm_test.h"

#include <dirent.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "log_dump.h"

/* ---- random logs
 * ------------------------------------------------------------------------------------------- */

#define PICK(random, list) ((list)[sm_test_int((random), 0, (int64_t)(sizeof(list) / sizeof((list)[0])) - 1)])

struct made_log {
    struct sm_obslog log;
    struct sm_log_entry entry[20];
};

static void make_entry(struct sm_log_entry *entry, struct sm_test_random *random, double fps)
{
    static const char *const codes[] = {"BAB", "BAC", "BAJ", "BBA", "BBF", "BCA", "BCD", "BCE", "BDD"};
    static const char *const letters[] = {"", "A", "B", "C", "XP"};
    static const char *const values[] = {"", "2", "15", "0.5", "120.25", "10 %", "T13", "> 50"};
    static const char *const remarks[] = {"",
                                          "plain",
                                          "semi;colon, comma",
                                          "a \"quote\"",
                                          "8\" pipe",
                                          "#hash",
                                          "<tag> & more",
                                          "\xc3\xa4\xc3\xb6\xc3\xbc\xc3\x9f",
                                          "weather=dry; wind=none"};
    static const char *const photos[] = {"", "P001.jpg", "with blank.jpg"};
    static const enum sm_continuous marks[] = {SM_CONTINUOUS_NONE, SM_CONTINUOUS_NONE, SM_CONTINUOUS_START,
                                               SM_CONTINUOUS_CHANGE, SM_CONTINUOUS_END};
    *entry = (struct sm_log_entry){
        .time_s =
            sm_test_int(random, 0, 4) ? (double)sm_test_int(random, 0, (int64_t)(20000 * fps)) / fps : SM_NAN,
        .distance_m = (double)sm_test_int(random, -50, 99999) / 100,
        .code = PICK(random, codes),
        .ch1 = PICK(random, letters),
        .ch2 = PICK(random, letters),
        .q1 = PICK(random, values),
        .q2 = PICK(random, values),
        .clock_from_h = (int32_t)sm_test_int(random, 0, 12),
        .continuous = PICK(random, marks),
        .is_at_joint = sm_test_int(random, 0, 1),
        .remark = PICK(random, remarks),
        .photo = PICK(random, photos),
    };
    entry->clock_to_h = entry->clock_from_h ? (int32_t)sm_test_int(random, 0, 12) : 0;
    entry->continuous_id = entry->continuous == SM_CONTINUOUS_NONE ? 0 : (int32_t)sm_test_int(random, 1, 99);
}

static void make_log(struct made_log *made, struct sm_test_random *random, double fps)
{
    static const char *const materials[] = {NULL, "vitrified clay", "concrete", "PVC-U", "steel"};
    struct sm_obslog *log = &made->log;
    memset(made, 0, sizeof *made);
    log->is_against_flow = sm_test_int(random, 0, 1);
    log->segment = (struct sm_segment){
        .id = "T12-T13",
        .from = log->is_against_flow ? "T13" : "T12",
        .to = log->is_against_flow ? "T12" : "T13",
        .length_m = SM_NAN,
        .diameter_mm = sm_test_int(random, 0, 1) ? (double)sm_test_int(random, 100, 1200) : SM_NAN,
        .pipe_unit_length_m = sm_test_int(random, 0, 1) ? (double)sm_test_int(random, 50, 600) / 100 : SM_NAN,
        .material = PICK(random, materials),
        .flow = log->is_against_flow ? SM_FLOW_TO_FROM : SM_FLOW_FROM_TO,
    };
    log->source = "x";
    log->date = "2031-03-14";
    log->video = sm_test_int(random, 0, 1) ? "run & 1.mpg" : NULL;
    log->inspection_length_m =
        sm_test_int(random, 0, 1) ? (double)sm_test_int(random, 1, 99999) / 100 : SM_NAN;
    log->n_entries = (size_t)sm_test_int(random, 0, 20);
    log->entry = made->entry;
    for (size_t k = 0; k < log->n_entries; k++) {
        make_entry(&made->entry[k], random, fps);
    }
}

/* What a reader makes of the made log: numbers from texts, and the format's name. */
static void expect(struct made_log *made, const char *format)
{
    static const struct {
        const char *text;
        double value;
    } values[] = {{"2", 2}, {"15", 15}, {"0.5", 0.5}, {"120.25", 120.25}, {"10 %", 10}, {"> 50", 50}};
    made->log.format = format;
    for (size_t k = 0; k < made->log.n_entries; k++) {
        struct sm_log_entry *entry = &made->entry[k];
        entry->q1_value = entry->q2_value = entry->diameter_mm = SM_NAN;
        for (size_t i = 0; i < sizeof values / sizeof values[0]; i++) {
            entry->q1_value = strcmp(entry->q1, values[i].text) == 0 ? values[i].value : entry->q1_value;
            entry->q2_value = strcmp(entry->q2, values[i].text) == 0 ? values[i].value : entry->q2_value;
        }
    }
}

/* Lines, last digits and findings are the file's, not the log's. */
static void compare(const struct made_log *made, struct sm_obslog *read)
{
    struct sm_text expected = {0}, got = {0};
    struct sm_obslog plain = *read;
    for (size_t k = 0; k < read->n_entries; k++) {
        read->entry[k].line = 0;
        read->entry[k].distance_digit_m = 0;
    }
    plain.findings.n = 0;
    log_dump(&expected, &made->log);
    log_dump(&got, &plain);
    if (strcmp(sm_text_str(&expected), sm_text_str(&got)) != 0) {
        size_t at = 0;
        while (expected.data[at] && expected.data[at] == got.data[at]) {
            at++;
        }
        at = at > 200 ? at - 200 : 0;
        fail_msg("expected %.400s\ngot %.400s", expected.data + at, got.data + at);
    }
    sm_text_release(&expected);
    sm_text_release(&got);
}

static void read_back(const struct made_log *made, const struct sm_text *text)
{
    struct sm_obslog *log = NULL;
    struct sm_error err = {0};
    sm_test_ok(sm_obslog_parse(&log, sm_text_str(text), text->length, "x", NULL, &err), &err,
               sm_text_str(text), __FILE__, __LINE__);
    compare(made, log);
    sm_obslog_free(&log);
}

static void test_en13508_round_trip(void **state)
{
    (void)state;
    struct sm_test_random random = sm_test_seed(1350802);
    for (int round = 0; round < 300; round++) {
        struct made_log made;
        struct sm_text text = {0};
        struct sm_error err = {0};
        make_log(&made, &random, 1);
        assert_ok(sm_obslog_write_en13508(&text, &made.log, NULL, &err), &err);
        expect(&made, "en13508");
        read_back(&made, &text);
        sm_text_release(&text);
    }
}

static void test_isybau_round_trip(void **state)
{
    (void)state;
    static const double rates[] = {25, 30, 50};
    struct sm_test_random random = sm_test_seed(201302);
    for (int round = 0; round < 300; round++) {
        struct made_log made;
        struct sm_text text = {0};
        struct sm_error err = {0};
        struct sm_obslog_write_opts opts = {.fps = PICK(&random, rates)};
        make_log(&made, &random, opts.fps);
        opts.fps = made.log.video ? opts.fps : 25; /* without a film nothing says the rate, and 25 is read */
        for (size_t k = 0; k < made.log.n_entries; k++) {
            made.entry[k].group = (int32_t)sm_test_int(&random, 0, 99);
            made.entry[k].time_s = made.log.video ? made.entry[k].time_s : floor(made.entry[k].time_s);
        }
        made.log.has_datum = sm_test_int(&random, 0, 1);
        made.log.datum = made.log.has_datum ? (enum sm_datum)sm_test_int(&random, 0, 2) : SM_DATUM_PIPE_EDGE;
        assert_ok(sm_obslog_write_isybau(&text, &made.log, &opts, NULL, &err), &err);
        expect(&made, "isybau");
        read_back(&made, &text);
        sm_text_release(&text);
    }
}

/* Written with the offsets, read times are times in the film: the clock was 100 s ahead and 1 % fast. */
static void test_offsets_carry_alignment(void **state)
{
    (void)state;
    struct sm_log_entry entry = {.time_s = 604,
                                 .distance_m = 3,
                                 .code = "BAB",
                                 .ch1 = "",
                                 .ch2 = "",
                                 .q1 = "",
                                 .q2 = "",
                                 .remark = "",
                                 .photo = ""};
    struct sm_obslog log = {.source = "x",
                            .date = "2031-03-14",
                            .video = "a.mpg",
                            .segment = {.id = "S"},
                            .n_entries = 1,
                            .entry = &entry};
    struct sm_obslog_offset offsets[] = {{100, 0}, {1110, 1000}};
    struct sm_obslog_write_opts opts = {.offset = offsets, .n_offsets = 2};
    struct sm_text text = {0};
    struct sm_error err = {0};
    struct sm_obslog *read = NULL;
    assert_ok(sm_obslog_write_isybau(&text, &log, &opts, NULL, &err), &err);
    assert_ok(sm_obslog_parse(&read, text.data, text.length, "x", NULL, &err), &err);
    assert_close(read->entry[0].time_s, (604 - 100) / 1.01, 0.02);
    sm_obslog_free(&read);
    sm_text_release(&text);
}

static void test_left_out(void **state)
{
    (void)state;
    struct sm_log_entry entries[2] = {{.time_s = 1,
                                       .distance_m = SM_NAN,
                                       .code = "BAB",
                                       .ch1 = "",
                                       .ch2 = "",
                                       .q1 = "",
                                       .q2 = "",
                                       .remark = "",
                                       .photo = ""},
                                      {.time_s = 2,
                                       .distance_m = 1234,
                                       .code = "BAC",
                                       .ch1 = "",
                                       .ch2 = "",
                                       .q1 = "",
                                       .q2 = "",
                                       .remark = "",
                                       .photo = ""}};
    struct sm_obslog log = {.source = "x",
                            .date = "2031-03-14",
                            .segment = {.id = "a name of a segment longer than thirty letters"},
                            .n_entries = 2,
                            .entry = entries};
    struct sm_findings findings = {0};
    struct sm_text text = {0};
    struct sm_error err = {0};
    assert_int_equal(sm_obslog_write_en13508(&text, &log, NULL, &err), SM_E_RANGE);
    assert_true(err.remedy[0]);
    sm_text_clear(&text);
    assert_ok(sm_obslog_write_en13508(&text, &log, &findings, &err), &err);
    assert_int_equal(findings.n, 1);
    sm_text_clear(&text);
    assert_ok(sm_obslog_write_isybau(&text, &log, NULL, &findings, &err), &err);
    assert_int_equal(findings.n, 4); /* the name is cut, both entries are left out */
    sm_text_clear(&text);
    log.date = "14 March";
    assert_int_equal(sm_obslog_write_isybau(&text, &log, NULL, &findings, &err), SM_E_NOTFOUND);
    sm_findings_release(&findings);
    sm_text_release(&text);
}

/* ---- the published schema
 * ---------------------------------------------------------------------------------- */

static bool has_schema(const char *dir)
{
    char path[1200];
    snprintf(path, sizeof path, "%s/1302-metadaten.xsd", dir);
    return access(path, R_OK) == 0;
}

/* A folder of dir, or a folder in one of those, that holds the schema. */
static bool look_in(const char *dir, int depth, char found[1024])
{
    DIR *folder = opendir(dir);
    bool is_found = false;
    for (const struct dirent *item = folder ? readdir(folder) : NULL; item && !is_found;
         item = readdir(folder)) {
        char path[1024];
        if (item->d_name[0] == '.' ||
            snprintf(path, sizeof path, "%s/%s", dir, item->d_name) >= (int)sizeof path) {
            continue;
        }
        is_found = has_schema(path);
        if (is_found) {
            snprintf(found, 1024, "%s", path);
        } else if (depth > 1) {
            is_found = look_in(path, depth - 1, found);
        }
    }
    if (folder) {
        closedir(folder);
    }
    return is_found;
}

static bool find_schema(char found[1024])
{
    const char *given = getenv("SM_XSD_DIR");
    if (given && *given) {
        snprintf(found, 1024, "%s", given);
        return has_schema(given);
    }
    char near[1024], nearer[1024];
    snprintf(nearer, sizeof nearer, "%s/..", sm_test_source("."));
    snprintf(near, sizeof near, "%s/../..", sm_test_source("."));
    return look_in(nearer, 2, found) || look_in(near, 2, found);
}

/* The files name each other with a backslash, which only some tools understand. */
static void copy_schema(const char *from, const char *to)
{
    DIR *folder = opendir(from);
    assert_non_null(folder);
    for (const struct dirent *item = readdir(folder); item; item = readdir(folder)) {
        char path[1400], *data = NULL;
        size_t n;
        struct sm_error err = {0};
        if (!strstr(item->d_name, ".xsd")) {
            continue;
        }
        snprintf(path, sizeof path, "%s/%s", from, item->d_name);
        assert_ok(sm_file_read(&data, &n, path, 1 << 22, &err), &err);
        for (char *s = strstr(data, ".\\"); s; s = strstr(s, ".\\")) {
            s[1] = '/';
        }
        snprintf(path, sizeof path, "%s/%s", to, item->d_name);
        assert_ok(sm_file_write(path, data, n, &err), &err);
        sm_free(data);
    }
    closedir(folder);
}

static void write_xml(const char *dir, const char *name, const char *data, size_t n)
{
    char path[600];
    struct sm_error err = {0};
    snprintf(path, sizeof path, "%s/%s", dir, name);
    assert_ok(sm_file_write(path, data, n, &err), &err);
}

/* One run of xmllint over the files of a pattern. */
static int validate(const char *dir, const char *pattern)
{
    char path[600], command[2000], *out = NULL;
    size_t n;
    struct sm_error err = {0};
    snprintf(command, sizeof command, "cd '%s' && xmllint --noout --schema 1302-metadaten.xsd %s >out 2>&1",
             dir, pattern);
    int code = system(command);
    if (code != 0) {
        snprintf(path, sizeof path, "%s/out", dir);
        assert_ok(sm_file_read(&out, &n, path, 1 << 20, &err), &err);
        print_message("%.600s\n", out);
        sm_free(out);
    }
    return code;
}

static void write_random_logs(const char *dir)
{
    struct sm_test_random random = sm_test_seed(1302);
    for (int round = 0; round < 40; round++) {
        char name[40];
        struct made_log made;
        struct sm_text text = {0};
        struct sm_error err = {0};
        struct sm_obslog_offset offsets[] = {{10, 0}, {1000, 991}};
        struct sm_obslog_write_opts opts = {.offset = offsets,
                                            .n_offsets = (size_t)sm_test_int(&random, 0, 2)};
        make_log(&made, &random, 25);
        assert_ok(sm_obslog_write_isybau(&text, &made.log, &opts, NULL, &err), &err);
        snprintf(name, sizeof name, "made%d.xml", round);
        write_xml(dir, name, text.data, text.length);
        sm_text_release(&text);
    }
}

/* What we write, and our own example, are valid; and the check can fail. */
static void test_schema(void **state)
{
    (void)state;
    char found[1024], dir[256], *example = NULL;
    size_t n;
    struct sm_error err = {0};
    if (!find_schema(found) || system("xmllint --version >/dev/null 2>&1") != 0) {
        print_message("skipped: no 1302-*.xsd in $SM_XSD_DIR or near the sources, or no xmllint\n");
        skip();
    }
    sm_test_dir_make(dir);
    copy_schema(found, dir);
    write_random_logs(dir);
    assert_ok(sm_file_read(&example, &n, sm_test_source("fixtures/logs/xml/isybau.xml"), 1 << 20, &err),
              &err);
    write_xml(dir, "made_example.xml", example, n);
    assert_int_equal(validate(dir, "made*.xml"), 0);
    char *station = strstr(example, "<Station>0.00</Station>");
    assert_non_null(station);
    memcpy(station, "<Station>0.x0</Station>", strlen("<Station>0.x0</Station>"));
    write_xml(dir, "bad.xml", example, n);
    assert_int_not_equal(validate(dir, "bad.xml"), 0);
    sm_free(example);
    sm_test_dir_remove(dir);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_en13508_round_trip),
        cmocka_unit_test(test_isybau_round_trip),
        cmocka_unit_test(test_offsets_carry_alignment),
        cmocka_unit_test(test_left_out),
        cmocka_unit_test(test_schema),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
