/**
 * @file train_net.c
 * Trains the character reader and writes its weights:
 *
 *     train_net FONTS.txt OUT.c SEED STEPS [THREADS [--continue]]
 *     train_net --show FONTS.txt SEED N OUT.pgm     strips with their labels, to look at
 *     train_net --report FONTS.txt SEED N           how the built-in weights read held-out fonts
 *
 * --continue starts from the built-in weights instead of random ones, at a lower rate.
 *
 * The same fonts, seed and number of steps give the same weights on one machine and compiler, whatever the
 * number of threads: a batch is always summed in N_LANES parts in a fixed order.
 */
#include "report.h"

#include <math.h>
#include <pthread.h>
#include <stdio.h>
#include <string.h>

#define N_LANES 2      /* parts of a batch; each may have its thread */
#define LANE_SAMPLES 8 /* samples of a batch in one part */
#define LANE_SCENES 48 /* scenes that a part holds at a time */
#define SCENE_USES 6   /* strips cut from a scene before it is replaced */
#define TOP_RATE 1.6e-3F
#define CONTINUED_RATE 1.0e-3F
#define CONTINUED_PATTERNS                                                                                   \
    0.2 /* share of walls with a hard pattern; none in training from random numbers                          \
         */
#define LAST_RATE 1.0e-5F
#define WARM_UP_STEPS 300
#define DECAY 1.0e-3F
#define SMOOTHING 0.01F
#define REPORT_STEPS 2500
#define FITTING_SCENES 1500
#define REPORT_SCENES 3000
#define REPORT_SEED 424242U

/** What to do. */
struct plan {
    uint64_t seed;
    int64_t n_steps;
    bool is_threaded, is_continued;
};

struct lane {
    const struct model *model;
    const struct font_list *fonts;
    struct model_pass *pass;
    struct scene scene[LANE_SCENES];
    struct sample *sample;
    float *gradient;
    double pattern_share;
    uint64_t seed, n_drawn;
    double loss;
    int64_t n_asked;
    enum sm_status status;
    struct sm_error error;
};

/** The lane's next sample: its scenes in turn, each renewed after SCENE_USES turns. */
static enum sm_status next_sample(struct lane *lane)
{
    uint64_t slot = lane->n_drawn % LANE_SCENES, turn = lane->n_drawn / LANE_SCENES;
    struct sm_test_random rng = rng_of(lane->seed, lane->n_drawn);
    lane->n_drawn++;
    if (!lane->scene[slot].planes || (turn + slot) % SCENE_USES == 0) {
        scene_release(&lane->scene[slot]);
        enum sm_status status =
            scene_make(&lane->scene[slot], lane->fonts, false, lane->pattern_share, &rng, &lane->error);
        if (status != SM_OK) {
            return status;
        }
    }
    return sample_cut(lane->sample, &lane->scene[slot], 1.0, &rng, &lane->error);
}

static void run_lane(struct lane *lane)
{
    memset(lane->gradient, 0, (size_t)lane->model->n * sizeof(float));
    lane->loss = 0.0;
    lane->n_asked = 0;
    for (int i = 0; i < LANE_SAMPLES && lane->status == SM_OK; i++) {
        int32_t n_asked = 0;
        lane->status = next_sample(lane);
        if (lane->status == SM_OK) {
            lane->loss +=
                model_learn(lane->model, lane->pass, lane->sample, SMOOTHING, lane->gradient, &n_asked);
            lane->n_asked += n_asked;
        }
    }
}

static enum sm_status open_lanes(struct lane lane[N_LANES], const struct model *model,
                                 const struct font_list *fonts, uint64_t seed, struct sm_error *err)
{
    for (int i = 0; i < N_LANES; i++) {
        lane[i] = (struct lane){.model = model, .fonts = fonts, .seed = seed * 1000 + (uint64_t)i};
        lane[i].sample = sm_calloc(1, sizeof *lane[i].sample);
        lane[i].gradient = sm_calloc((size_t)model->n, sizeof(float));
        enum sm_status status = model_pass_new(&lane[i].pass, model, err);
        if (status != SM_OK || !lane[i].sample || !lane[i].gradient) {
            return sm_error_set(err, SM_E_NOMEM, "no memory for training");
        }
    }
    return SM_OK;
}

