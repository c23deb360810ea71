/* What a browser that has entered may ask. Answers are JSON, pictures and documents; errors carry text and remedy. */
#include "web_internal.h"

#include <stdio.h>
#include <string.h>
#include <time.h>

enum { POLL_S = 20, LOOK_S = 2, MAX_RULES = 8 };

void sm_web__answer_header(struct sm_web__answer *answer, const char *name, const char *value)
{
    if (answer->n_headers < sizeof answer->headers / sizeof *answer->headers) {
        sm_strcopy(answer->headers[answer->n_headers][0], sizeof answer->headers[0][0], name);
        sm_strcopy(answer->headers[answer->n_headers][1], sizeof answer->headers[0][1], value);
        answer->n_headers++;
    }
}

void sm_web__answer_words(struct sm_web__answer *answer, unsigned status, const char *text, const char *remedy)
{
    struct sm_json json = {.out = &answer->body};
    sm_text_clear(&answer->body);
    answer->status = status;
    answer->type = "application/json";
    sm_json_open(&json, NULL, '{');
    sm_json_string(&json, "error", text);
    sm_json_string(&json, "remedy", remedy);
    sm_json_close(&json, '}');
}

void sm_web__answer_error(struct sm_web__answer *answer, unsigned status, const struct sm_error *err)
{
    sm_web__answer_words(answer, status, err->text[0] ? err->text : sm_status_text(err->status), err->remedy);
}

static unsigned http_status(enum sm_status status)
{
    switch (status) {
    case SM_OK:
        return 200;
    case SM_E_NOTFOUND:
        return 404;
    case SM_E_FORMAT:
    case SM_E_RANGE:
    case SM_E_UNSUPPORTED:
    case SM_E_INFEASIBLE:
        return 422;
    case SM_E_CONFLICT:
        return 409;
    case SM_E_CANCELLED:
        return 503;
    case SM_E_NOMEM:
    case SM_E_IO:
        break;
    }
    return 500;
}

static void settle(struct sm_web__answer *answer, enum sm_status status, const struct sm_error *err)
{
    if (status != SM_OK) {
        sm_web__answer_error(answer, http_status(status), err);
    } else if (!answer->status) {
        answer->status = 200;
    }
}

/* ---- looking ---- */

/* Another program may have decided meanwhile. Called with the lock held. */
static void take_in(struct sm_web *web)
{
    bool has_changed = false;
    enum sm_web__video seen = sm_web__check_result(web->check);
    if (sm_job_review_refresh(web->review, &has_changed, NULL) == SM_OK && has_changed) {
        web->version++;
    }
    if (seen != web->video_seen) {
        web->video_seen = seen;
        web->version++;
    }
}

/* Wait until the state is another than the one known, or for so long. Called with the lock held. */
static void wait_for_change(struct sm_web *web, int64_t known)
{
    for (int waited_s = 0; waited_s < POLL_S && web->version == known && !web->is_stopping; waited_s += LOOK_S) {
        struct timespec until;
        clock_gettime(CLOCK_MONOTONIC, &until);
        until.tv_sec += LOOK_S;
        pthread_cond_timedwait(&web->changed, &web->lock, &until);
        take_in(web);
    }
}

static void get_state(struct sm_web *web, const struct sm_web__form *query, struct sm_web__answer *answer)
{
    struct sm_error err = {0};
    int64_t known = -1;
    const char *since = sm_web__form_get(query, "since");
    if (since && !sm_parse_int(since, 0, INT64_MAX, &known)) {
        sm_web__answer_words(answer, 400, "since is no number", "");
        return;
    }
    pthread_mutex_lock(&web->lock);
    take_in(web);
    wait_for_change(web, known);
    if (web->version == known) {
        answer->status = 204;
    } else {
        settle(answer, sm_web__state(&answer->body, web, &err), &err);
    }
    pthread_mutex_unlock(&web->lock);
}

