/*
 * The asking side of a recording that is decoded in a process of its own. Whatever happens to that process, here it is
 * an error for the file it was at: it crashed, was ended by the system, says what cannot be, or says nothing for too
 * long. Then it is lost, and every further call says so.
 */
#define _DEFAULT_SOURCE 1 /* for memory shared without a file */
#include "media_remote.h"

#include <errno.h>
#include <math.h>
#include <poll.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/socket.h>
#include <sys/syscall.h>
#include <time.h>
#include <unistd.h>

#define PATIENCE_S 300.0 /* of processor time: the list of a file of forty hours takes half of it */
#define CLOCK_SHARE 10.0 /* on a machine with much other work */

bool sm_media__is_apart(void)
{
    const char *where = getenv("SM_DECODER");
    return !where || strcmp(where, "here") != 0;
}

/* ---- when it is lost ---- */

static const char *path_at_work(const struct sm_media *media)
{
    uint32_t file_idx;
    memcpy(&file_idx, media->remote->shared, sizeof file_idx);
    return media->file[file_idx < media->n_files ? file_idx : 0].path;
}

/* How it ended: how, in words. */
static const char *how_ended(const struct media_remote *remote, const struct sm_process_end *end)
{
    if (remote->is_late) {
        return "hangs";
    }
    return end->signal == SIGKILL ? "was ended by the system" : end->signal ? "crashes" : "gives up";
}

/* One that is going gets a moment: how it ended by itself tells more than that it was killed. */
static bool has_gone(struct media_remote *remote, struct sm_process_end *end)
{
    const struct timespec moment = {0, 10 * 1000 * 1000};
    for (int i = 0; i < 20 && !remote->is_late; i++) {
        if (sm_process_ended(&remote->process, false, end)) {
            return true;
        }
        nanosleep(&moment, NULL);
    }
    return false;
}

static enum sm_status lost(struct sm_media *media, struct sm_error *err)
{
    struct media_remote *remote = media->remote;
    if (!remote->is_lost) {
        struct sm_process_end end = {0};
        bool is_liar = !has_gone(remote, &end) && !remote->is_late;
        sm_process_close(&remote->process);
        sm_error_at(&remote->why, SM_E_IO, path_at_work(media), 0, 0, "the decoder %s on this video",
                    is_liar ? "says what cannot be" : how_ended(remote, &end));
        sm_error_remedy(&remote->why, "copy it again from the recorder, or convert it to H.264 in MP4");
        remote->is_lost = true;
    }
    if (err) {
        *err = remote->why;
    }
    return SM_E_IO;
}

/* ---- talking, with patience ---- */

static double clock_s(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + (double)now.tv_nsec * 1e-9;
}

/* Wait until something can be read or written. @return false when that took too long. */
static bool wait_for(struct media_remote *remote, short what)
{
    double start_s = clock_s(), start_cpu_s = sm_process_cpu_s(&remote->process);
    struct pollfd fd = {.fd = remote->process.channel, .events = what};
    while (poll(&fd, 1, 1000) <= 0) {
        double used_s = sm_process_cpu_s(&remote->process) - start_cpu_s;
        remote->is_late = used_s > remote->patience_s || clock_s() - start_s > CLOCK_SHARE * remote->patience_s;
        if (remote->is_late) {
            return false;
        }
    }
    return true;
}

static bool take(struct media_remote *remote, void *data, size_t n)
{
    char *to = data;
    while (n && !remote->is_lost) {
        ssize_t got = recv(remote->process.channel, to, n, MSG_DONTWAIT);
        if (got > 0) {
            to += got;
            n -= (size_t)got;
        } else if (got == 0 || (errno != EAGAIN && errno != EINTR) || !wait_for(remote, POLLIN)) {
            return false;
        }
    }
    return n == 0;
}

static bool put(struct media_remote *remote, const void *data, size_t n)
{
    const char *from = data;
    while (n && !remote->is_lost) {
        ssize_t sent = send(remote->process.channel, from, n, MSG_DONTWAIT | MSG_NOSIGNAL);
        if (sent > 0) {
            from += sent;
            n -= (size_t)sent;
        } else if ((errno != EAGAIN && errno != EINTR) || !wait_for(remote, POLLOUT)) {
            return false;
        }
    }
    return n == 0;
}

/* ---- starting ---- */

