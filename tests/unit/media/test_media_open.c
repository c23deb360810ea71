/*
 * What is not opened: every refusal names the file, says what is wrong in words of the trade and what to do,
 * and no file is reached from another.
 */
#include "clips.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

static char dir[256];

static const char *in_dir(const char *name)
{
    static char path[4][512];
    static int i;
    i = (i + 1) % 4;
    snprintf(path[i], sizeof path[i], "%s/%s", dir, name);
    return path[i];
}

static void write_text(const char *name, const char *text)
{
    clip_write(in_dir(name), text, strlen(text));
}

static void make_text_files(void)
{
    write_text("empty.mpg", "");
    write_text("log.mp4", "time,distance,code\n0:01:02,12.40,BAB\n");
    write_text("list.m3u8",
               "#EXTM3U\n#EXT-X-VERSION:3\n#EXT-X-TARGETDURATION:4\n#EXTINF:4,\na.mpg\n#EXT-X-ENDLIST\n");
    write_text("list.mp4",
               "#EXTM3U\n#EXT-X-VERSION:3\n#EXT-X-TARGETDURATION:4\n#EXTINF:4,\na.mpg\n#EXT-X-ENDLIST\n");
    write_text("list.avi", "ffconcat version 1.0\nfile 'a.mpg'\n");
    write_text("list.mpg",
               "<?xml version=\"1.0\"?>\n<MPD xmlns=\"urn:mpeg:dash:schema:mpd:2011\" type=\"static\" "
               "profiles=\"urn:mpeg:dash:profile:isoff-on-demand:2011\">\n");
    write_text("text.avi",
               "1\n00:00:01,000 --> 00:00:02,000\n12.40 m\n\n2\n00:00:02,000 --> 00:00:03,000\n12.45 m\n");
    char zeros[20000] = {0};
    clip_write(in_dir("zeros.mpg"), zeros, sizeof zeros);
}

/* First place of needle in data from at on. */
static size_t find_bytes(const uint8_t *data, size_t n, size_t at, const char *needle)
{
    size_t length = strlen(needle);
    while (at + length <= n && memcmp(data + at, needle, length) != 0) {
        at++;
    }
    assert_true(at + length <= n);
    return at;
}

static void put_be32(uint8_t *at, size_t value)
{
    for (int i = 0; i < 4; i++) {
        at[i] = (uint8_t)(value >> (24 - 8 * i));
    }
}

static size_t be32(const uint8_t *at)
{
    return (size_t)at[0] << 24 | (size_t)at[1] << 16 | (size_t)at[2] << 8 | at[3];
}

/*
 * An MP4 whose samples claim to lie in another file: its data reference becomes an alias with an absolute
 * path. Source of the layout: ISO/IEC 14496-12 (boxes), QuickTime File Format (alias record), from memory.
 */
static void make_reference_movie(const char *to, const char *from, const char *target)
{
    enum { ALIAS_BYTES = 162 };
    size_t n = 0;
    uint8_t *data = clip_read(from, &n);
    size_t entry = find_bytes(data, n, 0, "dref") + 12; /* behind version and count: the first entry's size */
    size_t path_bytes = (strlen(target) + 1) & ~(size_t)1;
    size_t alias_bytes = ALIAS_BYTES + 4 + path_bytes + 4;
    size_t grown = alias_bytes - be32(data + entry);
    uint8_t *out = calloc(n + grown, 1);
    assert_non_null(out);
    memcpy(out, data, entry);
    memcpy(out + entry + alias_bytes, data + entry + be32(data + entry), n - entry - be32(data + entry));
    put_be32(out + entry, alias_bytes);
    memcpy(out + entry + 4, "alis", 4);
    uint8_t *path = out + entry + ALIAS_BYTES;
    path[1] = 2; /* absolute path */
    path[3] = (uint8_t)strlen(target);
    memcpy(path + 4, target, strlen(target));
    memset(path + 4 + path_bytes, 0xff, 2);
    static const char *const around[] = {"moov", "trak", "mdia", "minf", "dinf", "dref"};
    for (size_t i = 0, at = 0; i < 6; i++) {
        at = find_bytes(out, n, at, around[i]);
        put_be32(out + at - 4, be32(out + at - 4) + grown);
    }
    clip_write(to, out, n + grown);
    free(out);
    free(data);
}

