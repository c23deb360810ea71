/*
 * The walk over an XML log with expat: elements go into slots by the format's table; a row that closes
 * becomes an entry. Films of an ISYBAU file stand behind the inspections, so that times are worked out when
 * all is read.
 *
 * Hostile input: a document type declaration is refused (no entities at all), depth and text are bounded, and
 * a file that breaks off keeps the rows before the break and says where it broke.
 */
#include "xml_internal.h"

#include <expat.h>
#include <limits.h>
#include <stdio.h>
#include <string.h>

enum { DEPTH_MAX = 64, NAME_MAX_BYTES = 64, TEXT_MAX_BYTES = 1 << 20, CHUNK_BYTES = 1 << 20 };
#define FPS_ASSUMED 25.0

/* How the video place of an entry was written. */
struct video_place {
    enum { PLACE_NONE, PLACE_TIMECODE, PLACE_FRAME } kind;
    int64_t value;
};

struct xml_walk {
    struct sm_obslog_build *build;
    const struct sm_xml_format *format;
    XML_Parser parser;
    enum sm_status status;
    struct sm_error *err;
    char name[DEPTH_MAX][NAME_MAX_BYTES];
    bool has_children[DEPTH_MAX];
    int depth; /* open elements */
    struct sm_text text;
    struct sm_text slot[SM_XML_N_SLOTS];
    struct sm_text extra; /* children of a row that have no slot */
    uint32_t line;        /* where the row in hand opens */
    bool is_begun, is_other;
    size_t n_other;
    /* of the inspection asked for */
    struct video_place *place; /* one an entry */
    size_t n_places, places_capacity;
    bool has_film;
    double fps; /* NAN = not said */
    struct sm_xml_offset *offset;
    size_t n_offsets, offsets_capacity;
    /* of the film in hand */
    struct sm_xml_offset *film_offset;
    size_t n_film_offsets, film_offsets_capacity;
};

static const char *slot(const struct xml_walk *walk, enum sm_xml_slot k)
{
    return sm_text_str(&walk->slot[k]);
}

static uint32_t current_line(const struct xml_walk *walk)
{
    return (uint32_t)XML_GetCurrentLineNumber(walk->parser);
}

/* Keep the first failure and end the parse. */
static void stop(struct xml_walk *walk, enum sm_status status)
{
    if (walk->status == SM_OK && status != SM_OK) {
        walk->status = status;
        if (status == SM_E_NOMEM) {
            sm_obslog__no_memory(walk->err);
        }
        XML_StopParser(walk->parser, XML_FALSE);
    }
}

static void refuse(struct xml_walk *walk, enum sm_status status, const char *what, const char *remedy)
{
    if (walk->status == SM_OK) {
        sm_error_at(walk->err, status, walk->build->input->source, current_line(walk),
                    (uint32_t)XML_GetCurrentColumnNumber(walk->parser) + 1, "%s", what);
        sm_error_remedy(walk->err, "%s", remedy);
        stop(walk, status);
    }
}

/* ---- inspections
 * ------------------------------------------------------------------------------------------- */

static enum sm_status read_size(struct xml_walk *walk, enum sm_xml_slot k, double least, double greatest,
                                const char *what, double *value)
{
    double number = SM_NAN;
    const char *text = slot(walk, k);
    if (!*text) {
        return SM_OK;
    }
    if (!sm_parse_number(text, &number) || !(number >= least && number <= greatest)) {
        bool is_blank = fabs(number) <= 0; /* programs write 0 for "not known" */
        return is_blank ? SM_OK
                        : sm_obslog__note(walk->build, current_line(walk),
                                          "the %s \"%.40s\" makes no sense, not used", what, text);
    }
    *value = number;
    return SM_OK;
}

