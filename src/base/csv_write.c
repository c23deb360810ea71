/* CSV fields out: RFC 4180 quoting, and nothing that a spreadsheet would run as a formula. */
#include "stopmark/base.h"

#include <string.h>

/* Spreadsheets run cells that begin with one of these (OWASP, CSV Injection); a number may begin with a sign
 * all the same. */
static bool is_formula(const char *field)
{
    double number;
    return field[0] && strchr("=+-@\t\r", field[0]) && !sm_parse_number(field, &number);
}

/* Quoted also where only a dialect with ; or tab would need it, and where a reader would trim blanks. */
static bool needs_quotes(const char *field)
{
    size_t n = strlen(field);
    return n && (strpbrk(field, "\",;\t\r\n") || field[0] == ' ' || field[n - 1] == ' ');
}

void sm_text_add_csv(struct sm_text *text, const char *field)
{
    bool is_quoted = needs_quotes(field);
    sm_text_add(text, is_quoted ? "\"" : "");
    sm_text_add(text, is_formula(field) ? "'" : "");
    while (*field) {
        size_t n = strcspn(field, "\"");
        sm_text_add_n(text, field, n);
        field += n;
        if (*field) {
            sm_text_add(text, "\"\"");
            field++;
        }
    }
    sm_text_add(text, is_quoted ? "\"" : "");
}
