/* Every allocation of reading and changing a sheet, and of a code table's sheet values, failed in turn. */
#include "sm_test.h"
#include "sm_test_alloc.h"

#include <stdio.h>
#include <string.h>

#include "stopmark/sheet.h"

static int try_read(void *user)
{
    struct sm_sheet *sheet = NULL;
    struct sm_error err = {0};
    enum sm_status status = sm_sheet_read(&sheet, user, &err);
    if (status == SM_OK) {
        status = sm_sheet_set(sheet, "rules.overlap", "120 mm", &err);
    }
    if (status == SM_OK) {
        status = sm_sheet_set(sheet, "ties.12.5", "12.6 m", &err);
    }
    assert_true(status == SM_OK || err.status == status);
    sm_sheet_free(&sheet);
    return status;
}

static void write_file(const char *dir, const char *name, const char *text)
{
    char path[512];
    struct sm_error err = {0};
    snprintf(path, sizeof path, "%s/%s", dir, name);
    assert_ok(sm_file_write(path, text, strlen(text), &err), &err);
}

static void test_reading(void **state)
{
    (void)state;
    char dir[256], path[512];
    sm_test_dir_make(dir);
    write_file(dir, "sheet.ini",
               "[segment]\nid = a # b\nlength = 43.8\nlenght = 2\nid = c\n[survey]\nvideo = a, \"b,c\"\nlog "
               "= x.csv\n"
               "codes = own.csv\n[ties]\n0 = 0 m\n1 = 1 m\n1 = 1.1 m\n[wombat]\n[kits]\nfile = kits.csv\n");
    write_file(dir, "kits.csv",
               "kit,diameter_min_mm,diameter_max_mm,length_mm,cost,cure,shelf\nA,150,225,600,310,cold,3\nB,"
               "150,225,900,400,warm,\n");
    write_file(dir, "cure.csv", "cure,temperature_c,working_min,cure_min\ncold,10,35,210\n");
    snprintf(path, sizeof path, "%s/sheet.ini", dir);
    sm_test_alloc_all(try_read, path);
    sm_test_dir_remove(dir);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_reading)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