static void close_lanes(struct lane lane[N_LANES])
{
    for (int i = 0; i < N_LANES; i++) {
        for (int s = 0; s < LANE_SCENES; s++) {
            scene_release(&lane[i].scene[s]);
        }
        model_pass_free(&lane[i].pass);
        sm_free(lane[i].sample);
        sm_free(lane[i].gradient);
    }
}

/** The second lane's thread lives through the whole training: the font library keeps what it loads for each
 * thread. */
struct helper {
    pthread_t thread;
    pthread_barrier_t start, end;
    struct lane *lane;
    bool is_running, must_stop;
};

static void *help(void *user)
{
    struct helper *helper = user;
    for (;;) {
        pthread_barrier_wait(&helper->start);
        if (helper->must_stop) {
            return NULL;
        }
        run_lane(helper->lane);
        pthread_barrier_wait(&helper->end);
    }
}

static void helper_open(struct helper *helper, struct lane *lane)
{
    *helper = (struct helper){.lane = lane};
    pthread_barrier_init(&helper->start, NULL, 2);
    pthread_barrier_init(&helper->end, NULL, 2);
    helper->is_running = pthread_create(&helper->thread, NULL, help, helper) == 0;
}

static void helper_close(struct helper *helper)
{
    if (helper->is_running) {
        helper->must_stop = true;
        pthread_barrier_wait(&helper->start);
        pthread_join(helper->thread, NULL);
    }
    pthread_barrier_destroy(&helper->start);
    pthread_barrier_destroy(&helper->end);
}

/** All lanes of one batch. @param helper NULL = one after the other. */
static enum sm_status run_batch(struct lane lane[N_LANES], struct helper *helper, struct sm_error *err)
{
    if (helper && helper->is_running) {
        pthread_barrier_wait(&helper->start);
        run_lane(&lane[0]);
        pthread_barrier_wait(&helper->end);
    } else {
        run_lane(&lane[0]);
        run_lane(&lane[1]);
    }
    for (int i = 0; i < N_LANES; i++) {
        if (lane[i].status != SM_OK) {
            *err = lane[i].error;
            return lane[i].status;
        }
    }
    return SM_OK;
}

static float rate_at(int64_t step, int64_t n_steps, float top_rate)
{
    if (step < WARM_UP_STEPS) {
        return top_rate * (float)(step + 1) / WARM_UP_STEPS;
    }
    double part = (double)(step - WARM_UP_STEPS) / (double)(n_steps - WARM_UP_STEPS);
    return LAST_RATE + (top_rate - LAST_RATE) * (float)(0.5 + 0.5 * cos(3.14159265358979 * part));
}

static void say(const char *what, int64_t step, double value)
{
    struct sm_text line = {0};
    sm_text_addf(&line, "%s %d ", what, (int)step);
    sm_text_add_fixed(&line, value, 4);
    puts(sm_text_str(&line));
    fflush(stdout);
    sm_text_release(&line);
}

/** Find the temperature at which unseen scenes are most likely. */
static enum sm_status fit_temperature(const struct model *model, const struct font_list *fonts,
                                      float *temperature, struct sm_error *err)
{
    struct packed packed;
    struct report report;
    enum sm_status status = packed_make(&packed, model, 1.0F, err);
    if (status != SM_OK) {
        return status;
    }
    /* Fitted on training fonts' unseen scenes, so that the held-out half stays untouched. */
    status = report_make(&report, &packed.weights, fonts, false, REPORT_SEED + 1, 0, FITTING_SCENES, err);
    double best = 1e9;
    for (int t = 0; t < 8 && status == SM_OK; t++) {
        if (report.loss_at[t] < best) {
            best = report.loss_at[t];
            *temperature = report_temperature(t);
        }
    }
    packed_release(&packed);
    return status;
}