static enum sm_status read_sizes(struct xml_walk *walk, struct sm_obslog_inspection *inspection)
{
    double height_mm = SM_NAN, width_mm = SM_NAN;
    enum sm_status status = read_size(walk, SM_XML_HEIGHT, 20, 10000, "profile height", &height_mm);
    if (status == SM_OK) {
        status = read_size(walk, SM_XML_WIDTH, 20, 10000, "profile width", &width_mm);
    }
    if (status == SM_OK) {
        status = read_size(walk, SM_XML_UNIT_LENGTH, 0.1, 50, "pipe unit length",
                           &inspection->segment.pipe_unit_length_m);
    }
    if (status == SM_OK) {
        status = read_size(walk, SM_XML_LENGTH, 0.01, 100000, "length", &inspection->inspection_length_m);
    }
    inspection->segment.diameter_mm = isnan(height_mm) ? width_mm : height_mm;
    if (status == SM_OK && (height_mm < width_mm || height_mm > width_mm)) {
        status = sm_obslog__note(walk->build, current_line(walk),
                                 "the pipe is not round (%s x %s mm), the height is used as diameter",
                                 slot(walk, SM_XML_HEIGHT), slot(walk, SM_XML_WIDTH));
    }
    return status;
}

/* O and I go with the flow, U and G against it: "von oben", "in", "von unten", "gegen" the flow. */
static void read_direction(const struct xml_walk *walk, struct sm_obslog_inspection *inspection)
{
    const char *direction = slot(walk, SM_XML_DIRECTION);
    bool is_down = sm_ascii_ieq(direction, walk->format->is_isybau ? "O" : "I");
    bool is_up = sm_ascii_ieq(direction, walk->format->is_isybau ? "U" : "G");
    struct sm_segment *segment = &inspection->segment;
    segment->flow = is_down ? SM_FLOW_FROM_TO : is_up ? SM_FLOW_TO_FROM : SM_FLOW_UNKNOWN;
    segment->from = slot(walk, is_up ? SM_XML_NODE_2 : SM_XML_NODE_1);
    segment->to = slot(walk, is_up ? SM_XML_NODE_1 : SM_XML_NODE_2);
    inspection->is_against_flow = is_up;
}

/* ISYBAU BezugspunktLage: 1 centre of the manhole, 2 inner face of its wall, 3 pipe end, 4 midway between the
 * pipes. */
static void read_datum(const struct xml_walk *walk, struct sm_obslog_inspection *inspection)
{
    static const enum sm_datum datums[] = {SM_DATUM_MANHOLE_CENTRE, SM_DATUM_MANHOLE_WALL, SM_DATUM_PIPE_EDGE,
                                           SM_DATUM_MANHOLE_CENTRE};
    int64_t number;
    if (walk->format->is_isybau && sm_parse_int(slot(walk, SM_XML_REFERENCE), 1, 4, &number)) {
        inspection->has_datum = true;
        inspection->datum = datums[number - 1];
    }
}

static void begin_inspection(struct xml_walk *walk)
{
    struct sm_obslog_inspection inspection = sm_obslog__inspection_none(current_line(walk));
    const char *video = slot(walk, SM_XML_VIDEO);
    char date[40];
    walk->is_begun = true;
    inspection.segment.id = slot(walk, SM_XML_ID);
    inspection.segment.material = sm_obslog__material_short(slot(walk, SM_XML_MATERIAL));
    sm_obslog__tidy_date(date, sizeof date, slot(walk, SM_XML_DATE));
    inspection.date = date;
    read_direction(walk, &inspection);
    read_datum(walk, &inspection);
    sm_obslog__announce(walk->build, inspection.segment.id);
    enum sm_status status = read_sizes(walk, &inspection);
    if (status == SM_OK && *video) {
        inspection.video = sm_obslog__beside(walk->build, video);
        status = inspection.video ? SM_OK : SM_E_NOMEM;
    }
    stop(walk, status == SM_OK ? sm_obslog__begin(walk->build, &inspection, walk->err) : status);
}

/* ---- rows
 * -------------------------------------------------------------------------------------------------- */

