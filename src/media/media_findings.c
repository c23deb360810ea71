/* Damage met while decoding, kept as few stretches however often the same frames are decoded, told as
 * findings. */
#include "media_internal.h"

#include <string.h>

#define JOIN_S 2.0 /* damage closer than this is one stretch */

enum sm_status sm_media__no_memory(struct sm_error *err)
{
    return sm_error_set(err, SM_E_NOMEM, "out of memory");
}

static bool joins(const struct damage *damage, double time_s)
{
    return time_s >= damage->start_s - JOIN_S && time_s <= damage->end_s + JOIN_S;
}

void sm_media__note_damage(struct sm_media *media, double time_s)
{
    size_t i = 0;
    while (i < media->n_damages && !joins(&media->damage[i], time_s) && media->damage[i].start_s < time_s) {
        i++;
    }
    if (i < media->n_damages && joins(&media->damage[i], time_s)) {
        struct damage *known = &media->damage[i];
        if (time_s < known->start_s || time_s > known->end_s) {
            known->start_s = time_s < known->start_s ? time_s : known->start_s;
            known->end_s = time_s > known->end_s ? time_s : known->end_s;
            media->is_damage_new = true;
        }
        return;
    }
    media->is_damage_new = true;
    if (media->n_damages == MAX_DAMAGES) {
        media->has_more_damage = true;
        return;
    }
    memmove(&media->damage[i + 1], &media->damage[i], (media->n_damages - i) * sizeof media->damage[0]);
    media->damage[i] = (struct damage){time_s, time_s, 1};
    media->n_damages++;
}

/* Neighbours that grew towards each other become one. */
static void join_neighbours(struct sm_media *media)
{
    size_t n = 0;
    for (size_t i = 0; i < media->n_damages; i++) {
        struct damage *last = n ? &media->damage[n - 1] : NULL;
        if (last && joins(last, media->damage[i].start_s)) {
            last->end_s = media->damage[i].end_s > last->end_s ? media->damage[i].end_s : last->end_s;
        } else {
            media->damage[n++] = media->damage[i];
        }
    }
    media->n_damages = n;
}

static const char *path_at(const struct sm_media *media, double time_s)
{
    size_t i = media->n_files - 1;
    while (i > 0 && media->file[i].start_s > time_s) {
        i--;
    }
    return media->file[i].path;
}

static enum sm_status add_damage(struct sm_media *media, const struct damage *damage)
{
    struct sm_text text = {0};
    sm_text_add(&text, "the picture is damaged from ");
    sm_text_add_fixed(&text, damage->start_s, 2);
    sm_text_add(&text, " s to ");
    sm_text_add_fixed(&text, damage->end_s, 2);
    sm_text_add(&text, " s; what is read there may be wrong");
    enum sm_status status = text.failed ? SM_E_NOMEM
                                        : sm_findings_add(&media->findings, 0, SM_SEVERITY_WARNING,
                                                          path_at(media, damage->start_s), 0, damage->start_s,
                                                          -1, "%s", sm_text_str(&text));
    sm_text_release(&text);
    return status;
}

enum sm_status sm_media__publish(struct sm_media *media, struct sm_error *err)
{
    if (!media->is_damage_new) {
        return SM_OK;
    }
    join_neighbours(media);
    media->findings.n = media->n_lasting;
    enum sm_status status = SM_OK;
    for (size_t i = 0; i < media->n_damages && status == SM_OK; i++) {
        status = add_damage(media, &media->damage[i]);
    }
    if (media->has_more_damage && status == SM_OK) {
        status = sm_findings_add(&media->findings, 0, SM_SEVERITY_WARNING, media->file[0].path, 0, SM_NAN, -1,
                                 "the picture is damaged in more places than are listed");
    }
    media->is_damage_new = false;
    return status == SM_OK ? SM_OK : sm_media__no_memory(err);
}
