/**
 * @file report.h
 * How well packed weights read scenes in fonts that never trained, measured with the program's own reader.
 */
#ifndef SM_TRAINER_REPORT_H
#define SM_TRAINER_REPORT_H

#include "model.h"

#define REPORT_BANDS 6
#define REPORT_CLAIMS 7

struct tally {
    int64_t n, n_right;
};
struct report {
    struct tally all, digits, band[REPORT_BANDS], kind[FONT_KINDS],
        clear;                           /**< digits by height, by font kind, with contrast >= 60 */
    struct tally blanks;                 /**< columns without a character that stay blank */
    struct tally claimed[REPORT_CLAIMS]; /**< columns read as digits, by the probability claimed */
    double claim_sum[REPORT_CLAIMS];
    struct tally confusion[10][SM_GLYPH_COUNT]; /**< n only: digit read as class */
    double loss;                                /**< mean cross-entropy of labelled columns */
    double loss_at[8];                          /**< the same at the temperatures of report_temperature() */
};

float report_temperature(int i);
/** @param first,n scenes number first .. first + n - 1 of the held (or training) half. */
enum sm_status report_make(struct report *report, const struct sm_counter__weights *weights,
                           const struct font_list *fonts, bool is_held, uint64_t seed, int first, int n,
                           struct sm_error *err) SM_CHECKED;
void report_add_text(struct sm_text *out, const struct report *report);

#endif
