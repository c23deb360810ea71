/*
 * The walk over an XML log with expat: elements go into slots by the format's table; a row that closes
 * becomes an entry.
 *
 * Hostile input: a document type declaration is refused (no entities at all), depth and text are bounded, and
 * a file that breaks off keeps the rows before the break and says where it broke.
 */
#include "xml_internal.h"

#include <expat.h>
#include <string.h>

enum { TEXT_MAX_BYTES = 1 << 20, CHUNK_BYTES = 1 << 20 };

const char *sm_obslog__xml_slot(const struct sm_xml_walk *walk, enum sm_xml_slot k)
{
    return sm_text_str(&walk->slot[k]);
}

uint32_t sm_obslog__xml_line(const struct sm_xml_walk *walk)
{
    return (uint32_t)XML_GetCurrentLineNumber(walk->parser);
}

/* Keep the first failure and end the parse. */
void sm_obslog__xml_stop(struct sm_xml_walk *walk, enum sm_status status)
{
    if (walk->status == SM_OK && status != SM_OK) {
        walk->status = status;
        if (status == SM_E_NOMEM) {
            sm_obslog__no_memory(walk->err);
        }
        XML_StopParser(walk->parser, XML_FALSE);
    }
}

static void refuse(struct sm_xml_walk *walk, enum sm_status status, const char *what, const char *remedy)
{
    if (walk->status == SM_OK) {
        sm_error_at(walk->err, status, walk->build->input->source, sm_obslog__xml_line(walk),
                    (uint32_t)XML_GetCurrentColumnNumber(walk->parser) + 1, "%s", what);
        sm_error_remedy(walk->err, "%s", remedy);
        sm_obslog__xml_stop(walk, status);
    }
}

/* ---- elements
 * ---------------------------------------------------------------------------------------------- */

static void clear_slots(struct sm_xml_walk *walk, enum sm_xml_slot first, enum sm_xml_slot last)
{
    for (int k = (int)first; k <= (int)last; k++) {
        sm_text_clear(&walk->slot[k]);
    }
}

static const char *parent(const struct sm_xml_walk *walk)
{
    return walk->depth > 1 ? walk->name[walk->depth - 2] : "";
}

/* An inspection of something that is no pipe. */
static bool is_other_kind(const struct sm_xml_walk *walk, const char *name)
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
    struct sm_xml_walk *walk = user;
    const struct sm_xml_format *format = walk->format;
    const char *colon = strrchr(name, ':');
    (void)attributes;
    if (walk->status != SM_OK) {
        return; /* expat may still call after it was stopped */
    }
    if (walk->depth == SM_XML_DEPTH_MAX) {
        refuse(walk, SM_E_RANGE, "elements are nested deeper than any log of this format",
               "export the log again");
        return;
    }
    if (walk->depth > 0) {
        walk->has_children[walk->depth - 1] = true;
    }
    walk->has_children[walk->depth] = false;
    sm_strcopy(walk->name[walk->depth++], SM_XML_NAME_MAX_BYTES, colon ? colon + 1 : name);
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
        walk->line = sm_obslog__xml_line(walk);
    } else if (is_other_kind(walk, local)) {
        walk->is_other = true;
        walk->n_other++;
    } else if (strcmp(local, "Film") == 0) {
        clear_slots(walk, SM_XML_FILM_NAME, SM_XML_OFFSET_FRAME);
        sm_obslog__xml_open_film(walk);
    } else if (strcmp(local, "FilmObjekt") == 0) {
        clear_slots(walk, SM_XML_FILM_OBJECT, SM_XML_FILM_DIRECTION);
    }
}

static void XMLCALL on_text(void *user, const XML_Char *s, int n)
{
    struct sm_xml_walk *walk = user;
    if (walk->status != SM_OK) {
        return;
    }
    if (walk->text.length + (size_t)n > TEXT_MAX_BYTES) {
        refuse(walk, SM_E_RANGE, "an element holds more text than any log has", "export the log again");
        return;
    }
    sm_text_add_n(&walk->text, s, (size_t)n);
    sm_obslog__xml_stop(walk, walk->text.failed ? SM_E_NOMEM : SM_OK);
}

