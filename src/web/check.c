/* Are the videos those of the survey? Hashing takes its time, so a thread does it, and the server may end before it. */
#include "web_internal.h"

#include <string.h>

struct sm_web__check {
    pthread_mutex_t lock;
    int n_users; /* the server and the thread */
    enum sm_web__video result;
    size_t n;
    struct file {
        char *path;
        char sha256[65];
    } *file;
};

static void let_go(struct sm_web__check *check)
{
    pthread_mutex_lock(&check->lock);
    bool is_last = --check->n_users == 0;
    pthread_mutex_unlock(&check->lock);
    if (!is_last) {
        return;
    }
    for (size_t i = 0; check->file && i < check->n; i++) {
        sm_free(check->file[i].path);
    }
    pthread_mutex_destroy(&check->lock);
    sm_free(check->file);
    sm_free(check);
}

static void *run(void *user)
{
    struct sm_web__check *check = user;
    enum sm_web__video result = SM_WEB__VIDEO_SAME;
    for (size_t i = 0; i < check->n && result == SM_WEB__VIDEO_SAME; i++) {
        char sha256[65];
        if (sm_file_sha256(check->file[i].path, sha256, NULL) != SM_OK) {
            result = SM_WEB__VIDEO_MISSING;
        } else if (strcmp(sha256, check->file[i].sha256) != 0) {
            result = SM_WEB__VIDEO_CHANGED;
        }
    }
    pthread_mutex_lock(&check->lock);
    check->result = result;
    pthread_mutex_unlock(&check->lock);
    let_go(check);
    return NULL;
}

static bool copy_files(struct sm_web__check *check, const struct sm_job_video *video, size_t n)
{
    check->file = sm_calloc(n + 1, sizeof *check->file);
    check->n = check->file ? n : 0;
    bool is_good = check->file != NULL;
    for (size_t i = 0; is_good && i < n; i++) {
        check->file[i].path = sm_strdup(video[i].path);
        sm_strcopy(check->file[i].sha256, sizeof check->file[i].sha256, video[i].sha256);
        is_good = check->file[i].path != NULL;
    }
    return is_good;
}

enum sm_status sm_web__check_start(struct sm_web__check **out, const struct sm_job_video *video, size_t n, struct sm_error *err)
{
    struct sm_web__check *check = sm_calloc(1, sizeof *check);
    if (!check) {
        return sm_web__no_memory(err);
    }
    pthread_mutex_init(&check->lock, NULL);
    check->n_users = 2;
    check->result = n ? SM_WEB__VIDEO_CHECKING : SM_WEB__VIDEO_NONE;
    bool is_there = true;
    for (size_t i = 0; i < n; i++) {
        is_there = is_there && video[i].is_there;
    }
    if (!is_there) {
        check->result = SM_WEB__VIDEO_MISSING;
    }
    pthread_t thread;
    bool is_good = copy_files(check, video, n);
    bool has_thread = is_good && n && is_there && pthread_create(&thread, NULL, run, check) == 0;
    if (has_thread) {
        pthread_detach(thread);
    } else {
        let_go(check);
    }
    if (!is_good) {
        let_go(check);
        return sm_web__no_memory(err);
    }
    *out = check;
    return SM_OK;
}

enum sm_web__video sm_web__check_result(struct sm_web__check *check)
{
    pthread_mutex_lock(&check->lock);
    enum sm_web__video result = check->result;
    pthread_mutex_unlock(&check->lock);
    return result;
}

void sm_web__check_release(struct sm_web__check **check)
{
    if (*check) {
        let_go(*check);
        *check = NULL;
    }
}