static double patience_s(void)
{
    const char *given = getenv("SM_DECODER_SECONDS");
    long s = given ? strtol(given, NULL, 10) : 0;
    return s > 0 ? (double)s : PATIENCE_S;
}

enum sm_status sm_media__remote_start(struct sm_media *media, sm_process_fn *fn, struct sm_error *err)
{
    struct media_remote *remote = sm_calloc(1, sizeof *remote);
    if (!remote) {
        return sm_media__no_memory(err);
    }
    *remote = (struct media_remote){.process = {.channel = -1}, .patience_s = patience_s()};
    remote->is_of_thread = syscall(SYS_gettid) != (long)getpid();
    remote->shared = mmap(NULL, SHARED_BYTES, PROT_READ | PROT_WRITE, MAP_SHARED | MAP_ANONYMOUS | MAP_NORESERVE, -1, 0);
    if (remote->shared == MAP_FAILED) {
        sm_free(remote);
        return sm_media__no_memory(err);
    }
    media->remote = remote;
    enum sm_status status = sm_process_start(&remote->process, fn, media, err);
    if (status != SM_OK) {
        sm_media__remote_stop(media);
    }
    return status;
}

void sm_media__remote_stop(struct sm_media *media)
{
    struct media_remote *remote = media->remote;
    if (remote) {
        sm_process_close(&remote->process);
        munmap(remote->shared, SHARED_BYTES);
        sm_free(remote);
        media->remote = NULL;
    }
}

/* ---- answers ---- */

/* What comes with DONE. The status may be anything a call of this stage may give. */
static enum sm_status take_done(struct sm_media *media, const struct media_message *message, struct sm_error *err)
{
    struct media_state state;
    if (message->n_bytes != sizeof state || !take(media->remote, &state, sizeof state)) {
        return lost(media, err);
    }
    enum sm_status status = message->status;
    if (status > SM_OK || status < SM_E_INFEASIBLE) {
        return lost(media, err);
    }
    sm_media__state_mend(&state, status);
    for (size_t i = 0; i < media->n_files; i++) {
        if (!take(media->remote, &media->file[i].other_size_s, sizeof(double))) {
            return lost(media, err);
        }
        media->is_news |= isfinite(media->file[i].other_size_s) != 0;
    }
    memcpy(media->damage, state.damage, sizeof media->damage);
    media->is_news |= media->n_damages != state.n_damages || state.n_damages > 0;
    media->n_damages = state.n_damages;
    media->has_more_damage |= state.has_more_damage != 0;
    if (status != SM_OK && err) {
        *err = state.err;
    }
    return status;
}

/* The next message that is none about going on; that is settled here. */
static bool take_message(struct sm_media *media, struct media_message *message)
{
    struct media_remote *remote = media->remote;
    bool is_taken = take(remote, message, sizeof *message);
    uint64_t most_asked = 100000 + 64 * (uint64_t)media->info.n_frames;
    while (is_taken && message->kind == KIND_ASK) {
        if (remote->n_asked++ > most_asked) {
            return false;
        }
        bool goes_on = !media->goes_on || media->goes_on(media->goes_on_user);
        struct media_request verdict = {.op = goes_on ? OP_GO : OP_STOP};
        is_taken = put(remote, &verdict, sizeof verdict) && take(remote, message, sizeof *message);
    }
    return is_taken && message->n_bytes <= MOST_TOLD_BYTES;
}

/* A request whose answer is bytes, then DONE. On failure out is as before. */
enum sm_status sm_media__remote_bytes(struct sm_media *media, const struct media_request *request, struct sm_text *out,
                                      struct sm_error *err)
{
    struct media_message message;
    size_t before = out->length;
    media->remote->n_asked = 0;
    bool is_good = put(media->remote, request, sizeof *request) && take_message(media, &message) &&
                   message.kind == KIND_BYTES;
    char part[4096];
    for (uint64_t left = is_good ? message.n_bytes : 0; is_good && left;) {
        size_t n = left < sizeof part ? (size_t)left : sizeof part;
        is_good = take(media->remote, part, n);
        sm_text_add_n(out, part, n);
        left -= n;
    }
    bool is_in_callback = request->op == OP_JPEG;
    enum sm_status status = SM_OK;
    if (is_good && is_in_callback) {
        status = message.status == SM_OK ? SM_OK : sm_error_set(err, SM_E_UNSUPPORTED, "the picture cannot be coded as JPEG");
    } else if (is_good && take_message(media, &message) && message.kind == KIND_DONE) {
        status = take_done(media, &message, err);
    } else {
        status = lost(media, err);
    }
    if (status == SM_OK && out->failed) {
        status = sm_media__no_memory(err);
    }
    if (status != SM_OK && !out->failed) {
        out->length = before;
        if (out->data) {
            out->data[before] = '\0';
        }
    }
    return status;
}

