/* Requests taken apart: forms, cookies, names. Everything here comes from outside and is checked before use. */
#include "web_internal.h"

#include <string.h>

/* ---- forms ---- */

static int hex_value(char c)
{
    if (c >= '0' && c <= '9') {
        return c - '0';
    }
    c = (char)(c | 0x20);
    return c >= 'a' && c <= 'f' ? c - 'a' + 10 : -1;
}

/* Decode %XX and + in place. @return false for a bad escape. */
static bool decode(char *text)
{
    char *to = text;
    for (const char *from = text; *from; from++) {
        if (*from == '%') {
            int high = hex_value(from[1]);
            int low = high < 0 ? -1 : hex_value(from[2]);
            if (low < 0) {
                return false;
            }
            *to++ = (char)(high * 16 + low);
            from += 2;
        } else {
            *to++ = *from == '+' ? ' ' : *from;
        }
        if (to[-1] == '\0') {
            return false;
        }
    }
    *to = '\0';
    return true;
}

static bool is_plain_text(const char *text)
{
    for (const char *at = text; *at; at++) {
        unsigned char c = (unsigned char)*at;
        if ((c < 0x20 && c != '\t' && c != '\n') || c == 0x7f) {
            return false;
        }
    }
    return sm_utf8_valid(text, strlen(text));
}

const char *sm_web__form_get(const struct sm_web__form *form, const char *name)
{
    for (size_t i = 0; i < form->n; i++) {
        if (strcmp(form->field[i].name, name) == 0) {
            return form->field[i].value;
        }
    }
    return NULL;
}

static bool take_field(struct sm_web__form *form, char *pair)
{
    char *equals = strchr(pair, '=');
    if (!equals || equals == pair || form->n >= SM_WEB__MAX_FIELDS) {
        return false;
    }
    *equals = '\0';
    if (!decode(pair) || !decode(equals + 1) || !is_plain_text(pair) || !is_plain_text(equals + 1) ||
        sm_web__form_get(form, pair)) {
        return false;
    }
    form->field[form->n++] = (struct sm_web__field){pair, equals + 1};
    return true;
}

bool sm_web__form_parse(struct sm_web__form *form, const char *data, size_t n)
{
    *form = (struct sm_web__form){0};
    if (n > SM_WEB__MAX_BODY || (n && memchr(data, '\0', n))) {
        return false;
    }
    form->block = sm_calloc(n + 1, 1);
    if (!form->block) {
        return false;
    }
    if (n) {
        memcpy(form->block, data, n);
    }
    for (char *at = form->block; *at;) {
        char *end = strchr(at, '&');
        if (end) {
            *end = '\0';
        }
        if (!take_field(form, at)) {
            return false;
        }
        at = end ? end + 1 : at + strlen(at);
        if (!end) {
            break;
        }
    }
    return true;
}

void sm_web__form_release(struct sm_web__form *form)
{
    sm_free(form->block);
    *form = (struct sm_web__form){0};
}

/* ---- decisions ---- */

static bool wrong(struct sm_error *err, const char *name)
{
    sm_error_set(err, SM_E_FORMAT, "the field \"%s\" makes no sense", name);
    sm_error_remedy(err, "correct it and try again");
    return false;
}

static bool take_number(double *out, const struct sm_web__form *form, const char *name, struct sm_error *err)
{
    const char *text = sm_web__form_get(form, name);
    *out = SM_NAN;
    if (!text || !*text) {
        return true;
    }
    return (sm_parse_number(text, out) && fabs(*out) < 1e9) || wrong(err, name);
}

static bool take_hour(int32_t *out, const struct sm_web__form *form, const char *name, struct sm_error *err)
{
    const char *text = sm_web__form_get(form, name);
    int64_t hour = 0;
    if (text && *text && !sm_parse_int(text, 0, 12, &hour)) {
        return wrong(err, name);
    }
    *out = (int32_t)hour;
    return true;
}

static bool take_act(enum sm_review_act *out, const struct sm_web__form *form, struct sm_error *err)
{
    const char *text = sm_web__form_get(form, "act");
    for (int act = 0; text && act < SM_N_REVIEW_ACTS; act++) {
        if (strcmp(sm_review_act_name((enum sm_review_act)act), text) == 0) {
            *out = (enum sm_review_act)act;
            return true;
        }
    }
    return wrong(err, "act");
}

