/*
 * How well is the counter read? One row a clip, the totals, the reliability of the confidence.
 *
 *   readbench [--frames N] [--reference N] [--misses] [--sparse|--full] FOLDER...
 *
 * exact   share of the looked-at frames with a legible counter whose reading is right to the last digit (read
 * --at) wrong9  wrong ones among those given with confidence 0.9 or more ghost   frames without a counter
 * that were given as read trace   share of legible frames for which the whole trace is within one last digit
 *
 * Legible is what the simulator measured on the coded picture: each digit is at least half like its own
 * drawing (correlation), stands out by 7 grey levels, and is more like itself than like the digit shown
 * before or after. Frames that show the counter without that are neither right nor wrong. With --reference
 * (4), as many of the legible frames of a clip are also read by tesseract, if it is installed, which is
 * handed the exact box.
 */
#include "read_score.h"

#include <stdio.h>
#include <string.h>

static void clip(struct read_score *sum, const char *dir, const struct read_score_opts *opts)
{
    struct read_score score;
    struct sm_error err = {0};
    const char *name = strrchr(dir, '/') && strrchr(dir, '/')[1] ? strrchr(dir, '/') + 1 : dir;
    enum sm_status status = read_score_clip(&score, dir, opts, &err);
    read_score_print(name, &score);
    if (status != SM_OK) {
        printf("    %s\n", err.text);
    }
    read_score_add(sum, &score);
}

int main(int argc, char **argv)
{
    struct read_score_opts opts = {.n_frames = 120, .n_reference = 4};
    struct read_score sum = {0};
    for (int i = 1; i < argc; i++) {
        int64_t n;
        if (strcmp(argv[i], "--frames") == 0 && i + 1 < argc && sm_parse_int(argv[i + 1], 1, 1000000, &n)) {
            opts.n_frames = (size_t)n;
            i++;
        } else if (strcmp(argv[i], "--reference") == 0 && i + 1 < argc &&
                   sm_parse_int(argv[i + 1], 0, 32, &n)) {
            opts.n_reference = (size_t)n;
            i++;
        } else if (strcmp(argv[i], "--misses") == 0) {
            opts.shows_misses = true;
        } else if (strcmp(argv[i], "--sparse") == 0) {
            opts.effort = SM_COUNTER_EFFORT_SPARSE;
        } else if (strcmp(argv[i], "--full") == 0) {
            opts.effort = SM_COUNTER_EFFORT_FULL;
        } else {
            clip(&sum, argv[i], &opts);
        }
    }
    read_score_print("all", &sum);
    printf("reliability (given as read):\n  confidence      n   right\n");
    for (int b = 0; b <= READ_SCORE_BINS; b++) {
        if (sum.bin_n[b]) {
            printf("  %.1f-%.1f  %7zu  %6.2f %%\n", b / 10.0, b == READ_SCORE_BINS ? 1.0 : (b + 1) / 10.0,
                   sum.bin_n[b], read_score_percent(sum.bin_right[b], sum.bin_n[b]));
        }
    }
    if (sum.n_reference > 0) {
        printf("tesseract, handed the exact box, reads %zu of %zu of these frames; stopmark, handed nothing, "
               "%zu\n",
               sum.n_reference_right, sum.n_reference, sum.n_reference_ours);
    }
    return 0;
}
