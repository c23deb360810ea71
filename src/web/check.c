/* Are the videos those of the survey, and still? Hashing takes its time, so a thread does it, and the server may end before it;
 * whether a file was touched since is seen by its stamp each time somebody asks. */
#include "web_internal.h"

#include <string.h>
#include <sys/stat.h>

/* What changes with a file: another one in its place, another length, written to. */
struct stamp {
    bool is_there;
    dev_t device;
    ino_t inode;
    off_t size_bytes;
    struct timespec written;
};

struct sm_web__check {
    pthread_mutex_t lock;
    int n_users; /* the server and the thread */
    enum sm_web__video result;
    size_t n;
    struct file {
        char *path;
        char sha256[65];
        struct stamp stamp; /* when it was hashed last */
    } *file;
};

static struct stamp stamp_of(const char *path)
{
    struct stat status;
    if (stat(path, &status) != 0) {
        return (struct stamp){.is_there = false};
    }
    return (struct stamp){true, status.st_dev, status.st_ino, status.st_size, status.st_mtim};
}

static bool is_same_stamp(const struct stamp *a, const struct stamp *b)
{
    return a->is_there == b->is_there && a->device == b->device && a->inode == b->inode && a->size_bytes == b->size_bytes &&
           a->written.tv_sec == b->written.tv_sec && a->written.tv_nsec == b->written.tv_nsec;
}

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

static bool start_thread(struct sm_web__check *check)
{
    pthread_t thread;
    if (pthread_create(&thread, NULL, run, check) != 0) {
        return false;
    }
    pthread_detach(thread);
    return true;
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
        check->file[i].stamp = stamp_of(video[i].path);
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
    bool is_good = copy_files(check, video, n);
    if (!is_good || !n || !is_there || !start_thread(check)) {
        let_go(check);
    }
    if (!is_good) {
        let_go(check);
        return sm_web__no_memory(err);
    }
    *out = check;
    return SM_OK;
}

/* Files touched since they were hashed are hashed anew; what is not there any more needs no hashing. Lock held. */
static void look_again(struct sm_web__check *check)
{
    bool is_touched = false;
    bool is_there = true;
    for (size_t i = 0; i < check->n; i++) {
        struct stamp now = stamp_of(check->file[i].path);
        is_touched = is_touched || !is_same_stamp(&now, &check->file[i].stamp);
        is_there = is_there && now.is_there;
        check->file[i].stamp = now;
    }
    if (!is_touched || check->result == SM_WEB__VIDEO_CHECKING) {
        return;
    }
    check->result = is_there ? SM_WEB__VIDEO_CHECKING : SM_WEB__VIDEO_MISSING;
    check->n_users += is_there;
    if (is_there && !start_thread(check)) {
        check->n_users--;
        check->result = SM_WEB__VIDEO_CHANGED; /* not shown to be the same */
    }
}

enum sm_web__video sm_web__check_result(struct sm_web__check *check)
{
    pthread_mutex_lock(&check->lock);
    look_again(check);
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
