/*
 * EN 13508-2 annex B text files. Grammar:
 *
 *   #A1= .. #A6=     encoding, language, separator, decimal sign, text delimiter, edition; once
 *   #B01=codes       then one line with the values; #B02, #B03 .. alike        \  one inspection,
 *   #C=letters       then one line for each observation, columns as announced   > as often as
 *   #Z               ends the inspection                                       /  there are
 *
 * The order of columns and header codes is free. Numbers may be written without trailing zeros, so the last
 * digit of the distances is the finest one of the inspection.
 */
#include "obslog_internal.h"

#include <stdio.h>
#include <string.h>

enum { FIELDS_MAX = 256, JOINED_LINES_MAX = 100 };

struct header_field {
    const char *code, *value;
};

struct en_file {
    struct sm_obslog_build *build;
    struct sm_text text; /* the whole file, cut into lines and fields in place */
    char *next;          /* start of the line to read next, NULL = end */
    uint32_t line, next_line;
    char separator, delimiter;
    struct header_field *header;
    size_t n_header, header_capacity;
    char columns[FIELDS_MAX]; /* letters of #C */
    size_t n_columns;
    bool is_in_rows, is_manhole, is_video_time;
    char letter_text[2];
};

/* ---- lines and fields
 * -------------------------------------------------------------------------------------- */

/* The line at s without its end; *after is where the next starts, NULL = none. */
static char *cut_line(char *s, char **after)
{
    size_t n = strcspn(s, "\r\n");
    bool is_crlf = s[n] == '\r' && s[n + 1] == '\n';
    *after = s[n] && s[n + (is_crlf ? 2 : 1)] ? s + n + (is_crlf ? 2 : 1) : NULL;
    s[n] = '\0';
    return s;
}

/* A text is opened at the start of a field and not closed on this line. An inch mark inside a field opens
 * nothing. */
static bool is_text_open(const struct en_file *file, const char *s)
{
    bool is_open = false, may_open = true;
    for (; *s; s++) {
        if (*s == file->delimiter && (is_open || may_open)) {
            is_open = !is_open;
        }
        may_open = *s == file->separator || (is_open && *s == file->delimiter) ||
                   (!is_open && *s == file->delimiter);
    }
    return is_open;
}

/* How many of the lines that follow belong to a text that is open at the end of this one: up to the line that
 * closes it. One that no line closes is a slip, and takes no other row with it. */
static int count_joined(const struct en_file *file, const char *line)
{
    bool is_open = true;
    int n = 0;
    if (*line == '#' || !is_text_open(file, line)) {
        return 0;
    }
    for (const char *s = file->next; s && *s && *s != '#' && n < JOINED_LINES_MAX; n++) {
        for (; *s && *s != '\n' && *s != '\r'; s++) {
            is_open = *s == file->delimiter ? !is_open : is_open;
        }
        if (!is_open) {
            return n + 1;
        }
        s += *s == '\r' && s[1] == '\n' ? 2 : *s ? 1 : 0;
    }
    return 0;
}

/* Next line; one whose text is not closed takes the following ones in, up to the line that closes it. */
static char *read_line(struct en_file *file)
{
    if (!file->next) {
        return NULL;
    }
    file->line = file->next_line;
    char *line = cut_line(file->next, &file->next);
    file->next_line++;
    for (int k = count_joined(file, line); k > 0 && file->next; k--) {
        size_t n = strlen(line);
        char *more = cut_line(file->next, &file->next);
        file->next_line++;
        line[n] = '\n';
        memmove(line + n + 1, more, strlen(more) + 1);
    }
    return line;
}

/* Unquotes the field at s in place; *end is set to its separator or the end of the line. */
static char *cut_field(const struct en_file *file, char *s, char **end)
{
    char *to = s, *from = s;
    bool is_quoted = false;
    for (; *from && (is_quoted || *from != file->separator); from++) {
        if (*from == file->delimiter && is_quoted && from[1] == file->delimiter) {
            *to++ = *from++;
        } else if (*from == file->delimiter && (is_quoted || to == s)) {
            is_quoted = !is_quoted;
        } else {
            *to++ = *from;
        }
    }
    *end = from;
    if (to < from) {
        *to = '\0';
    }
    return s;
}

