/* A table of grades: CSV rows that say which observations have which structural or operational grade. The owner's own. */
#include "audit_internal.h"

#include <string.h>

enum column { CODE, CH1, CH2, OVER, UP_TO, HOURS_OVER, HOURS_UP_TO, KIND, GRADE, SOURCE, N_COLUMNS };
static const char *const columns[N_COLUMNS] = {"code",       "ch1",         "ch2",  "over",  "up to",
                                               "hours over", "hours up to", "kind", "grade", "source"};

struct reading {
    struct sm_audit_grades *grades;
    const char *name;
    size_t at[N_COLUMNS]; /* field index, SIZE_MAX = not there */
    size_t capacity;
    struct sm_error *err;
};

static enum sm_status refuse(struct reading *r, uint32_t line, const char *what, const char *seen)
{
    sm_error_at(r->err, SM_E_FORMAT, r->name, line, 0, "%s%s%s%s", what, *seen ? " \"" : "", seen, *seen ? "\"" : "");
    sm_error_remedy(r->err, "columns: code, ch1, ch2, over, up to, hours over, hours up to, kind (structural or operational), "
                            "grade (1 to 5), source");
    return SM_E_FORMAT;
}

static enum sm_status read_heads(struct reading *r, const struct sm_csv *csv)
{
    for (size_t k = 0; k < N_COLUMNS; k++) {
        r->at[k] = SIZE_MAX;
    }
    if (sm_csv_n_rows(csv) < 2) {
        return refuse(r, 1, "the table of grades has no rows", "");
    }
    struct sm_csv_row head = sm_csv_row(csv, 0);
    for (size_t i = 0; i < head.n_fields; i++) {
        char name[64];
        char unit[16];
        sm_column_split(head.field[i], name, sizeof name, unit, sizeof unit);
        for (size_t k = 0; k < N_COLUMNS; k++) {
            if (strcmp(name, columns[k]) == 0) {
                r->at[k] = i;
            }
        }
    }
    static const enum column needed[] = {CODE, KIND, GRADE};
    for (size_t i = 0; i < sizeof needed / sizeof *needed; i++) {
        if (r->at[needed[i]] == SIZE_MAX) {
            return refuse(r, head.line, "the table of grades lacks the column", columns[needed[i]]);
        }
    }
    return SM_OK;
}

/* ---- a row ---- */

static const char *cell(const struct reading *r, struct sm_csv_row row, enum column column)
{
    size_t at = r->at[column];
    return at < row.n_fields ? row.field[at] : "";
}

static enum sm_status take_words(struct reading *r, struct sm_csv_row row, const char **out, enum column column)
{
    *out = sm_arena_strdup(r->grades->arena, cell(r, row, column));
    return *out ? SM_OK : sm_audit__no_memory(r->err);
}

/* An empty cell sets no limit. */
static enum sm_status take_limit(struct reading *r, struct sm_csv_row row, double *out, enum column column, double none)
{
    const char *text = cell(r, row, column);
    *out = none;
    return !*text || sm_parse_number(text, out) ? SM_OK : refuse(r, row.line, "this is no number:", text);
}

static enum sm_status take_kind(struct reading *r, struct sm_csv_row row, enum sm_audit_rated *kind)
{
    const char *text = cell(r, row, KIND);
    for (int k = SM_AUDIT_STRUCTURAL; k <= SM_AUDIT_OPERATIONAL; k++) {
        if (sm_ascii_ieq(text, sm_audit_rated_name((enum sm_audit_rated)k))) {
            *kind = (enum sm_audit_rated)k;
            return SM_OK;
        }
    }
    return refuse(r, row.line, "this is neither structural nor operational:", text);
}

