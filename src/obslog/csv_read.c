/*
 * CSV logs: a header row somewhere in the first rows names the columns, in English or German, in any order.
 * What stands above it and columns that are not known are kept as notes and remarks. A column with the
 * segment's name makes several inspections of one file.
 */
#include "obslog_internal.h"

#include <stdio.h>
#include <string.h>

#define FIELD(name) offsetof(struct sm_obslog_fields, name)
#define NO_UNIT SIZE_MAX

/* A column of ours: its names (folded, '|' between), where its cells go. */
struct column {
    const char *names;
    size_t field, unit;
    enum { UNIT_NONE, UNIT_TIME, UNIT_LENGTH } unit_kind;
};
static const struct column columns[] = {
    {"code|kode|main code|hauptcode|hauptkode|kuerzel|defect code|observation "
     "code|inspektionskode|inspektionscode|schadenskode|"
     "schadenscode|zustandskode|zustandscode|zustandskuerzel|schadenskuerzel|kodierung|defekt",
     FIELD(code), NO_UNIT, UNIT_NONE},
    {"time|video time|counter time|video counter|videotime|video position|video ref|video "
     "reference|videozaehler|videozeit|video zeit|zeit|uhrzeit|time of day|clock "
     "time|timecode|time code|zeitpunkt|video",
     FIELD(time), FIELD(time_unit), UNIT_TIME},
    {"distance|dist|distance from "
     "start|entfernung vom startpunkt|entfernung vom "
     "anfang|laufmeter|station|stationierung|entfernung|chainage|distanz|position|metre|meter|meters|metres|"
     "feet|"
     "footage|lage|abstand",
     FIELD(distance), FIELD(distance_unit), UNIT_LENGTH},
    {"ch1|char 1|char1|characterisation 1|characterization 1|charakterisierung "
     "1|characterisation1|charakterisierung1|c1|ch 1",
     FIELD(ch1), NO_UNIT, UNIT_NONE},
    {"ch2|char 2|char2|characterisation 2|characterization 2|charakterisierung "
     "2|characterisation2|charakterisierung2|c2|ch 2",
     FIELD(ch2), NO_UNIT, UNIT_NONE},
    {"q1|quantification 1|quantifizierung 1|quantification1|quantifizierung1|quant 1|value 1|value dimension "
     "1|dimension 1|1st dimension|value percent|percent|prozent|wert "
     "1|value|wert|q 1",
     FIELD(q1), FIELD(q1_unit), UNIT_LENGTH},
    {"q2|quantification 2|quantifizierung 2|quantification2|quantifizierung2|quant 2|value 2|value dimension "
     "2|dimension 2|2nd dimension|wert 2|q 2",
     FIELD(q2), FIELD(q2_unit), UNIT_LENGTH},
    {"clock from|clock|clock position|from clock|clock at|clock at from|clock start|clock at from|clock "
     "position from|uhr von|position "
     "von|lage von|uhr|lage am umfang|"
     "lage am umfang von|umfang von|uhrlage|uhrlage von",
     FIELD(clock_from), NO_UNIT, UNIT_NONE},
    {"clock to|to clock|clock end|clock at to|clock position to|uhr bis|position bis|lage bis|lage am umfang "
     "bis|umfang bis|uhrlage bis",
     FIELD(clock_to), NO_UNIT, UNIT_NONE},
    {"continuous|continuous defect|cont|streckenschaden|strecke|cd", FIELD(continuous), NO_UNIT, UNIT_NONE},
    {"joint|at joint|verbindung|rohrverbindung|muffe|an verbindung", FIELD(joint), NO_UNIT, UNIT_NONE},
    {"diameter|dn|durchmesser|connection diameter|anschlussdurchmesser|nennweite", FIELD(diameter),
     FIELD(diameter_unit), UNIT_LENGTH},
    {"remark|remarks|comment|comments|bemerkung|bemerkungen|kommentar|anmerkung|anmerkungen|note|notes|text|"
     "notiz",
     FIELD(remark), NO_UNIT, UNIT_NONE},
    {"photo|photograph|picture|image|still|foto|foto nr|photo no|bild|bild nr|fotodatei|photo file|bilddatei",
     FIELD(photo), NO_UNIT, UNIT_NONE},
};
enum {
    N_COLUMNS = sizeof columns / sizeof columns[0],
    COL_CODE = 0,
    COL_TIME = 1,
    COL_DISTANCE = 2,
    COL_Q1 = 5,
    COL_REMARK = 12,
    HEAD_ROWS = 60,
    OPEN_QUOTES_MAX = 50
};