/* Copy with all occurrences of a four-letter tag replaced. */
static void replace_tag(const char *to, const char *from, const char *tag, const char *with)
{
    size_t n = 0;
    uint8_t *data = clip_read(from, &n);
    for (size_t i = 0; i + 4 <= n; i++) {
        if (memcmp(data + i, tag, 4) == 0) {
            memcpy(data + i, with, 4);
        }
    }
    clip_write(to, data, n);
    free(data);
}

static int make_files(void **state)
{
    (void)state;
    sm_test_dir_make(dir);
    make_text_files();
    clip_run("cd '%s' && mkdir folder.mp4 && mkfifo pipe.mp4 && ffmpeg -nostdin -v error"
             " -f lavfi -i testsrc2=s=160x128:r=25:d=1 -f lavfi -i sine=d=1"
             " -map 0 -frames:v 1 picture.png -map 0 -frames:v 1 -update 1 -y picture.jpg"
             " -map 1 sound.wav -map 1 sound.mp4 -map 1 -c:a mp2 -f mpeg sound.mpg"
             " -map 0 -c:v libx264 -g 10 good.mp4 -map 0 -c:v libx264 -movflags +faststart front.mp4"
             " -map 0 -c:v mpeg4 good.avi -map 0 -c:v rawvideo -frames:v 1 -s 8208x16 broad.avi",
             dir);
    clip_cut(in_dir("cut.mp4"), in_dir("good.mp4"), 0.5);
    size_t n = 0;
    uint8_t *data = clip_read(in_dir("front.mp4"), &n);
    clip_write(in_dir("head.mp4"), data, find_bytes(data, n, 0, "mdat") + 4);
    free(data);
    replace_tag(in_dir("codec.avi"), in_dir("good.avi"), "FMP4", "QZQZ");
    make_reference_movie(in_dir("refers.mp4"), in_dir("good.mp4"), in_dir("good.avi"));
    return 0;
}

static int remove_files(void **state)
{
    (void)state;
    sm_test_dir_remove(dir);
    return 0;
}

