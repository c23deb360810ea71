#include "random_survey.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "stopmark/trace.h"

static bool chance(struct sm_test_random *random, double frac)
{
    return sm_test_uniform(random, 0, 1) < frac;
}

static void add_leg(struct survey *survey, double during_s, double to_m)
{
    assert_true(survey->n_legs < SURVEY_MOST_LEGS);
    size_t n = survey->n_legs++;
    survey->leg_s[n] = n > 0 ? survey->leg_s[n - 1] + during_s : 0;
    survey->leg_m[n] = to_m;
}

static double here_m(const struct survey *survey)
{
    return survey->leg_m[survey->n_legs - 1];
}

static void drive_to(struct survey *survey, struct sm_test_random *random, double to_m)
{
    add_leg(survey, fabs(to_m - here_m(survey)) / sm_test_uniform(random, 0.04, 0.2) + 0.01, to_m);
}

static void stand(struct survey *survey, double during_s)
{
    add_leg(survey, during_s, here_m(survey));
}

double survey_place(const struct survey *survey, double time_s)
{
    for (size_t i = 1; i < survey->n_legs; i++) {
        if (time_s <= survey->leg_s[i]) {
            double frac = (time_s - survey->leg_s[i - 1]) / (survey->leg_s[i] - survey->leg_s[i - 1]);
            return survey->leg_m[i - 1] + frac * (survey->leg_m[i] - survey->leg_m[i - 1]);
        }
    }
    return here_m(survey);
}

static struct sm_reading look(const struct survey *survey, double time_s)
{
    return (struct sm_reading){time_s, llround(survey_place(survey, time_s) * 100), 0.99F, SM_READING_READ};
}

static int compare_readings(const void *a, const void *b)
{
    const struct sm_reading *x = a;
    const struct sm_reading *y = b;
    return (x->time_s > y->time_s) - (x->time_s < y->time_s);
}

void survey_look(struct survey *survey, const double *time_s, size_t n)
{
    struct sm_trace *trace = survey->trace;
    trace->reading = sm_realloc(trace->reading, trace->n_readings + n, sizeof *trace->reading);
    assert_non_null(trace->reading);
    for (size_t i = 0; i < n; i++) {
        if (time_s[i] >= 0 && time_s[i] <= trace->duration_s) {
            trace->reading[trace->n_readings++] = look(survey, time_s[i]);
        }
    }
    qsort(trace->reading, trace->n_readings, sizeof *trace->reading, compare_readings);
}

/* Some seconds under a text page, some misread digits that say they are unsure. */
static void film(struct survey *survey, struct sm_test_random *random)
{
    double step_s = sm_test_uniform(random, 0.4, 1.0);
    double end_s = survey->leg_s[survey->n_legs - 1];
    size_t n = (size_t)(end_s / step_s) + 1;
    double page_s = sm_test_uniform(random, 0, 5);
    survey->trace = sm_calloc(1, sizeof *survey->trace);
    assert_non_null(survey->trace);
    *survey->trace = (struct sm_trace){.format = {.unit = SM_UNIT_M, .decimals = 2}, .duration_s = end_s};
    survey->trace->reading = sm_calloc(n, sizeof *survey->trace->reading);
    assert_non_null(survey->trace->reading);
    survey->trace->n_readings = n;
    for (size_t i = 0; i < n; i++) {
        struct sm_reading *reading = &survey->trace->reading[i];
        *reading = look(survey, (double)i * step_s);
        if (reading->time_s < page_s) {
            *reading = (struct sm_reading){.time_s = reading->time_s};
        } else if (chance(random, 0.01)) {
            reading->counts += sm_test_int(random, 1, 9) * 100;
            reading->confidence = 0.5F;
        }
    }
}

/* A distance as a tired person types it: digits swapped, point slipped, one digit wrong, feet for metres. */
static double mistype(struct sm_test_random *random, double distance_m)
{
    static const int place[] = {1, 10, 100, 1000};
    int64_t counts = llround(distance_m * 100);
    int64_t wrong = counts;
    switch (sm_test_int(random, 0, 3)) {
    case 0:
        wrong = counts / 100 * 100 + counts % 10 * 10 + counts / 10 % 10; /* the decimals */
        if (counts >= 1000) {
            wrong =
                counts / 10000 * 10000 + counts / 100 % 10 * 1000 + counts / 1000 % 10 * 100 + counts % 100;
        }
        break;
    case 1:
        wrong = chance(random, 0.5) ? counts * 10 : counts / 10;
        break;
    case 2:
        wrong = counts + sm_test_int(random, 1, 9) * place[sm_test_int(random, 1, 3)];
        break;
    default:
        wrong = llround((double)counts / SM_M_PER_FT);
        break;
    }
    return (double)wrong / 100;
}

