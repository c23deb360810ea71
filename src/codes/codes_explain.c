/*
 * A code explained: what it means, which of the table's rules can decide about it and why. Rules that what is
 * known already rules out are left out, and so is all that stands behind one which is sure to decide.
 */
#include "codes_internal.h"

#include <string.h>

enum { LEFT_COLUMNS = 24, LINE_COLUMNS = 100 };

void sm_codes_clock_rule(const struct sm_codes *codes, const char **rule, const char **source)
{
    *rule = codes->builtin->clock_rule;
    *source = codes->builtin->clock_source;
}

const char *const *sm_codes_joins(const struct sm_codes *codes, const char *code)
{
    const struct sm_code_table *table = codes->builtin;
    if (sm_codes__is_in(table->sign, code)) {
        return table->carrier;
    }
    return sm_codes__is_in(table->carrier, code) ? table->sign : NULL;
}

/* ---- which rules can decide ---- */

/* A characterisation that is not said may be any. */
static bool may_be(const char *alternatives, const char *letter, bool *is_certain)
{
    *is_certain &= *letter || !*alternatives;
    return !*letter || sm_codes__is_one_of(alternatives, letter);
}

/* NAN = not said. */
static double value_of(enum sm_code_measure measure, const struct sm_code_question *question)
{
    struct sm_log_entry entry = {.clock_from_h = question->clock_from_h,
                                 .clock_to_h = question->clock_to_h,
                                 .q1_value = question->q1_value,
                                 .q2_value = question->q2_value};
    return sm_codes__measured(measure, &entry, question->diameter_mm);
}

static bool may_measure(const struct sm_code_rule *rule, const struct sm_code_question *question,
                        bool *is_certain)
{
    if (rule->measure == SM_MEASURE_NONE) {
        return true;
    }
    double value = value_of(rule->measure, question);
    *is_certain &= !isnan(value);
    return isnan(value) ||
           (value >= rule->least && value < rule->below); /* false for a rule about none logged */
}

static bool may_have_diameter(const struct sm_code_rule *rule, double diameter_mm, bool *is_certain)
{
    bool has_limits = rule->over_mm > 0 || isfinite(rule->up_to_mm);
    *is_certain &= !has_limits || !isnan(diameter_mm);
    return isnan(diameter_mm) || (diameter_mm > rule->over_mm && diameter_mm <= rule->up_to_mm);
}

bool sm_codes_rule_may_fit(bool *is_certain, const struct sm_code_rule *rule,
                           const struct sm_code_question *question)
{
    *is_certain = true;
    return sm_codes_rule_fits(rule, question->code) && may_be(rule->ch1, question->ch1, is_certain) &&
           may_be(rule->ch2, question->ch2, is_certain) && may_measure(rule, question, is_certain) &&
           may_have_diameter(rule, question->diameter_mm, is_certain);
}

/* The next rule from *idx on that can decide; *idx moves behind it, behind all when it is sure to. */
static bool next_rule(struct sm_code_rule *rule, size_t *idx, const struct sm_codes *codes,
                      const struct sm_code_question *question)
{
    bool is_certain;
    while (*idx != SIZE_MAX && sm_codes_rule(codes, (*idx)++, rule)) {
        if (sm_codes_rule_may_fit(&is_certain, rule, question)) {
            *idx = is_certain ? SIZE_MAX : *idx;
            return true;
        }
    }
    return false;
}

/* ---- text ---- */

/* Words from one column on, broken between words. */
static void add_wrapped(struct sm_text *out, const char *words)
{
    size_t column = LEFT_COLUMNS;
    while (*words) {
        size_t n = strcspn(words, " ");
        if (column > LEFT_COLUMNS && column + n + 1 > LINE_COLUMNS) {
            sm_text_addf(out, "\n%*s", LEFT_COLUMNS, "");
            column = LEFT_COLUMNS;
        } else if (column > LEFT_COLUMNS) {
            sm_text_add(out, " ");
            column++;
        }
        sm_text_add_n(out, words, n);
        column += n;
        words += n + strspn(words + n, " ");
    }
    sm_text_add(out, "\n");
}