/* Where the row stands in the video; the time is worked out once the film is known. */
static struct video_place read_place(struct xml_walk *walk, enum sm_status *status)
{
    struct video_place place = {PLACE_NONE, 0};
    int64_t seconds, frames;
    const char *timecode = slot(walk, SM_XML_TIMECODE), *frame = slot(walk, SM_XML_FRAME);
    if (*timecode) {
        place.kind = sm_parse_int(timecode, 0, 99999999, &place.value) &&
                             sm_obslog__split_timecode(place.value, &seconds, &frames)
                         ? PLACE_TIMECODE
                         : PLACE_NONE;
    } else if (*frame) {
        place.kind = sm_parse_int(frame, 0, INT32_MAX, &place.value) ? PLACE_FRAME : PLACE_NONE;
    }
    if ((*timecode || *frame) && place.kind == PLACE_NONE) {
        *status =
            sm_obslog__odd(walk->build, walk->line, "the video place \"%.40s\" cannot be read, not used",
                           *timecode ? timecode : frame);
    }
    return place;
}

static double place_s(const struct video_place *place, double fps, const struct sm_xml_offset *offset,
                      size_t n_offsets)
{
    switch (place->kind) {
    case PLACE_TIMECODE:
        return sm_obslog__timecode_s(place->value, fps, offset, n_offsets);
    case PLACE_FRAME:
        return (double)place->value / fps;
    case PLACE_NONE:
        break;
    }
    return SM_NAN;
}

/* A time for the row as text: hh:mm:ss as written, a counter as (H)MMSS, or a stand-in that finish_times()
 * replaces. */
static void write_time(struct xml_walk *walk, const struct video_place *place, struct sm_text *time,
                       const char **unit)
{
    *unit = "";
    if (place->kind != PLACE_NONE) {
        sm_text_add_fixed(time, place_s(place, FPS_ASSUMED, NULL, 0), 3);
    } else if (walk->slot[SM_XML_COUNTER].length) {
        sm_text_add(time, slot(walk, SM_XML_COUNTER));
        *unit = "hmmss";
    } else {
        sm_text_add(time, slot(walk, SM_XML_TIME));
    }
}

static enum sm_status keep_place(struct xml_walk *walk, const struct video_place *place, size_t n_before)
{
    if (walk->build->log->n_entries == n_before) {
        return SM_OK; /* the row became a finding */
    }
    enum sm_status status =
        sm_grow(&walk->place, walk->n_places, &walk->places_capacity, sizeof *walk->place);
    if (status == SM_OK) {
        walk->place[walk->n_places++] = *place;
    }
    return status;
}

static void fill_fields(const struct xml_walk *walk, struct sm_obslog_fields *fields)
{
    fields->distance = slot(walk, SM_XML_DISTANCE);
    fields->distance_unit = "m";
    fields->code = slot(walk, SM_XML_CODE);
    fields->ch1 = slot(walk, SM_XML_CH1);
    fields->ch2 = slot(walk, SM_XML_CH2);
    fields->q1 = slot(walk, SM_XML_Q1);
    fields->q2 = slot(walk, SM_XML_Q2);
    fields->clock_from = slot(walk, SM_XML_CLOCK_FROM);
    fields->clock_to = slot(walk, SM_XML_CLOCK_TO);
    fields->joint = slot(walk, SM_XML_JOINT);
    fields->photo = slot(walk, SM_XML_PHOTO);
    fields->group = slot(walk, SM_XML_GROUP);
}

