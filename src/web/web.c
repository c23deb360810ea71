/*
 * The server: connections, who may ask, headers. One thread a connection, since a picture may have to be decoded and a
 * page may wait for a change.
 *
 *   token in the address --once per browser--> cookie --every request: Host, cookie, rate--> answer
 *                                                     --to change something: POST, Origin too-->
 */
#include "web_internal.h"

#include <arpa/inet.h>
#include <errno.h>
#include <microhttpd.h>
#include <netinet/in.h>
#include <stdio.h>
#include <string.h>
#include <sys/random.h>
#include <time.h>

enum {
    MAX_CONNECTIONS = 400,
    IDLE_S = 15,
    REQUEST_BYTES = 16 * 1024, /* of memory a connection, its headers included */
    STACK_BYTES = 1024 * 1024,
    MAX_URL = 600,
};
#define CACHE_BYTES (192U << 20)

/* Requests a second, and at once. A page that plays asks some forty times a second. */
static const struct rate {
    double per_s, at_once;
} stranger_rate = {10, 40}, friend_rate = {300, 600}, change_rate = {20, 60};

static const char policy[] = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; "
                             "base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/* ---- secrets, rates ---- */

static enum sm_status make_secret(char hex[SM_WEB__SECRET_HEX + 1], struct sm_error *err)
{
    unsigned char bytes[SM_WEB__SECRET_HEX / 2];
    if (getrandom(bytes, sizeof bytes, 0) != (ssize_t)sizeof bytes) {
        return sm_error_set(err, SM_E_IO, "the system gives no random numbers");
    }
    for (size_t i = 0; i < sizeof bytes; i++) {
        snprintf(hex + 2 * i, 3, "%02x", bytes[i]);
    }
    return SM_OK;
}

static double monotonic_s(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + (double)now.tv_nsec * 1e-9;
}

static bool lets_through(struct sm_web *web, struct sm_web__bucket *bucket, const struct rate *rate)
{
    pthread_mutex_lock(&web->lock);
    double now_s = monotonic_s();
    bucket->tokens = fmin(rate->at_once, bucket->tokens + (now_s - bucket->last_s) * rate->per_s);
    bucket->last_s = now_s;
    bool is_let = bucket->tokens >= 1;
    bucket->tokens -= is_let ? 1 : 0;
    pthread_mutex_unlock(&web->lock);
    return is_let;
}

/* ---- one request ---- */

struct call {
    bool is_refused_body;
    struct sm_text body;
};

static const char *header(struct MHD_Connection *connection, const char *name)
{
    return MHD_lookup_connection_value(connection, MHD_HEADER_KIND, name);
}

static bool has_cookie(const struct sm_web *web, struct MHD_Connection *connection)
{
    char value[SM_WEB__SECRET_HEX + 1];
    const char *cookies = header(connection, "Cookie");
    return cookies && sm_web__cookie_get(value, sizeof value, cookies, web->cookie_name) &&
           sm_web__is_secret(value, web->cookie);
}

static void say(struct sm_web__answer *answer, unsigned status, const char *text)
{
    sm_text_clear(&answer->body);
    sm_text_addf(&answer->body, "%s\n", text);
    answer->status = status;
    answer->type = "text/plain; charset=utf-8";
}

/* The token for a cookie, and on to the page without it in the address. */
static void enter(struct sm_web *web, const char *token, struct sm_web__answer *answer)
{
    if (!sm_web__is_secret(token, web->token)) {
        say(answer, 403, "This is not the address that stopmark review printed. Copy it from the terminal again.");
        return;
    }
    char cookie[128];
    snprintf(cookie, sizeof cookie, "%s=%s; Path=/; HttpOnly; SameSite=Strict", web->cookie_name, web->cookie);
    say(answer, 303, "Entered.");
    sm_web__answer_header(answer, "Set-Cookie", cookie);
    sm_web__answer_header(answer, "Location", "/");
}

static enum MHD_Result add_argument(void *user, enum MHD_ValueKind kind, const char *key, const char *value)
{
    (void)kind;
    struct sm_web__form *form = user;
    if (form->n < SM_WEB__MAX_FIELDS && key) {
        /* The library owns the strings until the request ends; nothing writes to them. */
        memcpy(&form->field[form->n].name, &key, sizeof key);
        const char *text = value ? value : "";
        memcpy(&form->field[form->n].value, &text, sizeof text);
        form->n++;
    }
    return MHD_YES;
}

