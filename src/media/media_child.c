/*
 * The decoder's side of a recording that is decoded in a process of its own: opens the files it is to read, locks
 * itself in, and then serves one request after the other. All of it is the media stage as it works without such a
 * process; here is only the talk.
 */
#include "media_remote.h"

#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/prctl.h>

#define MEMORY_MIB 1536 /* the largest picture that is decoded, with all the pictures it may build on */
#define MOST_FILES 512

struct child {
    struct sm_media *media;
    int channel;
    uint8_t *shared;
    size_t at_idx; /* of the frame being handed over */
};

static bool say(const struct child *child, const struct media_message *message, const void *bytes)
{
    return sm_process_send(child->channel, message, sizeof *message) &&
           (message->n_bytes == 0 || sm_process_send(child->channel, bytes, message->n_bytes));
}

/* ---- frames ---- */

/* Into shared memory, unless it is there already. @return where the next plane may lie. */
static size_t hand_plane(struct child *child, struct media_shown *shown, int i, const uint8_t *plane,
                         ptrdiff_t stride, int32_t width_px, int32_t height_px, size_t offset)
{
    uint8_t *to = child->shared + offset;
    for (int32_t row = 0; plane != to && row < height_px; row++) {
        memcpy(to + (size_t)row * (size_t)width_px, plane + row * stride, (size_t)width_px);
    }
    shown->offset[i] = offset;
    shown->stride[i] = (uint64_t)width_px;
    return offset + (size_t)width_px * (size_t)height_px;
}

static void hand_picture(struct child *child, struct media_shown *shown, const struct sm_image *image)
{
    int32_t width = -(-image->width_px >> image->chroma_shift_x);
    int32_t height = -(-image->height_px >> image->chroma_shift_y);
    size_t at = hand_plane(child, shown, 0, image->y, image->stride_y, image->width_px, image->height_px,
                           SHARED_HEADER_BYTES);
    shown->has_chroma = image->u && image->v;
    if (shown->has_chroma) {
        at = hand_plane(child, shown, 1, image->u, image->stride_u, width, height, at);
        (void)hand_plane(child, shown, 2, image->v, image->stride_v, width, height, at);
    }
    shown->width_px = image->width_px;
    shown->height_px = image->height_px;
    shown->chroma_shift_x = image->chroma_shift_x;
    shown->chroma_shift_y = image->chroma_shift_y;
}

static bool say_jpeg(struct child *child, int quality)
{
    struct sm_text jpeg = {0};
    struct media_message message = {.kind = KIND_BYTES};
    message.status = sm_media_frame_jpeg(child->media, quality, &jpeg, NULL);
    message.n_bytes = message.status == SM_OK ? jpeg.length : 0;
    bool is_said = say(child, &message, jpeg.data);
    sm_text_release(&jpeg);
    return is_said;
}

static bool ask(void *user)
{
    struct child *child = user;
    struct media_message message = {.kind = KIND_ASK};
    struct media_request request;
    return say(child, &message, NULL) &&
           sm_process_receive(child->channel, &request, sizeof request, -1) == SM_PROCESS_GOT && request.op == OP_GO;
}

/* Hand a frame over and do as told: go on, stop, or code it first. */
static enum sm_status on_frame(void *user, const struct sm_frame *frame, struct sm_error *err)
{
    struct child *child = user;
    struct media_message message = {.kind = KIND_FRAME};
    struct media_request request = {.op = OP_JPEG};
    message.shown = (struct media_shown){.time_s = frame->time_s,
                                         .duration_s = frame->duration_s,
                                         .is_key = frame->is_key,
                                         .is_damaged = frame->is_damaged,
                                         .at_idx = child->at_idx};
    hand_picture(child, &message.shown, &frame->image);
    bool goes_on = say(child, &message, NULL);
    while (goes_on && request.op == OP_JPEG) {
        goes_on = sm_process_receive(child->channel, &request, sizeof request, -1) == SM_PROCESS_GOT &&
                  (request.op != OP_JPEG || say_jpeg(child, request.quality));
    }
    return goes_on && request.op == OP_GO ? SM_OK : sm_error_set(err, SM_E_CANCELLED, "stopped");
}

