/* stopmark codes: what an observation code means, what is done about it, and why. */
#include <string.h>

#include "cli.h"
#include "stopmark/codes.h"
#include "stopmark/obslog.h"

struct request {
    const char *table; /* NULL = both built-in ones */
    struct sm_code_question question;
    struct sm_obslog_code parts;
};
struct table {
    const char *name;
    struct sm_codes *codes;
    bool is_shown;
};

/* ---- what is asked ---- */

static bool take_table(void *user, const char *value, struct sm_error *err)
{
    (void)err;
    ((struct request *)user)->table = value;
    return true;
}

static bool take_number(double *to, const char *value, enum sm_quantity quantity, const char *unit,
                        struct sm_error *err)
{
    return sm_parse_quantity(value, quantity, unit, to, err) == SM_OK;
}

static bool take_q1(void *user, const char *value, struct sm_error *err)
{
    return take_number(&((struct request *)user)->question.q1_value, value, SM_PLAIN, "", err);
}

static bool take_q2(void *user, const char *value, struct sm_error *err)
{
    return take_number(&((struct request *)user)->question.q2_value, value, SM_PLAIN, "", err);
}

static bool take_diameter(void *user, const char *value, struct sm_error *err)
{
    double diameter_m = SM_NAN;
    bool is_good = take_number(&diameter_m, value, SM_LENGTH, "mm", err);
    ((struct request *)user)->question.diameter_mm = diameter_m * 1000;
    return is_good;
}

static const struct sm_cli_option options[] = {
    {"table", take_table, true},
    {"q1", take_q1, true},
    {"q2", take_q2, true},
    {"diameter", take_diameter, true},
    {0},
};

/* ---- the tables ---- */

static enum sm_status open_tables(struct table *table, size_t *n, const char *name, struct sm_error *err)
{
    bool is_en = !name || sm_ascii_ieq(name, "EN");
    bool is_na = !name || sm_ascii_ieq(name, "NA");
    enum sm_status status = SM_OK;
    if (is_en) {
        table[(*n)++].name = "EN 13508-2";
        status = sm_codes_builtin(&table[*n - 1].codes, SM_CODES_EN, err);
    }
    if (status == SM_OK && is_na) {
        table[(*n)++].name = "North American condition codes";
        status = sm_codes_builtin(&table[*n - 1].codes, SM_CODES_NA, err);
    }
    if (!is_en && !is_na) {
        table[(*n)++].name = name;
        status = sm_codes_read(&table[*n - 1].codes, name, err);
    }
    return status;
}

static bool knows(const struct sm_codes *codes, const struct sm_code_question *question)
{
    struct sm_code_info info;
    return sm_codes_find(codes, question->code, question->ch1, &info);
}

/* The tables that know the code; all where none does, so that it is said what happens then. */
static void choose(struct table *table, size_t n, const struct sm_code_question *question)
{
    bool is_any = false;
    for (size_t i = 0; i < n && *question->code; i++) {
        table[i].is_shown = knows(table[i].codes, question);
        is_any |= table[i].is_shown;
    }
    for (size_t i = 0; i < n && !is_any; i++) {
        table[i].is_shown = true;
    }
}

/* ---- answers ---- */

static void add_text(struct sm_text *out, const struct table *table, size_t n,
                     const struct sm_code_question *question)
{
    for (size_t i = 0; i < n; i++) {
        if (!table[i].is_shown) {
            continue;
        }
        sm_text_addf(out, "%s%s\n", out->length ? "\n" : "", table[i].name);
        if (*question->code) {
            sm_codes_explain(out, table[i].codes, question);
        } else {
            sm_codes_list(out, table[i].codes);
        }
    }
}

static void add_json_code(struct sm_json *json, const struct table *table,
                          const struct sm_code_question *question)
{
    sm_json_open(json, NULL, '{');
    sm_json_string(json, "table", table->name);
    sm_codes_explain_json(json, table->codes, question);
    sm_json_close(json, '}');
}

static void add_json(struct sm_text *out, const struct table *table, size_t n,
                     const struct sm_code_question *question)
{
    struct sm_json json = {.out = out};
    struct sm_code_info info;
    sm_json_open(&json, NULL, '{');
    sm_json_string(&json, "schema", "stopmark.codes/1");
    sm_json_open(&json, "codes", '[');
    for (size_t i = 0; i < n; i++) {
        if (table[i].is_shown && *question->code) {
            add_json_code(&json, &table[i], question);
        }
        for (size_t k = 0; !*question->code && sm_codes_row(table[i].codes, k, &info); k++) {
            struct sm_code_question each = *question;
            each.code = info.code;
            add_json_code(&json, &table[i], &each);
        }
    }
    sm_json_close(&json, ']');
    sm_json_close(&json, '}');
}

static int answer(const struct request *request, const struct sm_cli_common *common)
{
    struct table table[2] = {0};
    size_t n = 0;
    struct sm_error err = {0};
    enum sm_status status = open_tables(table, &n, request->table, &err);
    int result = SM_CLI_FAILED;
    if (status == SM_OK) {
        struct sm_text text = {0};
        choose(table, n, &request->question);
        (common->is_json ? add_json : add_text)(&text, table, n, &request->question);
        result = sm_cli_print(&text);
        sm_text_release(&text);
    } else {
        result = sm_cli_fail(&err);
    }
    for (size_t i = 0; i < n; i++) {
        sm_codes_free(&table[i].codes);
    }
    return result;
}

/* CODE, CODE CH1 or CODE CH1 CH2, or all run together. */
static bool take_operands(struct request *request, int n, char **operand)
{
    struct sm_obslog_code *parts = &request->parts;
    bool is_good = n <= 3 && (n == 0 || sm_obslog_split_code(parts, operand[0]));
    if (is_good && n > 1) {
        is_good = sm_strcopy(parts->ch1, sizeof parts->ch1, operand[1]) &&
                  sm_strcopy(parts->ch2, sizeof parts->ch2, n > 2 ? operand[2] : "");
    }
    request->question.code = parts->code;
    request->question.ch1 = parts->ch1;
    request->question.ch2 = parts->ch2;
    return is_good;
}

static int run(int argc, char **argv)
{
    struct request request = {.question = {.q1_value = SM_NAN, .q2_value = SM_NAN, .diameter_mm = SM_NAN}};
    struct sm_cli_common common = {0};
    int n_operands = 0;
    enum sm_cli_parsed parsed =
        sm_cli_parse(&sm_cli_codes, options, &request, &common, argc, argv, &n_operands);
    if (parsed != SM_CLI_GO_ON) {
        return parsed == SM_CLI_HELP_SHOWN ? SM_CLI_DONE : SM_CLI_USAGE;
    }
    if (!take_operands(&request, n_operands, argv)) {
        return sm_cli_misuse(&sm_cli_codes, "a code and at most two characterisations can be asked about");
    }
    return answer(&request, &common);
}

const struct sm_cli_command sm_cli_codes = {
    .name = "codes",
    .run = run,
    .line = "Explain observation codes, and what is done about them and why",
    .usage = "codes [CODE [CH1 [CH2]]] [--table EN|NA|FILE] [--q1 N] [--q2 N] [--diameter D]",
    .help =
        "CODE may have its characterisations behind it, as in BABBA. Without a code all are listed.\n\n"
        "  --table T           EN (EN 13508-2), NA (North American condition codes) or a code table file;\n"
        "                      else both built-in tables\n"
        "  --q1 N, --q2 N      quantifications, in the code's units: only the rules for them are shown\n"
        "  --diameter D        of the pipe, in mm where no unit is given\n",
};