static void get(struct sm_web *web, struct MHD_Connection *connection, const char *path, struct sm_web__answer *answer)
{
    struct sm_web__form query = {0};
    const struct sm_web__asset *asset = sm_web__asset_find(path);
    if (asset) {
        answer->status = 200;
        answer->type = asset->type;
        sm_text_add_n(&answer->body, (const char *)asset->data, (size_t)*asset->size);
        return;
    }
    MHD_get_connection_values(connection, MHD_GET_ARGUMENT_KIND, add_argument, &query);
    if (!sm_web__get(web, path, &query, answer)) {
        say(answer, 404, "There is nothing at this address.");
    }
}

static void post(struct sm_web *web, struct MHD_Connection *connection, const char *path, const struct call *call,
                 struct sm_web__answer *answer)
{
    struct sm_web__form form = {0};
    const char *type = header(connection, "Content-Type");
    if (!sm_web__is_own_origin(header(connection, "Origin"), web->port)) {
        say(answer, 403, "Only the review page itself may change something.");
    } else if (!type || strncmp(type, "application/x-www-form-urlencoded", 33) != 0) {
        say(answer, 415, "A form is wanted.");
    } else if (call->is_refused_body) {
        say(answer, 413, "That is too much.");
    } else if (!lets_through(web, &web->changes, &change_rate)) {
        say(answer, 429, "Too many changes at once. Wait a little.");
    } else if (!sm_web__form_parse(&form, sm_text_str(&call->body), call->body.length)) {
        say(answer, 400, "That form makes no sense.");
    } else if (!sm_web__post(web, path, &form, answer)) {
        say(answer, 404, "There is nothing at this address.");
    }
    sm_web__form_release(&form);
}

/* Browsers say where a request comes from; other sites have no business here. */
static bool is_from_elsewhere(struct MHD_Connection *connection)
{
    const char *site = header(connection, "Sec-Fetch-Site");
    return site && strcmp(site, "same-origin") != 0 && strcmp(site, "none") != 0;
}

static void dispatch(struct sm_web *web, struct MHD_Connection *connection, const char *path, const char *method,
                     const struct call *call, struct sm_web__answer *answer)
{
    bool is_get = strcmp(method, "GET") == 0 || strcmp(method, "HEAD") == 0;
    bool is_post = strcmp(method, "POST") == 0;
    bool is_entry = is_get && strncmp(path, "/enter/", 7) == 0;
    bool is_friend = has_cookie(web, connection);
    if (!sm_web__is_own_host(header(connection, "Host"), web->port)) {
        say(answer, 421, "This server has another name.");
    } else if (!lets_through(web, is_friend ? &web->friends : &web->strangers, is_friend ? &friend_rate : &stranger_rate)) {
        say(answer, 429, "Too many requests. Wait a little.");
    } else if (strlen(path) > MAX_URL) {
        say(answer, 414, "That address is too long.");
    } else if (is_entry) {
        enter(web, path + 7, answer);
    } else if (is_from_elsewhere(connection)) {
        say(answer, 403, "Requests from other sites are refused.");
    } else if (!is_friend) {
        say(answer, 401, "Open the address that stopmark review printed in the terminal: it changes with every start.");
    } else if (is_get) {
        get(web, connection, path, answer);
    } else if (is_post) {
        post(web, connection, path, call, answer);
    } else {
        say(answer, 405, "This is not done here.");
    }
}

static void add_headers(struct MHD_Response *response, const struct sm_web__answer *answer)
{
    static const char *const always[][2] = {
        {"X-Content-Type-Options", "nosniff"},
        {"Referrer-Policy", "no-referrer"},
        {"Cross-Origin-Resource-Policy", "same-origin"},
        {"Cross-Origin-Opener-Policy", "same-origin"},
        {"X-Frame-Options", "DENY"},
        {"Content-Security-Policy", policy},
        {"Permissions-Policy", "camera=(), microphone=(), geolocation=()"},
    };
    for (size_t i = 0; i < sizeof always / sizeof *always; i++) {
        MHD_add_response_header(response, always[i][0], always[i][1]);
    }
    for (size_t i = 0; i < answer->n_headers; i++) {
        MHD_add_response_header(response, answer->headers[i][0], answer->headers[i][1]);
    }
    MHD_add_response_header(response, "Content-Type", answer->type);
    bool is_picture = answer->status == 200 && strcmp(answer->type, "image/jpeg") == 0;
    MHD_add_response_header(response, "Cache-Control", is_picture ? "private, max-age=3600" : "no-store");
}

static enum MHD_Result send_answer(struct MHD_Connection *connection, struct sm_web__answer *answer)
{
    if (answer->body.failed) {
        say(answer, 500, "out of memory");
    }
    struct MHD_Response *response = MHD_create_response_from_buffer(
        answer->body.length, answer->body.length ? (void *)answer->body.data : (void *)"", MHD_RESPMEM_MUST_COPY);
    if (!response) {
        return MHD_NO;
    }
    add_headers(response, answer);
    enum MHD_Result result = MHD_queue_response(connection, answer->status, response);
    MHD_destroy_response(response);
    return result;
}

