/*
 * Walking the recording: which entries are wanted is settled from the index before anything is decoded; then
 * they are fetched in display order, file by file.
 */
#include "media_internal.h"
#include "media_remote.h"

#include <math.h>
#include <stdlib.h>

#define EPSILON_S 0.0005 /* times are often written with three decimals */
#define NEAR_PACKETS 4   /* a key this close is reached sooner by running on */

/* One scan under way. */
struct walk {
    bool cheap_only;
    sm_frame_fn *fn;
    void *fn_user;
    double last_time_s; /* of the frame last delivered */
};

static enum sm_status enter(struct sm_media *media, struct sm_error *err)
{
    if (media->is_busy) {
        return sm_error_set(err, SM_E_CONFLICT, "the video is being scanned; ask again when that has ended");
    }
    media->is_busy = true;
    return SM_OK;
}

static enum sm_status leave(struct sm_media *media, enum sm_status status, struct sm_error *err)
{
    media->is_busy = false;
    enum sm_status published = sm_media__publish(media, status == SM_OK ? err : NULL);
    return status == SM_OK ? published : status;
}

static void clear_wanted(struct media_index *index)
{
    for (size_t i = 0; i < index->n_packets; i++) {
        index->packet[i].flags &= ~(uint32_t)PACKET_WANTED;
    }
}

static double shown_for(const struct media_file *file, const struct packet_entry *entry)
{
    const struct media_index *index = &file->index;
    if (entry->rank + 1 < index->n_frames) {
        const struct packet_entry *next = &index->packet[index->order[entry->rank + 1]];
        return (double)(next->time_ticks - entry->time_ticks) * file->tick_s;
    }
    return file->start_s + file->duration_s - sm_media__entry_time_s(file, entry);
}

static enum sm_status deliver(struct sm_media *media, struct walk *walk, struct sm_error *err)
{
    const struct media_file *file = &media->file[media->active];
    const struct packet_entry *entry = &file->index.packet[media->decoder.last_idx];
    const AVFrame *decoded = media->decoder.frame;
    struct sm_frame frame = {.time_s = sm_media__entry_time_s(file, entry),
                             .duration_s = shown_for(file, entry)};
    frame.is_key = decoded->key_frame != 0;
    frame.is_damaged = media->decoder.is_damaged;
    enum sm_status status = sm_media__picture(media, decoded, &frame.image, err);
    if (status != SM_OK) {
        return status;
    }
    walk->last_time_s = frame.time_s;
    return walk->fn(walk->fn_user, &frame, err);
}

/* Whether decoding may end with packet_idx: the next one wanted starts afresh from its own key anyway. */
static bool ends_run(const struct media_index *index, uint32_t packet_idx, size_t next_rank, size_t end_rank)
{
    while (next_rank < end_rank && !(index->packet[index->order[next_rank]].flags & PACKET_WANTED)) {
        next_rank++;
    }
    return next_rank == end_rank ||
           sm_media__key_before(index, index->order[next_rank], 0) > packet_idx + NEAR_PACKETS;
}

/* A key that was none: take the one after it. */
static void want_next_key(struct media_index *index, size_t rank, size_t end)
{
    while (rank < end && !(index->packet[index->order[rank]].flags & PACKET_KEY)) {
        rank++;
    }
    if (rank < end) {
        index->packet[index->order[rank]].flags |= PACKET_WANTED;
    }
}

