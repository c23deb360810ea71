/** What every test of ours includes: cmocka in its order, comparisons of doubles, scratch folders, a seeded generator. */
#ifndef SM_TEST_H
#define SM_TEST_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "sm_random.h"
#include "stopmark/base.h"

/** Doubles within tol, or both NaN. cmocka 1.1.5 has no assert for doubles and its float one rounds to float. */
#define assert_close(actual, expected, tol) sm_test_close((actual), (expected), (tol), #actual, __FILE__, __LINE__)
void sm_test_close(double actual, double expected, double tol, const char *what, const char *file, int line);

/** Status must be SM_OK; else the error's place and text are printed and the test fails. */
#define assert_ok(status, err) sm_test_ok((status), (err), #status, __FILE__, __LINE__)
void sm_test_ok(enum sm_status status, const struct sm_error *err, const char *what, const char *file, int line);

/** New empty folder, removed with all in it by sm_test_dir_remove(). */
void sm_test_dir_make(char path[256]);
void sm_test_dir_remove(const char *path);
/** Entries of a folder, those with a leading dot apart. */
int sm_test_dir_count(const char *path);

/** A scratch folder for one test, with a path in it that is free: fixtures for cmocka_unit_test_setup_teardown(). */
struct sm_test_scratch {
    char dir[256];
    char path[300]; /**< dir/file, not there yet */
};
int sm_test_scratch_make(void **state);
int sm_test_scratch_remove(void **state);
/** Path of a file of the source tree ("fixtures/x"). Static buffer, overwritten by the next call. */
const char *sm_test_source(const char *relative);

/** Seed from SM_SEED or the given default; printed, so that a failure can be repeated. */
struct sm_test_random sm_test_seed(uint64_t default_seed);

#endif
