/* Two pictures for every defect somebody worked on: each from its own recording, at its own time, or none. */
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "clips.h"
#include "job_internal.h"

/* A defect seen at 2 s before the work, logged again at 3 s after it. */
static struct {
    char dir[256], before[300], after[300], out[300];
    struct sm_observation seen, again;
    struct sm_alignment first_alignment, again_alignment;
    struct sm_sheet sheet;
    struct sm_audit_file first_file, again_file;
    struct sm_audit_survey first, recheck;
    struct sm_audit_axis axis;
    struct sm_audit_sighting sighting;
    struct sm_audit_case about;
    struct sm_audit_defect defect;
    struct sm_audit audit;
} p;

static void make(void)
{
    sm_test_dir_make(p.dir);
    snprintf(p.before, sizeof p.before, "%s/before.mp4", p.dir);
    snprintf(p.after, sizeof p.after, "%s/after.mp4", p.dir);
    snprintf(p.out, sizeof p.out, "%s/out", p.dir);
    clip_run("ffmpeg -nostdin -v error -y -f lavfi -i testsrc2=s=160x120:r=10:d=5 '%s'", p.before);
    clip_run("ffmpeg -nostdin -v error -y -f lavfi -i testsrc2=s=160x120:r=10:d=5,negate '%s'", p.after);
    p.seen = (struct sm_observation){.id = "O1", .code = "BAB", .time_s = 2, .distance_m = 5, .start_m = 5, .end_m = 5};
    p.again = p.seen;
    p.again.time_s = 3;
    p.first_alignment = (struct sm_alignment){.n_observations = 1, .observation = &p.seen, .length_m = 20};
    p.again_alignment = (struct sm_alignment){.n_observations = 1, .observation = &p.again, .length_m = 20};
    p.first_file = (struct sm_audit_file){"video", p.before, ""};
    p.again_file = (struct sm_audit_file){"video", p.after, ""};
    p.first = (struct sm_audit_survey){.key = "aaaaaaaabbbb", .date = "", .stored_at = "", .sheet = &p.sheet,
                                       .alignment = &p.first_alignment, .n_files = 1, .file = &p.first_file};
    p.recheck = (struct sm_audit_survey){.key = "ccccccccdddd", .date = "", .stored_at = "", .sheet = &p.sheet,
                                         .alignment = &p.again_alignment, .n_files = 1, .file = &p.again_file};
    p.sighting = (struct sm_audit_sighting){.start_m = 5, .end_m = 5};
    p.axis = (struct sm_audit_axis){.sighting = &p.sighting};
    p.about = (struct sm_audit_case){.segment = "S", .n_first = 1, .first = &p.first, .n_rechecks = 1, .recheck = &p.recheck};
    p.defect = (struct sm_audit_defect){.recheck_idx = 0, .recheck_observation_idx = 0, .reason = "", .repair = ""};
    p.audit = (struct sm_audit){.about = &p.about, .axis = &p.axis, .n_defects = 1, .defect = &p.defect};
    assert_ok(sm_arena_new(&p.audit.arena), NULL);
}

static void take(void)
{
    struct sm_job__folder *folder = NULL;
    struct sm_error err = {0};
    assert_ok(sm_job__folder_new(&folder, p.out, &err), &err);
    assert_ok(sm_job__audit_stills(folder, &p.audit, 85, &err), &err);
    assert_ok(sm_job__folder_place(folder, &err), &err);
    sm_job__folder_keep(folder);
    sm_job__folder_free(&folder);
}

static void expect_picture(const char *name, const char *video, double time_s)
{
    char path[700];
    char *data = NULL;
    size_t n = 0;
    struct sm_text wanted = {0};
    struct sm_error err = {0};
    assert_non_null(name);
    snprintf(path, sizeof path, "%s/%s", p.out, name);
    assert_ok(sm_file_read(&data, &n, path, 1 << 20, &err), &err);
    struct sm_media *media = clip_open(video);
    assert_ok(sm_media_still_jpeg(media, time_s, 85, &wanted, &err), &err);
    assert_int_equal(n, wanted.length);
    assert_memory_equal(data, wanted.data, n);
    sm_media_close(&media);
    sm_text_release(&wanted);
    sm_free(data);
}

static void release(void)
{
    sm_arena_free(&p.audit.arena);
    sm_test_dir_remove(p.dir);
}

static void test_stills__a_pair_from_both_recordings(void **state)
{
    (void)state;
    make();
    take();
    assert_string_equal(p.audit.still[0].before, "stills/aaaaaaaa-O1-before.jpg");
    assert_string_equal(p.audit.still[0].after, "stills/cccccccc-O1-after.jpg");
    expect_picture(p.audit.still[0].before, p.before, 2);
    expect_picture(p.audit.still[0].after, p.after, 3);
    release();
}

/* A recording that is gone costs its picture, not the audit; a defect nobody worked on needs none. */
static void test_stills__what_is_not_there(void **state)
{
    (void)state;
    make();
    assert_int_equal(unlink(p.after), 0);
    take();
    expect_picture(p.audit.still[0].before, p.before, 2);
    assert_null(p.audit.still[0].after);
    p.defect.recheck_idx = -1;
    take();
    assert_null(p.audit.still[0].before);
    release();
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_stills__a_pair_from_both_recordings),
        cmocka_unit_test(test_stills__what_is_not_there),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