static bool take_treatment(enum sm_treatment *out, const struct sm_web__form *form, struct sm_error *err)
{
    const char *text = sm_web__form_get(form, "treatment");
    if (!text) {
        return true;
    }
    for (int treatment = 0; treatment <= SM_TREATMENT_CLEAR; treatment++) {
        if (strcmp(sm_treatment_name((enum sm_treatment)treatment), text) == 0) {
            *out = (enum sm_treatment)treatment;
            return true;
        }
    }
    return wrong(err, "treatment");
}

/* "x,y,width,height" */
static bool take_box(struct sm_box *out, const struct sm_web__form *form, struct sm_error *err)
{
    const char *at = sm_web__form_get(form, "box");
    int32_t *const side[] = {&out->x_px, &out->y_px, &out->width_px, &out->height_px};
    for (int i = 0; at && i < 4; i++) {
        char word[8];
        int64_t value;
        size_t n = strcspn(at, ",");
        if (n >= sizeof word || (at[n] == '\0') != (i == 3)) {
            return wrong(err, "box");
        }
        memcpy(word, at, n);
        word[n] = '\0';
        if (!sm_parse_int(word, 0, 65535, &value)) {
            return wrong(err, "box");
        }
        *side[i] = (int32_t)value;
        at += n + 1;
    }
    return true;
}

static bool take_words(struct sm_review_decision *out, const struct sm_web__form *form, struct sm_error *err)
{
    enum { MAX_WORD_BYTES = 600 };
    static const char *const name[] = {"observation", "of", "code", "ch1", "ch2", "q1", "q2",
                                       "reading", "rule", "value", "reason", "who"};
    const char **const word[] = {&out->observation, &out->of_key, &out->code,  &out->ch1,    &out->ch2, &out->q1,
                                 &out->q2,          &out->reading, &out->rule, &out->value, &out->reason, &out->who};
    for (size_t i = 0; i < sizeof name / sizeof *name; i++) {
        *word[i] = sm_web__form_get(form, name[i]);
        if (*word[i] && strlen(*word[i]) > MAX_WORD_BYTES) {
            return wrong(err, name[i]);
        }
    }
    return true;
}

bool sm_web__form_decision(struct sm_review_decision *out, const struct sm_web__form *form, struct sm_error *err)
{
    *out = (struct sm_review_decision){.at = ""};
    return take_act(&out->act, form, err) && take_words(out, form, err) && take_treatment(&out->treatment, form, err) &&
           take_number(&out->time_s, form, "time", err) && take_number(&out->distance_m, form, "distance", err) &&
           take_number(&out->start_m, form, "start", err) && take_number(&out->end_m, form, "end", err) &&
           take_hour(&out->clock_from_h, form, "clock_from", err) &&
           take_hour(&out->clock_to_h, form, "clock_to", err) && take_box(&out->box, form, err);
}

/* ---- who asks ---- */

bool sm_web__cookie_get(char *value, size_t size, const char *header, const char *name)
{
    size_t n_name = strlen(name);
    for (const char *at = header; at && *at;) {
        at += strspn(at, " \t;");
        size_t n = strcspn(at, ";");
        if (n > n_name && strncmp(at, name, n_name) == 0 && at[n_name] == '=') {
            size_t n_value = n - n_name - 1;
            if (n_value >= size) {
                return false;
            }
            memcpy(value, at + n_name + 1, n_value);
            value[n_value] = '\0';
            return true;
        }
        at += n;
    }
    return false;
}

static bool is_name(const char *text, const char *prefix, const char *host, uint16_t port)
{
    struct sm_text own = {0};
    sm_text_addf(&own, "%s%s:%u", prefix, host, (unsigned)port);
    bool is_same = !own.failed && strcmp(text, own.data) == 0;
    sm_text_release(&own);
    return is_same;
}

bool sm_web__is_own_host(const char *host, uint16_t port)
{
    return host && (is_name(host, "", "127.0.0.1", port) || is_name(host, "", "localhost", port));
}

bool sm_web__is_own_origin(const char *origin, uint16_t port)
{
    return origin &&
           (is_name(origin, "http://", "127.0.0.1", port) || is_name(origin, "http://", "localhost", port));
}

bool sm_web__is_secret(const char *given, const char *secret)
{
    size_t n = strlen(secret);
    if (!given || strlen(given) != n) {
        return false;
    }
    unsigned char difference = 0;
    for (size_t i = 0; i < n; i++) {
        difference |= (unsigned char)(given[i] ^ secret[i]);
    }
    return difference == 0;
}