static enum sm_status print_report(const struct sm_counter__weights *weights, const struct font_list *fonts,
                                   bool is_held, uint64_t seed, int n, struct sm_error *err)
{
    struct report report;
    struct sm_text text = {0};
    enum sm_status status = report_make(&report, weights, fonts, is_held, seed, 0, n, err);
    if (status == SM_OK) {
        sm_text_addf(&text, "--- %s fonts\n", is_held ? "held-out" : "training");
        report_add_text(&text, &report);
        fputs(sm_text_str(&text), stdout);
        fflush(stdout);
    }
    sm_text_release(&text);
    return status;
}

static enum sm_status save(const struct model *model, const struct font_list *fonts, const char *path,
                           const struct plan *plan, struct sm_error *err)
{
    struct packed packed;
    float temperature = 1.0F;
    char note[120];
    enum sm_status status = fit_temperature(model, fonts, &temperature, err);
    if (status == SM_OK) {
        status = packed_make(&packed, model, temperature, err);
    }
    if (status != SM_OK) {
        return status;
    }
    snprintf(note, sizeof note, "%s, seed %llu, %lld steps; 8-bit weights, one scale for each output.",
             plan->is_continued ? "Trained before, then continued" : "Trained from random numbers",
             (unsigned long long)plan->seed, (long long)plan->n_steps);
    say("temperature", plan->n_steps, (double)temperature);
    status = packed_write(&packed, path, note, err);
    if (status == SM_OK) {
        status = print_report(&packed.weights, fonts, true, REPORT_SEED, REPORT_SCENES, err);
    }
    packed_release(&packed);
    return status;
}

static enum sm_status train(struct model *model, struct lane lane[N_LANES], const struct plan *plan,
                            struct helper *helper, struct sm_error *err)
{
    struct adam adam;
    double loss = 0.0;
    int64_t n_asked = 0;
    enum sm_status status = adam_new(&adam, model, err);
    for (int64_t step = 0; step < plan->n_steps && status == SM_OK; step++) {
        status = run_batch(lane, helper, err);
        int64_t n = lane[0].n_asked + lane[1].n_asked;
        for (ptrdiff_t i = 0; i < model->n; i++) {
            lane[0].gradient[i] = (lane[0].gradient[i] + lane[1].gradient[i]) / (float)n;
        }
        adam_step(&adam, model, lane[0].gradient,
                  rate_at(step, plan->n_steps, plan->is_continued ? CONTINUED_RATE : TOP_RATE), DECAY);
        loss += lane[0].loss + lane[1].loss;
        n_asked += n;
        if ((step + 1) % (REPORT_STEPS / 10) == 0) {
            say("step", step + 1, loss / (double)n_asked);
            loss = 0.0;
            n_asked = 0;
        }
    }
    adam_release(&adam);
    return status;
}

static enum sm_status run_training(const char *fonts_path, const char *out, const struct plan *plan,
                                   struct sm_error *err)
{
    static struct lane lane[N_LANES];
    struct font_list fonts;
    struct model model = {.n = 0};
    struct sm_test_random rng = rng_of(plan->seed, 1);
    enum sm_status status = font_list_read(&fonts, fonts_path, err);
    if (status != SM_OK) {
        return status;
    }
    status = model_new(&model, &rng, err);
    if (status == SM_OK && plan->is_continued) {
        model_load(&model, &sm_counter__trained_weights);
    }
    if (status == SM_OK) {
        status = open_lanes(lane, &model, &fonts, plan->seed, err);
    }
    for (int i = 0; i < N_LANES; i++) {
        lane[i].pattern_share = plan->is_continued ? CONTINUED_PATTERNS : 0.0;
    }
    if (status == SM_OK && plan->is_threaded) {
        struct helper helper;
        helper_open(&helper, &lane[1]);
        status = train(&model, lane, plan, &helper, err);
        helper_close(&helper);
    } else if (status == SM_OK) {
        status = train(&model, lane, plan, NULL, err);
    }
    if (status == SM_OK) {
        status = save(&model, &fonts, out, plan, err);
    }
    close_lanes(lane);
    model_release(&model);
    font_list_release(&fonts);
    return status;
}

/** Strips below each other, with a row of marks: white at a character's columns, grey where nothing is asked.
 */