static void add_line(struct sm_text *out, const char *left, const char *words)
{
    if (*words) {
        sm_text_addf(out, "  %-*s", LEFT_COLUMNS - 2, left);
        add_wrapped(out, words);
    }
}

static void add_letters(struct sm_text *out, const struct sm_codes *codes,
                        const struct sm_code_question *question, int which)
{
    const char *asked = which == 1 ? question->ch1 : question->ch2;
    const char *left = which == 1 ? "characterisation 1" : "characterisation 2";
    for (size_t k = 0; k < codes->builtin->n_letters; k++) {
        const struct sm_code_letter *letter = &codes->builtin->letter[k];
        bool is_asked = !*asked || sm_ascii_ieq(asked, letter->letter);
        if (letter->which == which && is_asked && sm_ascii_ieq(letter->code, question->code)) {
            struct sm_text words = {0};
            sm_text_addf(&words, "%s  %s", letter->letter, letter->meaning);
            out->failed |= words.failed;
            add_line(out, left, sm_text_str(&words));
            sm_text_release(&words);
            left = "";
        }
    }
}

static void add_facts(struct sm_text *out, const struct sm_codes *codes,
                      const struct sm_code_question *question)
{
    struct sm_code_info info;
    const char *clock, *source;
    struct sm_text where = {0};
    if (!sm_codes_find(codes, question->code, question->ch1, &info)) {
        return;
    }
    add_letters(out, codes, question, 1);
    add_letters(out, codes, question, 2);
    add_line(out, "quantification 1", info.q1_unit);
    for (size_t k = 0; k < codes->builtin->n_units && !*question->ch1; k++) {
        const struct sm_code_unit *unit = &codes->builtin->unit[k];
        if (sm_ascii_ieq(unit->code, question->code)) {
            struct sm_text words = {0};
            sm_text_addf(&words, "%s with characterisation 1 %s", *unit->q1_unit ? unit->q1_unit : "none", unit->ch1);
            out->failed |= words.failed;
            add_line(out, "", sm_text_str(&words));
            sm_text_release(&words);
        }
    }
    add_line(out, "quantification 2", info.q2_unit);
    sm_codes_clock_rule(codes, &clock, &source);
    add_line(out, "clock", clock);
    sm_text_addf(&where, "(%s)", source);
    add_line(out, "", sm_text_str(&where));
    out->failed |= where.failed;
    sm_text_release(&where);
    add_line(out, "source", info.source);
}

static void add_limit(struct sm_text *out, const char *words, double value)
{
    if (isfinite(value)) {
        sm_text_add(out, words);
        sm_text_add_number(out, value, 0, 2);
    }
}

/* "ch1 B, q1 from 150, pipe over DN 250" */
static void add_conditions(struct sm_text *out, const struct sm_code_rule *rule)
{
    struct sm_text text = {0};
    sm_text_addf(&text, "%s%s%s%s", *rule->ch1 ? ", ch1 " : "", rule->ch1, *rule->ch2 ? ", ch2 " : "",
                 rule->ch2);
    if (rule->measure != SM_MEASURE_NONE) {
        sm_text_addf(&text, ", %s", sm_code_measure_name(rule->measure));
        sm_text_add(&text, isnan(rule->least) ? " not logged" : "");
        add_limit(&text, " from ", rule->least);
        add_limit(&text, " below ", rule->below);
        sm_text_add(&text, rule->measure == SM_MEASURE_Q1_DN_PCT ? " %"
                           : rule->measure == SM_MEASURE_CLOCK_H ? " h"
                                                                 : "");
    }
    add_limit(&text, ", pipe over DN ", rule->over_mm > 0 ? rule->over_mm : SM_NAN);
    add_limit(&text, ", pipe up to DN ", rule->up_to_mm);
    out->failed |= text.failed;
    sm_text_add(out, text.length ? sm_text_str(&text) + 2 : "in every other case");
    sm_text_release(&text);
}

