/*
 * Continuous defects: rows that start, change and end one are brought together by number and code, and what
 * is left over by number alone. Every row that ends up without a partner stays an observation of its own and
 * says so.
 */
#include "align_internal.h"

#include <stdlib.h>
#include <string.h>

/* A row that belongs to some continuous defect, sortable without its log. */
struct row {
    int32_t id;
    const char *code; /* "" when only the number counts */
    size_t entry_idx;
};

static int compare_rows(const void *a, const void *b)
{
    const struct row *x = a;
    const struct row *y = b;
    if (x->id != y->id) {
        return x->id < y->id ? -1 : 1;
    }
    int by_code = strcmp(x->code, y->code);
    return by_code ? by_code : (x->entry_idx > y->entry_idx) - (x->entry_idx < y->entry_idx);
}

static bool is_alone(const struct sm_align__work *work, size_t idx)
{
    return work->owner[idx] == (int32_t)idx && work->end_idx[idx] < 0;
}

static size_t collect_rows(struct row *row, const struct sm_align__work *work, bool has_code)
{
    size_t n = 0;
    for (size_t i = 0; i < work->log->n_entries; i++) {
        const struct sm_log_entry *entry = &work->log->entry[i];
        if (entry->continuous != SM_CONTINUOUS_NONE && is_alone(work, i)) {
            row[n++] = (struct row){entry->continuous_id, has_code ? entry->code : "", i};
        }
    }
    qsort(row, n, sizeof *row, compare_rows);
    return n;
}

/* One row in file order among its like. open: the start that waits for its end, -1 = none. */
static void take_row(struct sm_align__work *work, int32_t *open, size_t idx)
{
    switch (work->log->entry[idx].continuous) {
    case SM_CONTINUOUS_START:
        *open = (int32_t)idx; /* one that still waited stays without an end */
        break;
    case SM_CONTINUOUS_CHANGE:
        if (*open >= 0) {
            work->owner[idx] = *open;
        }
        break;
    case SM_CONTINUOUS_END:
        if (*open >= 0) {
            work->owner[idx] = *open;
            work->end_idx[*open] = (int32_t)idx;
            *open = -1;
        }
        break;
    case SM_CONTINUOUS_NONE:
        break;
    }
}

static void pair_rows(struct sm_align__work *work, const struct row *row, size_t n)
{
    int32_t open = -1;
    for (size_t i = 0; i < n; i++) {
        bool is_same = i > 0 && row[i].id == row[i - 1].id && strcmp(row[i].code, row[i - 1].code) == 0;
        if (!is_same) {
            open = -1;
        }
        take_row(work, &open, row[i].entry_idx);
    }
}

static enum sm_status report_row(struct sm_align__work *work, size_t idx, struct sm_error *err)
{
    const struct sm_log_entry *entry = &work->log->entry[idx];
    const char *owner_code = work->log->entry[work->owner[idx]].code;
    bool is_alone_here = work->owner[idx] == (int32_t)idx;
    struct sm_text text = {0};
    if (is_alone_here) {
        sm_text_addf(
            &text,
            "%s of continuous defect %d (%s) without a start: kept as a single place, its extent is unknown",
            entry->continuous == SM_CONTINUOUS_END ? "end" : "change", (int)entry->continuous_id,
            entry->code);
    } else {
        sm_text_addf(&text, "continuous defect %d starts as %s and goes on as %s: taken as one",
                     (int)entry->continuous_id, owner_code, entry->code);
    }
    work->place[is_alone_here ? idx : (size_t)work->owner[idx]].flags |= SM_FLAG_ROW_ODD;
    return sm_align__report(work, SM_FLAG_ROW_ODD, SM_SEVERITY_WARNING, (int32_t)idx, &text, err);
}

static enum sm_status report_odd_rows(struct sm_align__work *work, struct sm_error *err)
{
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < work->log->n_entries; i++) {
        const struct sm_log_entry *entry = &work->log->entry[i];
        bool is_part = entry->continuous == SM_CONTINUOUS_CHANGE || entry->continuous == SM_CONTINUOUS_END;
        bool is_odd =
            work->owner[i] == (int32_t)i || strcmp(work->log->entry[work->owner[i]].code, entry->code) != 0;
        if (is_part && is_odd) {
            status = report_row(work, i, err);
        }
    }
    return status;
}

enum sm_status sm_align__pair_extents(struct sm_align__work *work, struct sm_error *err)
{
    size_t n = work->log->n_entries;
    struct row *row = sm_calloc(n + 1, sizeof *row);
    if (!row) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for %zu log entries", n);
    }
    for (size_t i = 0; i < n; i++) {
        work->owner[i] = (int32_t)i;
        work->end_idx[i] = -1;
    }
    pair_rows(work, row, collect_rows(row, work, true));
    pair_rows(work, row, collect_rows(row, work, false));
    sm_free(row);
    return report_odd_rows(work, err);
}