static enum sm_status show(const char *fonts_path, uint64_t seed, int n, const char *path,
                           struct sm_error *err)
{
    enum { ROWS = SM_STRIP_HEIGHT + 4 };
    struct font_list fonts;
    struct sample *sample = sm_calloc(1, sizeof *sample);
    struct sm_text out = {0};
    enum sm_status status =
        sample ? font_list_read(&fonts, fonts_path, err) : sm_error_set(err, SM_E_NOMEM, "no memory");
    sm_text_addf(&out, "P5\n%d %d\n255\n", SAMPLE_MAX_PX, n * ROWS);
    for (int i = 0; i < n && status == SM_OK; i++) {
        struct scene scene = {0};
        struct sm_test_random rng = rng_of(seed, (uint64_t)i);
        char row[SAMPLE_MAX_PX];
        status = scene_make(&scene, &fonts, false, 0.5, &rng, err);
        if (status == SM_OK) {
            status = sample_cut(sample, &scene, 1.0, &rng, err);
        }
        for (int y = 0; y < ROWS && status == SM_OK; y++) {
            memset(row, 0, sizeof row);
            for (int x = 0; x < sample->width_px; x++) {
                uint8_t mark = sample->label[x / 2];
                row[x] = (char)(y < SM_STRIP_HEIGHT
                                    ? (int)(128.0F + 31.0F * sample->strip[y * sample->width_px + x])
                                : mark == LABEL_IGNORE   ? 120
                                : mark == SM_GLYPH_BLANK ? 0
                                                         : 255);
            }
            sm_text_add_n(&out, row, sizeof row);
        }
        scene_release(&scene);
    }
    if (status == SM_OK) {
        status = sm_file_write(path, out.data, out.length, err);
    }
    font_list_release(&fonts);
    sm_text_release(&out);
    sm_free(sample);
    return status;
}

static enum sm_status report_built_in(const char *fonts_path, uint64_t seed, int n, struct sm_error *err)
{
    struct font_list fonts;
    enum sm_status status = font_list_read(&fonts, fonts_path, err);
    if (status == SM_OK) {
        status = print_report(&sm_counter__trained_weights, &fonts, true, seed, n, err);
    }
    if (status == SM_OK) {
        status = print_report(&sm_counter__trained_weights, &fonts, false, seed, n, err);
    }
    font_list_release(&fonts);
    return status;
}

static int usage(void)
{
    fputs("usage: train_net FONTS.txt OUT.c SEED STEPS [THREADS [--continue]]\n"
          "       train_net --show FONTS.txt SEED N OUT.pgm\n"
          "       train_net --report FONTS.txt SEED N\n",
          stderr);
    return 2;
}

int main(int argc, char **argv)
{
    struct sm_error error = {.status = SM_OK};
    enum sm_status status;
    int64_t seed = 0, n = 0, threads = 1;
    bool is_show = argc == 6 && strcmp(argv[1], "--show") == 0,
         is_report = argc == 5 && strcmp(argv[1], "--report") == 0;
    bool is_continued = argc == 7 && strcmp(argv[6], "--continue") == 0;
    bool is_training = (argc == 5 || argc == 6 || is_continued) && argv[1][0] != '-';
    if (!is_show && !is_report && !is_training) {
        return usage();
    }
    if (!sm_parse_int(argv[3], 0, INT32_MAX, &seed) || !sm_parse_int(argv[4], 1, 10000000, &n) ||
        (is_training && argc >= 6 && !sm_parse_int(argv[5], 1, N_LANES, &threads))) {
        return usage();
    }
    if (is_show) {
        status = show(argv[2], (uint64_t)seed, (int)n, argv[5], &error);
    } else if (is_report) {
        status = report_built_in(argv[2], (uint64_t)seed, (int)n, &error);
    } else {
        const struct plan plan = {(uint64_t)seed, n, threads > 1, is_continued};
        status = run_training(argv[1], argv[2], &plan, &error);
    }
    if (status != SM_OK) {
        fprintf(stderr, "train_net: %s:%u %s\n", error.source, (unsigned)error.line, error.text);
    }
    return status == SM_OK ? 0 : 1;
}
