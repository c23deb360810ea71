/*
 * SubRip subtitles whose texts name a distance:
 *
 *   1
 *   00:00:01,000 --> 00:00:02,000
 *   12.34 m
 *
 * A cue is known by its arrow; numbers above it and blank lines may be missing. WebVTT's cues are taken the
 * same way.
 */
#include "distances_internal.h"

#include <string.h>

#define HEAD_LINES 80 /* looked through for a first cue */

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

/* Digits at *s, at most 6 of them. */
static bool take_int(const char **s, double *value)
{
    int n = 0;
    for (*value = 0; is_digit(**s) && n < 6; n++, (*s)++) {
        *value = *value * 10 + (**s - '0');
    }
    return n > 0;
}

/* H:MM:SS,mmm or MM:SS.mmm, hours without limit. */
static bool take_time(const char **s, double *time_s)
{
    double part[3] = {0}, fraction = 0, scale = 1;
    int n = 0;
    while (**s == ' ' || **s == '\t') {
        (*s)++;
    }
    do {
        if (n == 3 || !take_int(s, &part[n++])) {
            return false;
        }
    } while (**s == ':' && (*s)++);
    if (**s == ',' || **s == '.') {
        for ((*s)++; is_digit(**s); (*s)++) {
            scale /= 10;
            fraction += (**s - '0') * scale;
        }
    }
    *time_s = n == 3 ? part[0] * 3600 + part[1] * 60 + part[2] + fraction : part[0] * 60 + part[1] + fraction;
    return n >= 2;
}

static bool take_arrow(const char **s)
{
    while (**s == ' ' || **s == '\t') {
        (*s)++;
    }
    bool is_there = strncmp(*s, "-->", 3) == 0;
    *s += is_there ? 3 : 0;
    return is_there;
}

static bool take_timing(const char *line, double *start_s, double *end_s)
{
    return take_time(&line, start_s) && take_arrow(&line) && take_time(&line, end_s);
}

/* ---- lines ---- */

struct lines {
    const char *next;
    uint32_t number; /* of the line in hand */
    struct sm_text line;
};

static bool next_line(struct lines *lines)
{
    if (!*lines->next) {
        return false;
    }
    size_t n = strcspn(lines->next, "\r\n");
    sm_text_clear(&lines->line);
    sm_text_add_n(&lines->line, lines->next, n);
    lines->next += n;
    lines->next += *lines->next == '\r' ? 1 + (lines->next[1] == '\n') : *lines->next == '\n';
    lines->number++;
    return !lines->line.failed;
}

static bool is_blank(const char *line)
{
    return line[strspn(line, " \t")] == '\0';
}

static bool is_number(const char *line)
{
    size_t n = strspn(line, "0123456789");
    return n > 0 && is_blank(line + n);
}

/* ---- cues ---- */

struct cue {
    bool is_open;
    struct sm_distance item;
    struct sm_text text;
    size_t last_line_at; /* where in text its last line starts: a number there may be the next cue's */
};

static enum sm_status close_cue(struct sm_distances__build *build, struct cue *cue, struct sm_error *err)
{
    int32_t decimals;
    enum sm_unit unit;
    if (!cue->is_open) {
        return SM_OK;
    }
    cue->is_open = false;
    if (cue->text.failed) {
        return sm_distances__no_memory(err);
    }
    if (is_blank(sm_text_str(&cue->text))) {
        return SM_OK;
    }
    if (!sm_distances_scan(sm_text_str(&cue->text), &cue->item.counts, &decimals, &unit)) {
        char quoted[48];
        sm_strcopy(quoted, sizeof quoted, sm_text_str(&cue->text));
        return sm_distances__pass_over(build, cue->item.line, err,
                                       "the text \"%s\" does not name one distance; passed over", quoted);
    }
    return sm_distances__add(build, &cue->item, decimals, unit, err);
}

static enum sm_status open_cue(struct sm_distances__build *build, struct cue *cue, const struct lines *lines,
                               struct sm_error *err)
{
    struct sm_distance item = {.line = lines->number};
    if (cue->is_open && cue->text.length > cue->last_line_at &&
        is_number(cue->text.data + cue->last_line_at) && cue->last_line_at > 0) {
        cue->text.data[cue->text.length = cue->last_line_at] = '\0';
    }
    enum sm_status status = close_cue(build, cue, err);
    if (status != SM_OK) {
        return status;
    }
    if (!take_timing(sm_text_str(&lines->line), &item.time_s, &item.end_s)) {
        return sm_distances__pass_over(
            build, lines->number, err,
            "these are no two times of a cue (00:00:01,000 --> 00:00:02,000); passed over");
    }
    if (item.end_s < item.time_s) {
        item.end_s = SM_NAN;
    }
    cue->is_open = true;
    cue->item = item;
    sm_text_clear(&cue->text);
    cue->last_line_at = 0;
    return SM_OK;
}

static void add_line(struct cue *cue, const char *line)
{
    if (cue->text.length) {
        sm_text_add(&cue->text, "\n");
    }
    cue->last_line_at = cue->text.length;
    sm_text_add(&cue->text, line);
}

static enum sm_status read_subrip(struct sm_distances__build *build, const char *text, size_t n,
                                  struct sm_error *err)
{
    (void)n;
    struct lines lines = {.next = text};
    struct cue cue = {0};
    enum sm_status status = SM_OK;
    while (status == SM_OK && next_line(&lines)) {
        const char *line = sm_text_str(&lines.line);
        if (strstr(line, "-->")) {
            status = open_cue(build, &cue, &lines, err);
        } else if (is_blank(line)) {
            status = close_cue(build, &cue, err);
        } else if (cue.is_open) {
            add_line(&cue, line);
        }
    }
    if (status == SM_OK) {
        status = lines.line.failed ? sm_distances__no_memory(err) : close_cue(build, &cue, err);
    }
    sm_text_release(&lines.line);
    sm_text_release(&cue.text);
    return status;
}

/* An arrow between two times among the first lines. */
static bool is_subrip(const char *text)
{
    for (int i = 0; i < HEAD_LINES && *text; i++) {
        double start_s, end_s;
        if (take_timing(text, &start_s, &end_s)) {
            return true;
        }
        text += strcspn(text, "\r\n");
        text += *text != '\0';
    }
    return false;
}

const struct sm_distances__reader sm_distances__subrip = {"subrip", is_subrip, read_subrip};