static const char segment_names[] =
    "segment|segment id|section|pipe segment reference|segment reference|segment ref|pipe id|asset id|line "
    "id|haltung|haltungsname|haltungsnummer|haltungsbezeichnung|haltung nr|leitung|objektbezeichnung";
static const char inspection_names[] =
    "inspection|inspection id|inspection no|inspektion|inspektion nr|inspektionsnummer";

struct csv_log {
    struct sm_obslog_build *build;
    struct sm_csv *csv;
    size_t head_idx;      /* row of the header */
    size_t at[N_COLUMNS]; /* field index of each column, SIZE_MAX = none */
    char unit[N_COLUMNS][16];
    size_t spare_at[N_COLUMNS]; /* a second column of that meaning, for rows whose first is empty */
    char spare_unit[N_COLUMNS][16];
    uint32_t open_quote[OPEN_QUOTES_MAX]; /* lines whose quotes were taken out, because one never closes */
    size_t n_open_quotes;
    size_t segment_at, inspection_at; /* SIZE_MAX = none */
    struct sm_names inspections;      /* met so far, by segment and number, with their place in file order */
    const char *segment, *number, *key; /* of the row above, NULL = there is none */
};

static enum sm_status no_memory(struct sm_error *err)
{
    return sm_obslog__no_memory(err);
}

/* ---- header
 * ------------------------------------------------------------------------------------------------ */

/* Place of a name in a list of names, SIZE_MAX = not in it: the better known name of two counts. */
static size_t name_rank(const char *names, const char *name)
{
    size_t n_name = strlen(name);
    for (size_t rank = 0; *names; rank++) {
        size_t n = strcspn(names, "|");
        if (n == n_name && n > 0 && memcmp(names, name, n) == 0) {
            return rank;
        }
        names += n + (names[n] == '|' ? 1 : 0);
    }
    return SIZE_MAX;
}

static bool is_named(const char *names, const char *name)
{
    return name_rank(names, name) != SIZE_MAX;
}

/* A head's name and unit; "Dist.", "Ch. 1", "Foto-Nr." and "Code:" lose their signs. */
static void split_head(const char *head, char name[64], char unit[16])
{
    sm_column_split(head, name, 64, unit, 16);
    size_t n = 0;
    for (size_t k = 0; name[k]; k++) {
        bool is_sign = name[k] == '.' || name[k] == ':' || name[k] == '-' || name[k] == ' ';
        if (!is_sign) {
            name[n++] = name[k];
        } else if (n > 0 && name[n - 1] != ' ') {
            name[n++] = ' ';
        }
    }
    name[n > 0 && name[n - 1] == ' ' ? n - 1 : n] = '\0';
}

/* Only of quantifications a second column is another way to say the same ("value dimension 1", "value
 * percent"). */
static void take_as_spare(struct csv_log *log, size_t k, size_t at, const char unit[16])
{
    if (k == COL_Q1 && at != SIZE_MAX && log->spare_at[k] == SIZE_MAX) {
        log->spare_at[k] = at;
        memcpy(log->spare_unit[k], unit, 16);
    }
}

