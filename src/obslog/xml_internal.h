/*
 * Shape of the XML log formats as the walker sees them: an object (segment) holds inspections, an inspection
 * rows. A table says which element's text goes into which slot.
 */
#ifndef STOPMARK_OBSLOG_XML_INTERNAL_H
#define STOPMARK_OBSLOG_XML_INTERNAL_H

#include "obslog_internal.h"

/** Where the text of an element goes. Slots of an object are emptied when the next object opens, and so on
 * down. */
enum sm_xml_slot {
    SM_XML_ID,
    SM_XML_NODE_1,
    SM_XML_NODE_2,
    SM_XML_HEIGHT,
    SM_XML_WIDTH,
    SM_XML_MATERIAL,
    SM_XML_UNIT_LENGTH,
    SM_XML_LENGTH,
    SM_XML_DATE,
    SM_XML_DIRECTION,
    SM_XML_REFERENCE,
    SM_XML_VIDEO_VOLUME,
    SM_XML_VIDEO,
    SM_XML_DISTANCE,
    SM_XML_TIMECODE,
    SM_XML_FRAME,
    SM_XML_COUNTER,
    SM_XML_TIME,
    SM_XML_CODE,
    SM_XML_CH1,
    SM_XML_CH2,
    SM_XML_JOINT,
    SM_XML_Q1,
    SM_XML_Q2,
    SM_XML_CONTINUOUS,
    SM_XML_CONTINUOUS_ID,
    SM_XML_CLOCK_FROM,
    SM_XML_CLOCK_TO,
    SM_XML_PHOTO,
    SM_XML_GROUP,
    SM_XML_REMARK,
    SM_XML_FILM_NAME,
    SM_XML_FILM_PATH,
    SM_XML_FILM_IS_ABSOLUTE,
    SM_XML_FILM_VOLUME,
    SM_XML_FILM_FPS,
    SM_XML_FILM_OBJECT,
    SM_XML_FILM_DIRECTION,
    SM_XML_OFFSET_TIMECODE,
    SM_XML_OFFSET_FRAME,
    SM_XML_N_SLOTS
};
/** Names are without a namespace prefix; parent "" = any. */
struct sm_xml_rule {
    const char *parent, *name;
    enum sm_xml_slot slot;
};
struct sm_xml_other {
    const char *parent, *name;
};
struct sm_xml_format {
    const char *object, *inspection, *row; /**< element names */
    struct sm_xml_other other[2]; /**< an inspection that is of no pipe has this element; name NULL ends */
    const struct sm_xml_rule *rule;
    size_t n_rules;
    bool is_isybau;
};
enum sm_status sm_obslog__xml_read(struct sm_obslog_build *build, const struct sm_xml_format *format,
                                   struct sm_error *err) SM_CHECKED;

/* ---- times
 * ------------------------------------------------------------------------------------------------- */

/** Timecode frame -> frame of the video file, as the file says; in file order. */
struct sm_xml_offset {
    int64_t timecode_frame, file_frame;
};
/** HHMMSSFF as a number. @return false for minutes or seconds above 59. FF may be above the frame rate. */
bool sm_obslog__split_timecode(int64_t timecode, int64_t *seconds, int64_t *frames);
/** Video time of a timecode: through the offsets where there are any, else as it stands. Sorted by
 * timecode_frame. */
double sm_obslog__timecode_s(int64_t timecode, double fps, const struct sm_xml_offset *offset,
                             size_t n_offsets);

#endif