static size_t split_fields(const struct en_file *file, char *line, const char **field)
{
    size_t n = 0;
    char *end;
    for (bool is_more = true; is_more && n < FIELDS_MAX;) {
        char *cut = cut_field(file, line, &end);
        is_more = *end != '\0';
        *end = '\0';
        line = end + 1;
        field[n++] = sm_trim(cut);
    }
    return n;
}

/* ---- #A
 * ---------------------------------------------------------------------------------------------------- */

static char first_sign(const char *value)
{
    size_t n = strlen(value);
    bool is_wrapped = n == 3 && value[0] == value[2];
    return strcmp(value, "\\t") == 0 || sm_ascii_ieq(value, "tab") ? '\t' : is_wrapped ? value[1] : value[0];
}

static void take_setting(struct en_file *file, const char *s)
{
    const char *value = strchr(s, '=');
    if (!value || !value[1]) {
        return;
    }
    int64_t number = s[2] >= '0' && s[2] <= '9' ? s[2] - '0' : 0;
    if (number == 3) {
        file->separator = first_sign(value + 1);
    } else if (number == 5) {
        file->delimiter = first_sign(value + 1);
    }
}

/* Without #A3: what stands most between the header codes. */
static void guess_separator(struct en_file *file, const char *codes)
{
    static const char signs[] = ";,\t|";
    size_t best = 0;
    for (const char *sign = signs; *sign; sign++) {
        size_t n = 0;
        for (const char *s = codes; *s; s++) {
            n += *s == *sign;
        }
        if (n > best) {
            best = n;
            file->separator = *sign;
        }
    }
}

/* ---- #B
 * ---------------------------------------------------------------------------------------------------- */

static const char *header_value(const struct en_file *file, const char *code)
{
    for (size_t k = 0; k < file->n_header; k++) {
        if (sm_ascii_ieq(file->header[k].code, code)) {
            return file->header[k].value;
        }
    }
    return "";
}

static enum sm_status take_header(struct en_file *file, char *codes_line, struct sm_error *err)
{
    const char *code[FIELDS_MAX], *value[FIELDS_MAX];
    char *codes = strchr(codes_line, '=');
    uint32_t line = file->line;
    sm_obslog__announce(file->build);
    if (!codes) {
        return sm_obslog__note(file->build, line, "a header line without codes: %.60s", codes_line);
    }
    if (!file->separator) {
        guess_separator(file, codes + 1);
    }
    size_t n_codes = split_fields(file, codes + 1, code);
    if (!file->next || *file->next == '#') {
        return sm_obslog__note(file->build, line, "a header line without values under it");
    }
    size_t n_values = split_fields(file, read_line(file), value);
    if (n_values != n_codes) {
        enum sm_status status = sm_obslog__note(file->build, file->line,
                                                "the header has %zu codes and %zu values", n_codes, n_values);
        if (status != SM_OK) {
            return status;
        }
    }
    for (size_t k = 0; k < n_codes && k < n_values; k++) {
        if (sm_grow(&file->header, file->n_header, &file->header_capacity, sizeof *file->header) != SM_OK) {
            return sm_obslog__no_memory(err);
        }
        file->header[file->n_header++] = (struct header_field){code[k], value[k]};
    }
    return SM_OK;
}

/* A header number; odd ones are told and not used. */
static enum sm_status header_number(struct en_file *file, const char *code, double least, double greatest,
                                    double *value)
{
    const char *text = header_value(file, code);
    double number;
    if (!*text) {
        return SM_OK;
    }
    if (!sm_parse_number(text, &number) || !(number >= least && number <= greatest)) {
        return sm_obslog__note(file->build, file->line,
                               "the header value %s = \"%.40s\" makes no sense, not used", code, text);
    }
    *value = number;
    return SM_OK;
}