static enum sm_status take_row(struct reading *r, struct sm_csv_row row)
{
    struct sm_audit_grade g = {0};
    int64_t grade = 0;
    enum sm_status status = take_words(r, row, &g.code, CODE);
    status = status == SM_OK ? take_words(r, row, &g.ch1, CH1) : status;
    status = status == SM_OK ? take_words(r, row, &g.ch2, CH2) : status;
    status = status == SM_OK ? take_words(r, row, &g.source, SOURCE) : status;
    status = status == SM_OK ? take_limit(r, row, &g.over, OVER, -SM_INFINITY) : status;
    status = status == SM_OK ? take_limit(r, row, &g.up_to, UP_TO, SM_INFINITY) : status;
    status = status == SM_OK ? take_limit(r, row, &g.hours_over, HOURS_OVER, -SM_INFINITY) : status;
    status = status == SM_OK ? take_limit(r, row, &g.hours_up_to, HOURS_UP_TO, SM_INFINITY) : status;
    status = status == SM_OK ? take_kind(r, row, &g.kind) : status;
    if (status == SM_OK && !*g.code) {
        return refuse(r, row.line, "a row of the table of grades has no code", "");
    }
    if (status == SM_OK && !sm_parse_int(cell(r, row, GRADE), 1, SM_AUDIT_N_GRADES, &grade)) {
        return refuse(r, row.line, "this is no grade from 1 to 5:", cell(r, row, GRADE));
    }
    if (status == SM_OK && sm_grow(&r->grades->item, r->grades->n, &r->capacity, sizeof *r->grades->item) != SM_OK) {
        return sm_audit__no_memory(r->err);
    }
    if (status == SM_OK) {
        g.grade = (int32_t)grade;
        r->grades->item[r->grades->n++] = g;
    }
    return status;
}

/* Every word that the table says about where its grades come from, once. */
static enum sm_status gather_sources(struct reading *r)
{
    struct sm_text text = {0};
    for (size_t i = 0; i < r->grades->n; i++) {
        const char *source = *r->grades->item[i].source ? r->grades->item[i].source : "source not said";
        bool is_new = true;
        for (size_t k = 0; is_new && k < i; k++) {
            const char *before = *r->grades->item[k].source ? r->grades->item[k].source : "source not said";
            is_new = strcmp(before, source) != 0;
        }
        if (is_new) {
            sm_text_addf(&text, "%s%s", text.length ? "; " : "", source);
        }
    }
    r->grades->sources = text.failed ? NULL : sm_arena_strdup(r->grades->arena, sm_text_str(&text));
    sm_text_release(&text);
    return r->grades->sources ? SM_OK : sm_audit__no_memory(r->err);
}

static enum sm_status read_all(struct reading *r, const char *data, size_t n)
{
    struct sm_csv *csv = NULL;
    enum sm_status status = sm_csv_parse(&csv, data, n, 0, r->name, r->err);
    if (status == SM_OK) {
        status = read_heads(r, csv);
    }
    for (size_t i = 1; status == SM_OK && i < sm_csv_n_rows(csv); i++) {
        status = take_row(r, sm_csv_row(csv, i));
    }
    sm_csv_free(&csv);
    return status == SM_OK ? gather_sources(r) : status;
}

enum sm_status sm_audit_grades_read(struct sm_audit_grades **out, const char *data, size_t n, const char *name,
                                    struct sm_error *err)
{
    struct sm_audit_grades *grades = sm_calloc(1, sizeof *grades);
    if (!grades || sm_arena_new(&grades->arena) != SM_OK) {
        sm_free(grades);
        return sm_audit__no_memory(err);
    }
    struct reading r = {.grades = grades, .name = name, .err = err};
    grades->name = sm_arena_strdup(grades->arena, name);
    enum sm_status status = grades->name ? read_all(&r, data, n) : sm_audit__no_memory(err);
    if (status != SM_OK) {
        sm_audit_grades_free(&grades);
        return status;
    }
    *out = grades;
    return SM_OK;
}

void sm_audit_grades_free(struct sm_audit_grades **grades)
{
    if (grades && *grades) {
        sm_arena_free(&(*grades)->arena);
        sm_free((*grades)->item);
        sm_free(*grades);
        *grades = NULL;
    }
}
