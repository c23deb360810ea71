/* Files: whole or not at all, limits, things that are no regular files, folders, paths. */
#include <stdio.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>
#include <signal.h>

#include "sm_test.h"

static void expect_content(const char *path, const char *expected)
{
    char *data = NULL;
    size_t n = 0;
    assert_ok(sm_file_read(&data, &n, path, 1000, NULL), NULL);
    assert_int_equal(n, strlen(expected));
    assert_string_equal(data, expected);
    sm_free(data);
}

static void test_write__replaces_whole(void **state)
{
    struct sm_test_scratch *scratch = *state;
    assert_ok(sm_file_write(scratch->path, "first", 5, NULL), NULL);
    expect_content(scratch->path, "first");
    assert_ok(sm_file_write(scratch->path, "2", 1, NULL), NULL);
    expect_content(scratch->path, "2");
    assert_ok(sm_file_write(scratch->path, NULL, 0, NULL), NULL);
    expect_content(scratch->path, "");
    assert_int_equal(sm_test_dir_count(scratch->dir), 1);
}

/* A full disk, played by the file size limit of the process. */
static void test_write__failure_leaves_old_content(void **state)
{
    struct sm_test_scratch *scratch = *state;
    assert_ok(sm_file_write(scratch->path, "old", 3, NULL), NULL);
    struct rlimit before;
    assert_int_equal(getrlimit(RLIMIT_FSIZE, &before), 0);
    signal(SIGXFSZ, SIG_IGN);
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &(struct rlimit){1000, before.rlim_max}), 0);
    char data[5000] = {0};
    struct sm_error err = {0};
    enum sm_status status = sm_file_write(scratch->path, data, sizeof data, &err);
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &before), 0);
    assert_int_equal(status, SM_E_IO);
    assert_string_equal(err.source, scratch->path);
    expect_content(scratch->path, "old");
    assert_int_equal(sm_test_dir_count(scratch->dir), 1);
}

static void test_write__no_folder(void **state)
{
    struct sm_test_scratch *scratch = *state;
    char path[500];
    snprintf(path, sizeof path, "%s/none/file", scratch->dir);
    struct sm_error err = {0};
    assert_int_equal(sm_file_write(path, "x", 1, &err), SM_E_IO);
    assert_true(err.remedy[0]);
    assert_int_equal(sm_file_write(scratch->dir, "x", 1, NULL), SM_E_IO);
}

static void test_read__refuses(void **state)
{
    struct sm_test_scratch *scratch = *state;
    char *data = NULL;
    size_t n = 0;
    assert_int_equal(sm_file_read(&data, &n, scratch->path, 10, NULL), SM_E_IO);
    assert_int_equal(sm_file_read(&data, &n, scratch->dir, 10, NULL), SM_E_IO);
    assert_int_equal(mkfifo(scratch->path, 0600), 0);
    assert_int_equal(sm_file_read(&data, &n, scratch->path, 10, NULL),
                     SM_E_IO); /* and does not wait for a writer */
    assert_int_equal(sm_file_read(&data, &n, "/dev/zero", 10, NULL), SM_E_IO);
    assert_null(data);
}

static void test_read__limit(void **state)
{
    struct sm_test_scratch *scratch = *state;
    char *data = NULL;
    size_t n = 0;
    assert_ok(sm_file_write(scratch->path, "0123456789", 10, NULL), NULL);
    assert_int_equal(sm_file_read(&data, &n, scratch->path, 9, NULL), SM_E_RANGE);
    assert_ok(sm_file_read(&data, &n, scratch->path, 10, NULL), NULL);
    assert_int_equal(n, 10);
    sm_free(data);
}

static void test_dir_make__with_parents(void **state)
{
    struct sm_test_scratch *scratch = *state;
    char path[500];
    snprintf(path, sizeof path, "%s/a//b/c/", scratch->dir);
    assert_ok(sm_dir_make(path, NULL), NULL);
    assert_ok(sm_dir_make(path, NULL), NULL);
    assert_ok(sm_file_write(scratch->path, "x", 1, NULL), NULL);
    snprintf(path, sizeof path, "%s/file/d", scratch->dir);
    assert_int_equal(sm_dir_make(path, NULL), SM_E_IO);
    assert_int_equal(sm_dir_make(scratch->path, NULL), SM_E_IO);
    assert_int_equal(sm_dir_make("", NULL), SM_E_IO);
}

static void test_path_beside__table(void **state)
{
    (void)state;
    static const struct {
        const char *base, *name, *expected;
    } cases[] = {
        {"a/b.ini", "c.csv", "a/c.csv"}, {"b.ini", "c.csv", "c.csv"},           {"/b.ini", "c.csv", "/c.csv"},
        {"a/b.ini", "/c.csv", "/c.csv"}, {"a/b.ini", "../c.csv", "a/../c.csv"}, {NULL, "c.csv", "c.csv"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct sm_text out = {0};
        assert_ok(sm_path_beside(&out, cases[i].base, cases[i].name), NULL);
        assert_string_equal(out.data, cases[i].expected);
        sm_text_release(&out);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_write__replaces_whole, sm_test_scratch_make,
                                        sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_write__failure_leaves_old_content, sm_test_scratch_make,
                                        sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_write__no_folder, sm_test_scratch_make, sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_read__refuses, sm_test_scratch_make, sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_read__limit, sm_test_scratch_make, sm_test_scratch_remove),
        cmocka_unit_test_setup_teardown(test_dir_make__with_parents, sm_test_scratch_make,
                                        sm_test_scratch_remove),
        cmocka_unit_test(test_path_beside__table),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