static void get_trace(struct sm_web *web, struct sm_web__answer *answer)
{
    struct sm_error err = {0};
    pthread_mutex_lock(&web->lock);
    settle(answer, sm_web__trace(&answer->body, web, &err), &err);
    pthread_mutex_unlock(&web->lock);
}

static bool choose_frame(size_t *idx, int *heading, const struct sm_job_frames *frames, const struct sm_web__form *query)
{
    int64_t n = 0;
    int64_t way = 0;
    double time_s = 0;
    const char *by_idx = sm_web__form_get(query, "n");
    const char *by_time = sm_web__form_get(query, "time");
    const char *direction = sm_web__form_get(query, "way");
    if (direction && !sm_parse_int(direction, -64, 64, &way)) {
        return false;
    }
    if (by_idx ? !sm_parse_int(by_idx, 0, (int64_t)sm_job_frames_count(frames) - 1, &n)
               : !by_time || !sm_parse_number(by_time, &time_s)) {
        return false;
    }
    *idx = by_idx ? (size_t)n : sm_job_frames_at(frames, time_s);
    *heading = (int)way;
    return true;
}

static void get_frame(struct sm_web *web, const struct sm_web__form *query, struct sm_web__answer *answer)
{
    struct sm_error err = {0};
    size_t idx;
    int heading;
    char text[32];
    if (!web->frames) {
        sm_web__answer_words(answer, 404, "there is no video", "");
        return;
    }
    if (!choose_frame(&idx, &heading, web->frames, query)) {
        sm_web__answer_words(answer, 400, "that is no frame of the video", "");
        return;
    }
    answer->type = "image/jpeg";
    settle(answer, sm_job_frames_get(web->frames, idx, heading, &answer->body, &err), &err);
    snprintf(text, sizeof text, "%zu", idx);
    sm_web__answer_header(answer, "X-Frame", text);
    struct sm_text time = {0};
    sm_text_add_fixed(&time, sm_job_frames_time(web->frames, idx), 6);
    sm_web__answer_header(answer, "X-Frame-Time", sm_text_str(&time));
    sm_text_release(&time);
}

static void get_document(struct sm_web *web, const char *name, struct sm_web__answer *answer)
{
    struct sm_error err = {0};
    pthread_mutex_lock(&web->lock);
    settle(answer, sm_web__document(answer, web, name, &err), &err);
    pthread_mutex_unlock(&web->lock);
}

bool sm_web__get(struct sm_web *web, const char *path, const struct sm_web__form *query, struct sm_web__answer *answer)
{
    answer->type = "application/json";
    if (strcmp(path, "/api/state") == 0) {
        get_state(web, query, answer);
    } else if (strcmp(path, "/api/trace") == 0) {
        get_trace(web, answer);
    } else if (strcmp(path, "/frame") == 0) {
        get_frame(web, query, answer);
    } else if (path[0] == '/' && sm_web__is_document(path + 1)) {
        get_document(web, path + 1, answer);
    } else {
        return false;
    }
    return true;
}

/* ---- deciding ---- */

static void add_state(struct sm_web *web, struct sm_web__answer *answer, enum sm_status status, struct sm_error *err)
{
    if (status == SM_OK) {
        web->version++;
        pthread_cond_broadcast(&web->changed);
        status = sm_web__state(&answer->body, web, err);
    }
    settle(answer, status, err);
}

static void post_decide(struct sm_web *web, struct sm_review_decision *decision, struct sm_web__answer *answer)
{
    struct sm_error err = {0};
    pthread_mutex_lock(&web->lock);
    enum sm_status status = sm_job_review_decide(web->review, decision, &err);
    bool must_read = status == SM_E_NOTFOUND && decision->act == SM_REVIEW_BOX;
    if (must_read) {
        status = sm_web__reread_start(web, decision, &err);
        answer->status = status == SM_OK ? 202 : 0;
    }
    add_state(web, answer, status, &err);
    pthread_mutex_unlock(&web->lock);
}

static void write_tried(struct sm_web__answer *answer, const struct sm_job *job)
{
    struct sm_json json = {.out = &answer->body};
    sm_json_open(&json, NULL, '{');
    sm_web__add_plan(&json, "plan", sm_job_get_schedule(job));
    sm_json_close(&json, '}');
}