/* Fill at[] and unit[] from a row taken as header. */
static void map_columns(struct csv_log *log, const struct sm_csv_row *row)
{
    size_t rank[N_COLUMNS];
    log->segment_at = log->inspection_at = SIZE_MAX;
    for (size_t k = 0; k < N_COLUMNS; k++) {
        log->at[k] = log->spare_at[k] = rank[k] = SIZE_MAX;
        log->unit[k][0] = '\0';
    }
    for (size_t i = 0; i < row->n_fields; i++) {
        char name[64], unit[16];
        split_head(row->field[i], name, unit);
        for (size_t k = 0; k < N_COLUMNS; k++) {
            size_t here = name_rank(columns[k].names, name);
            if (here < rank[k]) {
                rank[k] = here;
                take_as_spare(log, k, log->at[k], log->unit[k]);
                log->at[k] = i;
                memcpy(log->unit[k], unit, sizeof unit);
            } else if (here != SIZE_MAX) {
                take_as_spare(log, k, i, unit);
            }
        }
        if (log->segment_at == SIZE_MAX && is_named(segment_names, name)) {
            log->segment_at = i;
        }
        if (log->inspection_at == SIZE_MAX && is_named(inspection_names, name)) {
            log->inspection_at = i;
        }
    }
}

static bool find_header(struct csv_log *log)
{
    size_t n_rows = sm_csv_n_rows(log->csv);
    for (size_t i = 0; i < n_rows && i < HEAD_ROWS; i++) {
        struct sm_csv_row row = sm_csv_row(log->csv, i);
        map_columns(log, &row);
        if (log->at[COL_CODE] != SIZE_MAX &&
            (log->at[COL_TIME] != SIZE_MAX || log->at[COL_DISTANCE] != SIZE_MAX)) {
            log->head_idx = i;
            return true;
        }
    }
    return false;
}

/* The header names "feet" or "metre" say the unit themselves. */
static void take_named_unit(struct csv_log *log, const struct sm_csv_row *head)
{
    size_t i = log->at[COL_DISTANCE];
    if (i == SIZE_MAX || log->unit[COL_DISTANCE][0]) {
        return;
    }
    char name[64];
    sm_key_fold(name, sizeof name, head->field[i]);
    if (strcmp(name, "feet") == 0 || strcmp(name, "footage") == 0) {
        sm_strcopy(log->unit[COL_DISTANCE], sizeof log->unit[COL_DISTANCE], "ft");
    } else if (is_named("metre|metres|meter|meters", name)) {
        sm_strcopy(log->unit[COL_DISTANCE], sizeof log->unit[COL_DISTANCE], "m");
    }
}

static bool is_unit(const struct column *column, const char *unit)
{
    double one;
    switch (column->unit_kind) {
    case UNIT_NONE:
        break;
    case UNIT_TIME:
        return sm_ascii_ieq(unit, "hmmss") || sm_ascii_ieq(unit, "hhmmss") ||
               sm_parse_quantity("1", SM_TIME, unit, &one, NULL) == SM_OK;
    case UNIT_LENGTH:
        return sm_parse_quantity("1", SM_LENGTH, unit, &one, NULL) == SM_OK;
    }
    return false;
}

/* A unit in a head that is none ("time [h:mm:ss]", "q1 [%]") says nothing about bare numbers. */
static void drop_other_units(struct csv_log *log)
{
    for (size_t k = 0; k < N_COLUMNS; k++) {
        if (log->unit[k][0] && !is_unit(&columns[k], log->unit[k])) {
            log->unit[k][0] = '\0';
        }
        if (log->spare_at[k] != SIZE_MAX && !is_unit(&columns[k], log->spare_unit[k])) {
            log->spare_unit[k][0] = '\0';
        }
    }
}

static void join_row(struct sm_text *text, const struct sm_csv_row *row)
{
    for (size_t i = 0; i < row->n_fields; i++) {
        if (*row->field[i]) {
            sm_text_addf(text, "%s%.80s", text->length ? " | " : "", row->field[i]);
        }
    }
}

static enum sm_status note_rows_above(struct csv_log *log, struct sm_error *err)
{
    enum sm_status status = SM_OK;
    for (size_t i = 0; i < log->head_idx && status == SM_OK; i++) {
        struct sm_csv_row row = sm_csv_row(log->csv, i);
        struct sm_text text = {0};
        join_row(&text, &row);
        status = text.failed ? SM_E_NOMEM
                             : sm_obslog__note_all(log->build, row.line, SM_SEVERITY_NOTE,
                                                   "stands above the header row, no data row: %.300s",
                                                   sm_text_str(&text));
        sm_text_release(&text);
    }
    return status == SM_OK ? SM_OK : no_memory(err);
}