/* ---- requests ---- */

static bool say_done(struct child *child, enum sm_status status, const struct sm_error *err)
{
    const struct sm_media *media = child->media;
    struct media_state state = {.n_damages = media->n_damages, .has_more_damage = media->has_more_damage};
    state.err = status == SM_OK ? (struct sm_error){0} : *err;
    memcpy(state.damage, media->damage, sizeof state.damage);
    struct media_message message = {.kind = KIND_DONE, .status = status, .n_bytes = sizeof state};
    bool is_said = say(child, &message, &state);
    for (size_t i = 0; is_said && i < media->n_files; i++) {
        is_said = sm_process_send(child->channel, &media->file[i].other_size_s, sizeof(double));
    }
    return is_said;
}

static enum sm_status serve_at(struct child *child, size_t n, bool *is_there, struct sm_error *err)
{
    double *time_s = sm_calloc(n ? n : 1, sizeof *time_s);
    *is_there = time_s && (n == 0 || sm_process_receive(child->channel, time_s, n * sizeof *time_s, -1) == SM_PROCESS_GOT);
    enum sm_status status =
        *is_there ? sm_media_at(child->media, time_s, n, &child->at_idx, on_frame, child, err) : SM_E_NOMEM;
    sm_free(time_s);
    return status;
}

static enum sm_status serve_still(struct child *child, const struct media_request *request, bool *is_there,
                                  struct sm_error *err)
{
    struct sm_text jpeg = {0};
    enum sm_status status = sm_media_still_jpeg(child->media, request->start_s, request->quality, &jpeg, err);
    struct media_message message = {.kind = KIND_BYTES, .n_bytes = status == SM_OK ? jpeg.length : 0};
    *is_there = say(child, &message, jpeg.data);
    sm_text_release(&jpeg);
    return status;
}

static enum sm_status serve_texts(struct child *child, bool *is_there, struct sm_error *err)
{
    const struct sm_timed_text *text = NULL;
    size_t n = 0;
    struct sm_text packed = {0};
    enum sm_status status = sm_media_texts(child->media, &text, &n, err);
    for (size_t i = 0; status == SM_OK && i < n; i++) {
        struct media_told_text told = {text[i].start_s, text[i].end_s, text[i].track, text[i].file,
                                       strlen(text[i].text)};
        sm_text_add_n(&packed, (const char *)&told, sizeof told);
        sm_text_add_n(&packed, text[i].text, told.n_bytes);
    }
    if (packed.failed) {
        status = sm_media__no_memory(err);
    }
    struct media_message message = {.kind = KIND_BYTES, .n_bytes = status == SM_OK ? packed.length : 0};
    *is_there = say(child, &message, packed.data);
    sm_text_release(&packed);
    return status;
}

/* @return false when there is nobody to serve any more. */
static bool serve_one(struct child *child)
{
    struct media_request request;
    struct sm_error err = {0};
    bool is_there = true;
    enum sm_status status = SM_OK;
    if (sm_process_receive(child->channel, &request, sizeof request, -1) != SM_PROCESS_GOT) {
        return false;
    }
    child->at_idx = 0;
    sm_media_set_goes_on(child->media, request.asks ? ask : NULL, child);
    switch (request.op) {
    case OP_SCAN:
        status = sm_media_scan(child->media, request.start_s, request.end_s, request.step_s, request.cheap_only,
                               on_frame, child, &err);
        break;
    case OP_AT:
        status = serve_at(child, request.n_times, &is_there, &err);
        break;
    case OP_STILL:
        status = serve_still(child, &request, &is_there, &err);
        break;
    case OP_TEXTS:
        status = serve_texts(child, &is_there, &err);
        break;
    case OP_GO:
    case OP_STOP:
    case OP_JPEG:
        return false;
    }
    return is_there && say_done(child, status, &err);
}

/* ---- opening ---- */

static int32_t file_of(const struct sm_media *media, const char *source)
{
    for (size_t i = 0; source && i < media->n_files; i++) {
        if (strcmp(media->file[i].path, source) == 0) {
            return (int32_t)i;
        }
    }
    return -1;
}

