/*
 * Rows that speak about one defect. A union of pairs: each pair is looked at on its own, in a window of rows,
 * because a log names what belongs together near to each other.
 */
#include "codes_internal.h"

#include <string.h>

enum { WINDOW_ROWS = 40 };
#define SAME_TIME_S 2.0

/* ---- do two rows belong together?
 * -------------------------------------------------------------------------- */

bool sm_codes__is_in(const char *const *patterns, const char *code)
{
    for (; *patterns; patterns++) {
        if (sm_codes__matches(*patterns, code)) {
            return true;
        }
    }
    return false;
}

/* The same distance as far as it is written, or the same moment where one has no distance. */
static bool is_same_place(const struct sm_log_entry *a, const struct sm_log_entry *b)
{
    double apart_m = fabs(a->distance_m - b->distance_m);
    if (!isnan(apart_m)) {
        double digit_m = fmax(a->distance_digit_m, b->distance_digit_m);
        return apart_m <= (isnan(digit_m) ? 0.005 : digit_m / 2) + 1e-9;
    }
    return fabs(a->time_s - b->time_s) <= SAME_TIME_S;
}

static bool covers_hour(const struct sm_log_entry *entry, int32_t hour)
{
    int32_t to_h = entry->clock_to_h ? entry->clock_to_h : entry->clock_from_h;
    bool is_all_round = entry->clock_to_h && entry->clock_to_h == entry->clock_from_h;
    return is_all_round || (hour - entry->clock_from_h + 12) % 12 <= (to_h - entry->clock_from_h + 12) % 12;
}

/* Clock positions meet, or one is not said. */
static bool do_clocks_meet(const struct sm_log_entry *a, const struct sm_log_entry *b)
{
    if (a->clock_from_h == 0 || b->clock_from_h == 0) {
        return true;
    }
    for (int32_t hour = 1; hour <= 12; hour++) {
        if (covers_hour(a, hour) && covers_hour(b, hour)) {
            return true;
        }
    }
    return false;
}

/* The end and change rows of a continuous defect are the defect's own, not signs of another. */
static bool may_join(const struct sm_log_entry *entry)
{
    return entry->continuous == SM_CONTINUOUS_NONE || entry->continuous == SM_CONTINUOUS_START;
}

static bool belong_together(const struct sm_codes *codes, const struct sm_log_entry *a,
                            const struct sm_log_entry *b)
{
    if (a->group && b->group) {
        return a->group == b->group;
    }
    bool is_sign_a = sm_codes__is_in(codes->builtin->sign, a->code), is_sign_b = sm_codes__is_in(codes->builtin->sign, b->code);
    bool is_defect_a = is_sign_a || sm_codes__is_in(codes->builtin->carrier, a->code);
    bool is_defect_b = is_sign_b || sm_codes__is_in(codes->builtin->carrier, b->code);
    return is_defect_a && is_defect_b && (is_sign_a || is_sign_b) && may_join(a) && may_join(b) &&
           is_same_place(a, b) && do_clocks_meet(a, b);
}

/* ---- numbers
 * ----------------------------------------------------------------------------------------------- */

static size_t root_of(size_t *parent, size_t k)
{
    while (parent[k] != k) {
        parent[k] = parent[parent[k]];
        k = parent[k];
    }
    return k;
}

/* The smaller index becomes the root, so that numbers follow the file. */
static void join(size_t *parent, size_t a, size_t b)
{
    size_t root_a = root_of(parent, a), root_b = root_of(parent, b);
    if (root_a < root_b) {
        parent[root_b] = root_a;
    } else {
        parent[root_a] = root_b;
    }
}

static void number_groups(int32_t *group, size_t *parent, size_t n)
{
    int32_t next = 1;
    memset(group, 0, n * sizeof *group);
    for (size_t k = 0; k < n; k++) {
        size_t root = root_of(parent, k);
        if (root != k) {
            group[root] = group[root] ? group[root] : next++;
            group[k] = group[root];
        }
    }
}

