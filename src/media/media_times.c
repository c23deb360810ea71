/*
 * When each frame is on screen. Containers give a display time, or only the order of decoding (AVI, raw
 * streams), or nothing for some packets; recorders jump, wrap and start anywhere. What comes out: every frame
 * has a time, times go on steadily over a jump, and ranks put the frames in the order in which a decoder
 * gives them out.
 */
#include "media_internal.h"

#include <libavutil/avstring.h>
#include <math.h>
#include <stdlib.h>

#define JUMP_BACK_S 1.0       /* decode times never run back; a second leaves room for sloppy muxers */
#define JUMP_AHEAD_S 10.0     /* streams without an index only: less is a gap in which frames are missing */
#define LONGEST_GAP_S 86400.0 /* between frames of one file */
#define APART_S 10.0          /* display and decode time farther apart than this: one of them is rubbish */

struct timed {
    int64_t key; /* what is sorted by */
    uint32_t packet_idx;
    uint32_t period;
};

static int compare_timed(const void *left, const void *right)
{
    const struct timed *a = left;
    const struct timed *b = right;
    if (a->period != b->period) {
        return a->period < b->period ? -1 : 1;
    }
    if (a->key != b->key) {
        return a->key < b->key ? -1 : 1;
    }
    return a->packet_idx < b->packet_idx ? -1 : a->packet_idx > b->packet_idx;
}

static int compare_ticks(const void *left, const void *right)
{
    int64_t a = *(const int64_t *)left;
    int64_t b = *(const int64_t *)right;
    return a < b ? -1 : a > b;
}

static int64_t ticks_of(double seconds, double tick_s)
{
    double ticks = seconds / tick_s;
    return !(ticks >= 1) ? 1 : ticks > 1e15 ? (int64_t)1e15 : (int64_t)llround(ticks);
}

static int64_t base_of(const struct raw_time *raw)
{
    return raw->dts != AV_NOPTS_VALUE ? raw->dts : raw->pts;
}

/* Median of the first steps between decode times; the declared rate where there are none. */
static int64_t typical_step(const struct media_file *file, const struct raw_time *raw, const AVStream *stream)
{
    enum { MOST = 1024 };
    int64_t step[MOST];
    size_t n = 0;
    for (size_t i = 1; i < file->index.n_packets && n < MOST; i++) {
        int64_t now = base_of(&raw[i]);
        int64_t before = base_of(&raw[i - 1]);
        if (raw[i].dts != AV_NOPTS_VALUE && raw[i - 1].dts != AV_NOPTS_VALUE && now > before) {
            step[n++] = now - before;
        }
    }
    if (n) {
        qsort(step, n, sizeof step[0], compare_ticks);
        return step[n / 2];
    }
    AVRational rate = stream->avg_frame_rate.num > 0 && stream->avg_frame_rate.den > 0
                          ? stream->avg_frame_rate
                          : stream->r_frame_rate;
    double hz = rate.num > 0 && rate.den > 0 ? av_q2d(rate) : 25.0;
    return ticks_of(1.0 / hz, file->tick_s);
}

static enum sm_status note_jump(struct sm_media *media, const struct media_file *file, size_t n_jumps,
                                int64_t ticks)
{
    struct sm_text text = {0};
    double time_s = (double)ticks * file->tick_s;
    sm_text_add(&text, "the recorder's time stamps jump at ");
    sm_text_add_fixed(&text, file->start_s + time_s, 2);
    sm_text_addf(&text, " s%s; time is counted on steadily over the jump",
                 n_jumps > 1 ? " and again later" : "");
    enum sm_status status = text.failed
                                ? SM_E_NOMEM
                                : sm_findings_add(&media->findings, 0, SM_SEVERITY_WARNING, file->path, 0,
                                                  file->start_s + time_s, -1, "%s", sm_text_str(&text));
    sm_text_release(&text);
    return status;
}

/* Steady decode times in the making. */
struct steady {
    int64_t offset, expected;
    int64_t ahead, behind; /* beyond these it is a jump */
    bool has_origin;
    size_t n_jumps;
    int64_t first_jump;
};

/* Far below overflow, far above any recording. */
static int64_t clamp_ticks(int64_t ticks)
{
    const int64_t most = INT64_MAX / 32;
    return ticks > most ? most : ticks < -most ? -most : ticks;
}

/* Steady decode time of a packet whose own base time is base: unknown follows the one before, a jump shifts
 * the rest. */