static bool say_file(const struct child *child, const struct media_file *file)
{
    const struct media_index *index = &file->index;
    struct media_told_file told = {
        .tick_s = file->tick_s, .start_s = file->start_s, .duration_s = file->duration_s,
        .pixel_aspect = file->pixel_aspect, .width_px = file->width_px, .height_px = file->height_px,
        .rotation_deg = file->rotation_deg, .has_texts = file->has_texts, .ignores_index = file->ignores_index,
        .is_pos_sorted = index->is_pos_sorted, .n_packets = index->n_packets, .n_frames = index->n_frames,
        .n_keys = index->n_keys, .frame_ticks = index->frame_ticks};
    sm_strcopy(told.container, sizeof told.container, file->container);
    sm_strcopy(told.codec, sizeof told.codec, file->codec);
    return sm_process_send(child->channel, &told, sizeof told) &&
           sm_process_send(child->channel, index->packet, index->n_packets * sizeof *index->packet) &&
           sm_process_send(child->channel, index->order, index->n_frames * sizeof *index->order) &&
           sm_process_send(child->channel, index->key, index->n_keys * sizeof *index->key);
}

static bool say_opened(const struct child *child)
{
    const struct sm_media *media = child->media;
    bool is_said = true;
    for (size_t i = 0; is_said && i < media->n_files; i++) {
        is_said = say_file(child, &media->file[i]);
    }
    uint64_t n = media->n_lasting;
    is_said = is_said && sm_process_send(child->channel, &n, sizeof n);
    for (size_t i = 0; is_said && i < n; i++) {
        const struct sm_finding *finding = &media->findings.item[i];
        struct media_told_finding told = {.severity = finding->severity,
                                          .file_idx = file_of(media, finding->source),
                                          .time_s = finding->time_s};
        sm_strcopy(told.message, sizeof told.message, finding->message);
        is_said = sm_process_send(child->channel, &told, sizeof told);
    }
    return is_said;
}

static int64_t memory_bytes(void)
{
    const char *given = getenv("SM_DECODER_MIB");
    int64_t mib = given ? strtoll(given, NULL, 10) : 0;
    return (mib > 0 ? mib : MEMORY_MIB) * 1024 * 1024;
}

/* Open what is to be read, then nothing more can be. */
static struct child lock_in(struct sm_media *media, int channel)
{
    struct child child = {media, channel, media->remote->shared, 0};
    int keep[MOST_FILES];
    size_t n_keep = 0;
    for (size_t i = 0; i < media->n_files; i++) {
        sm_media__file_open(&media->file[i]);
        if (media->file[i].ahead.fd >= 0 && n_keep < MOST_FILES) {
            keep[n_keep++] = media->file[i].ahead.fd;
        }
    }
    if (media->remote->is_of_thread) { /* not ended with that thread: the channel tells when nobody is left */
        (void)prctl(PR_SET_PDEATHSIG, 0);
    }
    struct sm_process_limits limits = {.memory_bytes = memory_bytes()};
    bool is_limited = sm_process_limit(&limits); /* where the system grants no limit there is none; all else stays */
    (void)is_limited;
    (void)sm_process_confine(keep, n_keep, channel);
    media->remote = NULL; /* from here on this is a recording that decodes itself */
    media->active_told = (uint32_t *)(void *)child.shared;
    return child;
}

static void lend_shared(struct child *child)
{
    if (child->media->file[0].rotation_deg == 0) {
        child->media->picture.lent = child->shared + SHARED_HEADER_BYTES;
    }
}

int sm_media__child_again(void *user, int channel)
{
    struct child child = lock_in(user, channel);
    lend_shared(&child);
    while (serve_one(&child)) {
    }
    return 0;
}

int sm_media__child_open(void *user, int channel)
{
    struct child child = lock_in(user, channel);
    struct sm_error err = {0};
    enum sm_status status = sm_media__open_files(child.media, &err);
    bool is_said = say_done(&child, status, &err) && status == SM_OK && say_opened(&child);
    lend_shared(&child);
    while (is_said && serve_one(&child)) {
    }
    return 0;
}
