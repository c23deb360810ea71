/* Further handles on a recording that is open: the lists of frames are copied, files and decoders are opened
 * when first used. */
#include "media_internal.h"
#include "media_remote.h"

#include <math.h>
#include <string.h>

/* A copy of n items; NULL when memory runs out. */
static void *copy_of(const void *items, size_t n, size_t size)
{
    void *copy = sm_calloc(n ? n : 1, size);
    if (copy && n) {
        memcpy(copy, items, n * size);
    }
    return copy;
}

/* What a scan of the other handle under way wants is none of ours. */
static bool copy_index(struct media_index *to, const struct media_index *from)
{
    *to = *from;
    to->packet = copy_of(from->packet, from->n_packets, sizeof *from->packet);
    to->order = copy_of(from->order, from->n_frames, sizeof *from->order);
    to->key = copy_of(from->key, from->n_keys, sizeof *from->key);
    to->packet_capacity = from->n_packets;
    to->key_capacity = from->n_keys;
    for (size_t i = 0; to->packet && i < to->n_packets; i++) {
        to->packet[i].flags &= ~(uint32_t)PACKET_WANTED;
    }
    return to->packet && to->order && to->key;
}

enum sm_status sm_media_open_again(struct sm_media **out, const struct sm_media *media, struct sm_error *err)
{
    struct sm_media *again = NULL;
    enum sm_status status = sm_media__new(&again, media->n_files, err);
    for (size_t i = 0; i < media->n_files && status == SM_OK; i++) {
        struct media_file *file = &again->file[i];
        *file = media->file[i];
        file->path = sm_arena_strdup(again->arena, media->file[i].path);
        bool is_whole = copy_index(&file->index, &media->file[i].index) && file->path;
        status = is_whole ? SM_OK : sm_media__no_memory(err);
    }
    if (status != SM_OK) {
        sm_media_close(&again);
        return status;
    }
    again->info = media->info;
    if (media->remote) { /* started here and now: the new process takes the lists with it */
        status = sm_media__remote_start(again, sm_media__child_again, err);
    }
    if (status != SM_OK) {
        sm_media_close(&again);
        return status;
    }
    *out = again;
    return SM_OK;
}

enum sm_status sm_media_take_findings(struct sm_media *media, const struct sm_media *other, struct sm_error *err)
{
    for (size_t i = 0; i < other->n_damages; i++) {
        sm_media__note_damage(media, other->damage[i].start_s);
        sm_media__note_damage(media, other->damage[i].end_s);
    }
    media->has_more_damage |= other->has_more_damage;
    for (size_t i = 0; i < media->n_files; i++) {
        double here_s = media->file[i].other_size_s, there_s = other->file[i].other_size_s;
        media->file[i].other_size_s = fmin(here_s, there_s); /* NaN = nowhere, passed over */
        media->is_news |= isfinite(there_s);
    }
    return sm_media__publish(media, err);
}