static enum sm_status add_row(struct xml_walk *walk)
{
    struct sm_obslog_fields fields = {0};
    struct sm_text time = {0}, continuous = {0}, remark = {0};
    enum sm_status status = SM_OK;
    size_t n_before = walk->build->log->n_entries;
    struct video_place place = read_place(walk, &status);
    fill_fields(walk, &fields);
    write_time(walk, &place, &time, &fields.time_unit);
    sm_text_addf(&continuous, "%s%s", slot(walk, SM_XML_CONTINUOUS), slot(walk, SM_XML_CONTINUOUS_ID));
    sm_text_add(&remark, slot(walk, SM_XML_REMARK));
    if (walk->extra.length) {
        sm_text_addf(&remark, "%s%s", remark.length ? "; " : "", sm_text_str(&walk->extra));
    }
    fields.time = sm_text_str(&time);
    fields.continuous = sm_text_str(&continuous);
    fields.remark = sm_text_str(&remark);
    if (time.failed || continuous.failed || remark.failed) {
        status = SM_E_NOMEM;
    }
    if (status == SM_OK) {
        status = sm_obslog__add_fields(walk->build, walk->line, &fields, walk->err);
    }
    if (status == SM_OK) {
        status = keep_place(walk, &place, n_before);
    }
    sm_text_release(&time);
    sm_text_release(&continuous);
    sm_text_release(&remark);
    return status;
}

static void close_row(struct xml_walk *walk)
{
    if (!walk->is_begun) {
        begin_inspection(walk);
    }
    if (walk->status == SM_OK && sm_obslog__count_row(walk->build)) {
        stop(walk, add_row(walk));
    }
}

/* ---- films
 * ------------------------------------------------------------------------------------------------- */

static void close_offset(struct xml_walk *walk)
{
    struct sm_xml_offset offset;
    if (!sm_parse_int(slot(walk, SM_XML_OFFSET_TIMECODE), 0, INT64_MAX / 4, &offset.timecode_frame) ||
        !sm_parse_int(slot(walk, SM_XML_OFFSET_FRAME), 0, INT64_MAX / 4, &offset.file_frame)) {
        stop(walk, sm_obslog__note(walk->build, current_line(walk),
                                   "an offset between timecode and film cannot be read, not used"));
        return;
    }
    enum sm_status status = sm_grow(&walk->film_offset, walk->n_film_offsets, &walk->film_offsets_capacity,
                                    sizeof *walk->film_offset);
    if (status == SM_OK) {
        walk->film_offset[walk->n_film_offsets++] = offset;
    }
    stop(walk, status);
}

/* By insertion: a file has a handful. */
static void sort_offsets(struct sm_xml_offset *offset, size_t n)
{
    for (size_t k = 1; k < n; k++) {
        for (size_t i = k; i > 0 && offset[i].timecode_frame < offset[i - 1].timecode_frame; i--) {
            struct sm_xml_offset swap = offset[i];
            offset[i] = offset[i - 1];
            offset[i - 1] = swap;
        }
    }
}

/* The film's path as opened; absolute ones of another machine are looked for beside the log. */
static const char *film_path(struct xml_walk *walk)
{
    struct sm_text name = {0};
    const char *folder = slot(walk, SM_XML_FILM_PATH);
    bool is_absolute = sm_ascii_ieq(slot(walk, SM_XML_FILM_IS_ABSOLUTE), "1") ||
                       sm_ascii_ieq(slot(walk, SM_XML_FILM_IS_ABSOLUTE), "true");
    if (*folder && !is_absolute) {
        sm_text_add(&name, folder);
        sm_text_add(&name, "/");
    }
    sm_text_add(&name, slot(walk, SM_XML_FILM_NAME));
    const char *path = name.failed ? NULL : sm_obslog__beside(walk->build, sm_text_str(&name));
    sm_text_release(&name);
    return path;
}

static bool is_film_of(const struct xml_walk *walk, const struct sm_segment *segment, bool is_against_flow)
{
    const char *direction = slot(walk, SM_XML_FILM_DIRECTION);
    bool is_same_way = !*direction || sm_ascii_ieq(direction, is_against_flow ? "U" : "O");
    return segment->id && strcmp(segment->id, slot(walk, SM_XML_FILM_OBJECT)) == 0 && is_same_way;
}