/* ---- frames ---- */

struct listener {
    size_t n_times;
    size_t *at_idx;
    sm_frame_fn *fn;
    void *fn_user;
};

/* Give a frame to the listener. @return SM_E_IO when what was sent cannot be a frame: the decoder is lost. */
static enum sm_status show(struct sm_media *media, const struct media_shown *shown, const struct listener *listener,
                           bool *is_lie, struct sm_error *err)
{
    struct sm_frame frame = {.time_s = shown->time_s,
                             .duration_s = shown->duration_s,
                             .is_key = shown->is_key != 0,
                             .is_damaged = shown->is_damaged != 0};
    *is_lie = !sm_media__shown_image(&frame.image, shown, media->remote->shared, SHARED_BYTES, &media->info) ||
              (listener->at_idx && shown->at_idx >= listener->n_times);
    if (*is_lie) {
        return SM_E_IO;
    }
    if (listener->at_idx) {
        *listener->at_idx = (size_t)shown->at_idx;
    }
    return listener->fn(listener->fn_user, &frame, err);
}

/* Frames until DONE. What the listener says when it ends the scan is what the scan says. */
static enum sm_status frames_until_done(struct sm_media *media, const struct listener *listener, struct sm_error *err)
{
    enum sm_status said = SM_OK;
    struct sm_error *unheard = NULL;
    size_t n_left = media->info.n_frames + listener->n_times; /* more than there can be is no end */
    media->remote->n_asked = 0;
    for (;;) {
        struct media_message message;
        if (!take_message(media, &message)) {
            return lost(media, err);
        }
        if (message.kind == KIND_DONE) {
            enum sm_status status = take_done(media, &message, said == SM_OK ? err : unheard);
            return said == SM_OK || media->remote->is_lost ? status : said;
        }
        if (message.kind != KIND_FRAME || message.n_bytes != 0 || said != SM_OK || n_left-- == 0) {
            return lost(media, err);
        }
        bool is_lie = false;
        said = show(media, &message.shown, listener, &is_lie, err);
        struct media_request verdict = {.op = said == SM_OK ? OP_GO : OP_STOP};
        if (is_lie || !put(media->remote, &verdict, sizeof verdict)) {
            return lost(media, err);
        }
    }
}

enum sm_status sm_media__remote_scan(struct sm_media *media, const struct media_request *request, const double *time_s,
                                     size_t *at_idx, sm_frame_fn *fn, void *fn_user, struct sm_error *err)
{
    size_t ignored = 0;
    struct listener listener = {request->n_times, request->op == OP_AT ? (at_idx ? at_idx : &ignored) : NULL, fn, fn_user};
    if (!put(media->remote, request, sizeof *request) ||
        !put(media->remote, time_s, (size_t)request->n_times * sizeof *time_s)) {
        return lost(media, err);
    }
    return frames_until_done(media, &listener, err);
}

/* ---- texts ---- */

static bool add_text(struct sm_media *media, const struct media_told_text *told, const char *text)
{
    char *copy = sm_arena_strndup(media->arena, text, (size_t)told->n_bytes);
    if (!copy || sm_grow(&media->text, media->n_texts, &media->text_capacity, sizeof *media->text) != SM_OK) {
        return false;
    }
    media->text[media->n_texts++] = (struct sm_timed_text){told->start_s, told->end_s, copy, told->track, told->file};
    return true;
}

