/*
 * A recording whose decoder runs in a process of its own: the handle keeps the lists and what is known, the process
 * reads and decodes. Where there is none (media->remote is NULL) the handle does both itself.
 */
#ifndef STOPMARK_MEDIA_REMOTE_H
#define STOPMARK_MEDIA_REMOTE_H

#include "media_wire.h"

#include "stopmark/process.h"

struct media_remote {
    struct sm_process process;
    uint8_t *shared;      /* SHARED_BYTES, mapped before the process is started; only pages that are used cost */
    double patience_s;    /* of processor time without a word, ten times as much by the clock */
    uint64_t n_asked;     /* in this request; one that never stops asking is no decoder */
    bool is_lost, is_late;
    bool is_of_thread;    /* started by a thread that may end before the recording is closed */
    struct sm_error why;  /* once it is lost */
};

/* Shall decoders run in processes of their own? SM_DECODER=here says no. */
bool sm_media__is_apart(void);
/* Start the process; fn serves it. media must know its files' paths. */
enum sm_status sm_media__remote_start(struct sm_media *media, sm_process_fn *fn, struct sm_error *err) SM_CHECKED;
void sm_media__remote_stop(struct sm_media *media);
/* Take over what the process says of files just opened. */
enum sm_status sm_media__remote_opened(struct sm_media *media, struct sm_error *err) SM_CHECKED;
enum sm_status sm_media__remote_scan(struct sm_media *media, const struct media_request *request, const double *time_s,
                                     size_t *at_idx, sm_frame_fn *fn, void *fn_user, struct sm_error *err) SM_CHECKED;
enum sm_status sm_media__remote_bytes(struct sm_media *media, const struct media_request *request, struct sm_text *out,
                                      struct sm_error *err) SM_CHECKED;
enum sm_status sm_media__remote_texts(struct sm_media *media, struct sm_error *err) SM_CHECKED;

/* ---- media_child.c: in the process; user = struct sm_media ---- */

int sm_media__child_open(void *user, int channel);
int sm_media__child_again(void *user, int channel);

#endif
