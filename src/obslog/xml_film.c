/*
 * Films of an ISYBAU file: each names its place, its frame rate, how its timecode lies in it, and the
 * segments that are on it. Which inspections that is, is known when the film closes: those of the segment in
 * that direction, and of several of them those that name the film's volume.
 */
#include "xml_internal.h"

#include <stdlib.h>
#include <string.h>

/* No segment was inspected more often in one direction: beyond that films are no longer told apart by volume.
 */
enum { ALIKE_MAX = 64 };

/* ---- inspections that wait for a film
 * --------------------------------------------------------------------------- */

/* "S101\nU": a segment and the direction of the camera. */
static const char *key_of(const struct sm_xml_walk *walk, const char *segment, bool is_against_flow)
{
    return sm_arena_printf(walk->build->arena, "%s\n%s", segment, is_against_flow ? "U" : "O");
}

enum sm_status sm_obslog__xml_expect_film(struct sm_xml_walk *walk)
{
    struct sm_xml_film film = {.fps = SM_NAN, .volume = "", .next_alike = SM_OBSLOG_NONE};
    const struct sm_obslog_inspection *head = &sm_obslog__part(walk->build)->head;
    const char *volume = sm_obslog__xml_slot(walk, SM_XML_VIDEO_VOLUME);
    const char *key = head->segment.id ? key_of(walk, head->segment.id, head->is_against_flow) : NULL;
    bool has_room = sm_grow(&walk->film, walk->n_films, &walk->films_capacity, sizeof *walk->film) == SM_OK;
    film.volume = *volume ? sm_arena_strdup(walk->build->arena, volume) : "";
    if (!has_room || !film.volume || (head->segment.id && !key)) {
        return SM_E_NOMEM;
    }
    if (key) {
        sm_names_find(&walk->alike, key, &film.next_alike);
    }
    walk->film[walk->n_films++] = film;
    return key ? sm_names_set(&walk->alike, key, walk->n_films - 1) : SM_OK;
}

/* ---- the film in hand
 * ------------------------------------------------------------------------------------------ */

void sm_obslog__xml_open_film(struct sm_xml_walk *walk)
{
    walk->n_film_offsets = walk->n_bad_offsets = walk->n_objects = 0;
}

void sm_obslog__xml_close_offset(struct sm_xml_walk *walk)
{
    struct sm_xml_offset offset;
    if (!sm_parse_int(sm_obslog__xml_slot(walk, SM_XML_OFFSET_TIMECODE), 0, INT64_MAX / 4,
                      &offset.timecode_frame) ||
        !sm_parse_int(sm_obslog__xml_slot(walk, SM_XML_OFFSET_FRAME), 0, INT64_MAX / 4, &offset.file_frame)) {
        walk->n_bad_offsets++;
        return;
    }
    enum sm_status status = sm_grow(&walk->film_offset, walk->n_film_offsets, &walk->film_offsets_capacity,
                                    sizeof *walk->film_offset);
    if (status == SM_OK) {
        walk->film_offset[walk->n_film_offsets++] = offset;
    }
    sm_obslog__xml_stop(walk, status);
}

void sm_obslog__xml_close_film_object(struct sm_xml_walk *walk)
{
    struct sm_arena *arena = walk->build->arena;
    struct sm_xml_film_object object = {
        sm_arena_strdup(arena, sm_obslog__xml_slot(walk, SM_XML_FILM_OBJECT)),
        sm_arena_strdup(arena, sm_obslog__xml_slot(walk, SM_XML_FILM_DIRECTION))};
    bool has_room =
        sm_grow(&walk->object, walk->n_objects, &walk->objects_capacity, sizeof *walk->object) == SM_OK;
    if (!has_room || !object.segment || !object.direction) {
        sm_obslog__xml_stop(walk, SM_E_NOMEM);
        return;
    }
    walk->object[walk->n_objects++] = object;
}

/* ---- who gets it
 * ---------------------------------------------------------------------------------------------- */

/* What all inspections on one film share. */
struct shared_film {
    const char *path, *volume;
    double fps;
    struct sm_xml_offset *offset;
};

static int compare_offsets(const void *a, const void *b)
{
    const struct sm_xml_offset *x = a, *y = b;
    int order = (x->timecode_frame > y->timecode_frame) - (x->timecode_frame < y->timecode_frame);
    return order ? order : (x->file_frame > y->file_frame) - (x->file_frame < y->file_frame);
}