static void film_of_list(struct xml_walk *walk, const char *path)
{
    struct sm_obslog_list *list = walk->build->list;
    for (size_t k = 0; k < list->n_inspections; k++) {
        struct sm_obslog_inspection *inspection = &list->inspection[k];
        if (!inspection->video && is_film_of(walk, &inspection->segment, inspection->is_against_flow)) {
            inspection->video = path;
        }
    }
}

/* Offsets go over to the log with their film. */
static void film_of_log(struct xml_walk *walk, const char *path)
{
    struct sm_obslog *log = walk->build->log;
    double fps;
    if (walk->has_film || !walk->build->has_taken || !is_film_of(walk, &log->segment, log->is_against_flow)) {
        return;
    }
    walk->has_film = true;
    log->video = log->video ? log->video : path;
    walk->fps = sm_parse_number(slot(walk, SM_XML_FILM_FPS), &fps) && fps >= 1 && fps <= 240 ? fps : SM_NAN;
    struct sm_xml_offset *spare = walk->offset;
    size_t spare_capacity = walk->offsets_capacity;
    walk->offset = walk->film_offset;
    walk->offsets_capacity = walk->film_offsets_capacity;
    walk->n_offsets = walk->n_film_offsets;
    walk->film_offset = spare;
    walk->film_offsets_capacity = spare_capacity;
    walk->n_film_offsets = 0;
    sort_offsets(walk->offset, walk->n_offsets);
}

static void close_film_object(struct xml_walk *walk)
{
    const char *path = film_path(walk);
    if (!path) {
        stop(walk, SM_E_NOMEM);
    } else if (walk->build->list) {
        film_of_list(walk, path);
    } else {
        film_of_log(walk, path);
    }
}

/* Times of timecodes and frames, now that the frame rate is known. */
static enum sm_status finish_times(struct xml_walk *walk)
{
    bool has_frames = false;
    double fps = isnan(walk->fps) ? FPS_ASSUMED : walk->fps;
    for (size_t k = 0; k < walk->n_places; k++) {
        if (walk->place[k].kind != PLACE_NONE) {
            walk->build->log->entry[k].time_s = place_s(&walk->place[k], fps, walk->offset, walk->n_offsets);
        }
        has_frames = has_frames || walk->place[k].kind == PLACE_FRAME;
    }
    if (has_frames && isnan(walk->fps)) {
        return sm_obslog__note(walk->build, 0,
                               "the log counts frames and does not say how many a second; 25 is assumed");
    }
    return SM_OK;
}

/* ---- elements
 * ---------------------------------------------------------------------------------------------- */

static void clear_slots(struct xml_walk *walk, enum sm_xml_slot first, enum sm_xml_slot last)
{
    for (int k = (int)first; k <= (int)last; k++) {
        sm_text_clear(&walk->slot[k]);
    }
}

static const char *parent(const struct xml_walk *walk)
{
    return walk->depth > 1 ? walk->name[walk->depth - 2] : "";
}

/* An inspection of something that is no pipe. */
static bool is_other_kind(const struct xml_walk *walk, const char *name)
{
    for (size_t k = 0; k < 2 && walk->format->other[k].name; k++) {
        const struct sm_xml_other *other = &walk->format->other[k];
        if (strcmp(other->name, name) == 0 && strcmp(other->parent, parent(walk)) == 0) {
            return true;
        }
    }
    return false;
}