static enum sm_status take_sizes(struct en_file *file, struct sm_obslog_inspection *inspection)
{
    double width_mm = SM_NAN, unit_length = SM_NAN;
    enum sm_status status = header_number(file, "ACB", 20, 10000, &inspection->segment.diameter_mm);
    if (status == SM_OK) {
        status = header_number(file, "ACC", 20, 10000, &width_mm);
    }
    if (status == SM_OK) {
        status = header_number(file, "ACG", 0.1, 30000, &unit_length);
    }
    if (status == SM_OK) {
        status = header_number(file, "ABQ", 0.01, 100000, &inspection->inspection_length_m);
    }
    if (status != SM_OK) {
        return status;
    }
    /* metres and millimetres are both written; no pipe is 50 m long and none 50 mm */
    inspection->segment.pipe_unit_length_m = unit_length > 50 ? unit_length / 1000 : unit_length;
    if (isnan(inspection->segment.diameter_mm)) {
        inspection->segment.diameter_mm = width_mm;
    } else if (width_mm < inspection->segment.diameter_mm || width_mm > inspection->segment.diameter_mm) {
        return sm_obslog__note(file->build, file->line,
                               "the pipe is not round (%s x %s mm), the height is used as diameter",
                               header_value(file, "ACB"), header_value(file, "ACC"));
    }
    return SM_OK;
}

static void take_nodes(const struct en_file *file, struct sm_obslog_inspection *inspection)
{
    struct sm_segment *segment = &inspection->segment;
    const char *start = header_value(file, "AAB"), *node1 = header_value(file, "AAD"),
               *node2 = header_value(file, "AAF");
    const char *direction = header_value(file, "AAK");
    bool is_down = sm_ascii_ieq(direction, "A"), is_up = sm_ascii_ieq(direction, "B");
    segment->id = header_value(file, "AAA");
    segment->flow = is_down ? SM_FLOW_FROM_TO : is_up ? SM_FLOW_TO_FROM : SM_FLOW_UNKNOWN;
    inspection->is_against_flow = is_up;
    bool starts_at_node2 = *start ? *node2 && strcmp(start, node2) == 0 : is_up;
    segment->from = *start ? start : starts_at_node2 ? node2 : node1;
    segment->to = starts_at_node2 ? node1 : node2;
}

static enum sm_status begin_inspection(struct en_file *file, struct sm_error *err)
{
    struct sm_obslog_inspection inspection = sm_obslog__inspection_none(file->line);
    const char *video = header_value(file, "ABS");
    char date[32];
    sm_obslog__announce(file->build);
    take_nodes(file, &inspection);
    inspection.segment.material = sm_obslog__material_en(header_value(file, "ACD"));
    sm_obslog__tidy_date(date, sizeof date, header_value(file, "ABF"));
    inspection.date = date;
    inspection.video = *video ? sm_obslog__beside(file->build, video) : NULL;
    if (*video && !inspection.video) {
        return sm_obslog__no_memory(err);
    }
    enum sm_status status = take_sizes(file, &inspection);
    return status == SM_OK ? sm_obslog__begin(file->build, &inspection, err) : status;
}

/* ---- #C and rows
 * ------------------------------------------------------------------------------------------- */

/* Are all whole numbers of the video column times of the form (H)MMSS? Looks ahead without changing anything.
 */
static bool are_video_times(const struct en_file *file)
{
    const char *column = memchr(file->columns, 'N', file->n_columns);
    size_t at = column ? (size_t)(column - file->columns) : 0;
    for (const char *s = file->next; column && s && *s && *s != '#';) {
        const char *field = s;
        bool is_quoted = false;
        for (size_t k = 0; *s && *s != '\n' && *s != '\r'; s++) {
            is_quoted = *s == file->delimiter ? !is_quoted : is_quoted;
            if (*s == file->separator && !is_quoted && k++ < at) {
                field = k == at ? s + 1 : field;
            }
        }
        size_t n = strspn(field, "0123456789");
        bool is_whole = n > 0 && n < 8 &&
                        (field[n] == file->separator || !field[n] || field[n] == '\r' || field[n] == '\n');
        int64_t number = 0;
        double time_s;
        for (size_t k = 0; is_whole && k < n; k++) {
            number = number * 10 + (field[k] - '0');
        }
        if (is_whole && !sm_obslog__parse_hmmss(number, &time_s)) {
            return false;
        }
        s += strspn(s, "\r\n");
    }
    return true;
}

