/* Every allocation of reading, listing and writing a log failed in turn: told as no memory, nothing leaked.
 */
#include "sm_test.h"
#include "sm_test_alloc.h"

#include <stdio.h>

#include "stopmark/obslog.h"

struct input {
    char *data;
    size_t n;
};

static int try_read(void *user)
{
    const struct input *input = user;
    struct sm_obslog *log = NULL;
    struct sm_error err = {0};
    enum sm_status status = sm_obslog_parse(&log, input->data, input->n, "x/log", NULL, &err);
    assert_true(status == SM_OK || err.status == status);
    sm_obslog_free(&log);
    return status;
}

static int try_list(void *user)
{
    const struct input *input = user;
    struct sm_obslog_list *list = NULL;
    struct sm_error err = {0};
    enum sm_status status = sm_obslog_list_parse(&list, input->data, input->n, "x/log", &err);
    assert_true(status == SM_OK || err.status == status);
    sm_obslog_list_free(&list);
    return status;
}

static void test_reading(void **state)
{
    (void)state;
    static const char *const names[] = {"csv/german.csv",    "csv/dirty.csv",        "csv/several.csv",
                                        "en13508/dirty.txt", "en13508/two_runs.txt", "xml/isybau_more.xml",
                                        "xml/m150.xml"};
    for (size_t k = 0; k < sizeof names / sizeof names[0]; k++) {
        char path[200];
        struct input input = {NULL, 0};
        struct sm_error err = {0};
        snprintf(path, sizeof path, "fixtures/logs/%s", names[k]);
        assert_ok(sm_file_read(&input.data, &input.n, sm_test_source(path), 1 << 20, &err), &err);
        sm_test_alloc_all(try_read, &input);
        sm_test_alloc_all(try_list, &input);
        sm_free(input.data);
    }
}

static int try_write(void *user)
{
    const struct sm_obslog *log = user;
    struct sm_text text = {0};
    struct sm_findings findings = {0};
    struct sm_error err = {0};
    enum sm_status status = sm_obslog_write_en13508(&text, log, &findings, &err);
    if (status == SM_OK) {
        sm_text_clear(&text);
        status = sm_obslog_write_isybau(&text, log, NULL, &findings, &err);
    }
    assert_true(status == SM_OK || err.status == status);
    sm_findings_release(&findings);
    sm_text_release(&text);
    return status;
}

static void test_writing(void **state)
{
    (void)state;
    struct sm_obslog *log = NULL;
    struct sm_error err = {0};
    assert_ok(sm_obslog_read(&log, sm_test_source("fixtures/logs/xml/isybau_more.xml"), NULL, &err), &err);
    sm_test_alloc_all(try_write, log);
    sm_obslog_free(&log);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_reading),
        cmocka_unit_test(test_writing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