enum sm_status sm_codes_group(int32_t *group, const struct sm_codes *codes, const struct sm_log_entry *entry,
                              size_t n, struct sm_error *err)
{
    if (n == 0) {
        return SM_OK;
    }
    size_t *parent = sm_calloc(n, sizeof *parent);
    if (!parent) {
        return sm_error_set(err, SM_E_NOMEM, "out of memory");
    }
    for (size_t k = 0; k < n; k++) {
        parent[k] = k;
    }
    for (size_t a = 0; a < n; a++) {
        for (size_t b = a + 1; b < n && b <= a + WINDOW_ROWS; b++) {
            if (belong_together(codes, &entry[a], &entry[b])) {
                join(parent, a, b);
            }
        }
    }
    number_groups(group, parent, n);
    sm_free(parent);
    return SM_OK;
}

/* ---- one decision for all
 * ---------------------------------------------------------------------------------- */

static int strictness(enum sm_treatment treatment)
{
    switch (treatment) {
    case SM_TREATMENT_NONE:
    case SM_TREATMENT_CLEAR:
        break;
    case SM_TREATMENT_LINE:
        return 1;
    case SM_TREATMENT_PREPARE:
        return 2;
    case SM_TREATMENT_REFER:
        return 3;
    }
    return 0;
}

/* Adds the items of a ';' list that are not in it yet. */
static void add_items(struct sm_text *items, const char *more)
{
    while (*more) {
        size_t n = strcspn(more, ";");
        const char *s = sm_text_str(items);
        bool is_there = false;
        while (*s && !is_there) {
            size_t len = strcspn(s, ";");
            is_there = len == n && memcmp(s, more, n) == 0;
            s += len + (s[len] == ';' ? 1 : 0);
        }
        if (!is_there && n) {
            sm_text_add(items, items->length ? ";" : "");
            sm_text_add_n(items, more, n);
        }
        more += n + (more[n] == ';' ? 1 : 0);
    }
}

static enum sm_status raise(struct sm_decision *decision, const struct sm_decision *strictest,
                            const char *code, const char *prepare, struct sm_arena *arena,
                            struct sm_error *err)
{
    struct sm_decision made = {strictest->treatment, decision->reason, prepare};
    if (decision->treatment != strictest->treatment) {
        made.reason = sm_arena_printf(arena, "%s; one defect with %s here: %s", decision->reason, code,
                                      strictest->reason);
    }
    made.prepare = sm_arena_strdup(arena, prepare);
    if (!made.reason || !made.prepare) {
        return sm_error_set(err, SM_E_NOMEM, "out of memory");
    }
    *decision = made;
    return SM_OK;
}

enum sm_status sm_codes_combine(struct sm_decision *decision, const char *const *code, size_t n,
                                struct sm_arena *arena, struct sm_error *err)
{
    struct sm_text prepare = {0};
    size_t strictest = 0;
    for (size_t k = 0; k < n; k++) {
        strictest =
            strictness(decision[k].treatment) > strictness(decision[strictest].treatment) ? k : strictest;
    }
    for (size_t k = 0; k < n && n > 0 && decision[strictest].treatment != SM_TREATMENT_REFER; k++) {
        add_items(&prepare, strictness(decision[k].treatment) ? decision[k].prepare : "");
    }
    enum sm_status status = prepare.failed ? sm_error_set(err, SM_E_NOMEM, "out of memory") : SM_OK;
    struct sm_decision settled = n > 0 ? decision[strictest] : (struct sm_decision){0};
    for (size_t k = 0; k < n && status == SM_OK; k++) {
        if (strictness(decision[k].treatment)) {
            status = raise(&decision[k], &settled, code[strictest], sm_text_str(&prepare), arena, err);
        }
    }
    sm_text_release(&prepare);
    return status;
}