static void test_open__refuses_with_reason_and_remedy(void **state)
{
    (void)state;
    const struct {
        const char *name;
        enum sm_status status;
        const char *words;
    } cases[] = {
        {"missing.mp4", SM_E_IO, "No such file"},
        {"folder.mp4", SM_E_IO, "folder"},
        {"pipe.mp4", SM_E_IO, "pipe"},
        {"empty.mpg", SM_E_FORMAT, "empty"},
        {"log.mp4", SM_E_UNSUPPORTED, "no video container"},
        {"zeros.mpg", SM_E_UNSUPPORTED, "no video container"},
        {"list.m3u8", SM_E_UNSUPPORTED, "playlist"},
        {"list.mp4", SM_E_UNSUPPORTED, "playlist"},
        {"list.avi", SM_E_UNSUPPORTED, "list of other files"},
        {"list.mpg", SM_E_UNSUPPORTED, "playlist"},
        {"text.avi", SM_E_UNSUPPORTED, "subtitles"},
        {"picture.png", SM_E_UNSUPPORTED, "picture"},
        {"picture.jpg", SM_E_UNSUPPORTED, "picture"},
        {"sound.wav", SM_E_UNSUPPORTED, "sound only"},
        {"sound.mp4", SM_E_FORMAT, "sound in this file but no video"},
        {"sound.mpg", SM_E_FORMAT, "sound in this file but no video"},
        {"cut.mp4", SM_E_FORMAT, "moov"},
        {"head.mp4", SM_E_FORMAT, "not in it"},
        {"refers.mp4", SM_E_FORMAT, "another file"},
        {"codec.avi", SM_E_UNSUPPORTED, "QZQZ"},
        {"broad.avi", SM_E_RANGE, "8208 x 16"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct sm_media *media = NULL;
        struct sm_error err = {0};
        const char *path = in_dir(cases[i].name);
        enum sm_status status = sm_media_open(&media, &path, 1, &err);
        if (status != cases[i].status || media || err.status != status || !strstr(err.text, cases[i].words) ||
            !strstr(err.source, cases[i].name) || !err.remedy[0]) {
            print_error("%s: %s: %s; %s\n", cases[i].name, sm_status_text(status), err.text, err.remedy);
            fail();
        }
    }
}

static void test_open__a_good_file_among_bad_ones_does_not_help(void **state)
{
    (void)state;
    const char *const path[] = {in_dir("good.mp4"), in_dir("cut.mp4")};
    struct sm_media *media = NULL;
    struct sm_error err = {0};
    assert_int_equal(sm_media_open(&media, path, 2, &err), SM_E_FORMAT);
    assert_non_null(strstr(err.source, "cut.mp4"));
    assert_null(media);
    assert_int_equal(sm_media_open(&media, path, 0, &err), SM_E_NOTFOUND);
    assert_int_equal(sm_media_open(&media, path, 2, NULL), SM_E_FORMAT);
    sm_media_close(&media); /* of nothing: nothing */
}

static enum sm_status stop(void *user, const struct sm_frame *frame, struct sm_error *err)
{
    (void)frame;
    (void)err;
    return ++*(size_t *)user == 3 ? SM_E_CANCELLED : SM_OK;
}

static enum sm_status ask_again(void *user, const struct sm_frame *frame, struct sm_error *err)
{
    (void)frame;
    size_t n = 0;
    return sm_media_scan(user, 0, 1, 0, false, stop, &n, err);
}

static void test_scan__a_callback_can_end_but_not_nest_it(void **state)
{
    (void)state;
    struct sm_media *media = clip_open(in_dir("good.mp4"));
    struct sm_error err = {0};
    size_t n = 0;
    assert_int_equal(sm_media_scan(media, 0, SM_INFINITY, 0, false, stop, &n, &err), SM_E_CANCELLED);
    assert_int_equal(n, 3);
    assert_int_equal(sm_media_scan(media, 0, 1, 0, false, ask_again, media, &err), SM_E_CONFLICT);
    n = 10;
    assert_ok(sm_media_scan(media, 0, 0.5, 0, false, stop, &n, &err), &err);
    assert_int_equal(n, 10 + 13);
    sm_media_close(&media);
}

static void test_packets__tell_keys_by_size(void **state)
{
    (void)state;
    struct sm_media *media = clip_open(in_dir("good.mp4"));
    size_t n = sm_media_get_info(media)->n_frames;
    assert_int_equal(n, 25);
    for (size_t i = 0; i < n; i++) {
        struct sm_media_packet packet = sm_media_get_packet(media, i);
        assert_close(packet.time_s, (double)i / 25, 0.001);
        assert_int_equal(packet.is_key, i % 10 == 0);
        assert_true(packet.size_bytes > 0);
    }
    struct sm_frame_source source = sm_media_source(media);
    struct sm_coded_picture coded[25];
    assert_int_equal(source.coded(source.user, 0.2, 0.4, coded, 25), 5);
    assert_close(coded[0].time_s, 0.2, 0.001);
    assert_int_equal(coded[4].size_bytes, sm_media_get_packet(media, 9).size_bytes);
    assert_int_equal(source.coded(source.user, 0.2, 99, coded, 3), 3);
    assert_int_equal(source.coded(source.user, 99, 100, coded, 3), 0);
    sm_media_close(&media);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_open__refuses_with_reason_and_remedy),
        cmocka_unit_test(test_open__a_good_file_among_bad_ones_does_not_help),
        cmocka_unit_test(test_scan__a_callback_can_end_but_not_nest_it),
        cmocka_unit_test(test_packets__tell_keys_by_size),
    };
    return cmocka_run_group_tests(tests, make_files, remove_files);
}
