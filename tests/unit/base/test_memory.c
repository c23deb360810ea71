/* Checked heap, growable arrays, arena; every allocation of the larger calls failed in turn. */
#include <stdalign.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include "sm_test.h"
#include "sm_test_alloc.h"

static void test_calloc__overflow_and_zero(void **state)
{
    (void)state;
    assert_null(sm_calloc(SIZE_MAX / 2, 3));
    assert_null(sm_realloc(NULL, SIZE_MAX, SIZE_MAX));
    void *nothing = sm_calloc(0, 8);
    assert_non_null(nothing);
    sm_free(nothing);
    sm_free(NULL);
}

static void test_grow__keeps_items(void **state)
{
    (void)state;
    int *items = NULL;
    size_t n = 0;
    size_t capacity = 0;
    for (int i = 0; i < 1000; i++) {
        assert_int_equal(sm_grow(&items, n, &capacity, sizeof *items), SM_OK);
        items[n++] = i;
    }
    for (int i = 0; i < 1000; i++) {
        assert_int_equal(items[i], i);
    }
    sm_test_alloc_fail(1);
    size_t before = capacity;
    assert_int_equal(sm_grow(&items, capacity, &capacity, sizeof *items), SM_E_NOMEM);
    assert_int_equal(capacity, before);
    assert_int_equal(items[999], 999);
    sm_free(items);
}

static void test_arena__pieces_are_apart_zeroed_aligned(void **state)
{
    (void)state;
    struct sm_arena *arena = NULL;
    assert_int_equal(sm_arena_new(&arena), SM_OK);
    static const size_t sizes[] = {0, 1, 3, 17, 4000, 5000, 100000, 8};
    unsigned char *piece[8 * 20];
    for (size_t i = 0; i < 160; i++) {
        size_t size = sizes[i % 8];
        piece[i] = sm_arena_alloc(arena, size);
        assert_non_null(piece[i]);
        assert_int_equal((uintptr_t)piece[i] % alignof(max_align_t), 0);
        for (size_t b = 0; b < size; b++) {
            assert_int_equal(piece[i][b], 0);
        }
        memset(piece[i], (int)i, size);
    }
    for (size_t i = 0; i < 160; i++) {
        for (size_t b = 0; b < sizes[i % 8]; b++) {
            assert_int_equal(piece[i][b], i);
        }
    }
    assert_null(sm_arena_alloc(arena, SIZE_MAX));
    assert_null(sm_arena_alloc(arena, SIZE_MAX / 2));
    sm_arena_free(&arena);
    assert_null(arena);
    sm_arena_free(&arena);
}

static void test_arena__strings(void **state)
{
    (void)state;
    struct sm_arena *arena = NULL;
    assert_int_equal(sm_arena_new(&arena), SM_OK);
    assert_string_equal(sm_arena_strdup(arena, "pipe"), "pipe");
    assert_string_equal(sm_arena_strndup(arena, "pipe", 2), "pi");
    assert_string_equal(sm_arena_strndup(arena, "", 0), "");
    assert_string_equal(sm_arena_printf(arena, "%s-%d", "T", 12), "T-12");
    sm_arena_free(&arena);
}

static int parse_table(void *user)
{
    (void)user;
    struct sm_csv *csv = NULL;
    const char text[] = "a,b\n1,2\n3,4\n5,6\n7,8\n9,10\n";
    int status = sm_csv_parse(&csv, text, sizeof text - 1, 0, "t", NULL);
    sm_csv_free(&csv);
    return status;
}

static int fill_arena(void *user)
{
    (void)user;
    struct sm_arena *arena = NULL;
    int status = sm_arena_new(&arena);
    if (status == SM_OK &&
        (!sm_arena_alloc(arena, 10) || !sm_arena_strdup(arena, "x") || !sm_arena_alloc(arena, 9000))) {
        status = SM_E_NOMEM;
    }
    sm_arena_free(&arena);
    return status;
}

static int write_text(void *user)
{
    (void)user;
    struct sm_text text = {0};
    for (int i = 0; i < 200; i++) {
        sm_text_addf(&text, "%d", i);
        sm_text_add_fixed(&text, i, 3);
    }
    int status = text.failed ? SM_E_NOMEM : SM_OK;
    sm_text_release(&text);
    return status;
}

static int read_source(void *user)
{
    char *data = NULL;
    size_t n = 0;
    int status = sm_file_read(&data, &n, user, 1 << 20, NULL);
    sm_free(data);
    return status;
}

static int fill_names(void *user)
{
    static char name[300][8];
    struct sm_names names = {0};
    int status = SM_OK;
    for (size_t i = 0; i < 300 && status == SM_OK; i++) {
        snprintf(name[i], sizeof name[i], "n%zu", i);
        status = sm_names_set(&names, name[i], i);
    }
    size_t *found = user, value;
    for (size_t i = 0; found && i < 300; i++) {
        *found += sm_names_find(&names, name[i], &value) && value == i;
    }
    sm_names_release(&names);
    return status;
}

static void test_names__found_with_their_numbers(void **state)
{
    (void)state;
    struct sm_names names = {0};
    size_t value = 7, n_found = 0;
    assert_false(sm_names_find(&names, "", &value));
    assert_int_equal(sm_names_set(&names, "", 3), SM_OK);
    assert_int_equal(sm_names_set(&names, "a", 4), SM_OK);
    assert_int_equal(sm_names_set(&names, "a", 5), SM_OK);
    assert_false(sm_names_find(&names, "b", &value));
    assert_int_equal(value, 7);
    assert_true(sm_names_find(&names, "a", &value));
    assert_int_equal(value, 5);
    assert_true(sm_names_find(&names, "", &value));
    assert_int_equal(value, 3);
    assert_int_equal(names.n, 2);
    sm_names_release(&names);
    assert_int_equal(fill_names(&n_found), SM_OK);
    assert_int_equal(n_found, 300);
}

static void test_allocations__every_failure_is_told(void **state)
{
    (void)state;
    sm_test_alloc_all(parse_table, NULL);
    sm_test_alloc_all(fill_arena, NULL);
    sm_test_alloc_all(write_text, NULL);
    sm_test_alloc_all(fill_names, NULL);
    char path[512];
    assert_true(sm_strcopy(path, sizeof path, sm_test_source("LICENSE")));
    sm_test_alloc_all(read_source, path);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_calloc__overflow_and_zero),
        cmocka_unit_test(test_grow__keeps_items),
        cmocka_unit_test(test_arena__pieces_are_apart_zeroed_aligned),
        cmocka_unit_test(test_arena__strings),
        cmocka_unit_test(test_names__found_with_their_numbers),
        cmocka_unit_test(test_allocations__every_failure_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
