/*
 * How well is the counter read? One row a clip, the totals, the reliability of the confidence.
 *
 *   readbench [--frames N] [--misses] [--sparse|--full] FOLDER...
 *
 * exact   share of the looked-at frames with a visible counter whose reading is right to the last digit (read
 * --at) wrong9  wrong ones among those given with confidence 0.9 or more ghost   frames without a counter
 * that were given as read trace   share of visible frames for which the whole trace is within one last digit
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
    struct read_score_opts opts = {.n_frames = 120};
    struct read_score sum = {0};
    for (int i = 1; i < argc; i++) {
        int64_t n;
        if (strcmp(argv[i], "--frames") == 0 && i + 1 < argc && sm_parse_int(argv[i + 1], 1, 1000000, &n)) {
            opts.n_frames = (size_t)n;
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
    return 0;
}