static void XMLCALL on_open(void *user, const XML_Char *name, const XML_Char **attributes)
{
    struct xml_walk *walk = user;
    const struct sm_xml_format *format = walk->format;
    const char *colon = strrchr(name, ':');
    (void)attributes;
    if (walk->status != SM_OK) {
        return; /* expat may still call after it was stopped */
    }
    if (walk->depth == DEPTH_MAX) {
        refuse(walk, SM_E_RANGE, "elements are nested deeper than any log of this format",
               "export the log again");
        return;
    }
    if (walk->depth > 0) {
        walk->has_children[walk->depth - 1] = true;
    }
    walk->has_children[walk->depth] = false;
    sm_strcopy(walk->name[walk->depth++], NAME_MAX_BYTES, colon ? colon + 1 : name);
    sm_text_clear(&walk->text);
    const char *local = walk->name[walk->depth - 1];
    if (strcmp(local, format->object) == 0) {
        clear_slots(walk, SM_XML_ID, SM_XML_VIDEO);
    } else if (strcmp(local, format->inspection) == 0) {
        clear_slots(walk, format->is_isybau ? SM_XML_NODE_1 : SM_XML_DATE, SM_XML_VIDEO);
        walk->is_begun = walk->is_other = false;
    } else if (strcmp(local, format->row) == 0) {
        clear_slots(walk, SM_XML_DISTANCE, SM_XML_REMARK);
        sm_text_clear(&walk->extra);
        walk->line = current_line(walk);
    } else if (is_other_kind(walk, local)) {
        walk->is_other = true;
        walk->n_other++;
    } else if (strcmp(local, "Film") == 0) {
        clear_slots(walk, SM_XML_FILM_NAME, SM_XML_OFFSET_FRAME);
        walk->n_film_offsets = 0;
    } else if (strcmp(local, "FilmObjekt") == 0) {
        clear_slots(walk, SM_XML_FILM_OBJECT, SM_XML_FILM_DIRECTION);
    }
}

static void XMLCALL on_text(void *user, const XML_Char *s, int n)
{
    struct xml_walk *walk = user;
    if (walk->status != SM_OK) {
        return;
    }
    if (walk->text.length + (size_t)n > TEXT_MAX_BYTES) {
        refuse(walk, SM_E_RANGE, "an element holds more text than any log has", "export the log again");
        return;
    }
    sm_text_add_n(&walk->text, s, (size_t)n);
    stop(walk, walk->text.failed ? SM_E_NOMEM : SM_OK);
}

/* A child of a row without a slot of its own is kept as name=value. */
static void keep_extra(struct xml_walk *walk, const char *name, const char *text)
{
    if (*text && strcmp(parent(walk), walk->format->row) == 0 && !walk->has_children[walk->depth - 1]) {
        sm_text_addf(&walk->extra, "%s%s=%s", walk->extra.length ? "; " : "", name, text);
    }
}

static void take_text(struct xml_walk *walk, const char *name, const char *text)
{
    for (size_t k = 0; k < walk->format->n_rules; k++) {
        const struct sm_xml_rule *rule = &walk->format->rule[k];
        if (strcmp(rule->name, name) == 0 && (!*rule->parent || strcmp(rule->parent, parent(walk)) == 0)) {
            struct sm_text *to = &walk->slot[rule->slot];
            if (rule->slot == SM_XML_REMARK && to->length && *text) {
                sm_text_add(to, "; ");
            } else if (rule->slot != SM_XML_REMARK) {
                sm_text_clear(to);
            }
            sm_text_add(to, text);
            stop(walk, to->failed ? SM_E_NOMEM : SM_OK);
            return;
        }
    }
    keep_extra(walk, name, text);
}

static void XMLCALL on_close(void *user, const XML_Char *full_name)
{
    struct xml_walk *walk = user;
    const struct sm_xml_format *format = walk->format;
    (void)full_name;
    if (walk->status != SM_OK) {
        return;
    }
    const char *name = walk->name[walk->depth - 1];
    char *text = walk->text.data ? sm_trim(walk->text.data) : NULL;
    if (walk->extra.failed) {
        stop(walk, SM_E_NOMEM);
    } else if (strcmp(name, format->row) == 0 && !walk->is_other) {
        close_row(walk);
    } else if (strcmp(name, format->inspection) == 0) {
        if (!walk->is_other && !walk->is_begun) {
            begin_inspection(walk);
        }
    } else if (strcmp(name, "Offset") == 0) {
        close_offset(walk);
    } else if (strcmp(name, "FilmObjekt") == 0) {
        close_film_object(walk);
    } else {
        take_text(walk, name, text ? text : "");
    }
    walk->depth--;
    sm_text_clear(&walk->text);
}

