/* Work given up in between: it ends at once, also on the way to a frame, and what comes after is exact. */
#include <stdio.h>
#include <string.h>

#include "clips.h"

struct patience {
    int n_packets, n_left;
};

static bool goes_on(void *user)
{
    struct patience *p = user;
    p->n_packets++;
    return p->n_left-- > 0;
}

/* What a frame looks like, in one number. */
static enum sm_status take(void *user, const struct sm_frame *frame, struct sm_error *err)
{
    (void)err;
    uint64_t *sum = user;
    for (int32_t y = 0; y < frame->image.height_px; y++) {
        for (int32_t x = 0; x < frame->image.width_px; x++) {
            *sum = *sum * 31 + frame->image.y[y * frame->image.stride_y + x];
        }
    }
    return SM_OK;
}

static uint64_t look(struct sm_media *media, double time_s, enum sm_status expected)
{
    uint64_t sum = 0;
    struct sm_error err = {0};
    assert_int_equal(sm_media_scan(media, time_s - 0.001, time_s + 0.001, 0, false, take, &sum, &err), expected);
    return sum;
}

static void test_pause__ends_on_the_way_and_goes_on_exactly(void **state)
{
    (void)state;
    char dir[256];
    char path[300];
    sm_test_dir_make(dir);
    snprintf(path, sizeof path, "%s/clip.mp4", dir);
    clip_run("ffmpeg -nostdin -v error -y -f lavfi -i testsrc2=s=160x120:r=25:d=6 -c:v libx264 -g 150 -bf 2 '%s'", path);
    struct sm_media *fresh = clip_open(path);
    uint64_t wanted = look(fresh, 4.8, SM_OK);
    sm_media_close(&fresh);
    struct sm_media *media = clip_open(path);
    struct patience patience = {0, 20};
    sm_media_set_goes_on(media, goes_on, &patience);
    assert_int_equal(look(media, 4.8, SM_E_CANCELLED), 0);
    assert_int_equal(patience.n_packets, 21); /* of the 120 on the way */
    patience.n_left = 5;
    assert_int_equal(look(media, 4.8, SM_E_CANCELLED), 0);
    sm_media_set_goes_on(media, NULL, NULL);
    assert_true(look(media, 4.8, SM_OK) == wanted);
    assert_true(look(media, 0.4, SM_OK) != wanted);
    assert_true(look(media, 4.8, SM_OK) == wanted);
    sm_media_close(&media);
    sm_test_dir_remove(dir);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_pause__ends_on_the_way_and_goes_on_exactly)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
