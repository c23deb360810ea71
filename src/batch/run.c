/*
 * The pool: as many processes as asked, each with one survey. This side only waits: for messages, for ends, for time
 * limits. It opens no file of a survey, so nothing in one can harm it (finding surveys reads
 * sheets and logs, never a video).
 *
 *   waiting --start--> running --message--> (result noted) --channel closed--> over
 *                         |--time limit, or the run is stopped--> asked to end --GRACE_S--> killed --> over
 */
#include "batch_internal.h"

#include <assert.h>
#include <poll.h>
#include <signal.h>
#include <string.h>
#include <time.h>

#include "stopmark/process.h"

enum { MOST_WORKERS = 1024, TICK_MS = 200 };
#define GRACE_S 10.0          /* to end cleanly once asked, where the caller does not say */
#define FORECAST_FROM_S 3.0   /* too early a forecast only jumps about */
#define FORECAST_FROM_SHARE 0.005

struct worker {
    struct sm_process process; /* pid 0 = free */
    struct sm_batch__work work;
    char *out_dir; /* of work */
    size_t survey_idx;
    double begun_s, asked_s; /* asked_s: asked to end then, NaN = not */
    double share;
    bool is_late, has_result;
};
struct pool {
    const struct sm_batch_surveys *surveys;
    const struct sm_batch_opts *opts;
    struct sm_batch_report *report;
    struct worker *worker;
    struct pollfd *fd;
    size_t n_workers, n_running, next_idx, n_over, n_failed;
    double begun_s;
    double n_skipped; /* unchanged ones: they say nothing about the time the others take */
};

static double clock_s(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + (double)now.tv_nsec * 1e-9;
}

/* ---- starting ---- */

static char *folder_of(const struct sm_batch_opts *opts, const struct sm_batch_survey *survey)
{
    struct sm_text path = {0};
    sm_text_addf(&path, "%s/%s", opts->out_dir, survey->name);
    if (path.failed) {
        sm_text_release(&path);
    }
    return path.data;
}

/* The folder above: a delivery makes its own folder whole, by a rename. */
static enum sm_status make_room(const char *out_dir, struct sm_error *err)
{
    struct sm_text above = {0};
    enum sm_status status = sm_path_beside(&above, out_dir, ".");
    status = status == SM_OK ? sm_dir_make(above.data, err) : sm_error_set(err, SM_E_NOMEM, "out of memory");
    sm_text_release(&above);
    return status;
}

static enum sm_status start_worker(struct pool *pool, struct worker *worker, size_t survey_idx,
                                   struct sm_error *err)
{
    const struct sm_batch_survey *survey = &pool->surveys->item[survey_idx];
    enum sm_status status = SM_OK;
    *worker = (struct worker){.survey_idx = survey_idx, .asked_s = SM_NAN, .begun_s = clock_s()};
    if (pool->opts->out_dir) {
        worker->out_dir = folder_of(pool->opts, survey);
        status = worker->out_dir ? make_room(worker->out_dir, err)
                                 : sm_error_set(err, SM_E_NOMEM, "out of memory");
    }
    worker->work = (struct sm_batch__work){survey, pool->opts, worker->out_dir};
    if (status == SM_OK) {
        status = sm_process_start(&worker->process, sm_batch__work, &worker->work, err);
    }
    if (status != SM_OK) {
        sm_free(worker->out_dir);
        *worker = (struct worker){.asked_s = SM_NAN};
    }
    return status;
}

static void note_over(struct pool *pool, size_t survey_idx)
{
    const struct sm_batch_result *result = &pool->report->result[survey_idx];
    pool->n_over++;
    pool->n_skipped += result->state == SM_BATCH_UNCHANGED;
    pool->n_failed += result->state == SM_BATCH_FAILED || result->state == SM_BATCH_CRASHED ||
                      result->state == SM_BATCH_TIMED_OUT;
}

static void fill_free_workers(struct pool *pool)
{
    for (size_t i = 0; i < pool->n_workers && pool->next_idx < pool->surveys->n; i++) {
        if (pool->worker[i].process.pid) {
            continue;
        }
        size_t idx = pool->next_idx++;
        struct sm_batch_result *result = &pool->report->result[idx];
        if (start_worker(pool, &pool->worker[i], idx, &result->err) == SM_OK) {
            pool->n_running++;
        } else {
            result->state = SM_BATCH_FAILED;
            note_over(pool, idx);
        }
    }
}