/* Deliver the wanted entries of the active file with ranks [from, end). */
static enum sm_status walk_wanted(struct sm_media *media, struct walk *walk, size_t from, size_t end,
                                  struct sm_error *err)
{
    struct media_file *file = &media->file[media->active];
    struct media_index *index = &file->index;
    enum sm_status status = SM_OK;
    for (size_t rank = from; rank < end && status == SM_OK; rank++) {
        uint32_t idx = index->order[rank];
        if (!(index->packet[idx].flags & PACKET_WANTED)) {
            continue;
        }
        enum fetched fetched;
        enum fetch_end fetch_end = walk->cheap_only                      ? FETCH_ALONE
                                   : ends_run(index, idx, rank + 1, end) ? FETCH_ENDS
                                                                         : FETCH_RUNS_ON;
        status = sm_media__fetch(media, idx, fetch_end, &fetched, err);
        if (status == SM_OK && fetched == FETCHED_NONE && walk->cheap_only) {
            want_next_key(index, rank + 1, end);
        }
        if (status != SM_OK || fetched == FETCHED_NONE) {
            continue;
        }
        double time_s = sm_media__entry_time_s(file, &index->packet[media->decoder.last_idx]);
        if (fetched == FETCHED_OWN || (!walk->cheap_only && time_s > walk->last_time_s)) {
            status = deliver(media, walk, err);
        }
    }
    return status;
}

/* Mark entries with ranks [from, end) about step_s apart on the grid that starts at *due_s. */
static void mark_grid(struct media_file *file, size_t from, size_t end, double step_s, bool cheap_only,
                      double *due_s)
{
    struct media_index *index = &file->index;
    double slack_s = 0.5 * (double)index->frame_ticks * file->tick_s;
    for (size_t rank = from; rank < end; rank++) {
        struct packet_entry *entry = &index->packet[index->order[rank]];
        double time_s = sm_media__entry_time_s(file, entry);
        if ((cheap_only && !(entry->flags & PACKET_KEY)) || time_s + slack_s < *due_s) {
            continue;
        }
        entry->flags |= PACKET_WANTED;
        if (step_s > 0) {
            *due_s += step_s * (floor((time_s + slack_s - *due_s) / step_s) + 1);
        }
    }
}

enum sm_status sm_media_scan(struct sm_media *media, double start_s, double end_s, double step_s,
                             bool cheap_only, sm_frame_fn *fn, void *fn_user, struct sm_error *err)
{
    enum sm_status status = enter(media, err);
    if (status != SM_OK) {
        return status;
    }
    start_s = start_s > 0 ? start_s : 0;
    step_s = step_s > 0 && isfinite(step_s) ? step_s : 0;
    if (media->remote) {
        struct media_request request = {
            .op = OP_SCAN, .asks = media->goes_on != NULL, .start_s = start_s, .end_s = end_s, .step_s = step_s, .cheap_only = cheap_only};
        return leave(media, sm_media__remote_scan(media, &request, NULL, NULL, fn, fn_user, err), err);
    }
    struct walk walk = {.cheap_only = cheap_only, .fn = fn, .fn_user = fn_user, .last_time_s = -1};
    double due_s = start_s;
    for (size_t i = 0; i < media->n_files && status == SM_OK; i++) {
        struct media_file *file = &media->file[i];
        if (file->start_s + file->duration_s <= start_s || file->start_s > end_s) {
            continue;
        }
        size_t from = sm_media__rank_at(file, start_s - file->start_s);
        from +=
            sm_media__entry_time_s(file, &file->index.packet[file->index.order[from]]) < start_s - EPSILON_S;
        size_t end = isfinite(end_s) ? sm_media__rank_at(file, end_s + EPSILON_S - file->start_s) + 1
                                     : file->index.n_frames;
        mark_grid(file, from, end, step_s, cheap_only, &due_s);
        status = sm_media__activate(media, i, err);
        if (status == SM_OK) {
            status = walk_wanted(media, &walk, from, end, err);
        }
        clear_wanted(&file->index);
    }
    return leave(media, status, err);
}

/* An asked time and where it falls. */
struct asked {
    double time_s;
    size_t at_idx;
    size_t file_idx;
    uint32_t packet_idx;
};

static int compare_asked(const void *left, const void *right)
{
    const struct asked *a = left;
    const struct asked *b = right;
    if (a->time_s != b->time_s) {
        return a->time_s < b->time_s ? -1 : 1;
    }
    return a->at_idx < b->at_idx ? -1 : a->at_idx > b->at_idx;
}

