/*
 * Decoding exactly the frames that are wanted.
 *
 * A run starts at a key frame with a clean decoder and sends packets without a gap. Frames come out in
 * display order: one of a higher rank means that nothing more comes for the one asked; it is held for the
 * next call. A run goes on as long as that costs no more than starting at the next key.
 *
 * Pictures nobody refers to are not decoded unless wanted. Where the frame wanted then fails to appear (a
 * packet without a picture, say), its run is repeated with everything decoded, so that what stays on screen
 * is known too. A key frame that turns out to be none is struck off the list of keys, and the run starts at
 * the one before.
 */
#include "media_internal.h"

#include <assert.h>

#define ATTEMPTS 4 /* with skipping, without, from keys farther back; then the frame counts as lost */

enum ran { RAN_TO_IT, RAN_PAST_IT, RAN_FROM_FALSE_KEY, RAN_STOPPED };

/* Begin a run: decoder clean, packet_idx next. */
static enum sm_status start_run(struct sm_media *media, uint32_t packet_idx, struct sm_error *err)
{
    struct media_decoder *decoder = &media->decoder;
    avcodec_flush_buffers(decoder->context);
    av_frame_unref(decoder->held);
    decoder->held_idx = -1;
    decoder->last_idx = -1;
    decoder->is_running = false;
    decoder->is_draining = false;
    decoder->is_skipping = false;
    decoder->tainted_idx = -1;
    enum sm_status status = sm_media__seek(media, packet_idx, err);
    if (status == SM_OK) {
        decoder->is_running = true;
        decoder->run_start = packet_idx;
        decoder->sent_end = packet_idx;
    }
    return status;
}

/* The held frame becomes the last one given out. */
static void take_held(struct media_decoder *decoder)
{
    av_frame_unref(decoder->frame);
    av_frame_move_ref(decoder->frame, decoder->held);
    decoder->last_idx = decoder->held_idx;
    decoder->held_idx = -1;
    decoder->is_damaged = decoder->is_held_damaged;
}

/* Whether all that the frame asked for needs was sent, so that draining brings it out. */
static bool is_sent(const struct media_decoder *decoder, const struct media_index *index, uint32_t packet_idx)
{
    bool has_second =
        packet_idx + 1 < index->n_packets && (index->packet[packet_idx + 1].flags & PACKET_FIELD_2);
    return decoder->sent_end > (int64_t)packet_idx + has_second;
}

/* The first frame of a run is that of its key packet; is it one that decodes alone? */
static bool is_false_key(const struct media_decoder *decoder, const struct packet_entry *start)
{
    return decoder->last_idx < 0 && decoder->held_idx == (int64_t)decoder->run_start &&
           (start->flags & PACKET_KEY) && !decoder->held->key_frame &&
           decoder->held->pict_type != AV_PICTURE_TYPE_I;
}

/* Run on until the frame of packet_idx is in decoder->frame, or a later one shows. */
static enum ran run_to(struct sm_media *media, uint32_t packet_idx, enum fetch_end end, bool may_skip)
{
    struct media_decoder *decoder = &media->decoder;
    struct media_index *index = &media->file[media->active].index;
    uint32_t rank = index->packet[packet_idx].rank;
    for (;;) {
        int got = decoder->held_idx >= 0 ? 1 : sm_media__receive(media);
        if (got < 0) {
            decoder->is_running = false;
            return RAN_PAST_IT;
        }
        if (got > 0) {
            if (is_false_key(decoder, &index->packet[decoder->run_start])) {
                index->packet[decoder->run_start].flags &= ~(uint32_t)PACKET_KEY;
                return RAN_FROM_FALSE_KEY;
            }
            if (index->packet[decoder->held_idx].rank > rank) {
                return RAN_PAST_IT;
            }
            take_held(decoder);
            if (decoder->last_idx == (int64_t)packet_idx) {
                decoder->is_running = !decoder->is_draining;
                return RAN_TO_IT;
            }
        } else if (end != FETCH_RUNS_ON && is_sent(decoder, index, packet_idx)) {
            sm_media__drain(decoder);
        } else if (media->goes_on && !media->goes_on(media->goes_on_user)) {
            return RAN_STOPPED;
        } else {
            sm_media__send_next(media, may_skip);
        }
    }
}