static void post_try(struct sm_web *web, const struct sm_review_decision *decision, size_t n, struct sm_web__answer *answer)
{
    struct sm_error err = {0};
    struct sm_job *job = NULL;
    pthread_mutex_lock(&web->lock);
    enum sm_status status = sm_job_review_try(&job, web->review, decision, n, &err);
    pthread_mutex_unlock(&web->lock);
    if (status == SM_OK) {
        write_tried(answer, job);
    }
    sm_job_free(&job);
    settle(answer, status, &err);
}

/* rule1, value1, rule2, value2 ... */
static size_t take_rules(struct sm_review_decision *decision, const struct sm_web__form *form, const char *now, const char *who)
{
    size_t n = 0;
    for (int i = 1; i <= MAX_RULES; i++) {
        char name[16];
        char value[16];
        snprintf(name, sizeof name, "rule%d", i);
        snprintf(value, sizeof value, "value%d", i);
        if (sm_web__form_get(form, name) && sm_web__form_get(form, value)) {
            decision[n++] = (struct sm_review_decision){.act = SM_REVIEW_RULE,
                                                        .at = now,
                                                        .who = who,
                                                        .rule = sm_web__form_get(form, name),
                                                        .value = sm_web__form_get(form, value),
                                                        .time_s = SM_NAN,
                                                        .distance_m = SM_NAN,
                                                        .start_m = SM_NAN,
                                                        .end_m = SM_NAN};
        }
    }
    return n;
}

static void post_rules(struct sm_web *web, const struct sm_review_decision *rule, size_t n, struct sm_web__answer *answer)
{
    struct sm_error err = {0};
    struct sm_job *tried = NULL;
    pthread_mutex_lock(&web->lock);
    enum sm_status status = sm_job_review_try(&tried, web->review, rule, n, &err); /* all of them or none */
    sm_job_free(&tried);
    for (size_t i = 0; status == SM_OK && i < n; i++) {
        status = sm_job_review_decide(web->review, &rule[i], &err);
    }
    add_state(web, answer, status, &err);
    pthread_mutex_unlock(&web->lock);
}

static void post_issue(struct sm_web *web, const char *now, const char *who, struct sm_web__answer *answer)
{
    struct sm_error err = {0};
    pthread_mutex_lock(&web->lock);
    enum sm_status status = sm_job_review_issue(web->review, now, who, &err);
    add_state(web, answer, status, &err);
    pthread_mutex_unlock(&web->lock);
}

bool sm_web__post(struct sm_web *web, const char *path, const struct sm_web__form *form, struct sm_web__answer *answer)
{
    char now[32];
    struct sm_error err = {0};
    struct sm_review_decision decision[MAX_RULES] = {{.at = ""}};
    const char *who = sm_web__form_get(form, "who") ? sm_web__form_get(form, "who") : web->who;
    web->now(now);
    answer->type = "application/json";
    bool is_one = strcmp(path, "/api/decide") == 0 || strcmp(path, "/api/try") == 0;
    if (strlen(who) > 80) {
        sm_web__answer_words(answer, 422, "that name is too long", "give a shorter one");
    } else if (is_one && !sm_web__form_decision(&decision[0], form, &err)) {
        sm_web__answer_error(answer, 422, &err);
    } else if (is_one) {
        decision[0].at = now;
        decision[0].who = who;
        if (strcmp(path, "/api/try") == 0) {
            post_try(web, decision, 1, answer);
        } else {
            post_decide(web, decision, answer);
        }
    } else if (strcmp(path, "/api/try-rules") == 0) {
        post_try(web, decision, take_rules(decision, form, now, who), answer);
    } else if (strcmp(path, "/api/rules") == 0) {
        post_rules(web, decision, take_rules(decision, form, now, who), answer);
    } else if (strcmp(path, "/api/issue") == 0) {
        post_issue(web, now, who, answer);
    } else {
        return false;
    }
    return true;
}