static int64_t steady_next(struct steady *steady, int64_t base)
{
    if (base == AV_NOPTS_VALUE) {
        return clamp_ticks(steady->expected);
    }
    if (!steady->has_origin) {
        steady->offset = steady->expected - base;
        steady->has_origin = true;
    }
    int64_t now = clamp_ticks(base + steady->offset);
    if (now < steady->expected - steady->behind || now > steady->expected + steady->ahead) {
        now = clamp_ticks(steady->expected);
        steady->offset = now - base;
        steady->first_jump = steady->n_jumps++ ? steady->first_jump : now;
    }
    return now;
}

/* Decode times that rise into decode[]; display times move along into time_ticks (AV_NOPTS_VALUE = none yet).
 */
static enum sm_status settle_decode_times(struct sm_media *media, struct media_file *file,
                                          const struct raw_time *raw, int64_t *decode)
{
    struct media_index *index = &file->index;
    bool has_jumps_ahead = (media->demux.format->iformat->flags & AVFMT_TS_DISCONT) != 0;
    struct steady steady = {.ahead = ticks_of(has_jumps_ahead ? JUMP_AHEAD_S : LONGEST_GAP_S, file->tick_s),
                            .behind = ticks_of(JUMP_BACK_S, file->tick_s)};
    int64_t apart = ticks_of(APART_S, file->tick_s);
    for (size_t i = 0; i < index->n_packets; i++) {
        int64_t base = base_of(&raw[i]);
        decode[i] = steady_next(&steady, base);
        bool has_pts = raw[i].pts != AV_NOPTS_VALUE && llabs(raw[i].pts - base) <= apart;
        index->packet[i].time_ticks = has_pts ? raw[i].pts + (decode[i] - base) : AV_NOPTS_VALUE;
        if (raw[i].dts != AV_NOPTS_VALUE || base == AV_NOPTS_VALUE) {
            steady.expected = decode[i] + index->frame_ticks;
        }
    }
    return steady.n_jumps ? note_jump(media, file, steady.n_jumps, steady.first_jump) : SM_OK;
}

/* Whether a step between decode times means that a frame is lost. Fields shown a third time make steps of one
 * and a half. */
static bool is_loss(int64_t step, int64_t typical)
{
    return step > typical * 7 / 4;
}

/* Whether frames can get lost without a decoder noticing, and steps tell: MPEG-1 and -2 have an even frame
 * rate by definition, ASF files where they are even but for a few steps. */
static bool can_tell_losses(const struct media_demux *demux, const struct media_index *index,
                            const int64_t *decode)
{
    enum AVCodecID codec = demux->stream->codecpar->codec_id;
    if (codec == AV_CODEC_ID_MPEG1VIDEO || codec == AV_CODEC_ID_MPEG2VIDEO) {
        return true;
    }
    size_t n_uneven = 0;
    for (size_t i = 1; i < index->n_packets; i++) {
        n_uneven += is_loss(decode[i] - decode[i - 1], index->frame_ticks);
    }
    return av_match_name("asf", demux->format->iformat->name) && n_uneven <= index->n_packets / 50;
}

/* After a lost frame all may be wrong up to the next key, since it builds on what is not there. */
static void mark_losses(struct media_index *index, const int64_t *decode)
{
    bool is_after_loss = false;
    for (size_t i = 1; i < index->n_packets; i++) {
        is_after_loss |= is_loss(decode[i] - decode[i - 1], index->frame_ticks);
        is_after_loss &= !(index->packet[i].flags & PACKET_KEY);
        index->packet[i].flags |= is_after_loss ? PACKET_CORRUPT : 0;
    }
}

static size_t count_untimed(const struct media_index *index)
{
    size_t n = 0;
    for (size_t i = 0; i < index->n_packets; i++) {
        n += index->packet[i].time_ticks == AV_NOPTS_VALUE;
    }
    return n;
}

/* H.264, HEVC: pictures are numbered in display order within a period that a key frame starts; the k-th
 * picture shown takes the k-th decode time. */
