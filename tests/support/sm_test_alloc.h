/**
 * Makes the n-th allocation fail. Link with sm_test_alloc (wraps sm_calloc and sm_realloc); see
 * TEST_ALLOCATIONS below.
 */
#ifndef SM_TEST_ALLOC_H
#define SM_TEST_ALLOC_H

#include <stdbool.h>

/** From now on the n-th allocation (1 = the next) fails, once; 0 = none fails. */
void sm_test_alloc_fail(long n);
/** Has the failure armed last happened? */
bool sm_test_alloc_failed(void);

/** How many more until the one that was armed. */
long sm_test_alloc_left(void);

/** One try of a call under test: @return its status; everything it got is freed again. */
typedef int sm_test_try_fn(void *user);
/** Fail allocation 1, 2, 3 ... until the call gets by without; every failure must be told as SM_E_NOMEM. */
void sm_test_alloc_all(sm_test_try_fn *attempt, void *user);

#endif