enum sm_status sm_media__remote_texts(struct sm_media *media, struct sm_error *err)
{
    struct sm_text packed = {0};
    struct media_request request = {.op = OP_TEXTS};
    enum sm_status status = sm_media__remote_bytes(media, &request, &packed, err);
    size_t at = 0;
    while (status == SM_OK && at < packed.length) {
        struct media_told_text told = {.file = -1};
        if (packed.length - at >= sizeof told) {
            memcpy(&told, packed.data + at, sizeof told);
            at += sizeof told;
        }
        if (told.file < 0 || (size_t)told.file >= media->n_files || told.n_bytes > packed.length - at) {
            status = lost(media, err);
        } else if (!add_text(media, &told, packed.data + at)) {
            status = sm_media__no_memory(err);
        }
        at += status == SM_OK ? (size_t)told.n_bytes : 0;
    }
    sm_text_release(&packed);
    media->n_texts = status == SM_OK ? media->n_texts : 0;
    media->has_read_texts = status == SM_OK;
    return status;
}

/* ---- opening ---- */

static enum sm_status take_lists(struct sm_media *media, struct media_file *file, struct media_told_file *told,
                                 struct sm_error *err)
{
    struct media_index *index = &file->index;
    *index = (struct media_index){.n_packets = told->n_packets, .n_frames = told->n_frames, .n_keys = told->n_keys,
                                  .packet_capacity = told->n_packets, .key_capacity = told->n_keys,
                                  .is_pos_sorted = told->is_pos_sorted != 0, .frame_ticks = told->frame_ticks};
    index->packet = sm_calloc(index->n_packets, sizeof *index->packet);
    index->order = sm_calloc(index->n_frames, sizeof *index->order);
    index->key = sm_calloc(index->n_keys ? index->n_keys : 1, sizeof *index->key);
    if (!index->packet || !index->order || !index->key) {
        return sm_media__no_memory(err);
    }
    bool is_good = take(media->remote, index->packet, index->n_packets * sizeof *index->packet) &&
                   take(media->remote, index->order, index->n_frames * sizeof *index->order) &&
                   take(media->remote, index->key, index->n_keys * sizeof *index->key) &&
                   sm_media__index_check(index);
    return is_good ? SM_OK : lost(media, err);
}

static enum sm_status take_file(struct sm_media *media, size_t file_idx, struct sm_error *err)
{
    struct media_file *file = &media->file[file_idx];
    struct media_told_file told;
    if (!take(media->remote, &told, sizeof told) || !sm_media__told_file_check(&told)) {
        return lost(media, err);
    }
    file->container = sm_arena_strdup(media->arena, told.container);
    file->codec = sm_arena_strdup(media->arena, told.codec);
    file->tick_s = told.tick_s;
    file->start_s = told.start_s;
    file->duration_s = told.duration_s;
    file->pixel_aspect = told.pixel_aspect;
    file->width_px = told.width_px;
    file->height_px = told.height_px;
    file->rotation_deg = told.rotation_deg;
    file->has_texts = told.has_texts != 0;
    file->ignores_index = told.ignores_index != 0;
    if (file_idx > 0) {
        const struct media_file *before = &media->file[file_idx - 1];
        file->first_frame_idx = before->first_frame_idx + before->index.n_frames;
    }
    return file->container && file->codec ? take_lists(media, file, &told, err) : sm_media__no_memory(err);
}

static enum sm_status take_findings(struct sm_media *media, struct sm_error *err)
{
    uint64_t n = 0;
    if (!take(media->remote, &n, sizeof n) || n > MOST_TOLD_FINDINGS) {
        return lost(media, err);
    }
    for (uint64_t i = 0; i < n; i++) {
        struct media_told_finding told;
        if (!take(media->remote, &told, sizeof told) || told.file_idx >= (int64_t)media->n_files ||
            (told.severity != SM_SEVERITY_NOTE && told.severity != SM_SEVERITY_WARNING)) {
            return lost(media, err);
        }
        sm_media__line_mend(told.message, sizeof told.message);
        const char *source = told.file_idx >= 0 ? media->file[told.file_idx].path : NULL;
        if (sm_findings_add(&media->findings, 0, told.severity, source, 0, told.time_s, -1, "%s", told.message) != SM_OK) {
            return sm_media__no_memory(err);
        }
    }
    media->n_lasting = media->findings.n;
    return SM_OK;
}

enum sm_status sm_media__remote_opened(struct sm_media *media, struct sm_error *err)
{
    struct media_message message;
    if (!take_message(media, &message) || message.kind != KIND_DONE) {
        return lost(media, err);
    }
    enum sm_status status = take_done(media, &message, err);
    for (size_t i = 0; status == SM_OK && i < media->n_files; i++) {
        status = take_file(media, i, err);
    }
    return status == SM_OK ? take_findings(media, err) : status;
}