/* {v} and {limit} as people read them. */
static void add_reason(struct sm_text *out, const struct sm_code_rule *rule,
                       const struct sm_code_question *question)
{
    double value = value_of(rule->measure == SM_MEASURE_NONE ? SM_MEASURE_Q1 : rule->measure, question);
    for (const char *s = rule->reason; *s;) {
        if (strncmp(s, "{v}", 3) == 0) {
            sm_text_add(out, isnan(value) ? "(value)" : "");
            sm_text_add_number(out, value, 0, 2);
            s += 3;
        } else if (strncmp(s, "{limit}", 7) == 0) {
            sm_text_add_number(out, isfinite(rule->least) ? rule->least : rule->below, 0, 2);
            s += 7;
        } else {
            sm_text_add_n(out, s++, 1);
        }
    }
}

static void add_rule(struct sm_text *out, const struct sm_code_rule *rule,
                     const struct sm_code_question *question)
{
    struct sm_text conditions = {0}, reason = {0}, work = {0};
    add_conditions(&conditions, rule);
    add_reason(&reason, rule, question);
    for (const char *s = rule->prepare; *s; s++) {
        sm_text_add_n(&work, s, 1);
        sm_text_add(&work, *s == ';' ? " " : "");
    }
    add_line(out, sm_treatment_name(rule->treatment), sm_text_str(&conditions));
    add_line(out, "  why", sm_text_str(&reason));
    add_line(out, "  work first", sm_text_str(&work));
    add_line(out, "  source", rule->source);
    out->failed |= conditions.failed || reason.failed || work.failed;
    sm_text_release(&conditions);
    sm_text_release(&reason);
    sm_text_release(&work);
}

static void add_joins(struct sm_text *out, const struct sm_codes *codes, const char *code)
{
    const char *const *joins = sm_codes_joins(codes, code);
    struct sm_text words = {0};
    for (; joins && *joins; joins++) {
        sm_text_addf(&words, "%s%s", words.length ? ", " : "", *joins);
    }
    if (words.length) {
        sm_text_add(&words, ": decided together, the strictest counts");
        add_line(out, "one defect with", sm_text_str(&words));
    }
    out->failed |= words.failed;
    sm_text_release(&words);
}

void sm_codes_explain(struct sm_text *out, const struct sm_codes *codes,
                      const struct sm_code_question *question)
{
    struct sm_code_info info;
    struct sm_code_rule rule;
    size_t idx = 0, n = 0;
    sm_text_addf(out, "%s%s%s%s%s  ", question->code, *question->ch1 ? " " : "", question->ch1,
                 *question->ch2 ? " " : "", question->ch2);
    if (!sm_codes_find(codes, question->code, question->ch1, &info)) {
        sm_text_add(out, "is not in the table: referred to an engineer and flagged unknown_code\n");
        return;
    }
    sm_codes_describe(codes, question->code, question->ch1, question->ch2, out);
    sm_text_add(out, "\n");
    add_facts(out, codes, question);
    add_joins(out, codes, question->code);
    sm_text_add(out, "what is done about it: the first of these that fits\n");
    while (next_rule(&rule, &idx, codes, question)) {
        add_rule(out, &rule, question);
        n++;
    }
    if (n == 0) {
        add_line(out, "refer", "the table has no treatment for it");
    }
}

/* ---- the list ---- */

static void add_treatments(struct sm_text *out, const struct sm_codes *codes, const char *code)
{
    struct sm_code_question question = {code, "", "", SM_NAN, SM_NAN, 0, 0, SM_NAN};
    struct sm_code_rule rule;
    uint32_t seen = 0;
    for (size_t idx = 0; next_rule(&rule, &idx, codes, &question);) {
        seen |= 1U << rule.treatment;
    }
    const char *comma = "";
    for (int k = 0; k <= SM_TREATMENT_CLEAR; k++) {
        if (seen & 1U << k) {
            sm_text_addf(out, "%s%s", comma, sm_treatment_name((enum sm_treatment)k));
            comma = ", ";
        }
    }
    sm_text_add(out, seen ? "" : "refer");
}

void sm_codes_list(struct sm_text *out, const struct sm_codes *codes)
{
    struct sm_code_info info;
    for (size_t k = 0; sm_codes_row(codes, k, &info); k++) {
        sm_text_addf(out, "  %-8s %-48s ", info.code, info.meaning);
        add_treatments(out, codes, info.code);
        sm_text_add(out, "\n");
    }
}

/* ---- JSON ---- */