static void XMLCALL on_doctype(void *user, const XML_Char *name, const XML_Char *system_id,
                               const XML_Char *public_id, int has_subset)
{
    (void)name;
    (void)system_id;
    (void)public_id;
    (void)has_subset;
    refuse(user, SM_E_UNSUPPORTED,
           "the file has a document type declaration; logs have none, and none is read",
           "take the <!DOCTYPE ...> out, or export the log again");
}

/* Windows-1252 and ISO-8859-15 differ from Latin-1, which expat knows, in a few signs no field of a log
 * needs. */
static int XMLCALL on_encoding(void *user, const XML_Char *name, XML_Encoding *info)
{
    static const int upper[32] = {0x20AC, -1,     0x201A, 0x192,  0x201E, 0x2026, 0x2020, 0x2021,
                                  0x2C6,  0x2030, 0x160,  0x2039, 0x152,  -1,     0x17D,  -1,
                                  -1,     0x2018, 0x2019, 0x201C, 0x201D, 0x2022, 0x2013, 0x2014,
                                  0x2DC,  0x2122, 0x161,  0x203A, 0x153,  -1,     0x17E,  0x178};
    bool is_1252 = sm_ascii_ieq(name, "windows-1252") || sm_ascii_ieq(name, "cp1252");
    (void)user;
    if (!is_1252 && !sm_ascii_ieq(name, "ISO-8859-15") && !sm_ascii_ieq(name, "latin1") &&
        !sm_ascii_ieq(name, "ISO8859-1")) {
        return XML_STATUS_ERROR;
    }
    for (int c = 0; c < 256; c++) {
        info->map[c] = is_1252 && c >= 0x80 && c < 0xA0 ? upper[c - 0x80] : c;
    }
    info->data = NULL;
    info->convert = NULL;
    info->release = NULL;
    return XML_STATUS_OK;
}

/* ---- the file
 * ---------------------------------------------------------------------------------------------- */

/* Does the XML declaration name an encoding other than UTF-8? */
static bool names_other_encoding(const struct sm_obslog_input *input)
{
    char head[200], name[32];
    size_t n = input->n < sizeof head - 1 ? input->n : sizeof head - 1;
    memcpy(head, input->data, n);
    head[n] = '\0';
    const char *end = strstr(head, "?>");
    const char *said = strstr(head, "encoding=");
    if (!end || !said || said > end) {
        return false;
    }
    said += strlen("encoding=") + 1;
    n = strcspn(said, "\"'?");
    n = n < sizeof name - 1 ? n : sizeof name - 1;
    memcpy(name, said, n);
    name[n] = '\0';
    return !sm_ascii_ieq(name, "UTF-8");
}

/* A file that says UTF-8, or nothing, and is none: read as Latin-1. NULL = as it says. */
static const char *encoding_override(const struct sm_obslog_input *input)
{
    bool is_utf16 =
        input->n >= 2 && (memcmp(input->data, "\xff\xfe", 2) == 0 || memcmp(input->data, "\xfe\xff", 2) == 0);
    return is_utf16 || names_other_encoding(input) || sm_utf8_valid(input->data, input->n) ? NULL
                                                                                           : "ISO-8859-1";
}