/* A child of a row without a slot of its own is kept as name=value. */
static void keep_extra(struct sm_xml_walk *walk, const char *name, const char *text)
{
    if (*text && strcmp(parent(walk), walk->format->row) == 0 && !walk->has_children[walk->depth - 1]) {
        sm_text_addf(&walk->extra, "%s%s=%s", walk->extra.length ? "; " : "", name, text);
    }
}

static void take_text(struct sm_xml_walk *walk, const char *name, const char *text)
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
            sm_obslog__xml_stop(walk, to->failed ? SM_E_NOMEM : SM_OK);
            return;
        }
    }
    keep_extra(walk, name, text);
}

static void XMLCALL on_close(void *user, const XML_Char *full_name)
{
    struct sm_xml_walk *walk = user;
    const struct sm_xml_format *format = walk->format;
    (void)full_name;
    if (walk->status != SM_OK) {
        return;
    }
    const char *name = walk->name[walk->depth - 1];
    char *text = walk->text.data ? sm_trim(walk->text.data) : NULL;
    if (walk->extra.failed) {
        sm_obslog__xml_stop(walk, SM_E_NOMEM);
    } else if (strcmp(name, format->row) == 0 && !walk->is_other) {
        sm_obslog__xml_close_row(walk);
    } else if (strcmp(name, format->inspection) == 0) {
        if (!walk->is_other && !walk->is_begun) {
            sm_obslog__xml_begin_inspection(walk);
        }
    } else if (strcmp(name, "Offset") == 0) {
        sm_obslog__xml_close_offset(walk);
    } else if (strcmp(name, "FilmObjekt") == 0) {
        sm_obslog__xml_close_film_object(walk);
    } else if (strcmp(name, "Film") == 0 && walk->has_children[walk->depth - 1]) {
        sm_obslog__xml_close_film(walk);
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

static int XMLCALL on_encoding(void *user, const XML_Char *name, XML_Encoding *info)
{
    (void)user;
    info->data = NULL;
    info->convert = NULL;
    info->release = NULL;
    return sm_obslog__xml_encoding_map(info->map, name) ? XML_STATUS_OK : XML_STATUS_ERROR;
}

/* ---- the file
 * ---------------------------------------------------------------------------------------------- */

static enum sm_status broken_off(struct sm_xml_walk *walk)
{
    return sm_obslog__broken(walk->build, sm_obslog__xml_line(walk),
                             (uint32_t)XML_GetCurrentColumnNumber(walk->parser) + 1,
                             XML_ErrorString(XML_GetErrorCode(walk->parser)));
}

static enum sm_status feed(struct sm_xml_walk *walk)
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

static enum sm_status note_others(struct sm_xml_walk *walk)
{
    if (walk->n_other == 0) {
        return SM_OK;
    }
    return sm_obslog__note_all(walk->build, 0, SM_SEVERITY_NOTE,
                               "%zu inspections of manholes or other structures are not read", walk->n_other);
}

static enum sm_status walk_file(struct sm_xml_walk *walk)
{
    const char *encoding = sm_obslog__xml_encoding_override(walk->build->input);
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
        status = sm_obslog__note_all(walk->build, 1, SM_SEVERITY_NOTE,
                                     "the file is not the UTF-8 it should be; read as Latin-1");
    }
    if (status == SM_OK) {
        status = feed(walk);
    }
    if (status == SM_OK) {
        status = sm_obslog__xml_finish_times(walk);
    }
    return status == SM_OK ? note_others(walk) : status;
}

enum sm_status sm_obslog__xml_read(struct sm_obslog_build *build, const struct sm_xml_format *format,
                                   struct sm_error *err)
{
    struct sm_xml_walk *walk = sm_calloc(1, sizeof *walk);
    if (!walk) {
        return sm_obslog__no_memory(err);
    }
    walk->build = build;
    walk->format = format;
    walk->err = err;
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
    sm_free(walk->film);
    sm_names_release(&walk->alike);
    sm_free(walk->film_offset);
    sm_free(walk->object);
    sm_free(walk);
    return status == SM_E_NOMEM ? sm_obslog__no_memory(err) : status;
}
