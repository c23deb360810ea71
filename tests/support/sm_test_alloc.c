/* Allocation failure on demand, put before the project's heap by ld --wrap. */
#include "sm_test_alloc.h"

#include "sm_test.h"

static long countdown;
static bool has_failed;
static bool is_traced;

/* There with the sanitizers: says where the allocation stood that was failed. */
void __sanitizer_print_stack_trace(void) __attribute__((weak));

void *__real_sm_calloc(size_t n, size_t size);
void *__real_sm_realloc(void *block, size_t n, size_t size);
void *__wrap_sm_calloc(size_t n, size_t size);
void *__wrap_sm_realloc(void *block, size_t n, size_t size);

void sm_test_alloc_fail(long n)
{
    countdown = n;
    has_failed = false;
}

bool sm_test_alloc_failed(void)
{
    return has_failed;
}

long sm_test_alloc_left(void)
{
    return countdown;
}

static bool fails_now(void)
{
    bool is_it = countdown > 0 && --countdown == 0;
    has_failed = has_failed || is_it;
    if (is_it && is_traced && __sanitizer_print_stack_trace) {
        __sanitizer_print_stack_trace();
    }
    return is_it;
}

void *__wrap_sm_calloc(size_t n, size_t size)
{
    return fails_now() ? NULL : __real_sm_calloc(n, size);
}

void *__wrap_sm_realloc(void *block, size_t n, size_t size)
{
    return fails_now() ? NULL : __real_sm_realloc(block, n, size);
}

void sm_test_alloc_all(sm_test_try_fn *attempt, void *user)
{
    for (long n = 1;; n++) {
        sm_test_alloc_fail(n);
        int status = attempt(user);
        bool failed = sm_test_alloc_failed();
        sm_test_alloc_fail(0);
        if (!failed) {
            assert_int_equal(status, SM_OK);
            assert_true(n > 1);
            return;
        }
        if (status != SM_E_NOMEM) {
            sm_test_alloc_fail(n);
            is_traced = true;
            (void)attempt(user);
            fail_msg("allocation %ld failed and the call said \"%s\"", n,
                     sm_status_text((enum sm_status)status));
        }
    }
}
