#include "read_reference.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define COMMAND "tesseract"
#define MOST_FRAMES 64

bool read_reference_exists(void)
{
    static int answer = -1;
    if (answer < 0) {
        answer = system("command -v " COMMAND " >/dev/null 2>&1") == 0;
    }
    return answer == 1;
}

struct reading {
    struct sm_box box;
    int32_t decimals;
    const struct read_reference_frame *frame;
    size_t at_idx, n_right;
    char path[64]; /* of the cut-out */
};

/** The box with half its height around it, twice as large: characters of 20 px and more are what the program
 * is made for. */
static bool write_cut(const char *path, const struct sm_image *image, struct sm_box box)
{
    int32_t edge = box.height_px / 2, x0 = box.x_px - edge, y0 = box.y_px - edge;
    int32_t width = box.width_px + 2 * edge, height = box.height_px + 2 * edge;
    FILE *file = fopen(path, "wb");
    if (!file) {
        return false;
    }
    fprintf(file, "P5\n%d %d\n255\n", 2 * width, 2 * height);
    for (int32_t y = 0; y < 2 * height; y++) {
        for (int32_t x = 0; x < 2 * width; x++) {
            int32_t from_x = x0 + x / 2, from_y = y0 + y / 2;
            from_x = from_x < 0 ? 0 : from_x >= image->width_px ? image->width_px - 1 : from_x;
            from_y = from_y < 0 ? 0 : from_y >= image->height_px ? image->height_px - 1 : from_y;
            fputc(image->y[from_y * image->stride_y + from_x], file);
        }
    }
    return fclose(file) == 0;
}

/** Does the number stand in the text, whatever stands around it? */
static bool is_in_text(const char *text, int64_t counts, int32_t decimals)
{
    for (const char *at = text; *at;) {
        size_t n = strspn(at, "0123456789.,");
        char number[32];
        double value = 0;
        if (n == 0) {
            at++;
            continue;
        }
        bool is_negative = at > text && at[-1] == '-';
        if (n < sizeof number) {
            memcpy(number, at, n);
            number[n] = '\0';
            size_t point = strcspn(number, ".,");
            bool has_form = decimals == 0 ? number[point] == '\0' : n - point == (size_t)decimals + 1;
            number[point] = number[point] ? '.' : '\0';
            if (has_form && sm_parse_number(number, &value) &&
                llround((is_negative ? -value : value) * pow(10, decimals)) == counts) {
                return true;
            }
        }
        at += n;
    }
    return false;
}

static enum sm_status read_frame(void *user, const struct sm_frame *frame, struct sm_error *err)
{
    struct reading *reading = user;
    char command[160], text[256] = "";
    if (!write_cut(reading->path, &frame->image, reading->box)) {
        return sm_error_set(err, SM_E_IO, "the counter's cut-out cannot be written");
    }
    snprintf(command, sizeof command, COMMAND " %s - --psm 7 2>/dev/null", reading->path);
    FILE *pipe = popen(command, "r");
    if (pipe) {
        size_t n = fread(text, 1, sizeof text - 1, pipe), kept = 0;
        for (size_t i = 0; i < n; i++) {
            if (text[i] != ' ') {
                text[kept++] = text[i];
            }
        }
        text[kept] = '\0';
        pclose(pipe);
    }
    reading->n_right += is_in_text(text, reading->frame[reading->at_idx].counts, reading->decimals);
    return SM_OK;
}

enum sm_status read_reference_read(size_t *n_right, const struct sm_frame_source *source, struct sm_box box,
                                   int32_t decimals, const struct read_reference_frame *frame, size_t n,
                                   struct sm_error *err)
{
    struct reading reading = {
        .box = box, .decimals = decimals, .frame = frame, .path = "/tmp/readbench-XXXXXX"};
    double time_s[MOST_FRAMES];
    n = n < MOST_FRAMES ? n : MOST_FRAMES;
    for (size_t i = 0; i < n; i++) {
        time_s[i] = frame[i].time_s;
    }
    int file = mkstemp(reading.path);
    if (file < 0) {
        return sm_error_set(err, SM_E_IO, "no temporary file can be made");
    }
    close(file);
    enum sm_status status = source->at(source->user, time_s, n, &reading.at_idx, read_frame, &reading, err);
    unlink(reading.path);
    *n_right = reading.n_right;
    return status;
}