static enum sm_status take_columns(struct en_file *file, char *s, struct sm_error *err)
{
    const char *letter[FIELDS_MAX];
    char *list = strchr(s, '=');
    file->n_columns = 0;
    if (list && !file->separator) {
        guess_separator(file, list + 1);
    }
    size_t n = list ? split_fields(file, list + 1, letter) : 0;
    for (size_t k = 0; k < n; k++) {
        char c = *letter[k];
        file->columns[file->n_columns++] = c >= 'a' && c <= 'z' ? (char)(c - ('a' - 'A')) : c;
    }
    file->is_in_rows = true;
    file->is_manhole = *header_value(file, "CAA") && !*header_value(file, "AAA");
    if (file->is_manhole) {
        return sm_obslog__note(file->build, file->line, "the inspection of manhole %.60s is not read",
                               header_value(file, "CAA"));
    }
    enum sm_status status = begin_inspection(file, err);
    file->is_video_time = are_video_times(file);
    if (status == SM_OK && !file->is_video_time) {
        status = sm_obslog__note(file->build, file->line,
                                 "the video references are no times (H)MMSS; they are kept as remarks and "
                                 "only the distances are used");
    }
    return status;
}

/* Where a column's field goes; NULL = to the remark. */
static const char **slot_of(struct sm_obslog_fields *fields, char letter)
{
    switch (letter) {
    case 'A':
        return &fields->code;
    case 'B':
        return &fields->ch1;
    case 'C':
        return &fields->ch2;
    case 'D':
        return &fields->q1;
    case 'E':
        return &fields->q2;
    case 'F':
        return &fields->remark;
    case 'G':
        return &fields->clock_from;
    case 'H':
        return &fields->clock_to;
    case 'I':
        return &fields->distance;
    case 'J':
        return &fields->continuous;
    case 'K':
        return &fields->joint;
    case 'M':
        return &fields->photo;
    case 'N':
        return &fields->time;
    default:
        return NULL;
    }
}

static void add_to_remark(struct sm_text *remark, const char *name, const char *value)
{
    sm_text_addf(remark, "%s%s=%s", remark->length ? "; " : "", name, value);
}

/* Whole numbers are (H)MMSS; with colons the time says itself what it is. */
static void take_video_reference(struct en_file *file, struct sm_obslog_fields *fields,
                                 struct sm_text *remark)
{
    if (!fields->time || strchr(fields->time, ':')) {
        return;
    }
    if (!file->is_video_time && *fields->time) {
        add_to_remark(remark, "video", fields->time);
        fields->time = NULL;
    }
    fields->time_unit = "hmmss";
}

static enum sm_status take_row(struct en_file *file, char *line, struct sm_error *err)
{
    const char *field[FIELDS_MAX];
    struct sm_obslog_fields fields = {.distance_unit = "m"};
    struct sm_text remark = {0};
    enum sm_status status = SM_OK;
    bool is_open = is_text_open(file, line);
    size_t n = split_fields(file, line, field);
    if (is_open) {
        status = sm_obslog__odd(file->build, file->line, "a text is opened and not closed");
    } else if (n > file->n_columns && *field[file->n_columns]) {
        status = sm_obslog__odd(file->build, file->line,
                                "the row has %zu fields, #C announces %zu; the rest is kept as remark", n,
                                file->n_columns);
    }
    for (size_t k = 0; k < n; k++) {
        char name[16];
        const char **slot = k < file->n_columns ? slot_of(&fields, file->columns[k]) : NULL;
        if (slot && !*slot) {
            *slot = field[k];
        } else if (*field[k]) {
            snprintf(name, sizeof name, k < file->n_columns ? "%c" : "more",
                     k < file->n_columns ? file->columns[k] : ' ');
            add_to_remark(&remark, name, field[k]);
        }
    }
    take_video_reference(file, &fields, &remark);
    if (remark.length && fields.remark && *fields.remark) {
        sm_text_addf(&remark, "; %s", fields.remark);
    }
    fields.remark = remark.length ? sm_text_str(&remark) : fields.remark;
    if (status == SM_OK) {
        status = remark.failed ? sm_obslog__no_memory(err)
                               : sm_obslog__add_fields(file->build, file->line, &fields, err);
    }
    sm_text_release(&remark);
    return status;
}

