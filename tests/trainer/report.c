/**
 * @file report.c
 * Counts right and wrong characters by height, font kind and claimed probability.
 */
#include "report.h"

#include <math.h>

#define CLEAR_CONTRAST 60.0

static const double band_edge_px[REPORT_BANDS + 1] = {0.0, 9.0, 11.0, 14.0, 20.0, 30.0, 1000.0};
static const double claim_edge[REPORT_CLAIMS + 1] = {0.0, 0.5, 0.7, 0.9, 0.97, 0.99, 0.999, 1.1};

float report_temperature(int i)
{
    static const float temperature[8] = {0.7F, 0.8F, 0.9F, 1.0F, 1.1F, 1.2F, 1.35F, 1.5F};
    return temperature[i];
}

static void count(struct tally *tally, bool is_right)
{
    tally->n++;
    tally->n_right += is_right;
}

static int best_class(const float *logprob)
{
    int best = 0;
    for (int k = 1; k < SM_GLYPH_COUNT; k++) {
        best = logprob[k] > logprob[best] ? k : best;
    }
    return best;
}

static void count_claim(struct report *report, double claim, bool is_right)
{
    int i = 0;
    while (claim >= claim_edge[i + 1]) {
        i++;
    }
    count(&report->claimed[i], is_right);
    report->claim_sum[i] += claim;
}

static void count_centre(struct report *report, const struct scene *scene, int truth, const float *logprob)
{
    int best = best_class(logprob);
    bool is_right = best == truth, is_digit = truth >= SM_GLYPH_0 && truth <= SM_GLYPH_9;
    double height = scene->baseline_px - scene->top_px;
    count(&report->all, is_right);
    if (best >= SM_GLYPH_0 && best <= SM_GLYPH_9) {
        count_claim(report, (double)expf(logprob[best]), is_right);
    }
    if (!is_digit) {
        return;
    }
    count(&report->digits, is_right);
    count(&report->kind[scene->font.kind], is_right);
    report->confusion[truth - SM_GLYPH_0][best].n++;
    if (scene->contrast >= CLEAR_CONTRAST) {
        count(&report->clear, is_right);
    }
    for (int b = 0; b < REPORT_BANDS; b++) {
        if (height >= band_edge_px[b] && height < band_edge_px[b + 1]) {
            count(&report->band[b], is_right);
        }
    }
}

static void add_loss(struct report *report, const float *logprob, int label)
{
    report->loss -= (double)logprob[label];
    for (int t = 0; t < 8; t++) {
        float sum = 0.0F;
        for (int k = 0; k < SM_GLYPH_COUNT; k++) {
            sum += expf(logprob[k] / report_temperature(t));
        }
        report->loss_at[t] -= (double)(logprob[label] / report_temperature(t) - logf(sum));
    }
}

static void count_sample(struct report *report, const struct scene *scene, const struct sample *sample,
                         const float *logprob, int64_t *n_asked)
{
    for (int32_t i = 0; i < sample->n_centres; i++) {
        count_centre(report, scene, sample->centre_glyph[i],
                     logprob + (ptrdiff_t)sample->centre_column[i] * SM_GLYPH_COUNT);
    }
    for (int32_t column = 0; column < sample->n_columns; column++) {
        const float *at = logprob + (ptrdiff_t)column * SM_GLYPH_COUNT;
        if (sample->label[column] == LABEL_IGNORE) {
            continue;
        }
        (*n_asked)++;
        add_loss(report, at, sample->label[column]);
        if (sample->label[column] == SM_GLYPH_BLANK) {
            count(&report->blanks, best_class(at) == SM_GLYPH_BLANK);
        }
    }
}

