/* The list of benchmark clips keeps what it promises: what is untouched has nothing in common with what may
 * be looked at. */
#include "sm_test.h"
#include "simulator.h"

#include <string.h>

struct clips {
    struct sm_sim_clip *item;
    size_t n;
};

static struct clips clips_read(const char *path)
{
    struct clips clips = {0};
    struct sm_error err = {0};
    assert_ok(sm_sim_clips_read(&clips.item, &clips.n, path, &err), &err);
    return clips;
}

static void check_apart(const struct sm_sim_clip *seen, const struct sm_sim_clip *untouched)
{
    assert_string_not_equal(seen->name, untouched->name);
    assert_string_not_equal(seen->opts.overlay.font, untouched->opts.overlay.font);
    assert_int_not_equal(seen->opts.seed, untouched->opts.seed);
    assert_false(seen->opts.overlay.layout == untouched->opts.overlay.layout &&
                 seen->opts.overlay.place == untouched->opts.overlay.place);
}

static void test_sim_clips__the_untouched_have_nothing_of_the_others(void **state)
{
    (void)state;
    struct clips clips = clips_read(SM_CLIPS_FILE);
    size_t n_untouched = 0;
    for (size_t i = 0; i < clips.n; i++) {
        n_untouched += clips.item[i].is_untouched;
        for (size_t k = 0; k < clips.n; k++) {
            if (clips.item[i].is_untouched && !clips.item[k].is_untouched) {
                check_apart(&clips.item[k], &clips.item[i]);
            }
        }
    }
    assert_true(n_untouched >= 30 && clips.n - n_untouched >= 30);
    sm_free(clips.item);
}

/* No untouched face teaches the network or is held against it in a report. */
static void test_sim_clips__untouched_faces_are_unknown_to_the_trainer(void **state)
{
    (void)state;
    struct clips clips = clips_read(SM_CLIPS_FILE);
    char *list = NULL;
    size_t n = 0;
    struct sm_error err = {0};
    assert_ok(sm_file_read(&list, &n, SM_FONTS_FILE, 1 << 20, &err), &err);
    for (size_t i = 0; i < clips.n; i++) {
        for (const char *line = list; clips.item[i].is_untouched && *line; line += *line == '\n') {
            char name[80];
            (void)sm_strcopy(name, sizeof name, line + (strlen(line) > 14 ? 14 : 0));
            name[strcspn(name, "#\n")] = '\0';
            assert_string_not_equal(sm_trim(name), clips.item[i].opts.overlay.font);
            line += strcspn(line, "\n");
        }
    }
    sm_free(list);
    sm_free(clips.item);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_sim_clips__the_untouched_have_nothing_of_the_others),
        cmocka_unit_test(test_sim_clips__untouched_faces_are_unknown_to_the_trainer),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
