/* The work on one survey, in a process of its own: skip it or do it, and tell how it went. */
#include "batch_internal.h"

#include <signal.h>
#include <string.h>

#include "stopmark/process.h"

static volatile sig_atomic_t is_stopped; /* of this process, which does nothing else */

static void stop(int signal_number)
{
    (void)signal_number;
    is_stopped = 1;
}

struct told {
    int channel;
    double share;
};

/* The pass over the whole recording is nearly all of the time; no other step counts its way in seconds of it. */
static bool tell_share(void *user, const char *doing, double done, double total)
{
    struct told *told = user;
    double share = total > 0 && strncmp(doing, "reading", 7) == 0 ? 0.95 * done / total : 0;
    if (share >= told->share + 0.01 && share <= 1) {
        struct sm_batch__message message = {.share = share};
        told->share = share;
        if (!sm_process_send(told->channel, &message, sizeof message)) {
            return false; /* nobody waits for the result any more */
        }
    }
    return !is_stopped;
}

/* ---- the survey ---- */

static bool is_held(const struct sm_batch__work *work, const char *key)
{
    struct sm_store *store = NULL;
    int64_t survey_id = 0;
    bool has_documents = !work->out_dir || sm_job_has_stamp(work->out_dir, key);
    if (has_documents && sm_store_open(&store, work->opts->job_path, SM_STORE_READ, NULL) == SM_OK &&
        sm_store_find_key(&survey_id, store, key, NULL) != SM_OK) {
        survey_id = 0; /* then the work itself meets what is wrong, and tells it */
    }
    sm_store_close(&store);
    return survey_id != 0;
}

static uint32_t count_warnings(const struct sm_job *job)
{
    const struct sm_store_findings *stage;
    size_t n_stages = sm_job_get_findings(job, &stage);
    uint32_t n = 0;
    for (size_t s = 0; s < n_stages; s++) {
        for (size_t i = 0; i < stage[s].findings->n; i++) {
            n += stage[s].findings->item[i].severity == SM_SEVERITY_WARNING;
        }
    }
    return n;
}

static void note_done(struct sm_batch_result *result, const struct sm_job *job)
{
    const struct sm_schedule *schedule = sm_job_get_schedule(job);
    result->state = SM_BATCH_DONE;
    sm_strcopy(result->segment, sizeof result->segment, schedule->segment->id ? schedule->segment->id : "");
    result->n_observations = (uint32_t)schedule->alignment->n_observations;
    result->n_repairs = (uint32_t)schedule->plan->n_repairs;
    result->n_unrepaired = (uint32_t)schedule->plan->n_unrepaired;
    result->n_warnings = count_warnings(job);
}

static enum sm_status do_survey(const struct sm_batch__work *work, const struct sm_job_opts *opts,
                                const char *key, struct sm_batch_result *result)
{
    struct sm_job *job = NULL;
    struct sm_job_delivery delivery = {.out_dir = work->out_dir,
                                       .job_path = work->opts->job_path,
                                       .now = work->opts->now,
                                       .who = work->opts->who,
                                       .stamp = key};
    enum sm_status status = sm_job_schedule(&job, opts, &result->err);
    if (status == SM_OK) {
        status = sm_job_deliver(job, &delivery, NULL, &result->err);
    }
    if (status == SM_OK) {
        note_done(result, job);
    }
    sm_job_free(&job);
    return status;
}

static enum sm_status take_survey(const struct sm_batch__work *work, struct told *told,
                                  struct sm_batch_result *result)
{
    char key[65];
    struct sm_job_hashes hashes = {0};
    struct sm_job_opts opts = {.sheet_path = work->survey->path,
                               .inspection = work->survey->inspection,
                               .n_changes = work->opts->n_changes,
                               .change = work->opts->change,
                               .progress = tell_share,
                               .progress_user = told,
                               .n_threads = 1, /* a core each: more would only share the same cores */
                               .hashes = &hashes,
                               .log = work->survey->log};
    enum sm_status status = sm_job_fingerprint(key, &opts, &result->err);
    if (status == SM_OK && is_held(work, key)) {
        result->state = SM_BATCH_UNCHANGED;
    } else if (status == SM_OK) {
        status = do_survey(work, &opts, key, result);
    }
    sm_job_hashes_release(&hashes);
    return status;
}

static void tell_memory(const struct sm_batch__work *work, struct sm_batch_result *result)
{
    if (result->err.status == SM_E_NOMEM && work->opts->memory_limit_bytes) {
        sm_error_remedy(&result->err, "allow a survey more memory (%lld MB now), or ask for fewer workers",
                        (long long)(work->opts->memory_limit_bytes >> 20));
    }
}

int sm_batch__work(void *user, int channel)
{
    const struct sm_batch__work *work = user;
    struct told told = {.channel = channel};
    struct sm_batch__message message;
    struct sigaction action = {.sa_handler = stop};
    sigemptyset(&action.sa_mask);
    sigaction(SIGTERM, &action, NULL);
    memset(&message, 0, sizeof message); /* padding too: it goes through a socket */
    message.is_result = true;
    message.share = 1;
    struct sm_process_limits limits = {.memory_bytes = work->opts->memory_limit_bytes};
    if (!sm_process_limit(&limits)) {
        sm_error_set(&message.result.err, SM_E_IO, "the system sets no limits for a process");
    }
    if (take_survey(work, &told, &message.result) != SM_OK) {
        bool is_cancelled = message.result.err.status == SM_E_CANCELLED;
        message.result.state = is_cancelled ? SM_BATCH_NOT_REACHED : SM_BATCH_FAILED;
        tell_memory(work, &message.result);
    }
    return sm_process_send(channel, &message, sizeof message) ? 0 : 1;
}
