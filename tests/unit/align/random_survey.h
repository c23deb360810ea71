/* Invented surveys whose truth is known: a drive with stops and reversals, the trace of it, and a log with
 * faults. */
#ifndef RANDOM_SURVEY_H
#define RANDOM_SURVEY_H

#include "sm_test.h"

#include "stopmark/align.h"

#define SURVEY_MOST_LEGS 256
#define SURVEY_MOST_ROWS 64

/* What kind of survey to invent. */
struct survey_opts {
    bool has_clock; /* times of day with offset and drift; else video times */
    bool has_distances;
    double typing_error_frac; /* share of distances that are wrong */
    double in_passing_frac;   /* share of observations made without stopping */
};
/* What is true about one row of its log. */
struct survey_truth {
    double time_s;     /* when the operator wrote */
    double distance_m; /* where the thing is */
    bool is_mistyped;
};
struct survey {
    double offset_s, drift_frac;
    double length_m;
    size_t n_legs;
    double leg_s[SURVEY_MOST_LEGS],
        leg_m[SURVEY_MOST_LEGS]; /* times and places between which it drives evenly */
    struct survey_truth truth[SURVEY_MOST_ROWS];
    struct sm_log_entry row[SURVEY_MOST_ROWS];
    struct sm_obslog log;
    struct sm_trace *trace;
};

void survey_invent(struct survey *survey, struct sm_test_random *random, const struct survey_opts *opts);
void survey_release(struct survey *survey);
double survey_place(const struct survey *survey, double time_s);
/* Add what a look at the video at these times shows. */
void survey_look(struct survey *survey, const double *time_s, size_t n);

#endif
