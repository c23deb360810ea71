/*
 * CSV in: RFC 4180 and what spreadsheets make of it. The whole text is copied once; fields are then cut in
 * place, since a field without its quotes and separator is never longer than with them.
 */
#include "stopmark/base.h"

#include <assert.h>
#include <string.h>

enum { MAX_ROWS = 1000000, MAX_FIELDS = 1000, SAMPLE_LINES = 20 };

struct row {
    uint32_t line;
    size_t first; /* index of its first field */
    size_t n;
};
struct sm_csv {
    char separator;
    struct sm_text text;
    size_t n_rows, rows_capacity;
    struct row *rows;
    size_t n_fields, fields_capacity;
    const char **fields;
};

void sm_csv_free(struct sm_csv **csv)
{
    if (!csv || !*csv) {
        return;
    }
    sm_text_release(&(*csv)->text);
    sm_free((*csv)->rows);
    sm_free((*csv)->fields);
    sm_free(*csv);
    *csv = NULL;
}

size_t sm_csv_n_rows(const struct sm_csv *csv)
{
    return csv->n_rows;
}

struct sm_csv_row sm_csv_row(const struct sm_csv *csv, size_t row_idx)
{
    assert(row_idx < csv->n_rows);
    const struct row *row = &csv->rows[row_idx];
    return (struct sm_csv_row){row->line, row->n, csv->fields + row->first};
}

char sm_csv_separator(const struct sm_csv *csv)
{
    return csv->separator;
}

/* ---- text into UTF-8 ---- */

static uint32_t line_of(const char *data, size_t at)
{
    uint32_t line = 1;
    for (size_t i = 0; i < at; i++) {
        line += data[i] == '\n' || (data[i] == '\r' && data[i + 1] != '\n');
    }
    return line;
}

static enum sm_status take_text(struct sm_text *text, const char *data, size_t n, const char *source,
                                struct sm_error *err)
{
    sm_text_add_decoded(text, data, n);
    if (text->failed) {
        return sm_error_at(err, SM_E_NOMEM, source, 0, 0, "out of memory while reading a table");
    }
    const char *nul = text->length ? memchr(text->data, '\0', text->length) : NULL;
    if (nul) {
        sm_error_at(err, SM_E_FORMAT, source, line_of(text->data, (size_t)(nul - text->data)), 0,
                    "contains a zero byte, so it is not plain text");
        sm_error_remedy(err, "save the table as CSV in UTF-8");
        return SM_E_FORMAT;
    }
    return SM_OK;
}

/* ---- which separator ---- */

static const char candidates[] = ",;\t";
enum { N_CANDIDATES = 3 };

/* Occurrences of each candidate on one row, quoted parts apart. @return where the next row starts. */
static const char *count_row(const char *s, int count[N_CANDIDATES])
{
    bool is_quoted = false;
    memset(count, 0, N_CANDIDATES * sizeof *count);
    for (; *s && (is_quoted || (*s != '\n' && *s != '\r')); s++) {
        const char *found = strchr(candidates, *s);
        if (*s == '"') {
            is_quoted = !is_quoted;
        } else if (found && !is_quoted) {
            count[found - candidates]++;
        }
    }
    return s + (*s != '\0');
}

static const char *skip_breaks(const char *s)
{
    return s + strspn(s, "\r\n");
}

/* The separator stands in the first row; of several, the one whose number per row keeps best wins ("a; b,
 * c"). */
static char find_separator(const char *s)
{
    int first[N_CANDIDATES];
    int n_like[N_CANDIDATES] = {0};
    s = skip_breaks(count_row(skip_breaks(s), first));
    for (int i = 0; *s && i < SAMPLE_LINES; i++) {
        int count[N_CANDIDATES];
        s = skip_breaks(count_row(s, count));
        for (int c = 0; c < N_CANDIDATES; c++) {
            n_like[c] += count[c] == first[c];
        }
    }
    int best = 0;
    for (int c = 1; c < N_CANDIDATES; c++) {
        bool is_better = n_like[c] > n_like[best] || (n_like[c] == n_like[best] && first[c] > first[best]);
        if (first[c] && (!first[best] || is_better)) {
            best = c;
        }
    }
    return candidates[best];
}

/* Spreadsheets announce the separator in a first line "sep=;". */
static char *skip_announcement(char *s, char *separator)
{
    size_t n = strcspn(s, "\r\n");
    if (n == 5 && strncmp(s, "sep=", 4) == 0 && strchr(candidates, s[4])) {
        *separator = *separator ? *separator : s[4];
        return s + n;
    }
    return s;
}

/* ---- rows and fields ---- */

struct reader {
    struct sm_csv *csv;
    const char *source;
    struct sm_error *err;
    char *in;      /* next character */
    char *out;     /* where the current field goes, never ahead of in */
    uint32_t line; /* of in */
};

static bool is_blank(const struct reader *r, char c)
{
    return c == ' ' || (c == '\t' && r->csv->separator != '\t');
}

static bool ends_field(const struct reader *r, char c)
{
    return !c || c == r->csv->separator || c == '\n' || c == '\r';
}

