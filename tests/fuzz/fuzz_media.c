/* Any bytes as a video file: opening, walking and single frames must end, with frames or with an error that
 * says why. */
#define _GNU_SOURCE /* memfd_create */
#include "fuzz.h"

#include "stopmark/media.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

enum { MOST_FRAMES = 100 };

struct walk {
    size_t n;
    double last_s;
    unsigned sum;
};

/* Touch the corners of what is lent, so that a wrong stride or size is seen. */
static enum sm_status touch(void *user, const struct sm_frame *frame, struct sm_error *err)
{
    (void)err;
    struct walk *walk = user;
    const struct sm_image *image = &frame->image;
    FUZZ_REQUIRE(image->width_px > 0 && image->height_px > 0);
    FUZZ_REQUIRE(walk->n == 0 || frame->time_s >= walk->last_s);
    walk->sum += image->y[0] + image->y[(image->height_px - 1) * image->stride_y + image->width_px - 1];
    if (image->u) {
        ptrdiff_t row = -(-image->height_px >> image->chroma_shift_y) - 1;
        ptrdiff_t column = -(-image->width_px >> image->chroma_shift_x) - 1;
        walk->sum += image->u[row * image->stride_u + column] + image->v[row * image->stride_v + column];
    }
    walk->last_s = frame->time_s;
    return ++walk->n < MOST_FRAMES ? SM_OK : SM_E_CANCELLED;
}

static void read_texts(struct sm_media *media)
{
    const struct sm_timed_text *text = NULL;
    size_t n = 0;
    if (sm_media_texts(media, &text, &n, NULL) == SM_OK) {
        for (size_t i = 0; i < n; i++) {
            FUZZ_REQUIRE(text[i].text && sm_utf8_valid(text[i].text, strlen(text[i].text)));
            FUZZ_REQUIRE(text[i].track >= 0 && text[i].file >= 0);
        }
    }
}

static void look_at(struct sm_media *media)
{
    double duration_s = sm_media_get_info(media)->duration_s;
    FUZZ_REQUIRE(duration_s > 0);
    struct walk walk = {0};
    enum sm_status status = sm_media_scan(media, 0, SM_INFINITY, 0, false, touch, &walk, NULL);
    walk = (struct walk){0};
    status = sm_media_scan(media, 0, SM_INFINITY, 0, true, touch, &walk, NULL);
    const double asked[] = {duration_s * 0.9, 0, duration_s / 2};
    walk = (struct walk){0};
    status = sm_media_at(media, asked, 3, NULL, touch, &walk, NULL);
    struct sm_text jpeg = {0};
    status = sm_media_still_jpeg(media, duration_s / 3, 50, &jpeg, NULL);
    (void)status; /* any outcome but a crash or a hang */
    sm_text_release(&jpeg);
    read_texts(media);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t n)
{
    int fd = memfd_create("fuzz", MFD_CLOEXEC);
    if (fd < 0 || write(fd, data, n) != (ssize_t)n) {
        return 0;
    }
    char path[64];
    snprintf(path, sizeof path, "/proc/self/fd/%d", fd);
    const char *const paths[] = {path, path};
    struct sm_media *media = NULL;
    struct sm_error err = {0};
    setenv("SM_DECODER", "here", 1); /* in this process, where the fuzzer sees what it covers */
    size_t n_files = n % 8 == 0 ? 2 : 1; /* some inputs twice in a row */
    if (sm_media_open(&media, paths, n_files, &err) == SM_OK) {
        look_at(media);
        sm_media_close(&media);
    } else {
        FUZZ_REQUIRE(err.status != SM_OK && err.text[0]);
    }
    close(fd);
    return 0;
}