static void add_string(struct sm_json *json, const char *key, const char *value)
{
    sm_json_string(json, key, *value ? value : NULL);
}

static void add_json_letters(struct sm_json *json, const struct sm_codes *codes, const char *code, int which)
{
    sm_json_open(json, which == 1 ? "ch1" : "ch2", '{');
    for (size_t k = 0; k < codes->builtin->n_letters; k++) {
        const struct sm_code_letter *letter = &codes->builtin->letter[k];
        if (letter->which == which && sm_ascii_ieq(letter->code, code)) {
            sm_json_string(json, letter->letter, letter->meaning);
        }
    }
    sm_json_close(json, '}');
}

static void add_json_items(struct sm_json *json, const char *items)
{
    sm_json_open_compact(json, "prepare", '[');
    while (*items) {
        size_t n = strcspn(items, ";");
        struct sm_text one = {0};
        sm_text_add_n(&one, items, n);
        json->out->failed |= one.failed;
        sm_json_string(json, NULL, sm_text_str(&one));
        sm_text_release(&one);
        items += n + (items[n] == ';' ? 1 : 0);
    }
    sm_json_close(json, ']');
}

static void add_json_rule(struct sm_json *json, const struct sm_code_rule *rule,
                          const struct sm_code_question *question)
{
    struct sm_text reason = {0};
    add_reason(&reason, rule, question);
    json->out->failed |= reason.failed;
    sm_json_open(json, NULL, '{');
    sm_json_string(json, "code", rule->code);
    add_string(json, "ch1", rule->ch1);
    add_string(json, "ch2", rule->ch2);
    add_string(json, "measure", sm_code_measure_name(rule->measure));
    sm_json_bool(json, "not_logged", rule->measure != SM_MEASURE_NONE && isnan(rule->least));
    sm_json_number(json, "at_least", rule->least, 4);
    sm_json_number(json, "below", rule->below, 4);
    sm_json_number(json, "diameter_over_mm", rule->over_mm > 0 ? rule->over_mm : SM_NAN, 3);
    sm_json_number(json, "diameter_up_to_mm", rule->up_to_mm, 3);
    sm_json_string(json, "treatment", sm_treatment_name(rule->treatment));
    add_json_items(json, rule->prepare);
    sm_json_string(json, "reason", sm_text_str(&reason));
    sm_json_string(json, "source", rule->source);
    sm_json_close(json, '}');
    sm_text_release(&reason);
}

static void add_json_facts(struct sm_json *json, const struct sm_codes *codes,
                           const struct sm_code_question *question, const struct sm_code_info *info)
{
    const char *clock, *source;
    sm_codes_clock_rule(codes, &clock, &source);
    sm_json_string(json, "meaning", info->meaning);
    sm_json_bool(json, "node", info->is_node);
    sm_json_bool(json, "connection", info->is_connection);
    sm_json_bool(json, "abandoned", info->is_abandoned);
    add_json_letters(json, codes, question->code, 1);
    add_json_letters(json, codes, question->code, 2);
    add_string(json, "q1_unit", info->q1_unit);
    add_string(json, "q2_unit", info->q2_unit);
    sm_json_string(json, "clock", clock);
    sm_json_string(json, "clock_source", source);
    sm_json_string(json, "source", info->source);
    sm_json_open_compact(json, "joins", '[');
    for (const char *const *joins = sm_codes_joins(codes, question->code); joins && *joins; joins++) {
        sm_json_string(json, NULL, *joins);
    }
    sm_json_close(json, ']');
}

void sm_codes_explain_json(struct sm_json *json, const struct sm_codes *codes,
                           const struct sm_code_question *question)
{
    struct sm_code_info info;
    struct sm_code_rule rule;
    bool is_known = sm_codes_find(codes, question->code, question->ch1, &info);
    sm_json_string(json, "code", question->code);
    sm_json_bool(json, "known", is_known);
    if (is_known) {
        add_json_facts(json, codes, question, &info);
    }
    sm_json_open(json, "rules", '[');
    for (size_t idx = is_known ? 0 : SIZE_MAX; next_rule(&rule, &idx, codes, question);) {
        add_json_rule(json, &rule, question);
    }
    sm_json_close(json, ']');
}