static enum sm_status time_by_picture_order(struct media_index *index, const struct raw_time *raw,
                                            const int64_t *decode)
{
    struct timed *timed = sm_calloc(index->n_packets, sizeof *timed);
    int64_t *slot = sm_calloc(index->n_packets, sizeof *slot);
    size_t n = 0;
    uint32_t period = 0;
    int32_t highest = INT32_MIN;
    for (size_t i = 0; timed && slot && i < index->n_packets; i++) {
        if (index->packet[i].flags & PACKET_HIDDEN) {
            index->packet[i].time_ticks = decode[i];
            continue;
        }
        if ((index->packet[i].flags & PACKET_KEY) && raw[i].picture_order < highest) {
            period++;
            highest = INT32_MIN;
        }
        highest = raw[i].picture_order > highest ? raw[i].picture_order : highest;
        slot[n] = decode[i];
        timed[n++] = (struct timed){raw[i].picture_order, (uint32_t)i, period};
    }
    bool is_done = timed && slot;
    if (is_done) {
        qsort(timed, n, sizeof *timed, compare_timed);
        qsort(slot, n, sizeof *slot, compare_ticks);
        for (size_t i = 0; i < n; i++) {
            index->packet[timed[i].packet_idx].time_ticks = slot[i];
        }
    }
    sm_free(timed);
    sm_free(slot);
    return is_done ? SM_OK : SM_E_NOMEM;
}

/* How long after its decode time a picture is usually shown: the median of those that have both times, 0
 * where none has. */
static int64_t usual_delay(const struct media_index *index, const int64_t *decode)
{
    enum { MOST = 1024 };
    int64_t delay[MOST];
    size_t n = 0;
    for (size_t i = 0; i < index->n_packets && n < MOST; i++) {
        if (index->packet[i].time_ticks != AV_NOPTS_VALUE) {
            delay[n++] = index->packet[i].time_ticks - decode[i];
        }
    }
    qsort(delay, n, sizeof delay[0], compare_ticks);
    return n ? delay[n / 2] : 0;
}

/* MPEG-1, -2, -4 and kin: a B picture is shown at its decode time, any other when the next such one is
 * decoded. Without B pictures all are shown one and the same while after their decode time. */
static void time_by_picture_type(struct media_index *index, const struct raw_time *raw, const int64_t *decode)
{
    int64_t delay = usual_delay(index, decode);
    bool has_b = false;
    for (size_t i = 0; i < index->n_packets && !has_b; i++) {
        has_b = raw[i].picture_type == AV_PICTURE_TYPE_B;
    }
    int64_t next = index->n_packets ? decode[index->n_packets - 1] + index->frame_ticks : 0;
    for (size_t i = index->n_packets; i-- > 0;) {
        bool is_delayed = has_b && raw[i].picture_type != AV_PICTURE_TYPE_B;
        if (index->packet[i].time_ticks == AV_NOPTS_VALUE) {
            index->packet[i].time_ticks = is_delayed ? next : has_b ? decode[i] : decode[i] + delay;
        }
        if (is_delayed) {
            next = decode[i];
        }
    }
}

enum sm_status sm_media__index_order(struct media_index *index)
{
    struct timed *timed = sm_calloc(index->n_packets, sizeof *timed);
    if (!index->order) {
        index->order = sm_calloc(index->n_packets, sizeof *index->order);
    }
    if (!timed || !index->order) {
        sm_free(timed);
        return SM_E_NOMEM;
    }
    size_t n = 0;
    for (size_t i = 0; i < index->n_packets; i++) {
        index->packet[i].rank = NO_RANK;
        if (!(index->packet[i].flags & PACKET_HIDDEN)) {
            timed[n++] = (struct timed){index->packet[i].time_ticks, (uint32_t)i, 0};
        }
    }
    qsort(timed, n, sizeof *timed, compare_timed);
    for (size_t i = 0; i < n; i++) {
        index->order[i] = timed[i].packet_idx;
        index->packet[timed[i].packet_idx].rank = (uint32_t)i;
    }
    index->n_frames = n;
    sm_free(timed);
    return SM_OK;
}

enum sm_status sm_media__index_times(struct sm_media *media, struct media_file *file,
                                     const struct raw_time *raw, struct sm_error *err)
{
    struct media_index *index = &file->index;
    enum AVCodecID codec = media->demux.stream->codecpar->codec_id;
    int64_t *decode = sm_calloc(index->n_packets, sizeof *decode);
    if (!decode) {
        return sm_media__no_memory(err);
    }
    index->frame_ticks = typical_step(file, raw, media->demux.stream);
    enum sm_status status = settle_decode_times(media, file, raw, decode);
    if (can_tell_losses(&media->demux, index, decode)) {
        mark_losses(index, decode);
    }
    bool has_order = codec == AV_CODEC_ID_H264 || codec == AV_CODEC_ID_HEVC;
    if (status == SM_OK && has_order && count_untimed(index) > index->n_packets / 2) {
        status = time_by_picture_order(index, raw, decode);
    } else if (status == SM_OK) {
        time_by_picture_type(index, raw, decode);
    }
    sm_free(decode);
    return status == SM_OK ? SM_OK : sm_media__no_memory(err);
}
