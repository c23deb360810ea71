/*
 * Inspections and rows of an XML log: the texts in the slots become an inspection or an entry. Films of an
 * ISYBAU file stand behind the inspections, so that times are worked out when all is read.
 */
#include "xml_internal.h"

#include <limits.h>
#include <stdio.h>
#include <string.h>

/* ---- inspections
 * ------------------------------------------------------------------------------------------- */

static enum sm_status read_size(struct sm_xml_walk *walk, enum sm_xml_slot k, double least, double greatest,
                                const char *what, double *value)
{
    double number = SM_NAN;
    const char *text = sm_obslog__xml_slot(walk, k);
    if (!*text) {
        return SM_OK;
    }
    if (!sm_parse_number(text, &number) || !(number >= least && number <= greatest)) {
        bool is_blank = fabs(number) <= 0; /* programs write 0 for "not known" */
        return is_blank ? SM_OK
                        : sm_obslog__note(walk->build, sm_obslog__xml_line(walk),
                                          "the %s \"%.40s\" makes no sense, not used", what, text);
    }
    *value = number;
    return SM_OK;
}

static enum sm_status read_sizes(struct sm_xml_walk *walk, struct sm_obslog_inspection *inspection)
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
        status = sm_obslog__note(walk->build, sm_obslog__xml_line(walk),
                                 "the pipe is not round (%s x %s mm), the height is used as diameter",
                                 sm_obslog__xml_slot(walk, SM_XML_HEIGHT),
                                 sm_obslog__xml_slot(walk, SM_XML_WIDTH));
    }
    return status;
}

/* O and I go with the flow, U and G against it: "von oben", "in", "von unten", "gegen" the flow. */
static void read_direction(const struct sm_xml_walk *walk, struct sm_obslog_inspection *inspection)
{
    const char *direction = sm_obslog__xml_slot(walk, SM_XML_DIRECTION);
    bool is_down = sm_ascii_ieq(direction, walk->format->is_isybau ? "O" : "I");
    bool is_up = sm_ascii_ieq(direction, walk->format->is_isybau ? "U" : "G");
    struct sm_segment *segment = &inspection->segment;
    segment->flow = is_down ? SM_FLOW_FROM_TO : is_up ? SM_FLOW_TO_FROM : SM_FLOW_UNKNOWN;
    segment->from = sm_obslog__xml_slot(walk, is_up ? SM_XML_NODE_2 : SM_XML_NODE_1);
    segment->to = sm_obslog__xml_slot(walk, is_up ? SM_XML_NODE_1 : SM_XML_NODE_2);
    inspection->is_against_flow = is_up;
}

/* ISYBAU BezugspunktLage: 1 centre of the manhole, 2 inner face of its wall, 3 pipe end, 4 midway between the
 * pipes. */
static void read_datum(const struct sm_xml_walk *walk, struct sm_obslog_inspection *inspection)
{
    static const enum sm_datum datums[] = {SM_DATUM_MANHOLE_CENTRE, SM_DATUM_MANHOLE_WALL, SM_DATUM_PIPE_EDGE,
                                           SM_DATUM_MANHOLE_CENTRE};
    int64_t number;
    if (walk->format->is_isybau && sm_parse_int(sm_obslog__xml_slot(walk, SM_XML_REFERENCE), 1, 4, &number)) {
        inspection->has_datum = true;
        inspection->datum = datums[number - 1];
    }
}

void sm_obslog__xml_begin_inspection(struct sm_xml_walk *walk)
{
    struct sm_obslog_inspection inspection = sm_obslog__inspection_none(sm_obslog__xml_line(walk));
    const char *video = sm_obslog__xml_slot(walk, SM_XML_VIDEO);
    char date[40];
    walk->is_begun = true;
    sm_obslog__announce(walk->build);
    inspection.segment.id = sm_obslog__xml_slot(walk, SM_XML_ID);
    inspection.segment.material = sm_obslog__material_short(sm_obslog__xml_slot(walk, SM_XML_MATERIAL));
    sm_obslog__tidy_date(date, sizeof date, sm_obslog__xml_slot(walk, SM_XML_DATE));
    inspection.date = date;
    read_direction(walk, &inspection);
    read_datum(walk, &inspection);
    enum sm_status status = read_sizes(walk, &inspection);
    if (status == SM_OK && *video) {
        inspection.video = sm_obslog__beside(walk->build, video);
        status = inspection.video ? SM_OK : SM_E_NOMEM;
    }
    if (status == SM_OK) {
        status = sm_obslog__begin(walk->build, &inspection, walk->err);
    }
    sm_obslog__xml_stop(walk, status == SM_OK ? sm_obslog__xml_expect_film(walk) : status);
}

/* ---- rows
 * -------------------------------------------------------------------------------------------------- */

/* Where the row stands in the video; the time is worked out once the film is known. */
static struct sm_xml_place read_place(struct sm_xml_walk *walk, enum sm_status *status)
{
    struct sm_xml_place place = {SM_XML_PLACE_NONE, 0};
    int64_t seconds, frames;
    const char *timecode = sm_obslog__xml_slot(walk, SM_XML_TIMECODE),
               *frame = sm_obslog__xml_slot(walk, SM_XML_FRAME);
    if (*timecode) {
        place.kind = sm_parse_int(timecode, 0, 99999999, &place.value) &&
                             sm_obslog__split_timecode(place.value, &seconds, &frames)
                         ? SM_XML_PLACE_TIMECODE
                         : SM_XML_PLACE_NONE;
    } else if (*frame) {
        place.kind = sm_parse_int(frame, 0, INT32_MAX, &place.value) ? SM_XML_PLACE_FRAME : SM_XML_PLACE_NONE;
    }
    if ((*timecode || *frame) && place.kind == SM_XML_PLACE_NONE) {
        *status =
            sm_obslog__odd(walk->build, walk->line, "the video place \"%.40s\" cannot be read, not used",
                           *timecode ? timecode : frame);
    }
    return place;
}

