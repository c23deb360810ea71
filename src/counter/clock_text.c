/*
 * The time of day that many recorders write beside the counter. The search reads it anyway, to tell it from the counter;
 * here its readings are held against the times of their pictures. A clock shows whole seconds: each reading leaves one
 * second for where it stood at the video's start, and the clock is where most of them agree.
 */
#include "counter_internal.h"

#include <math.h>

#define DAY_S 86400.0
#define MOST_READINGS 256
/* Chance alone does not make this many readings agree to the second. */
#define LEAST_AGREE 4
#define LEAST_FRAC 0.6
/* Shorter, and a clock that stands still would do as well. */
#define LEAST_SPAN_S 3.0
/* A picture's time may be off by one picture. */
#define PICTURE_S 0.05

/* "9:30:15" or "09:30:15" in the token's text. @return false when it is no time of day. */
static bool parse_clock(double *clock_s, const char *text)
{
    int part[3] = {0}, n = 0, n_digits = 0;
    for (const char *s = text;; s++) {
        if (*s >= '0' && *s <= '9' && n < 3 && n_digits < 2) {
            part[n] = 10 * part[n] + (*s - '0');
            n_digits++;
        } else if ((*s == ':' || *s == '\0') && n_digits > 0 && n < 3) {
            n++;
            n_digits = 0;
            if (*s == '\0') {
                break;
            }
        } else {
            return false;
        }
    }
    *clock_s = part[0] * 3600.0 + part[1] * 60.0 + part[2];
    return n == 3 && part[0] < 24 && part[1] < 60 && part[2] < 60;
}

/* What the clock showed at the start, if it was a whole second when its picture came; near the first one's day. */
static size_t list_starts(double *start_s, double *span_s, const struct sm_counter__field *field)
{
    size_t n = 0;
    double first_s = 0, clock_s;
    *span_s = 0;
    for (size_t i = 0; i < field->n_tokens && n < MOST_READINGS; i++) {
        const struct sm_counter__token *token = &field->token[i];
        if (token->kind != SM_TOKEN_CLOCK || !parse_clock(&clock_s, token->text)) {
            continue;
        }
        double here_s = clock_s - token->time_s;
        start_s[n] = n ? start_s[0] + remainder(here_s - start_s[0], DAY_S) : here_s;
        first_s = n ? first_s : token->time_s;
        *span_s = token->time_s - first_s;
        n++;
    }
    return n;
}

/* Of all readings those that some one clock would have shown, given that its second had begun up to one second before. */
static struct sm_picture_clock agree(const double *start_s, size_t n)
{
    struct sm_picture_clock best = {.is_known = false};
    for (size_t i = 0; i < n; i++) {
        double low_s = start_s[i], high_s = start_s[i] + 1;
        size_t n_seen = 0;
        for (size_t k = 0; k < n; k++) {
            bool fits = start_s[k] <= start_s[i] + PICTURE_S && start_s[k] + 1 >= start_s[i] - PICTURE_S;
            n_seen += fits;
            high_s = fits ? fmin(high_s, start_s[k] + 1) : high_s;
        }
        if (n_seen > best.n_seen) {
            high_s = fmax(high_s, low_s);
            best = (struct sm_picture_clock){.at_zero_s = (low_s + high_s) / 2,
                                             .error_s = (high_s - low_s) / 2 + PICTURE_S,
                                             .n_seen = n_seen};
        }
    }
    return best;
}

struct sm_picture_clock sm_counter__clock_text(const struct sm_counter__fields *fields)
{
    struct sm_picture_clock best = {.is_known = false};
    double start_s[MOST_READINGS], span_s;
    for (size_t i = 0; i < fields->n; i++) {
        size_t n = list_starts(start_s, &span_s, &fields->item[i]);
        struct sm_picture_clock here = agree(start_s, n);
        here.is_known = here.n_seen >= LEAST_AGREE && (double)here.n_seen >= LEAST_FRAC * (double)n &&
                        span_s >= LEAST_SPAN_S;
        if (here.is_known && here.n_seen > best.n_seen) {
            here.at_zero_s = fmod(here.at_zero_s + DAY_S, DAY_S);
            best = here;
        }
    }
    return best;
}