/* ---- ending ---- */

static void tell_death(struct pool *pool, const struct worker *worker, const struct sm_process_end *end)
{
    struct sm_batch_result *result = &pool->report->result[worker->survey_idx];
    const char *path = worker->work.survey->path;
    result->state = SM_BATCH_CRASHED;
    if (end->signal == SIGKILL) {
        sm_error_at(&result->err, SM_E_NOMEM, path, 0, 0,
                    "its process was killed from outside, most likely for want of memory");
        sm_error_remedy(&result->err, "run again with fewer workers");
    } else if (end->signal) {
        sm_error_at(&result->err, SM_E_FORMAT, path, 0, 0, "its process crashed (signal %d)", end->signal);
        sm_error_remedy(&result->err,
                        "run stopmark schedule on it alone; if it crashes again, report it with its files");
    } else {
        sm_error_at(&result->err, SM_E_FORMAT, path, 0, 0, "its process ended early (exit status %d)",
                    end->exit_status);
        sm_error_remedy(&result->err,
                        "run stopmark schedule on it alone; if it fails again, report it with its files");
    }
}

static void tell_late(struct pool *pool, const struct worker *worker)
{
    struct sm_batch_result *result = &pool->report->result[worker->survey_idx];
    memset(result, 0, sizeof *result);
    result->state = SM_BATCH_TIMED_OUT;
    sm_error_at(&result->err, SM_E_CANCELLED, worker->work.survey->path, 0, 0, "took longer than %lld s",
                (long long)pool->opts->time_limit_s);
    sm_error_remedy(&result->err, "allow more time, or look at its video: it may be damaged");
}

/* Late counts only where the work was not finished all the same. */
static void end_worker(struct pool *pool, struct worker *worker)
{
    struct sm_process_end end;
    int64_t pid = worker->process.pid;
    sm_process_ended(&worker->process, true, &end);
    enum sm_batch_state state = pool->report->result[worker->survey_idx].state;
    bool is_good = worker->has_result && (state == SM_BATCH_DONE || state == SM_BATCH_UNCHANGED);
    if (worker->is_late && !is_good) {
        tell_late(pool, worker);
    } else if (!worker->has_result && isnan(worker->asked_s)) {
        tell_death(pool, worker, &end);
    }
    if (!worker->has_result || end.signal) {
        sm_job_remove_unfinished(worker->out_dir, pool->opts->job_path, pid);
    }
    note_over(pool, worker->survey_idx);
    sm_free(worker->out_dir);
    *worker = (struct worker){.asked_s = SM_NAN};
    pool->n_running--;
}

/* ---- waiting ---- */

/* A message is one write of one socket: all of it is there or the sender is gone. */
static bool take_message(struct pool *pool, struct worker *worker)
{
    struct sm_batch__message message;
    if (sm_process_receive(worker->process.channel, &message, sizeof message, -1) != SM_PROCESS_GOT) {
        return false;
    }
    worker->share = message.share;
    if (message.is_result) {
        pool->report->result[worker->survey_idx] = message.result;
        worker->has_result = true;
    }
    return true;
}

static void hear(struct pool *pool)
{
    for (size_t i = 0; i < pool->n_workers; i++) {
        bool is_running = pool->worker[i].process.pid != 0;
        pool->fd[i] =
            (struct pollfd){.fd = is_running ? pool->worker[i].process.channel : -1, .events = POLLIN};
    }
    if (poll(pool->fd, (nfds_t)pool->n_workers, TICK_MS) <= 0) {
        return;
    }
    for (size_t i = 0; i < pool->n_workers; i++) {
        if (pool->fd[i].revents && pool->worker[i].process.pid && !take_message(pool, &pool->worker[i])) {
            end_worker(pool, &pool->worker[i]);
        }
    }
}

static void ask_to_end(struct worker *worker, double now_s, double grace_s)
{
    if (isnan(worker->asked_s)) {
        worker->asked_s = now_s;
        sm_process_stop(&worker->process, false);
    } else if (now_s - worker->asked_s > grace_s) {
        sm_process_stop(&worker->process, true);
    }
}