static void take_body(struct call *call, const char *data, size_t n)
{
    if (call->body.length + n > SM_WEB__MAX_BODY) {
        call->is_refused_body = true;
        sm_text_clear(&call->body);
    } else if (!call->is_refused_body) {
        sm_text_add_n(&call->body, data, n);
    }
}

/* Called first with the headers, then with each piece of the body, at last with none left. */
static enum MHD_Result handle(void *user, struct MHD_Connection *connection, const char *path, const char *method,
                              const char *version, const char *data, size_t *n_data, void **state)
{
    (void)version;
    struct sm_web *web = user;
    if (!*state) {
        *state = sm_calloc(1, sizeof(struct call));
        return *state ? MHD_YES : MHD_NO;
    }
    struct call *call = *state;
    if (*n_data) {
        take_body(call, data, *n_data);
        *n_data = 0;
        return MHD_YES;
    }
    struct sm_web__answer answer = {0};
    dispatch(web, connection, path, method, call, &answer);
    enum MHD_Result result = send_answer(connection, &answer);
    sm_text_release(&answer.body);
    return result;
}

static void complete(void *user, struct MHD_Connection *connection, void **state, enum MHD_RequestTerminationCode why)
{
    (void)user;
    (void)connection;
    (void)why;
    struct call *call = *state;
    if (call) {
        sm_text_release(&call->body);
        sm_free(call);
        *state = NULL;
    }
}

/* The library's own complaints about bad requests are nobody's business. */
static void swallow(void *user, const char *format, va_list args)
{
    (void)user;
    (void)format;
    (void)args;
}

/* An escaped NUL would hide what stands behind it. */
static size_t unescape(void *user, struct MHD_Connection *connection, char *text)
{
    (void)user;
    (void)connection;
    size_t n = MHD_http_unescape(text);
    for (size_t i = 0; i < n; i++) {
        text[i] = text[i] ? text[i] : '\x7f';
    }
    return n;
}

/* ---- start and stop ---- */

static enum sm_status listen_on(struct sm_web *web, uint16_t port, struct sm_error *err)
{
    struct sockaddr_in address = {.sin_family = AF_INET, .sin_port = htons(port), .sin_addr = {htonl(INADDR_LOOPBACK)}};
    errno = 0;
    web->daemon = MHD_start_daemon(
        MHD_USE_THREAD_PER_CONNECTION | MHD_USE_INTERNAL_POLLING_THREAD | MHD_USE_POLL | MHD_USE_ERROR_LOG, port, NULL, NULL,
        handle, web, MHD_OPTION_SOCK_ADDR, (struct sockaddr *)&address, MHD_OPTION_NOTIFY_COMPLETED, complete, NULL,
        MHD_OPTION_CONNECTION_LIMIT, (unsigned)MAX_CONNECTIONS, MHD_OPTION_CONNECTION_TIMEOUT, (unsigned)IDLE_S,
        MHD_OPTION_CONNECTION_MEMORY_LIMIT, (size_t)REQUEST_BYTES, MHD_OPTION_THREAD_STACK_SIZE, (size_t)STACK_BYTES,
        MHD_OPTION_EXTERNAL_LOGGER, swallow, NULL,
        MHD_OPTION_UNESCAPE_CALLBACK, unescape, NULL, MHD_OPTION_END);
    const union MHD_DaemonInfo *info = web->daemon ? MHD_get_daemon_info(web->daemon, MHD_DAEMON_INFO_BIND_PORT) : NULL;
    if (!info) {
        int code = errno;
        sm_error_set(err, code == EADDRINUSE ? SM_E_CONFLICT : SM_E_IO, "port %u cannot be had: %s", (unsigned)port,
                     strerror(code));
        sm_error_remedy(err, "name another port, or none: then a free one is taken");
        return code == EADDRINUSE ? SM_E_CONFLICT : SM_E_IO;
    }
    web->port = info->port;
    return SM_OK;
}

static enum sm_status name_all(struct sm_web *web, struct sm_error *err)
{
    struct sm_text address = {0};
    snprintf(web->cookie_name, sizeof web->cookie_name, "stopmark_%u", (unsigned)web->port);
    sm_text_addf(&address, "http://127.0.0.1:%u/enter/%s", (unsigned)web->port, web->token);
    web->address = address.data;
    return address.failed ? sm_web__no_memory(err) : SM_OK;
}