/* The distances of an inspection are as fine as the finest of them. */
static void level_last_digits(struct sm_obslog_file *log, const struct sm_obslog_part *part)
{
    double finest_m = HUGE_VAL;
    for (size_t k = part->entries.first; k != SM_OBSLOG_NONE; k = log->entry[k].next) {
        finest_m = fmin(finest_m, log->entry[k].entry.distance_digit_m);
    }
    for (size_t k = part->entries.first; k != SM_OBSLOG_NONE; k = log->entry[k].next) {
        struct sm_log_entry *entry = &log->entry[k].entry;
        entry->distance_digit_m = isnan(entry->distance_digit_m) ? SM_NAN : finest_m;
    }
}

/* ---- the file
 * ---------------------------------------------------------------------------------------------- */

static void end_inspection(struct en_file *file)
{
    file->is_in_rows = false;
    file->is_manhole = false;
    file->n_header = 0;
}

static enum sm_status take_record(struct en_file *file, char *line, struct sm_error *err)
{
    switch (line[1]) {
    case 'A':
    case 'a':
        take_setting(file, line);
        return SM_OK;
    case 'B':
    case 'b':
        if (file->is_in_rows) {
            end_inspection(file); /* #Z is missing; a new header can only be a new inspection */
        }
        return take_header(file, line, err);
    case 'C':
    case 'c':
        return take_columns(file, line, err);
    case 'Z':
    case 'z':
        end_inspection(file);
        return SM_OK;
    default:
        return sm_obslog__note(file->build, file->line, "the record %.40s is not known, passed over", line);
    }
}

static enum sm_status take_line(struct en_file *file, char *line, struct sm_error *err)
{
    if (line[strspn(line, " \t")] == '\0') {
        return SM_OK;
    }
    if (*line == '#') {
        return take_record(file, line, err);
    }
    if (!file->is_in_rows) {
        return sm_obslog__lost(file->build, file->line,
                               "row not used, it stands outside any inspection: %.100s", line);
    }
    if (file->is_manhole) {
        return SM_OK;
    }
    sm_obslog__count_row(file->build);
    return take_row(file, line, err);
}

static enum sm_status read_lines(struct en_file *file, struct sm_error *err)
{
    enum sm_status status = SM_OK;
    for (char *line = read_line(file); line && status == SM_OK; line = read_line(file)) {
        status = take_line(file, line, err);
    }
    if (status == SM_OK && file->is_in_rows) {
        status = sm_obslog__note_all(file->build, file->line, SM_SEVERITY_NOTE,
                                     "the file ends inside an inspection (no #Z); was it cut?");
    }
    for (size_t k = 0; status == SM_OK && k < file->build->file->n_parts; k++) {
        level_last_digits(file->build->file, &file->build->file->part[k]);
    }
    return status == SM_E_NOMEM ? sm_obslog__no_memory(err) : status;
}

static enum sm_status read_en13508(struct sm_obslog_build *build, struct sm_error *err)
{
    struct en_file file = {.build = build, .delimiter = '"', .next_line = 1};
    sm_text_add_decoded(&file.text, build->input->data, build->input->n);
    enum sm_status status = file.text.failed ? sm_obslog__no_memory(err) : SM_OK;
    if (status == SM_OK && memchr(sm_text_str(&file.text), '\0', file.text.length)) {
        status = sm_error_at(err, SM_E_FORMAT, build->input->source, 0, 0, "a zero byte stands in the text");
        sm_error_remedy(err, "export the log again as text");
    }
    if (status == SM_OK) {
        file.next = file.text.data;
        status = read_lines(&file, err);
    }
    sm_free(file.header);
    sm_text_release(&file.text);
    return status;
}

/* A record line near the start: #A1= .. #A9=, #B..=, #C=. */
static int probe_en13508(const struct sm_obslog_input *input)
{
    const char *s = input->data;
    size_t n = input->n < 65536 ? input->n : 65536;
    for (size_t at = 0; at + 4 < n; at++) {
        bool is_line_start = at == 0 || s[at - 1] == '\n' || s[at - 1] == '\r' ||
                             (at == 3 && memcmp(s, "\xef\xbb\xbf", 3) == 0);
        if (is_line_start && s[at] == '#' && (s[at + 1] == 'A' || s[at + 1] == 'B' || s[at + 1] == 'C') &&
            (s[at + 2] == '=' || s[at + 3] == '=' || s[at + 4] == '=')) {
            return 5;
        }
    }
    return 0;
}

const struct sm_obslog_reader sm_obslog__en13508 = {"en13508", probe_en13508, read_en13508};