static void write_row(struct survey *survey, struct sm_test_random *random, const struct survey_opts *opts,
                      double time_s)
{
    assert_true(survey->log.n_entries < SURVEY_MOST_ROWS);
    size_t idx = survey->log.n_entries++;
    double shown_m = (double)llround(survey_place(survey, time_s) * 100) / 100;
    double logged_m = shown_m;
    survey->truth[idx] = (struct survey_truth){time_s, shown_m, false};
    if (!opts->has_distances || chance(random, 0.1)) {
        logged_m = SM_NAN;
    } else if (chance(random, opts->typing_error_frac)) {
        logged_m = mistype(random, shown_m);
        survey->truth[idx].is_mistyped = fabs(logged_m - shown_m) > 0.1 + 1e-9;
    }
    double clock_s = opts->has_clock ? round(survey->offset_s + time_s * (1 + survey->drift_frac))
                                     : round(time_s * 10) / 10;
    survey->row[idx] = (struct sm_log_entry){.line = (uint32_t)idx + 2,
                                             .time_s = chance(random, 0.03) ? SM_NAN : fmod(clock_s, 86400),
                                             .distance_m = logged_m,
                                             .distance_digit_m = isnan(logged_m) ? SM_NAN : 0.01,
                                             .code = "BAB",
                                             .ch1 = "B",
                                             .ch2 = "A",
                                             .q1 = "",
                                             .q2 = "",
                                             .q1_value = SM_NAN,
                                             .q2_value = SM_NAN,
                                             .diameter_mm = SM_NAN,
                                             .remark = "",
                                             .photo = ""};
}

/* Times at which the operator writes are kept aside until the drive is whole. */
struct writing {
    double time_s[SURVEY_MOST_ROWS];
    size_t n;
};

static void visit(struct survey *survey, struct sm_test_random *random, const struct survey_opts *opts,
                  struct writing *writing, double at_m)
{
    drive_to(survey, random, at_m);
    double arrived_s = survey->leg_s[survey->n_legs - 1];
    if (chance(random, opts->in_passing_frac)) {
        writing->time_s[writing->n++] = arrived_s;
        return;
    }
    double during_s = sm_test_uniform(random, 3, 10);
    stand(survey, during_s);
    size_t n_rows = chance(random, 0.2) ? 2 : 1; /* two rows at one stop */
    for (size_t i = 0; i < n_rows && writing->n < SURVEY_MOST_ROWS; i++) {
        double waited_frac = sm_test_uniform(random, 0, 1); /* most write soon after they stop */
        writing->time_s[writing->n++] = arrived_s + 1 + (during_s - 2) * waited_frac * waited_frac;
    }
    if (chance(random, 0.15)) {
        drive_to(survey, random, fmax(0, at_m - sm_test_uniform(random, 0.1, 0.8)));
    }
}

void survey_invent(struct survey *survey, struct sm_test_random *random, const struct survey_opts *opts)
{
    memset(survey, 0, sizeof *survey);
    struct writing writing = {.n = 0};
    survey->length_m = sm_test_uniform(random, 20, 90);
    survey->offset_s = opts->has_clock ? floor(sm_test_uniform(random, 0, 86400)) : 0;
    survey->drift_frac = opts->has_clock ? sm_test_uniform(random, -3e-4, 3e-4) : 0;
    add_leg(survey, 0, 0);
    visit(survey, random, &(struct survey_opts){.in_passing_frac = 0}, &writing, 0); /* the start node */
    double at_m = 0;
    while (writing.n + 4 < SURVEY_MOST_ROWS) {
        at_m += sm_test_uniform(random, 0.8, 10); /* about one observation in six metres */
        if (at_m > survey->length_m) {
            break;
        }
        if (chance(random, 0.1)) {
            drive_to(survey, random, at_m - 0.5);
            stand(survey, sm_test_uniform(random, 2, 10)); /* looked closer, wrote nothing */
        }
        visit(survey, random, opts, &writing, at_m);
    }
    visit(survey, random, opts, &writing, survey->length_m);
    stand(survey, sm_test_uniform(random, 3, 10));
    survey->log = (struct sm_obslog){.source = "random.csv", .format = "csv", .entry = survey->row};
    survey->log.segment.length_m = SM_NAN;
    for (size_t i = 0; i < writing.n; i++) {
        write_row(survey, random, opts, writing.time_s[i]);
    }
    film(survey, random);
}

void survey_release(struct survey *survey)
{
    sm_trace_free(&survey->trace);
}