/* Who reviews jumps to observations and standstills: those pictures wait ready. */
static enum sm_status expect_jumps(struct sm_web *web, struct sm_error *err)
{
    const struct sm_alignment *alignment = sm_job_get_schedule(sm_job_review_get_job(web->review))->alignment;
    struct sm_job_standstill *standstill = NULL;
    size_t n_standstills = 0;
    enum sm_status status = sm_job_review_standstills(&standstill, &n_standstills, web->review, SM_WEB__LEAST_STANDSTILL_S, err);
    double *time_s = sm_calloc(alignment->n_observations + n_standstills + 1, sizeof *time_s);
    size_t n = 0;
    if (status == SM_OK && !time_s) {
        status = sm_web__no_memory(err);
    }
    for (size_t i = 0; status == SM_OK && i < alignment->n_observations; i++) {
        time_s[n++] = alignment->observation[i].time_s;
    }
    for (size_t i = 0; status == SM_OK && i < n_standstills; i++) {
        time_s[n++] = standstill[i].start_s;
    }
    if (status == SM_OK) {
        status = sm_job_frames_expect(web->frames, time_s, n, err);
    }
    sm_free(time_s);
    sm_free(standstill);
    return status;
}

/* A video that cannot be shown is told on the page: plan and log can be reviewed without it. */
static enum sm_status open_video(struct sm_web *web, struct sm_error *err)
{
    const struct sm_job_video *video;
    size_t n = sm_job_review_videos(web->review, &video);
    const char **path = sm_calloc(n + 1, sizeof *path);
    if (!path) {
        return sm_web__no_memory(err);
    }
    bool is_there = n > 0;
    for (size_t i = 0; i < n; i++) {
        path[i] = video[i].path;
        is_there = is_there && video[i].is_there;
    }
    struct sm_error why = {0};
    enum sm_status status = sm_web__check_start(&web->check, video, n, err);
    if (status == SM_OK && is_there && sm_job_frames_open(&web->frames, path, n, CACHE_BYTES, &why) != SM_OK) {
        web->video_trouble = sm_strdup(why.text[0] ? why.text : sm_status_text(why.status));
        status = web->video_trouble ? SM_OK : sm_web__no_memory(err);
    }
    sm_free(path);
    return status == SM_OK && web->frames ? expect_jumps(web, err) : status;
}

static void init_lock(struct sm_web *web)
{
    pthread_condattr_t attributes;
    pthread_mutex_init(&web->lock, NULL);
    pthread_condattr_init(&attributes);
    pthread_condattr_setclock(&attributes, CLOCK_MONOTONIC);
    pthread_cond_init(&web->changed, &attributes);
    pthread_condattr_destroy(&attributes);
}

static enum sm_status start(struct sm_web *web, const struct sm_web_opts *opts, struct sm_error *err)
{
    web->now = opts->now;
    web->who = sm_strdup(opts->who ? opts->who : "");
    web->version = 1;
    web->strangers.tokens = stranger_rate.at_once;
    web->friends.tokens = friend_rate.at_once;
    web->changes.tokens = change_rate.at_once;
    enum sm_status status = web->who ? sm_job_review_open(&web->review, opts->job_path, opts->segment, err) : sm_web__no_memory(err);
    if (status == SM_OK) {
        status = open_video(web, err);
    }
    if (status == SM_OK) {
        status = make_secret(web->token, err);
    }
    if (status == SM_OK) {
        status = make_secret(web->cookie, err);
    }
    if (status == SM_OK) {
        status = listen_on(web, opts->port, err);
    }
    return status == SM_OK ? name_all(web, err) : status;
}

enum sm_status sm_web_start(struct sm_web **out, const struct sm_web_opts *opts, struct sm_error *err)
{
    struct sm_web *web = sm_calloc(1, sizeof *web);
    if (!web) {
        return sm_web__no_memory(err);
    }
    init_lock(web);
    enum sm_status status = start(web, opts, err);
    if (status != SM_OK) {
        sm_web_stop(&web);
        return status;
    }
    *out = web;
    return SM_OK;
}

const char *sm_web_get_address(const struct sm_web *web)
{
    return web->address;
}

uint16_t sm_web_get_port(const struct sm_web *web)
{
    return web->port;
}

void sm_web_stop(struct sm_web **web)
{
    if (!web || !*web) {
        return;
    }
    struct sm_web *w = *web;
    pthread_mutex_lock(&w->lock);
    w->is_stopping = true;
    pthread_cond_broadcast(&w->changed);
    pthread_mutex_unlock(&w->lock);
    if (w->daemon) {
        MHD_stop_daemon(w->daemon);
    }
    sm_web__reread_end(w);
    sm_job_frames_close(&w->frames);
    sm_job_review_close(&w->review);
    sm_web__check_release(&w->check);
    pthread_mutex_destroy(&w->lock);
    pthread_cond_destroy(&w->changed);
    sm_free(w->video_trouble);
    sm_free(w->address);
    sm_free(w->who);
    sm_free(w);
    *web = NULL;
}