static enum sm_status no_header_error(const struct csv_log *log, struct sm_error *err)
{
    uint32_t line = sm_csv_n_rows(log->csv) ? sm_csv_row(log->csv, 0).line : 1;
    sm_error_at(err, SM_E_FORMAT, log->build->input->source, line, 0,
                "no header row with a column \"code\" and a column \"time\" or \"distance\"");
    return sm_error_remedy(err,
                           "name the columns in the first row, as in time,distance,code,ch1,ch2,q1,remark");
}

static const char *cell_of(const struct sm_csv_row *row, size_t i)
{
    return i < row->n_fields ? row->field[i] : "";
}

/* ---- inspections of a file with a segment column
 * ----------------------------------------------------------- */

static enum sm_status begin_segment(struct csv_log *log, const char *id, const char *key, uint32_t line,
                                    struct sm_error *err)
{
    struct sm_obslog_inspection inspection = sm_obslog__inspection_none(line);
    if (sm_names_set(&log->inspections, key, log->inspections.n) != SM_OK) {
        return no_memory(err);
    }
    inspection.segment.id = id;
    log->key = key;
    return sm_obslog__begin(log->build, &inspection, err);
}

/* Make the inspection a row belongs to the current one: told by segment and number. An empty cell goes on
 * with the one above. */
static enum sm_status turn_to_segment(struct csv_log *log, const struct sm_csv_row *row, struct sm_error *err)
{
    const char *id = cell_of(row, log->segment_at), *number = cell_of(row, log->inspection_at);
    size_t inspection_idx;
    bool is_other =
        !log->key || (*id && strcmp(log->segment, id) != 0) || (*number && strcmp(log->number, number) != 0);
    if (!is_other) {
        return SM_OK;
    }
    log->segment = *id || !log->segment ? id : log->segment;
    log->number = *number || !log->number ? number : log->number;
    const char *key =
        *log->number ? sm_arena_printf(log->build->arena, "%s\n%s", log->segment, log->number) : log->segment;
    if (!key) {
        return no_memory(err);
    }
    if (sm_names_find(&log->inspections, key, &inspection_idx)) {
        log->key = key;
        sm_obslog__resume(log->build, inspection_idx);
        return SM_OK;
    }
    return begin_segment(log, log->segment, key, row->line, err);
}

/* ---- rows
 * -------------------------------------------------------------------------------------------------- */

static bool is_mapped(const struct csv_log *log, size_t i)
{
    for (size_t k = 0; k < N_COLUMNS; k++) {
        if (log->at[k] == i) {
            return true;
        }
    }
    return i == log->segment_at || i == log->inspection_at;
}

/* Does a row say in a spare column what its first one leaves empty? */
static bool uses_spare(const struct csv_log *log, const struct sm_csv_row *row, size_t k)
{
    return log->spare_at[k] != SIZE_MAX && !*cell_of(row, log->at[k]) && *cell_of(row, log->spare_at[k]);
}

/* Remark column, then every other column that holds something, as name=value. */
static void join_remark(const struct csv_log *log, const struct sm_csv_row *row, struct sm_text *remark)
{
    struct sm_csv_row head = sm_csv_row(log->csv, log->head_idx);
    if (log->at[COL_REMARK] < row->n_fields) {
        sm_text_add(remark, row->field[log->at[COL_REMARK]]);
    }
    for (size_t i = 0; i < row->n_fields; i++) {
        bool is_used = is_mapped(log, i) || (i == log->spare_at[COL_Q1] && uses_spare(log, row, COL_Q1));
        if (!*row->field[i] || is_used) {
            continue;
        }
        sm_text_add(remark, remark->length ? "; " : "");
        if (i < head.n_fields && *head.field[i]) {
            sm_text_addf(remark, "%s=%s", head.field[i], row->field[i]);
        } else {
            sm_text_addf(remark, "column %zu=%s", i + 1, row->field[i]);
        }
    }
}

