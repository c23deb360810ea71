/*
 * Rating summaries: grades of observations counted and summed. A rating speaks about the stretch that was surveyed, and
 * weighs neither size nor length beyond the count: the owner reads it beside the audit, it decides nothing here.
 */
#include "audit_internal.h"

#include <stdio.h>
#include <string.h>

/* One occurrence for so much of a continuous defect: 5 ft (from memory). */
#define OCCURRENCE_M (5 * SM_M_PER_FT)

const char *sm_audit_rated_name(enum sm_audit_rated kind)
{
    static const char *const names[SM_AUDIT_N_RATED] = {"structural", "operational", "overall"};
    return names[kind];
}

/* ---- what an observation counts ---- */

/* Hours of the clock from one position to the other; one position alone is one hour, 0 = none is logged. */
static int32_t hours_of(const struct sm_observation *o)
{
    if (o->clock_from_h < 1 || o->clock_from_h > 12) {
        return 0;
    }
    if (o->clock_to_h < 1 || o->clock_to_h > 12) {
        return 1;
    }
    int32_t hours = (o->clock_to_h - o->clock_from_h + 12) % 12;
    return hours ? hours : 12;
}

/* A limit on what is not logged fits nothing. */
static bool is_between(double value, double over, double up_to)
{
    bool has_limit = isfinite(over) || isfinite(up_to);
    return !has_limit || (isfinite(value) && value > over && value <= up_to);
}

static bool fits(const struct sm_audit_grade *g, const struct sm_observation *o)
{
    int32_t hours = hours_of(o);
    return sm_ascii_ieq(g->code, o->code) && (!*g->ch1 || sm_ascii_ieq(g->ch1, o->ch1)) &&
           (!*g->ch2 || sm_ascii_ieq(g->ch2, o->ch2)) && is_between(o->q1_value, g->over, g->up_to) &&
           is_between(hours ? hours : SM_NAN, g->hours_over, g->hours_up_to);
}

int32_t sm_audit_grade_of(const struct sm_audit_grades *grades, const struct sm_observation *o, enum sm_audit_rated kind)
{
    for (size_t i = 0; i < grades->n; i++) {
        if (grades->item[i].kind == kind && fits(&grades->item[i], o)) {
            return grades->item[i].grade;
        }
    }
    return 0;
}

int64_t sm_audit_occurrences(const struct sm_observation *o)
{
    double length_m = o->end_m - o->start_m;
    if (o->end_entry_idx < 0 || !isfinite(length_m)) {
        return 1;
    }
    int64_t n = (int64_t)floor(length_m / OCCURRENCE_M + 0.5);
    return n < 1 ? 1 : n;
}

/* ---- sums ---- */

void sm_audit_rating_add(struct sm_audit_rating *rating, int32_t grade, int64_t n)
{
    rating->count[grade - 1] += n;
    rating->n += n;
    rating->sum += grade * n;
}

double sm_audit_rating_index(const struct sm_audit_rating *rating)
{
    return rating->n ? (double)rating->sum / (double)rating->n : SM_NAN;
}

static char count_sign(int64_t n)
{
    enum { FIRST_LETTER = 10, A_LETTER = 5, LAST = 25 };
    if (n < FIRST_LETTER) {
        return (char)('0' + n);
    }
    int64_t letter = (n - FIRST_LETTER) / A_LETTER;
    return (char)('A' + (letter > LAST ? LAST : letter));
}

void sm_audit_rating_quick(char quick[5], const struct sm_audit_rating *rating)
{
    size_t at = 0;
    memcpy(quick, "0000", 5);
    for (int32_t grade = SM_AUDIT_N_GRADES; grade >= 1 && at < 4; grade--) {
        if (rating->count[grade - 1]) {
            quick[at++] = (char)('0' + grade);
            quick[at++] = count_sign(rating->count[grade - 1]);
        }
    }
}

static bool calls_for_something(const struct sm_observation *o)
{
    return o->treatment == SM_TREATMENT_LINE || o->treatment == SM_TREATMENT_PREPARE || o->treatment == SM_TREATMENT_REFER;
}

void sm_audit_rate(struct sm_audit_ratings *ratings, const struct sm_audit_grades *grades, const struct sm_alignment *alignment)
{
    *ratings = (struct sm_audit_ratings){0};
    for (size_t i = 0; i < alignment->n_observations; i++) {
        const struct sm_observation *o = &alignment->observation[i];
        bool is_graded = false;
        for (int k = SM_AUDIT_STRUCTURAL; k <= SM_AUDIT_OPERATIONAL; k++) {
            int32_t grade = sm_audit_grade_of(grades, o, (enum sm_audit_rated)k);
            if (grade) {
                sm_audit_rating_add(&ratings->of[k], grade, sm_audit_occurrences(o));
                sm_audit_rating_add(&ratings->of[SM_AUDIT_OVERALL], grade, sm_audit_occurrences(o));
                is_graded = true;
            }
        }
        ratings->n_not_graded += !is_graded && calls_for_something(o);
    }
}

enum sm_status sm_audit__rate_all(struct sm_audit *audit)
{
    const struct sm_audit_case *about = audit->about;
    size_t n = about->n_first + about->n_rechecks;
    if (!about->grades) {
        return SM_OK;
    }
    struct sm_audit_ratings *ratings = sm_arena_alloc(audit->arena, (n + 1) * sizeof *ratings);
    for (size_t i = 0; ratings && i < n; i++) {
        const struct sm_audit_survey *survey = i < about->n_first ? &about->first[i] : &about->recheck[i - about->n_first];
        sm_audit_rate(&ratings[i], about->grades, survey->alignment);
    }
    audit->ratings = ratings;
    return ratings ? SM_OK : SM_E_NOMEM;
}

/* ---- words ---- */

void sm_audit__add_rating(struct sm_text *text, const struct sm_audit_ratings *ratings)
{
    for (int k = 0; k < SM_AUDIT_N_RATED; k++) {
        const struct sm_audit_rating *rating = &ratings->of[k];
        char quick[5];
        sm_audit_rating_quick(quick, rating);
        sm_text_addf(text, "%s%s ", k ? "; " : "", sm_audit_rated_name((enum sm_audit_rated)k));
        if (rating->n == 0) {
            sm_text_add(text, "nothing graded");
            continue;
        }
        sm_text_addf(text, "%lld, index ", (long long)rating->sum);
        sm_text_add_fixed(text, sm_audit_rating_index(rating), 2);
        sm_text_addf(text, ", quick %s", quick);
    }
    if (ratings->n_not_graded) {
        sm_text_addf(text, "; %lld defects have no grade in the table", (long long)ratings->n_not_graded);
    }
}