static void watch_time(struct pool *pool)
{
    double now_s = clock_s();
    double limit_s = pool->opts->time_limit_s;
    double grace_s = pool->opts->grace_s > 0 ? pool->opts->grace_s : GRACE_S;
    for (size_t i = 0; i < pool->n_workers; i++) {
        struct worker *worker = &pool->worker[i];
        bool is_late = limit_s > 0 && now_s - worker->begun_s > limit_s;
        if (worker->process.pid && (is_late || pool->report->is_stopped)) {
            worker->is_late = worker->is_late || (is_late && !pool->report->is_stopped);
            ask_to_end(worker, now_s, grace_s);
        }
    }
}

/* ---- progress ---- */

static struct sm_batch_progress progress_of(const struct pool *pool)
{
    double running = 0;
    for (size_t i = 0; i < pool->n_workers; i++) {
        running += pool->worker[i].process.pid ? pool->worker[i].share : 0;
    }
    double n = (double)pool->surveys->n;
    double over = (double)pool->n_over + running;
    double worked_share = (over - pool->n_skipped) / fmax(1, n - pool->n_skipped);
    double spent_s = clock_s() - pool->begun_s;
    bool can_tell = spent_s > FORECAST_FROM_S && worked_share > FORECAST_FROM_SHARE;
    return (struct sm_batch_progress){.n_surveys = pool->surveys->n,
                                      .n_over = pool->n_over,
                                      .n_failed = pool->n_failed,
                                      .n_running = pool->n_running,
                                      .share = over / n,
                                      .left_s = can_tell ? spent_s * (1 - worked_share) / worked_share
                                                         : SM_NAN};
}

static void tell(struct pool *pool)
{
    struct sm_batch_progress progress = progress_of(pool);
    if (pool->opts->progress && !pool->opts->progress(pool->opts->progress_user, &progress)) {
        pool->report->is_stopped = true;
    }
}

static void work_through(struct pool *pool)
{
    pool->begun_s = clock_s();
    do {
        if (!pool->report->is_stopped) {
            fill_free_workers(pool);
        }
        if (pool->n_running) {
            hear(pool);
            watch_time(pool);
        }
        tell(pool);
    } while (pool->n_running || (!pool->report->is_stopped && pool->next_idx < pool->surveys->n));
}

/* ---- all of it ---- */

/* The job file is there before the first worker wants it: several that make the same new file would get in each
 * other's way. */
static enum sm_status make_job_file(const char *path, struct sm_error *err)
{
    struct sm_store *store = NULL;
    enum sm_status status = sm_store_open(&store, path, SM_STORE_WRITE, err);
    if (status == SM_OK) {
        status = sm_store_begin(store, err);
    }
    if (status == SM_OK) {
        status = sm_store_commit(store, err);
    }
    sm_store_close(&store);
    return status == SM_E_CONFLICT ? SM_OK : status; /* another program was faster: all the same */
}

static enum sm_status pool_new(struct pool *pool, struct sm_error *err)
{
    size_t n = pool->opts->n_workers < MOST_WORKERS ? pool->opts->n_workers : MOST_WORKERS;
    pool->n_workers = n < pool->surveys->n ? n : pool->surveys->n;
    pool->report = sm_calloc(1, sizeof *pool->report);
    pool->worker = sm_calloc(pool->n_workers, sizeof *pool->worker);
    pool->fd = sm_calloc(pool->n_workers, sizeof *pool->fd);
    if (pool->report) {
        pool->report->n = pool->surveys->n;
        pool->report->result = sm_calloc(pool->surveys->n, sizeof *pool->report->result);
    }
    bool is_whole = pool->report && pool->worker && pool->fd && pool->report->result;
    return is_whole ? SM_OK : sm_error_set(err, SM_E_NOMEM, "out of memory");
}

enum sm_status sm_batch_run(struct sm_batch_report **out, const struct sm_batch_surveys *surveys,
                            const struct sm_batch_opts *opts, struct sm_error *err)
{
    assert(opts->job_path && opts->n_workers && opts->now && opts->who && surveys->n);
    struct pool pool = {.surveys = surveys, .opts = opts};
    enum sm_status status = pool_new(&pool, err);
    if (status == SM_OK) {
        status = make_job_file(opts->job_path, err);
    }
    if (status == SM_OK && opts->out_dir) {
        status = sm_dir_make(opts->out_dir, err);
    }
    if (status == SM_OK) {
        work_through(&pool);
    }
    sm_free(pool.worker);
    sm_free(pool.fd);
    if (status != SM_OK) {
        sm_batch_report_free(&pool.report);
        return status;
    }
    *out = pool.report;
    return SM_OK;
}