static void fill_fields(const struct csv_log *log, const struct sm_csv_row *row,
                        struct sm_obslog_fields *fields)
{
    for (size_t k = 0; k < N_COLUMNS; k++) {
        bool is_spare = uses_spare(log, row, k);
        const char *cell = cell_of(row, is_spare ? log->spare_at[k] : log->at[k]);
        const char *unit = is_spare ? log->spare_unit[k] : log->unit[k];
        memcpy((char *)fields + columns[k].field, &cell, sizeof cell);
        if (columns[k].unit != NO_UNIT) {
            memcpy((char *)fields + columns[k].unit, &unit, sizeof unit);
        }
    }
}

/* The header again, as printed at the top of each page. */
static bool is_header_again(const struct csv_log *log, const struct sm_csv_row *row)
{
    struct sm_csv_row head = sm_csv_row(log->csv, log->head_idx);
    size_t i = log->at[COL_CODE];
    return i < row->n_fields && sm_ascii_ieq(row->field[i], head.field[i]);
}

static bool has_more_fields(const struct csv_log *log, const struct sm_csv_row *row)
{
    for (size_t i = sm_csv_row(log->csv, log->head_idx).n_fields; i < row->n_fields; i++) {
        if (*row->field[i]) {
            return true;
        }
    }
    return false;
}

static enum sm_status tell_open_quote(const struct csv_log *log, uint32_t line)
{
    for (size_t k = 0; k < log->n_open_quotes; k++) {
        if (log->open_quote[k] == line) {
            return sm_obslog__odd(log->build, line,
                                  "a quote opens here and never closes: the row is read without it");
        }
    }
    return SM_OK;
}

static enum sm_status take_row(struct csv_log *log, const struct sm_csv_row *row, struct sm_error *err)
{
    struct sm_obslog_fields fields = {0};
    struct sm_text remark = {0};
    enum sm_status status = tell_open_quote(log, row->line);
    if (status == SM_OK && has_more_fields(log, row)) {
        status = sm_obslog__odd(
            log->build, row->line,
            "the row has %zu fields, the header %zu: a separator inside a value? The rest is kept as remark",
            row->n_fields, sm_csv_row(log->csv, log->head_idx).n_fields);
    }
    fill_fields(log, row, &fields);
    join_remark(log, row, &remark);
    fields.remark = sm_text_str(&remark);
    if (status == SM_OK) {
        status = remark.failed ? no_memory(err) : sm_obslog__add_fields(log->build, row->line, &fields, err);
    }
    sm_text_release(&remark);
    return status;
}

static enum sm_status read_rows(struct csv_log *log, struct sm_error *err)
{
    enum sm_status status = SM_OK;
    bool is_one = log->segment_at == SIZE_MAX && log->inspection_at == SIZE_MAX;
    if (is_one || log->head_idx + 1 >= sm_csv_n_rows(log->csv)) {
        status = begin_segment(log, "", "", sm_csv_row(log->csv, log->head_idx).line, err);
    }
    for (size_t i = log->head_idx + 1; status == SM_OK && i < sm_csv_n_rows(log->csv); i++) {
        struct sm_csv_row row = sm_csv_row(log->csv, i);
        if (is_header_again(log, &row)) {
            status = sm_obslog__note(log->build, row.line, "the header row again, passed over");
            continue;
        }
        status = is_one ? SM_OK : turn_to_segment(log, &row, err);
        if (status == SM_OK) {
            sm_obslog__count_row(log->build);
            status = take_row(log, &row, err);
        }
    }
    return status == SM_E_NOMEM ? no_memory(err) : status;
}

static enum sm_status read_table(struct csv_log *log, struct sm_error *err)
{
    struct sm_csv_row head = sm_csv_row(log->csv, log->head_idx);
    take_named_unit(log, &head);
    drop_other_units(log);
    enum sm_status status = note_rows_above(log, err);
    return status == SM_OK ? read_rows(log, err) : status;
}