/* The film's path as opened; absolute ones of another machine are looked for beside the log. */
static const char *film_path(struct sm_xml_walk *walk)
{
    struct sm_text name = {0};
    const char *folder = sm_obslog__xml_slot(walk, SM_XML_FILM_PATH);
    bool is_absolute = sm_ascii_ieq(sm_obslog__xml_slot(walk, SM_XML_FILM_IS_ABSOLUTE), "1") ||
                       sm_ascii_ieq(sm_obslog__xml_slot(walk, SM_XML_FILM_IS_ABSOLUTE), "true");
    if (*folder && !is_absolute) {
        sm_text_add(&name, folder);
        sm_text_add(&name, "/");
    }
    sm_text_add(&name, sm_obslog__xml_slot(walk, SM_XML_FILM_NAME));
    const char *path = name.failed ? NULL : sm_obslog__beside(walk->build, sm_text_str(&name));
    sm_text_release(&name);
    return path;
}

static enum sm_status share_film(struct shared_film *film, struct sm_xml_walk *walk)
{
    size_t size = walk->n_film_offsets * sizeof *film->offset;
    double fps;
    *film = (struct shared_film){
        .path = film_path(walk), .volume = sm_obslog__xml_slot(walk, SM_XML_FILM_VOLUME), .fps = SM_NAN};
    if (sm_parse_number(sm_obslog__xml_slot(walk, SM_XML_FILM_FPS), &fps) && fps >= 1 && fps <= 240) {
        film->fps = fps;
    }
    film->offset = size ? sm_arena_alloc(walk->build->arena, size) : NULL;
    if (!film->path || (size && !film->offset)) {
        return SM_E_NOMEM;
    }
    if (size) {
        memcpy(film->offset, walk->film_offset, size);
        qsort(film->offset, walk->n_film_offsets, sizeof *film->offset, compare_offsets);
    }
    return SM_OK;
}

static enum sm_status give(struct sm_xml_walk *walk, const struct shared_film *shared, size_t part_idx,
                           bool is_its_volume)
{
    struct sm_xml_film *film = &walk->film[part_idx];
    struct sm_obslog_inspection *head = &walk->build->file->part[part_idx].head;
    head->video = head->video && !film->is_known ? head->video : shared->path;
    film->is_known = true;
    film->has_its_volume = is_its_volume;
    film->fps = shared->fps;
    film->offset = shared->offset;
    film->n_offsets = walk->n_film_offsets;
    if (walk->n_bad_offsets == 0) {
        return SM_OK;
    }
    sm_obslog__resume(walk->build, part_idx);
    return sm_obslog__note(walk->build, sm_obslog__xml_line(walk),
                           "%zu offsets between timecode and film cannot be read, not used",
                           walk->n_bad_offsets);
}

/* To all inspections of a segment in one direction that have no film yet, or whose volume this one has and
 * theirs not. */
static enum sm_status give_to_alike(struct sm_xml_walk *walk, const struct shared_film *shared,
                                    const char *segment, bool is_against_flow)
{
    const char *key = key_of(walk, segment, is_against_flow);
    size_t at = SM_OBSLOG_NONE;
    enum sm_status status = key ? SM_OK : SM_E_NOMEM;
    if (key) {
        sm_names_find(&walk->alike, key, &at);
    }
    for (int k = 0; status == SM_OK && at != SM_OBSLOG_NONE && k < ALIKE_MAX; k++) {
        struct sm_xml_film *film = &walk->film[at];
        bool is_its_volume = *film->volume && strcmp(film->volume, shared->volume) == 0;
        if (!film->is_known || (is_its_volume && !film->has_its_volume)) {
            status = give(walk, shared, at, is_its_volume);
        }
        at = film->next_alike;
    }
    return status;
}

void sm_obslog__xml_close_film(struct sm_xml_walk *walk)
{
    struct shared_film shared;
    if (walk->n_objects == 0) {
        return;
    }
    enum sm_status status = share_film(&shared, walk);
    for (size_t k = 0; status == SM_OK && k < walk->n_objects; k++) {
        const struct sm_xml_film_object *object = &walk->object[k];
        for (int is_up = 0; status == SM_OK && is_up < 2; is_up++) {
            if (!*object->direction || sm_ascii_ieq(object->direction, is_up ? "U" : "O")) {
                status = give_to_alike(walk, &shared, object->segment, is_up);
            }
        }
    }
    walk->n_objects = 0;
    sm_obslog__xml_stop(walk, status);
}
