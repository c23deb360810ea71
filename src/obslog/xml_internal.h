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

/* ---- the walk, shared by its parts
 * ------------------------------------------------------------------------------------------------- */

enum { SM_XML_DEPTH_MAX = 64, SM_XML_NAME_MAX_BYTES = 64 };
#define SM_XML_FPS_ASSUMED 25.0

/** How the video place of an entry was written. */
struct sm_xml_place {
    enum { SM_XML_PLACE_NONE, SM_XML_PLACE_TIMECODE, SM_XML_PLACE_FRAME } kind;
    int64_t value;
};
/** The film of an inspection, known when the whole file is read. */
struct sm_xml_film {
    bool is_known, has_its_volume;
    double fps; /**< NAN = not said */
    const struct sm_xml_offset *offset; /**< sorted; lives in the file's arena */
    size_t n_offsets;
    const char *volume; /**< that the inspection names, "" = none */
    size_t next_alike;  /**< an earlier inspection of the same segment and direction, SM_OBSLOG_NONE = none */
};
/** A segment that is on the film in hand. */
struct sm_xml_film_object {
    const char *segment, *direction;
};
struct sm_xml_walk {
    struct sm_obslog_build *build;
    const struct sm_xml_format *format;
    void *parser; /**< expat's */
    enum sm_status status;
    struct sm_error *err;
    char name[SM_XML_DEPTH_MAX][SM_XML_NAME_MAX_BYTES];
    bool has_children[SM_XML_DEPTH_MAX];
    int depth; /**< open elements */
    struct sm_text text;
    struct sm_text slot[SM_XML_N_SLOTS];
    struct sm_text extra; /**< children of a row that have no slot */
    uint32_t line;        /**< where the row in hand opens */
    bool is_begun, is_other;
    size_t n_other;
    struct sm_xml_place *place; /**< one an entry of the file */
    size_t n_places, places_capacity;
    struct sm_xml_film *film; /**< one an inspection */
    size_t n_films, films_capacity;
    struct sm_names alike; /**< segment and direction -> the last inspection of it that may still get a film */
    /* of the film in hand */
    struct sm_xml_offset *film_offset;
    size_t n_film_offsets, film_offsets_capacity, n_bad_offsets;
    struct sm_xml_film_object *object;
    size_t n_objects, objects_capacity;
};
const char *sm_obslog__xml_slot(const struct sm_xml_walk *walk, enum sm_xml_slot slot);
uint32_t sm_obslog__xml_line(const struct sm_xml_walk *walk);
/** Keep the first failure and end the parse. */
void sm_obslog__xml_stop(struct sm_xml_walk *walk, enum sm_status status);
/** xml_rows.c: an inspection whose header is read, a row that closed, the times once films are known. */
void sm_obslog__xml_begin_inspection(struct sm_xml_walk *walk);
void sm_obslog__xml_close_row(struct sm_xml_walk *walk);
enum sm_status sm_obslog__xml_finish_times(struct sm_xml_walk *walk) SM_CHECKED;
/** xml_film.c: films and which inspections they are of. */
enum sm_status sm_obslog__xml_expect_film(struct sm_xml_walk *walk) SM_CHECKED; /**< of the inspection that just began */
void sm_obslog__xml_open_film(struct sm_xml_walk *walk);
void sm_obslog__xml_close_offset(struct sm_xml_walk *walk);
void sm_obslog__xml_close_film_object(struct sm_xml_walk *walk);
void sm_obslog__xml_close_film(struct sm_xml_walk *walk);
/** xml_encoding.c: the name of the encoding to read with where the file says a wrong one, NULL = as it says. */
const char *sm_obslog__xml_encoding_override(const struct sm_obslog_input *input);
/** xml_encoding.c: the 256 characters of an 8-bit encoding that expat does not know. @return false when unknown here too. */
bool sm_obslog__xml_encoding_map(int map[256], const char *name);

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