static double place_s(const struct sm_xml_place *place, double fps, const struct sm_xml_film *film)
{
    switch (place->kind) {
    case SM_XML_PLACE_TIMECODE:
        return sm_obslog__timecode_s(place->value, fps, film ? film->offset : NULL,
                                     film ? film->n_offsets : 0);
    case SM_XML_PLACE_FRAME:
        return (double)place->value / fps;
    case SM_XML_PLACE_NONE:
        break;
    }
    return SM_NAN;
}

/* A time for the row as text: hh:mm:ss as written, a counter as (H)MMSS, or a stand-in that finish_times()
 * replaces. */
static void write_time(struct sm_xml_walk *walk, const struct sm_xml_place *place, struct sm_text *time,
                       const char **unit)
{
    *unit = "";
    if (place->kind != SM_XML_PLACE_NONE) {
        sm_text_add_fixed(time, place_s(place, SM_XML_FPS_ASSUMED, NULL), 3);
    } else if (walk->slot[SM_XML_COUNTER].length) {
        sm_text_add(time, sm_obslog__xml_slot(walk, SM_XML_COUNTER));
        *unit = "hmmss";
    } else {
        sm_text_add(time, sm_obslog__xml_slot(walk, SM_XML_TIME));
    }
}

static enum sm_status keep_place(struct sm_xml_walk *walk, const struct sm_xml_place *place, size_t n_before)
{
    if (walk->build->file->n_entries == n_before) {
        return SM_OK; /* the row became a finding */
    }
    enum sm_status status =
        sm_grow(&walk->place, walk->n_places, &walk->places_capacity, sizeof *walk->place);
    if (status == SM_OK) {
        walk->place[walk->n_places++] = *place;
    }
    return status;
}

static void fill_fields(const struct sm_xml_walk *walk, struct sm_obslog_fields *fields)
{
    fields->distance = sm_obslog__xml_slot(walk, SM_XML_DISTANCE);
    fields->distance_unit = "m";
    fields->code = sm_obslog__xml_slot(walk, SM_XML_CODE);
    fields->ch1 = sm_obslog__xml_slot(walk, SM_XML_CH1);
    fields->ch2 = sm_obslog__xml_slot(walk, SM_XML_CH2);
    fields->q1 = sm_obslog__xml_slot(walk, SM_XML_Q1);
    fields->q2 = sm_obslog__xml_slot(walk, SM_XML_Q2);
    fields->clock_from = sm_obslog__xml_slot(walk, SM_XML_CLOCK_FROM);
    fields->clock_to = sm_obslog__xml_slot(walk, SM_XML_CLOCK_TO);
    fields->joint = sm_obslog__xml_slot(walk, SM_XML_JOINT);
    fields->photo = sm_obslog__xml_slot(walk, SM_XML_PHOTO);
    fields->group = sm_obslog__xml_slot(walk, SM_XML_GROUP);
}

static enum sm_status add_row(struct sm_xml_walk *walk)
{
    struct sm_obslog_fields fields = {0};
    struct sm_text time = {0}, continuous = {0}, remark = {0};
    enum sm_status status = SM_OK;
    size_t n_before = walk->build->file->n_entries;
    struct sm_xml_place place = read_place(walk, &status);
    fill_fields(walk, &fields);
    write_time(walk, &place, &time, &fields.time_unit);
    sm_text_addf(&continuous, "%s%s", sm_obslog__xml_slot(walk, SM_XML_CONTINUOUS),
                 sm_obslog__xml_slot(walk, SM_XML_CONTINUOUS_ID));
    sm_text_add(&remark, sm_obslog__xml_slot(walk, SM_XML_REMARK));
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

void sm_obslog__xml_close_row(struct sm_xml_walk *walk)
{
    if (!walk->is_begun) {
        sm_obslog__xml_begin_inspection(walk);
    }
    if (walk->status == SM_OK) {
        sm_obslog__count_row(walk->build);
        sm_obslog__xml_stop(walk, add_row(walk));
    }
}

/* ---- times
 * ------------------------------------------------------------------------------------------------- */

/* Times of timecodes and frames of one inspection, now that its film is known. */
static enum sm_status finish_part(struct sm_xml_walk *walk, size_t part_idx)
{
    const struct sm_obslog_file *file = walk->build->file;
    const struct sm_xml_film *film = &walk->film[part_idx];
    bool has_frames = false;
    double fps = isnan(film->fps) ? SM_XML_FPS_ASSUMED : film->fps;
    for (size_t k = file->part[part_idx].entries.first; k != SM_OBSLOG_NONE; k = file->entry[k].next) {
        if (walk->place[k].kind != SM_XML_PLACE_NONE) {
            file->entry[k].entry.time_s = place_s(&walk->place[k], fps, film);
        }
        has_frames = has_frames || walk->place[k].kind == SM_XML_PLACE_FRAME;
    }
    if (!has_frames || !isnan(film->fps)) {
        return SM_OK;
    }
    sm_obslog__resume(walk->build, part_idx);
    return sm_obslog__note(walk->build, 0,
                           "the log counts frames and does not say how many a second; 25 is assumed");
}

enum sm_status sm_obslog__xml_finish_times(struct sm_xml_walk *walk)
{
    enum sm_status status = SM_OK;
    for (size_t k = 0; status == SM_OK && k < walk->n_films; k++) {
        status = finish_part(walk, k);
    }
    return status;
}