/* Takes the quotes of a line out, in place. */
static void blank_quotes(char *text, uint32_t line)
{
    for (uint32_t at = 1; *text && at <= line; text++) {
        bool is_end = *text == '\n' || (*text == '\r' && text[1] != '\n');
        *text = at == line && *text == '"' ? ' ' : *text;
        at += is_end;
    }
}

/* A row that took others in: more fields than the header has, one of them over several lines. @return its
 * line, 0 = none. */
static uint32_t find_swallowing(const struct csv_log *log)
{
    size_t n_head = sm_csv_row(log->csv, log->head_idx).n_fields;
    for (size_t i = log->head_idx + 1; i < sm_csv_n_rows(log->csv); i++) {
        struct sm_csv_row row = sm_csv_row(log->csv, i);
        for (size_t k = 0;
             k < row.n_fields && row.n_fields >= n_head + n_head / 2 && has_more_fields(log, &row); k++) {
            if (strchr(row.field[k], '\n')) {
                return row.line;
            }
        }
    }
    return 0;
}

/* The bytes as text that can be changed. @return false when there are no such. */
static bool copy_text(struct sm_text *text, const char *data, size_t n)
{
    if (!text->data) {
        sm_text_add_decoded(text, data, n);
    }
    return !text->failed && text->data && !memchr(text->data, '\0', text->length);
}

/* A quote that never closes would swallow rows, or the rest of the file: its line is read without quotes, and
 * told. Once more for each of them. */
static enum sm_status parse_table(struct csv_log *log, const char *data, size_t n, char separator,
                                  struct sm_error *err)
{
    struct sm_text text = {0};
    log->n_open_quotes = 0;
    enum sm_status status = SM_OK;
    for (bool is_settled = false; !is_settled;) {
        struct sm_error why = {0};
        sm_csv_free(&log->csv);
        status = sm_csv_parse(&log->csv, text.data ? text.data : data, text.data ? text.length : n, separator,
                              log->build->input->source, &why);
        uint32_t line = status == SM_E_FORMAT                 ? why.line
                        : status == SM_OK && find_header(log) ? find_swallowing(log)
                                                              : 0;
        is_settled = !line || log->n_open_quotes == OPEN_QUOTES_MAX || !copy_text(&text, data, n);
        if (!is_settled) {
            log->open_quote[log->n_open_quotes++] = line;
            blank_quotes(text.data, line);
        } else if (status != SM_OK && err) {
            *err = why;
        }
    }
    sm_text_release(&text);
    return status;
}

/* The separator found by content can be fooled by what stands above the header; then the header itself tells
 * it. */
static enum sm_status open_table(struct csv_log *log, const char *data, size_t n, struct sm_error *err)
{
    static const char separators[] = {0, ';', ',', '\t', '|'};
    for (size_t k = 0; k < sizeof separators; k++) {
        enum sm_status status = parse_table(log, data, n, separators[k], err);
        if (status != SM_OK) {
            return status;
        }
        if (find_header(log)) {
            return SM_OK;
        }
    }
    return no_header_error(log, err);
}

static enum sm_status read_csv(struct sm_obslog_build *build, struct sm_error *err)
{
    struct csv_log log = {.build = build};
    enum sm_status status = open_table(&log, build->input->data, build->input->n, err);
    if (status == SM_OK) {
        status = read_table(&log, err);
    }
    sm_names_release(&log.inspections);
    sm_csv_free(&log.csv);
    return status;
}

/* Anything that is text and no XML can be CSV; every other format is surer of itself. */
static int probe_csv(const struct sm_obslog_input *input)
{
    const char *s = input->data;
    size_t n = input->n < 4096 ? input->n : 4096;
    if (n >= 2 && (memcmp(s, "\xff\xfe", 2) == 0 || memcmp(s, "\xfe\xff", 2) == 0)) {
        return !sm_obslog__xml_has(input, "<?xml");
    }
    for (size_t at = 0; at < n; at++) {
        if (!strchr(" \t\r\n\xef\xbb\xbf", s[at])) {
            return s[at] != '<' && !memchr(s, '\0', n);
        }
    }
    return 0;
}

const struct sm_obslog_reader sm_obslog__csv = {"csv", probe_csv, read_csv};