static enum sm_status broken_off(struct xml_walk *walk)
{
    uint32_t line = current_line(walk), column = (uint32_t)XML_GetCurrentColumnNumber(walk->parser) + 1;
    const char *why = XML_ErrorString(XML_GetErrorCode(walk->parser));
    if (walk->build->list && walk->build->list->n_inspections > 0) {
        return SM_OK; /* reading one of them tells */
    }
    if (!walk->build->list && walk->build->has_taken && walk->build->log->n_entries > 0) {
        return sm_obslog__lost(
            walk->build, line,
            "the XML breaks off in line %u column %u (%s); only the rows before it are read", (unsigned)line,
            (unsigned)column, why);
    }
    sm_error_at(walk->err, SM_E_FORMAT, walk->build->input->source, line, column, "the XML is broken: %s",
                why);
    sm_error_remedy(walk->err, "export the log again, or have it repaired at this place");
    return SM_E_FORMAT;
}

static enum sm_status feed(struct xml_walk *walk)
{
    const struct sm_obslog_input *input = walk->build->input;
    for (size_t at = 0;;) {
        size_t n = input->n - at < CHUNK_BYTES ? input->n - at : CHUNK_BYTES;
        bool is_last = at + n == input->n;
        enum XML_Status done = XML_Parse(walk->parser, input->data + at, (int)n, is_last);
        if (walk->status != SM_OK) {
            return walk->status;
        }
        if (done != XML_STATUS_OK) {
            return broken_off(walk);
        }
        if (is_last) {
            return SM_OK;
        }
        at += n;
    }
}

static enum sm_status note_others(struct xml_walk *walk)
{
    if (walk->n_other == 0) {
        return SM_OK;
    }
    return sm_obslog__note(walk->build, 0, "%zu inspections of manholes or other structures are not read",
                           walk->n_other);
}

static enum sm_status walk_file(struct xml_walk *walk)
{
    const char *encoding = encoding_override(walk->build->input);
    walk->parser = XML_ParserCreate(encoding);
    if (!walk->parser) {
        return SM_E_NOMEM;
    }
    XML_SetUserData(walk->parser, walk);
    XML_SetElementHandler(walk->parser, on_open, on_close);
    XML_SetCharacterDataHandler(walk->parser, on_text);
    XML_SetStartDoctypeDeclHandler(walk->parser, on_doctype);
    XML_SetUnknownEncodingHandler(walk->parser, on_encoding, NULL);
    enum sm_status status = SM_OK;
    if (encoding) {
        status = sm_obslog__note(walk->build, 1, "the file is not the UTF-8 it should be; read as Latin-1");
    }
    if (status == SM_OK) {
        status = feed(walk);
    }
    if (status == SM_OK && !walk->build->list) {
        status = finish_times(walk);
    }
    return status == SM_OK ? note_others(walk) : status;
}

enum sm_status sm_obslog__xml_read(struct sm_obslog_build *build, const struct sm_xml_format *format,
                                   struct sm_error *err)
{
    struct xml_walk *walk = sm_calloc(1, sizeof *walk);
    if (!walk) {
        return sm_obslog__no_memory(err);
    }
    walk->build = build;
    walk->format = format;
    walk->err = err;
    walk->fps = SM_NAN;
    enum sm_status status = walk_file(walk);
    if (walk->parser) {
        XML_ParserFree(walk->parser);
    }
    for (int k = 0; k < SM_XML_N_SLOTS; k++) {
        sm_text_release(&walk->slot[k]);
    }
    sm_text_release(&walk->text);
    sm_text_release(&walk->extra);
    sm_free(walk->place);
    sm_free(walk->offset);
    sm_free(walk->film_offset);
    sm_free(walk);
    return status == SM_E_NOMEM ? sm_obslog__no_memory(err) : status;
}

/* Works for UTF-16 too, where every other byte is zero. */
bool sm_obslog__xml_has(const struct sm_obslog_input *input, const char *name)
{
    size_t n = input->n < 65536 ? input->n : 65536, n_name = strlen(name), found = 0;
    for (size_t at = 0; at < n; at++) {
        char c = input->data[at];
        if (c == '\0') {
            continue;
        }
        found = c == name[found] ? found + 1 : c == name[0] ? 1 : 0;
        if (found == n_name) {
            return true;
        }
    }
    return false;
}