/* One line break, whatever its form, becomes '\n' in the field. */
static bool take_break(struct reader *r)
{
    if (*r->in != '\n' && *r->in != '\r') {
        return false;
    }
    r->in += r->in[0] == '\r' && r->in[1] == '\n' ? 2 : 1;
    r->line++;
    return true;
}

static enum sm_status take_quoted(struct reader *r)
{
    uint32_t start = r->line;
    r->in++;
    for (;;) {
        if (!*r->in) {
            sm_error_at(r->err, SM_E_FORMAT, r->source, start, 0, "a quote opens here and never closes");
            sm_error_remedy(r->err, "close the quote, or double it where it is meant as a character");
            return SM_E_FORMAT;
        }
        if (take_break(r)) {
            *r->out++ = '\n';
        } else if (r->in[0] == '"' && r->in[1] == '"') {
            *r->out++ = '"';
            r->in += 2;
        } else if (r->in[0] == '"') {
            r->in++;
            return SM_OK;
        } else {
            *r->out++ = *r->in++;
        }
    }
}

static enum sm_status take_field(struct reader *r)
{
    char *start = r->out;
    while (is_blank(r, *r->in)) {
        r->in++;
    }
    if (*r->in == '"') {
        enum sm_status status = take_quoted(r);
        if (status != SM_OK) {
            return status;
        }
    }
    char *keep = r->out; /* blanks inside the quotes stay, those after them go */
    while (!ends_field(r, *r->in)) {
        *r->out++ = *r->in;
        if (!is_blank(r, *r->in++)) {
            keep = r->out;
        }
    }
    r->out = keep;
    if (sm_grow(&r->csv->fields, r->csv->n_fields, &r->csv->fields_capacity, sizeof *r->csv->fields) !=
        SM_OK) {
        return sm_error_at(r->err, SM_E_NOMEM, r->source, r->line, 0, "out of memory while reading a table");
    }
    r->csv->fields[r->csv->n_fields++] = start;
    return SM_OK;
}

/* The NUL of a field goes where its separator stood, once that was looked at. */
static enum sm_status take_row(struct reader *r, struct row *row)
{
    row->line = r->line;
    row->first = r->csv->n_fields;
    for (;;) {
        enum sm_status status = take_field(r);
        if (status != SM_OK) {
            return status;
        }
        char stop = *r->in;
        if (stop == r->csv->separator) {
            r->in++;
        } else {
            take_break(r);
        }
        *r->out++ = '\0';
        if (!stop || stop != r->csv->separator) {
            row->n = r->csv->n_fields - row->first;
            return SM_OK;
        }
        if (r->csv->n_fields - row->first >= MAX_FIELDS) {
            sm_error_at(r->err, SM_E_RANGE, r->source, row->line, 0, "more than %d fields in one row",
                        MAX_FIELDS);
            sm_error_remedy(r->err, "check that this is the right table");
            return SM_E_RANGE;
        }
    }
}

static bool is_empty_row(const struct sm_csv *csv, const struct row *row)
{
    for (size_t i = 0; i < row->n; i++) {
        if (csv->fields[row->first + i][0]) {
            return false;
        }
    }
    return true;
}

static enum sm_status add_row(struct reader *r, const struct row *row)
{
    struct sm_csv *csv = r->csv;
    if (is_empty_row(csv, row)) {
        csv->n_fields = row->first;
        return SM_OK;
    }
    if (csv->n_rows >= MAX_ROWS) {
        sm_error_at(r->err, SM_E_RANGE, r->source, row->line, 0, "more than %d rows", MAX_ROWS);
        sm_error_remedy(r->err, "split the table");
        return SM_E_RANGE;
    }
    if (sm_grow(&csv->rows, csv->n_rows, &csv->rows_capacity, sizeof *csv->rows) != SM_OK) {
        return sm_error_at(r->err, SM_E_NOMEM, r->source, row->line, 0,
                           "out of memory while reading a table");
    }
    csv->rows[csv->n_rows++] = *row;
    return SM_OK;
}

static enum sm_status take_rows(struct reader *r)
{
    enum sm_status status = SM_OK;
    while (status == SM_OK && *r->in) {
        struct row row = {0};
        status = take_row(r, &row);
        if (status == SM_OK) {
            status = add_row(r, &row);
        }
    }
    return status;
}

enum sm_status sm_csv_parse(struct sm_csv **out, const char *data, size_t n, char separator,
                            const char *source, struct sm_error *err)
{
    struct sm_csv *csv = sm_calloc(1, sizeof *csv);
    if (!csv) {
        return sm_error_at(err, SM_E_NOMEM, source, 0, 0, "out of memory while reading a table");
    }
    enum sm_status status = take_text(&csv->text, data, n, source, err);
    if (status == SM_OK) {
        char *start = skip_announcement(csv->text.data, &separator);
        csv->separator = separator ? separator : find_separator(start);
        struct reader reader = {csv, source, err, start, csv->text.data, 1};
        status = take_rows(&reader);
    }
    if (status != SM_OK) {
        sm_csv_free(&csv);
        return status;
    }
    *out = csv;
    return SM_OK;
}