/* Times that fall into the recording, sorted, with their entries marked. @return how many. */
static size_t place_asked(struct sm_media *media, const double *time_s, size_t n, struct asked *asked)
{
    size_t n_placed = 0;
    for (size_t i = 0; i < n; i++) {
        if (isfinite(time_s[i]) && time_s[i] <= media->info.duration_s + EPSILON_S) {
            asked[n_placed++] = (struct asked){.time_s = time_s[i], .at_idx = i};
        }
    }
    qsort(asked, n_placed, sizeof *asked, compare_asked);
    size_t file_idx = 0;
    for (size_t i = 0; i < n_placed; i++) {
        while (file_idx + 1 < media->n_files &&
               media->file[file_idx + 1].start_s <= asked[i].time_s + EPSILON_S) {
            file_idx++;
        }
        struct media_file *file = &media->file[file_idx];
        size_t rank = sm_media__rank_at(file, asked[i].time_s + EPSILON_S - file->start_s);
        asked[i].file_idx = file_idx;
        asked[i].packet_idx = file->index.order[rank];
        file->index.packet[asked[i].packet_idx].flags |= PACKET_WANTED;
    }
    return n_placed;
}

static bool ends_run_before(const struct sm_media *media, const struct asked *asked, size_t n)
{
    return n == 1 || asked[1].file_idx != asked[0].file_idx ||
           (asked[1].packet_idx != asked[0].packet_idx &&
            sm_media__key_before(&media->file[asked[0].file_idx].index, asked[1].packet_idx, 0) >
                asked[0].packet_idx + NEAR_PACKETS);
}

static enum sm_status serve(struct sm_media *media, const struct asked *asked, size_t n, struct walk *walk,
                            size_t *at_idx, struct sm_error *err)
{
    enum sm_status status = SM_OK;
    for (size_t i = 0; i < n && status == SM_OK; i++) {
        enum fetched fetched = FETCHED_NONE;
        status = sm_media__activate(media, asked[i].file_idx, err);
        if (status == SM_OK) {
            enum fetch_end end = ends_run_before(media, &asked[i], n - i) ? FETCH_ENDS : FETCH_RUNS_ON;
            status = sm_media__fetch(media, asked[i].packet_idx, end, &fetched, err);
        }
        if (status == SM_OK && fetched != FETCHED_NONE) {
            if (at_idx) {
                *at_idx = asked[i].at_idx;
            }
            status = deliver(media, walk, err);
        }
    }
    return status;
}

enum sm_status sm_media_at(struct sm_media *media, const double *time_s, size_t n, size_t *at_idx,
                           sm_frame_fn *fn, void *fn_user, struct sm_error *err)
{
    if (media->remote) {
        struct media_request request = {.op = OP_AT, .asks = media->goes_on != NULL, .n_times = n};
        enum sm_status entered = enter(media, err);
        return entered == SM_OK
                   ? leave(media, sm_media__remote_scan(media, &request, time_s, at_idx, fn, fn_user, err), err)
                   : entered;
    }
    struct asked *asked = sm_calloc(n ? n : 1, sizeof *asked);
    enum sm_status status = asked ? enter(media, err) : sm_media__no_memory(err);
    if (status != SM_OK) {
        sm_free(asked);
        return status;
    }
    struct walk walk = {.fn = fn, .fn_user = fn_user, .last_time_s = -1};
    size_t n_placed = place_asked(media, time_s, n, asked);
    status = serve(media, asked, n_placed, &walk, at_idx, err);
    for (size_t i = 0; i < n_placed; i++) {
        media->file[asked[i].file_idx].index.packet[asked[i].packet_idx].flags &= ~(uint32_t)PACKET_WANTED;
    }
    sm_free(asked);
    return leave(media, status, err);
}
