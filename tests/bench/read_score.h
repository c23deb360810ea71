/**
 * How well is the counter read? Runs find and read over a survey with known truth (a folder made by the
 * simulator) and counts. Shared by the bench program and the test of reading.
 */
#ifndef READ_SCORE_H
#define READ_SCORE_H

#include "stopmark/counter.h"

#define READ_SCORE_BINS 10

struct read_score {
    size_t n_visible,
        n_exact; /**< looked-at frames with a visible counter; those read right to the last digit */
    size_t n_sure, n_sure_wrong;   /**< given with confidence 0.9 or more; those that are wrong */
    size_t n_hidden, n_ghost;      /**< frames without a counter; those given as read all the same */
    size_t n_trace, n_trace_right; /**< all visible frames; those where the trace is within one last digit */
    size_t bin_n[READ_SCORE_BINS + 1],
        bin_right[READ_SCORE_BINS + 1]; /**< by confidence, of readings given as read */
    size_t n_clips, n_format_right;     /**< unit (or none, where none is shown) and decimals right */
    size_t n_reference, n_reference_ours,
        n_reference_right; /**< frames the reference read, too; of these, right here and there */
    double cpu_s, video_s;
};
struct read_score_opts {
    size_t n_frames; /**< frames of the clip looked at exactly */
    size_t
        n_reference; /**< of these, so many legible ones are read by the reference, too (read_reference.h) */
    bool shows_misses;
    enum sm_counter_effort effort;
};
/**
 * Score one survey folder. A clip that cannot be read counts all its frames as missed and tells why in err.
 * @return that of the first call that failed.
 */
enum sm_status read_score_clip(struct read_score *score, const char *dir, const struct read_score_opts *opts,
                               struct sm_error *err);
void read_score_add(struct read_score *sum, const struct read_score *score);
void read_score_print(const char *name, const struct read_score *score);
double read_score_percent(size_t part, size_t whole); /**< 100 for nothing of nothing */

#endif