void sm_media_set_goes_on(struct sm_media *media, bool (*goes_on)(void *user), void *user)
{
    media->goes_on = goes_on;
    media->goes_on_user = user;
}

/* Whether the run under way leads to packet_idx at no more cost than a new one from key. */
static bool can_run_on(const struct media_decoder *decoder, const struct media_index *index,
                       uint32_t packet_idx, uint32_t key)
{
    if (!decoder->is_running || packet_idx < decoder->run_start) {
        return false;
    }
    uint32_t rank = index->packet[packet_idx].rank;
    if (decoder->last_idx >= 0 && index->packet[decoder->last_idx].rank >= rank) {
        return false;
    }
    if (decoder->held_idx >= 0 && index->packet[decoder->held_idx].rank > rank) {
        return false;
    }
    return (int64_t)key <= decoder->sent_end;
}

static bool holds_frame(const struct media_decoder *decoder, uint32_t packet_idx)
{
    return decoder->last_idx == (int64_t)packet_idx && decoder->frame->buf[0];
}

/* One try: run on, or start at a true key. */
static enum sm_status try_fetch(struct sm_media *media, uint32_t packet_idx, enum fetch_end end,
                                size_t keys_back, bool may_skip, enum ran *ran, struct sm_error *err)
{
    const struct media_index *index = &media->file[media->active].index;
    struct media_decoder *decoder = &media->decoder;
    do {
        uint32_t key = sm_media__key_before(index, packet_idx, keys_back);
        bool runs_on = keys_back == 0 && can_run_on(decoder, index, packet_idx, key) &&
                       (may_skip || !decoder->is_skipping);
        enum sm_status status = runs_on ? SM_OK : start_run(media, key, err);
        if (status != SM_OK) {
            return status;
        }
        *ran = run_to(media, packet_idx, end, may_skip);
        if (*ran == RAN_STOPPED) {
            return sm_error_set(err, SM_E_CANCELLED, "stopped");
        }
    } while (*ran == RAN_FROM_FALSE_KEY && end != FETCH_ALONE);
    return SM_OK;
}

enum sm_status sm_media__fetch(struct sm_media *media, uint32_t packet_idx, enum fetch_end end,
                               enum fetched *fetched, struct sm_error *err)
{
    const struct media_decoder *decoder = &media->decoder;
    struct packet_entry *entry = &media->file[media->active].index.packet[packet_idx];
    assert(entry->rank != NO_RANK);
    *fetched = FETCHED_OWN;
    if (holds_frame(decoder, packet_idx)) {
        return SM_OK;
    }
    int first = entry->flags & PACKET_NO_FRAME ? 1 : 0;
    for (int attempt = first; attempt < first + ATTEMPTS; attempt++) {
        enum ran ran = RAN_PAST_IT;
        enum sm_status status =
            try_fetch(media, packet_idx, end, attempt > 1 ? (size_t)attempt - 1 : 0, attempt == 0, &ran, err);
        if (status != SM_OK) {
            return status;
        }
        if (ran == RAN_TO_IT) {
            entry->flags &= ~(uint32_t)PACKET_NO_FRAME;
            return SM_OK;
        }
        if (ran == RAN_FROM_FALSE_KEY) {
            break;
        }
        entry->flags |= PACKET_NO_FRAME;
        if (decoder->last_idx >= 0 && !decoder->is_skipping) {
            *fetched = FETCHED_EARLIER;
            return SM_OK;
        }
    }
    *fetched = FETCHED_NONE;
    return SM_OK;
}

enum sm_status sm_media__first_frame(struct sm_media *media, uint32_t *packet_idx, struct sm_error *err)
{
    enum sm_status status = start_run(media, 0, err);
    int got = 0;
    while (status == SM_OK && (got = sm_media__receive(media)) == 0) {
        sm_media__send_next(media, false);
    }
    if (status == SM_OK && got > 0) {
        *packet_idx = (uint32_t)media->decoder.held_idx;
    } else if (status == SM_OK) {
        media->decoder.is_running = false;
        status = SM_E_NOTFOUND;
    }
    return status;
}