enum sm_status report_make(struct report *report, const struct sm_counter__weights *weights,
                           const struct font_list *fonts, bool is_held, uint64_t seed, int first, int n,
                           struct sm_error *err)
{
    struct sm_counter__net *net = NULL;
    struct sample *sample = sm_calloc(1, sizeof *sample);
    float *logprob = sm_calloc(SAMPLE_MAX_COLUMNS * SM_GLYPH_COUNT, sizeof *logprob);
    int64_t n_asked = 0;
    *report = (struct report){.loss = 0.0};
    enum sm_status status = sample && logprob ? sm_counter__net_new(&net, weights, err)
                                              : sm_error_set(err, SM_E_NOMEM, "no memory for a report");
    for (int i = first; i < first + n && status == SM_OK; i++) {
        struct scene scene = {0};
        struct sm_test_random rng = rng_of(seed, (uint64_t)i);
        status = scene_make(&scene, fonts, is_held, 0.0, &rng, err);
        if (status == SM_OK) {
            status = sample_cut(sample, &scene, 0.6, &rng, err);
        }
        if (status == SM_OK) {
            status = sm_counter__net_run(net, sample->strip, sample->width_px, logprob, err);
        }
        if (status == SM_OK) {
            count_sample(report, &scene, sample, logprob, &n_asked);
        }
        scene_release(&scene);
    }
    report->loss /= (double)(n_asked > 0 ? n_asked : 1);
    for (int t = 0; t < 8; t++) {
        report->loss_at[t] /= (double)(n_asked > 0 ? n_asked : 1);
    }
    sm_counter__net_free(&net);
    sm_free(sample);
    sm_free(logprob);
    return status;
}

static void add_tally(struct sm_text *out, const char *name, const struct tally *tally)
{
    sm_text_addf(out, "%s ", name);
    sm_text_add_fixed(out, tally->n > 0 ? 100.0 * (double)tally->n_right / (double)tally->n : 0.0, 2);
    sm_text_addf(out, "%% of %d\n", (int)tally->n);
}

static void add_claims(struct sm_text *out, const struct report *report)
{
    for (int i = 0; i < REPORT_CLAIMS; i++) {
        const struct tally *tally = &report->claimed[i];
        sm_text_add(out, "read as a digit, claimed ");
        sm_text_add_fixed(out, tally->n > 0 ? 100.0 * report->claim_sum[i] / (double)tally->n : 0.0, 2);
        add_tally(out, "%: right", tally);
    }
}

static void add_confusions(struct sm_text *out, const struct report *report)
{
    sm_text_add(out, "digits read as something else, most often:");
    for (int rank = 0, below = 1 << 30; rank < 16 && below > 0; rank++) {
        int most = 0;
        for (int i = 0; i < 10 * SM_GLYPH_COUNT; i++) {
            int n = (int)report->confusion[i / SM_GLYPH_COUNT][i % SM_GLYPH_COUNT].n;
            most = n < below && n > most && i % SM_GLYPH_COUNT != i / SM_GLYPH_COUNT + SM_GLYPH_0 ? n : most;
        }
        for (int i = 0; i < 10 * SM_GLYPH_COUNT && most > 0; i++) {
            if ((int)report->confusion[i / SM_GLYPH_COUNT][i % SM_GLYPH_COUNT].n == most &&
                i % SM_GLYPH_COUNT != i / SM_GLYPH_COUNT + SM_GLYPH_0) {
                sm_text_addf(out, " %d>%c %d", i / SM_GLYPH_COUNT,
                             sm_counter__glyph_char((enum sm_glyph)(i % SM_GLYPH_COUNT)), most);
            }
        }
        below = most;
    }
    sm_text_add(out, "\n");
}

void report_add_text(struct sm_text *out, const struct report *report)
{
    static const char *const band[REPORT_BANDS] = {"  below 9 px",  "  9 to 11 px",  "  11 to 14 px",
                                                   "  14 to 20 px", "  20 to 30 px", "  30 px and more"};
    static const char *const kind[FONT_KINDS] = {"  fixed-width", "  proportional", "  pixel", "  segment",
                                                 "  drawn by number"};
    sm_text_add(out, "mean cross-entropy ");
    sm_text_add_fixed(out, report->loss, 4);
    sm_text_add(out, "\n");
    add_tally(out, "all characters", &report->all);
    add_tally(out, "columns left blank", &report->blanks);
    add_tally(out, "digits", &report->digits);
    add_tally(out, "digits with 60 grey levels of contrast", &report->clear);
    for (int b = 0; b < REPORT_BANDS; b++) {
        add_tally(out, band[b], &report->band[b]);
    }
    for (int k = 0; k < FONT_KINDS; k++) {
        add_tally(out, kind[k], &report->kind[k]);
    }
    add_claims(out, report);
    add_confusions(out, report);
}
