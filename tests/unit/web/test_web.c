/* The review server abused: strangers, other sites, path tricks, slow and huge requests, hundreds of connections; and used. */
#include <arpa/inet.h>
#include <netinet/in.h>
#include <signal.h>
#include <stdio.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/time.h>
#include <time.h>
#include <unistd.h>

#include "clips.h"
#include "sm_test_alloc.h"
#include "stopmark/job.h"
#include "stopmark/web.h"

struct served {
    char dir[256], job[300];
    struct sm_web *web;
    char cookie[128];
};

static void write_in(const char *dir, const char *name, const char *text)
{
    char path[600];
    snprintf(path, sizeof path, "%s/%s", dir, name);
    assert_ok(sm_file_write(path, text, strlen(text), NULL), NULL);
}

static void now(char text[32])
{
    sm_strcopy(text, 32, "2031-03-15T10:00:00Z");
}

static void start(struct served *served)
{
    struct sm_error err = {0};
    const struct sm_web_opts opts = {.job_path = served->job, .who = "Ada", .now = now};
    assert_ok(sm_web_start(&served->web, &opts, &err), &err);
}

/* ---- a client that says exactly what it is told ---- */

static int open_to(const struct served *served)
{
    struct sockaddr_in address = {.sin_family = AF_INET,
                                  .sin_port = htons(sm_web_get_port(served->web)),
                                  .sin_addr = {htonl(INADDR_LOOPBACK)}};
    struct timeval limit = {.tv_sec = 10};
    int fd = socket(AF_INET, SOCK_STREAM, 0);
    assert_true(fd >= 0);
    setsockopt(fd, SOL_SOCKET, SO_RCVTIMEO, &limit, sizeof limit);
    setsockopt(fd, SOL_SOCKET, SO_SNDTIMEO, &limit, sizeof limit);
    assert_int_equal(connect(fd, (struct sockaddr *)&address, sizeof address), 0);
    return fd;
}

static void say(int fd, const char *text, size_t n)
{
    for (size_t sent = 0; sent < n;) {
        ssize_t part = send(fd, text + sent, n - sent, MSG_NOSIGNAL);
        if (part <= 0) {
            return; /* the server hung up: that is an answer too */
        }
        sent += (size_t)part;
    }
}

static void hear(int fd, struct sm_text *answer)
{
    char part[4096];
    ssize_t n;
    while ((n = recv(fd, part, sizeof part, 0)) > 0) {
        sm_text_add_n(answer, part, (size_t)n);
    }
    close(fd);
}

/* @return the status, 0 = hung up without a word. */
static int ask(const struct served *served, const char *request, size_t n, struct sm_text *answer)
{
    struct sm_text own = {0};
    struct sm_text *text = answer ? answer : &own;
    int status = 0;
    int fd = open_to(served);
    sm_text_clear(text);
    say(fd, request, n);
    shutdown(fd, SHUT_WR);
    hear(fd, text);
    if (text->length > 12 && strncmp(text->data, "HTTP/1.", 7) == 0) {
        double value;
        const char *end;
        status = sm_scan_number(text->data + 9, false, false, &value, &end) ? (int)value : 0;
    }
    sm_text_release(&own);
    return status;
}

/* A request with the usual headers; NULL leaves one out, "" puts what belongs there. */
struct asking {
    const char *method, *path, *host, *cookie, *origin, *extra, *body;
};

static struct sm_text words_of(const struct served *served, const struct asking *a)
{
    struct sm_text text = {0};
    unsigned port = sm_web_get_port(served->web);
    sm_text_addf(&text, "%s %s HTTP/1.1\r\nConnection: close\r\n", a->method, a->path);
    if (a->host && *a->host) {
        sm_text_addf(&text, "Host: %s\r\n", a->host);
    } else if (a->host) {
        sm_text_addf(&text, "Host: 127.0.0.1:%u\r\n", port);
    }
    if (a->cookie) {
        sm_text_addf(&text, "Cookie: %s\r\n", *a->cookie ? a->cookie : served->cookie);
    }
    if (a->origin && *a->origin) {
        sm_text_addf(&text, "Origin: %s\r\n", a->origin);
    } else if (a->origin) {
        sm_text_addf(&text, "Origin: http://127.0.0.1:%u\r\n", port);
    }
    if (a->body) {
        sm_text_addf(&text, "Content-Type: application/x-www-form-urlencoded\r\nContent-Length: %zu\r\n", strlen(a->body));
    }
    sm_text_addf(&text, "%s\r\n%s", a->extra ? a->extra : "", a->body ? a->body : "");
    assert_false(text.failed);
    return text;
}

static int request(const struct served *served, const struct asking *a, struct sm_text *answer)
{
    struct sm_text text = words_of(served, a);
    int status = ask(served, text.data, text.length, answer);
    sm_text_release(&text);
    return status;
}

static int get(const struct served *served, const char *path, struct sm_text *answer)
{
    return request(served, &(struct asking){.method = "GET", .path = path, .host = "", .cookie = ""}, answer);
}

static int post(const struct served *served, const char *path, const char *body, struct sm_text *answer)
{
    return request(
        served, &(struct asking){.method = "POST", .path = path, .host = "", .cookie = "", .origin = "", .body = body}, answer);
}

static void enter(struct served *served)
{
    struct sm_text answer = {0};
    const char *path = strstr(sm_web_get_address(served->web), "/enter/");
    assert_int_equal(request(served, &(struct asking){.method = "GET", .path = path, .host = ""}, &answer), 303);
    const char *cookie = strstr(answer.data, "Set-Cookie: ");
    assert_non_null(cookie);
    assert_non_null(strstr(cookie, "HttpOnly; SameSite=Strict"));
    size_t n = strcspn(cookie + 12, ";");
    assert_true(n < sizeof served->cookie);
    memcpy(served->cookie, cookie + 12, n);
    served->cookie[n] = '\0';
    sm_text_release(&answer);
}

static int serve(void **state, const char *video)
{
    struct served *served = sm_calloc(1, sizeof *served);
    struct sm_job *job = NULL;
    struct sm_error err = {0};
    char sheet[300];
    assert_non_null(served);
    sm_test_dir_make(served->dir);
    snprintf(served->job, sizeof served->job, "%s/town.job", served->dir);
    snprintf(sheet, sizeof sheet, "%s/sheet.ini", served->dir);
    struct sm_text text = {0};
    sm_text_addf(&text, "[segment]\nid = T<b>\nfrom = T12\nto = T13\nlength = 43.80 m\ndiameter = 200 mm\n[survey]\nlog = run.csv\n"
                        "%s\n[kits]\nfile = kits.csv\n", video);
    write_in(served->dir, "sheet.ini", text.data);
    sm_text_release(&text);
    if (*video) {
        clip_run("ffmpeg -nostdin -v error -y -f lavfi -i color=c=gray:s=160x120:r=10:d=4 '%s/run.mp4'", served->dir);
    }
    write_in(served->dir, "run.csv",
             "distance,code,ch1,remark\n0.00,BCD,XP,\n12.34,BAC,A,<script>alert(1)</script>\n31.90,XYZ,,\n43.80,BCE,XP,\n");
    write_in(served->dir, "kits.csv", "kit,diameter_min_mm,diameter_max_mm,length_mm,cost\nshort,150,225,600,180\n");
    assert_ok(sm_job_schedule(&job, &(struct sm_job_opts){.sheet_path = sheet}, &err), &err);
    struct sm_job_delivery delivery = {.job_path = served->job, .now = "2031-03-14T08:00:00Z", .who = ""};
    assert_ok(sm_job_deliver(job, &delivery, NULL, &err), &err);
    sm_job_free(&job);
    start(served);
    enter(served);
    *state = served;
    return 0;
}

static int set_up(void **state)
{
    return serve(state, "");
}

static int set_up_film(void **state)
{
    return serve(state, "video = run.mp4");
}

static int tear_down(void **state)
{
    struct served *served = *state;
    sm_web_stop(&served->web);
    sm_test_dir_remove(served->dir);
    sm_free(served);
    return 0;
}

/* ---- used ---- */

static void test_web__decide_undo_restart(void **state)
{
    struct served *served = *state;
    struct sm_text answer = {0};
    assert_int_equal(get(served, "/api/state", &answer), 200);
    assert_non_null(strstr(answer.data, "\"kind\": \"unknown_code\""));
    assert_non_null(strstr(answer.data, "Content-Security-Policy: default-src 'none'"));
    assert_int_equal(post(served, "/api/decide", "act=treatment&observation=O2&treatment=refer&reason=flat&who=Bo", &answer), 200);
    assert_non_null(strstr(answer.data, "decided in review: flat"));
    assert_non_null(strstr(answer.data, "\"who\": \"Bo\""));
    assert_int_equal(post(served, "/api/decide", "act=treatment&observation=O2&treatment=refer", &answer), 422);
    assert_int_equal(post(served, "/api/decide", "act=confirm&observation=O99", &answer), 422);
    assert_int_equal(post(served, "/api/try-rules", "rule1=set-up+cost&value1=900", &answer), 200);
    sm_web_stop(&served->web);
    start(served); /* a new token: the old cookie is worth nothing */
    assert_int_equal(get(served, "/api/state", NULL), 401);
    enter(served);
    assert_int_equal(get(served, "/api/state", &answer), 200);
    assert_non_null(strstr(answer.data, "decided in review: flat"));
    assert_int_equal(post(served, "/api/decide", "act=undo", &answer), 200);
    assert_null(strstr(answer.data, "\"reason\": \"decided in review: flat"));
    assert_int_equal(post(served, "/api/decide", "act=undo", &answer), 404);
    assert_int_equal(post(served, "/api/issue", "who=Bo", &answer), 200);
    assert_int_equal(get(served, "/crew-sheet.pdf", &answer), 200);
    assert_non_null(strstr(answer.data, "filename=\"crew-sheet-T_b_.pdf\""));
    assert_int_equal(get(served, "/report.html", &answer), 200);
    assert_int_equal(get(served, "/frame?time=1", NULL), 404); /* no video */
    sm_text_release(&answer);
}

static void test_web__a_change_wakes_who_waits(void **state)
{
    struct served *served = *state;
    struct sm_text answer = {0};
    assert_int_equal(get(served, "/api/state", &answer), 200);
    double version;
    const char *end;
    assert_true(sm_scan_number(strstr(answer.data, "\"version\": ") + 11, false, false, &version, &end));
    char text[300];
    snprintf(text, sizeof text, "GET /api/state?since=%d HTTP/1.1\r\nConnection: close\r\nHost: 127.0.0.1:%u\r\nCookie: %s\r\n\r\n",
             (int)version, (unsigned)sm_web_get_port(served->web), served->cookie);
    int fd = open_to(served);
    say(fd, text, strlen(text));
    assert_int_equal(post(served, "/api/decide", "act=withdraw&observation=O3&reason=a+shadow", NULL), 200);
    sm_text_clear(&answer);
    hear(fd, &answer);
    assert_non_null(strstr(answer.data, "withdrawn in review: a shadow"));
    sm_text_release(&answer);
}

/* ---- a video that goes away or becomes another while it is served ---- */

/* Waits until the page would say so. */
static void becomes(const struct served *served, const char *video_state)
{
    struct sm_text answer = {0};
    char wanted[64];
    snprintf(wanted, sizeof wanted, "\"state\": \"%s\"", video_state);
    for (int i = 0; i < 200; i++) {
        assert_int_equal(get(served, "/api/state", &answer), 200);
        if (strstr(answer.data, wanted)) {
            sm_text_release(&answer);
            return;
        }
        nanosleep(&(struct timespec){.tv_nsec = 25000000}, NULL);
    }
    fail_msg("the video never became %s", video_state);
}

static void test_web__a_video_that_changes(void **state)
{
    struct served *served = *state;
    struct sm_text answer = {0};
    char path[300];
    char other[300];
    snprintf(path, sizeof path, "%s/run.mp4", served->dir);
    snprintf(other, sizeof other, "%s/other.mp4", served->dir);
    becomes(served, "same");
    assert_int_equal(get(served, "/frame?n=5&way=0", &answer), 200);
    assert_int_equal(rename(path, other), 0); /* taken away: what was opened is still there */
    becomes(served, "missing");
    assert_int_equal(post(served, "/api/decide", "act=confirm&observation=O2", NULL), 200);
    assert_int_equal(rename(other, path), 0);
    becomes(served, "same");
    clip_run("ffmpeg -nostdin -v error -y -f lavfi -i color=c=red:s=160x120:r=10:d=3 '%s' && cp '%s' '%s'", other, other, path);
    becomes(served, "changed"); /* written over in place: frames may fail, the server does not */
    int status = get(served, "/frame?n=30&way=0", &answer);
    assert_true(status == 200 || status == 404);
    assert_int_equal(truncate(path, 100), 0);
    status = get(served, "/frame?n=38&way=0", &answer);
    assert_true(status == 200 || status == 404);
    becomes(served, "changed");
    assert_int_equal(unlink(path), 0);
    becomes(served, "missing");
    sm_web_stop(&served->web);
    start(served);
    enter(served);
    becomes(served, "missing");
    assert_int_equal(get(served, "/frame?n=5&way=0", NULL), 404);
    sm_text_release(&answer);
}

/* ---- no memory ---- */

/* Ask while the n-th allocation fails: the server's, for nothing here takes memory meanwhile. @return the status; 0 = hung up. */
static int ask_short_of_memory(const struct served *served, const struct asking *a, long n, int *n_failed)
{
    static char answer[1 << 16];
    struct sm_text text = words_of(served, a);
    size_t length = 0;
    int fd = open_to(served);
    sm_test_alloc_fail(n);
    say(fd, text.data, text.length);
    for (ssize_t part; (part = recv(fd, answer + length, length < 512 ? sizeof answer - length : 0, 0)) > 0;) {
        length += (size_t)part;
    }
    *n_failed += sm_test_alloc_failed();
    sm_test_alloc_fail(0);
    close(fd);
    sm_text_release(&text);
    double status = 0;
    const char *end;
    return length > 12 && sm_scan_number(answer + 9, false, false, &status, &end) ? (int)status : 0;
}

/* Done, or refused: what cannot be looked at for want of memory (a Host, a cookie) counts as wrong. */
static bool is_told(int status)
{
    return status == 0 || status == 200 || (status >= 400 && status < 600);
}

/* Whatever is short, the server answers in time with what it has, and goes on afterwards. */
static void test_web__allocations(void **state)
{
    struct served *served = *state;
    static const char *const asked[] = {"/api/state", "/crew-sheet.pdf", "/report.html", "/"};
    const struct asking decide = {.method = "POST", .path = "/api/decide", .host = "", .cookie = "", .origin = "",
                                  .body = "act=treatment&observation=O2&treatment=refer&reason=flat"};
    int n_failed = 0;
    for (size_t k = 0; k < sizeof asked / sizeof *asked; k++) {
        const struct asking a = {.method = "GET", .path = asked[k], .host = "", .cookie = ""};
        bool is_document = k == 1 || k == 2; /* dear to make, and of many allocations */
        for (long n = 1; n <= (is_document ? 8 : 30); n++) {
            int status = ask_short_of_memory(served, &a, is_document ? n * 31 : n, &n_failed);
            if (!is_told(status)) {
                fail_msg("%s: %d when allocation %ld fails", asked[k], status, n);
            }
        }
    }
    for (long n = 1; n <= 24; n++) {
        assert_true(is_told(ask_short_of_memory(served, &decide, n * 11, &n_failed)));
    }
    printf("%d allocations failed\n", n_failed);
    assert_true(n_failed > 25);
    struct sm_store *store = NULL;
    struct sm_store_checked checked = {0};
    assert_ok(sm_store_open(&store, served->job, SM_STORE_READ, NULL), NULL);
    assert_ok(sm_store_check(&checked, store, NULL, NULL, NULL, NULL), NULL);
    assert_int_equal(checked.n_tampered, 0);
    sm_findings_release(&checked.findings);
    sm_store_close(&store);
    nanosleep(&(struct timespec){.tv_sec = 1}, NULL); /* rates */
    assert_int_equal(get(served, "/api/state", NULL), 200);
}

/* ---- abused ---- */

static void test_web__strangers_and_other_sites(void **state)
{
    struct served *served = *state;
    static const struct {
        struct asking asking;
        int status;
    } refused[] = {
        {{.method = "GET", .path = "/", .host = ""}, 401},
        {{.method = "GET", .path = "/api/state", .host = "", .cookie = "stopmark_1=0123"}, 401},
        {{.method = "GET", .path = "/enter/", .host = ""}, 403},
        {{.method = "GET", .path = "/enter/00000000000000000000000000000000", .host = ""}, 403},
        {{.method = "GET", .path = "/", .host = "evil.example", .cookie = ""}, 421},
        {{.method = "GET", .path = "/", .host = "127.0.0.1", .cookie = ""}, 421},
        {{.method = "GET", .path = "/", .host = "", .cookie = "", .extra = "Sec-Fetch-Site: cross-site\r\n"}, 403},
        {{.method = "POST", .path = "/api/decide", .host = "", .cookie = "", .body = "act=undo"}, 403},
        {{.method = "POST", .path = "/api/decide", .host = "", .cookie = "", .origin = "http://evil.example", .body = "act=undo"}, 403},
        {{.method = "POST", .path = "/api/decide", .host = "", .cookie = "", .origin = "null", .body = "act=undo"}, 403},
        {{.method = "POST", .path = "/api/decide", .host = "", .origin = "", .body = "act=undo"}, 401},
        {{.method = "POST", .path = "/api/decide", .host = "", .cookie = "", .origin = "", .extra = "Content-Type: text/plain\r\nContent-Length: 8\r\n"}, 415},
        {{.method = "DELETE", .path = "/", .host = "", .cookie = ""}, 405},
        {{.method = "OPTIONS", .path = "/api/decide", .host = "", .cookie = ""}, 405},
    };
    for (size_t i = 0; i < sizeof refused / sizeof *refused; i++) {
        int status = request(served, &refused[i].asking, NULL);
        if (status != refused[i].status && !(refused[i].status == 415 && status == 0)) {
            fail_msg("case %zu: %d instead of %d", i, status, refused[i].status);
        }
    }
    assert_int_equal(get(served, "/", NULL), 200);
}

static void test_web__path_tricks_and_odd_forms(void **state)
{
    struct served *served = *state;
    static const char *const nothing[] = {
        "/../../etc/passwd", "/%2e%2e/%2e%2e/etc/passwd", "/page.css/../../../etc/passwd", "//etc/passwd", "/page.css%00.html",
        "/..%5c..%5cx", "/crew-sheet.pdf/", "/town.job", "/api/state/", "/frame/../api/state", "/report.html?x=../../y/..%2f/",
    };
    for (size_t i = 0; i < sizeof nothing / sizeof *nothing; i++) {
        struct sm_text answer = {0};
        int status = get(served, nothing[i], &answer);
        assert_null(strstr(sm_text_str(&answer), "root:"));
        assert_true(i + 1 == sizeof nothing / sizeof *nothing ? status == 200 : status == 404 || status == 400 || status == 0);
        sm_text_release(&answer);
    }
    assert_int_equal(post(served, "/api/decide", "act", NULL), 400);
    assert_int_equal(post(served, "/api/decide", "act=%zz", NULL), 400);
    assert_int_equal(post(served, "/api/decide", "act=tie&reading=1&distance=1e400", NULL), 422);
    assert_int_equal(post(served, "/api/nothing", "act=undo", NULL), 404);
    assert_int_equal(get(served, "/api/state?since=x", NULL), 400);
    static const char junk[] = "\x16\x03\x01\x02 GET / nonsense\r\n\r\n";
    (void)ask(served, junk, sizeof junk - 1, NULL);
    assert_int_equal(get(served, "/", NULL), 200);
}

static void test_web__huge_requests(void **state)
{
    struct served *served = *state;
    enum { HUGE_BYTES = 1 << 20 };
    char *large = sm_calloc(HUGE_BYTES + 64, 1);
    memset(large, 'a', HUGE_BYTES);
    memcpy(large, "act=", 4);
    assert_int_equal(post(served, "/api/decide", large, NULL), 413);
    memcpy(large, "GET /", 5); /* an address of a megabyte, then headers that never end */
    int status = ask(served, large, HUGE_BYTES, NULL);
    assert_true(status == 0 || (status >= 400 && status < 500));
    memcpy(large, "GET / HTTP/1.1\r\nX: ", 19);
    status = ask(served, large, HUGE_BYTES, NULL);
    assert_true(status == 0 || (status >= 400 && status < 500));
    sm_free(large);
    assert_int_equal(get(served, "/", NULL), 200);
}

static double seconds(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + (double)t.tv_nsec * 1e-9;
}

static void test_web__two_hundred_slow_connections(void **state)
{
    struct served *served = *state;
    enum { N = 200 };
    int fd[N];
    for (int i = 0; i < N; i++) {
        fd[i] = open_to(served);
        say(fd[i], "GET / HTTP/1.1\r\nHo", (size_t)(i % 18) + 1); /* begun and never ended */
    }
    double begun_s = seconds();
    assert_int_equal(get(served, "/api/state", NULL), 200);
    assert_int_equal(post(served, "/api/decide", "act=confirm&observation=O2", NULL), 200);
    assert_true(seconds() - begun_s < 5);
    for (int i = 0; i < N; i++) {
        close(fd[i]);
    }
}

static void test_web__rates(void **state)
{
    struct served *served = *state;
    int n_refused = 0;
    for (int i = 0; i < 90; i++) { /* a stranger who tries tokens */
        n_refused +=
            request(served, &(struct asking){.method = "GET", .path = "/enter/1", .host = ""}, NULL) == 429;
    }
    assert_true(n_refused > 10);
    assert_int_equal(get(served, "/", NULL), 200); /* who has entered goes on undisturbed */
}

int main(void)
{
    signal(SIGPIPE, SIG_IGN);
#define TEST(name) cmocka_unit_test_setup_teardown(test_web__##name, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        TEST(decide_undo_restart),     TEST(a_change_wakes_who_waits), TEST(strangers_and_other_sites),
        TEST(path_tricks_and_odd_forms), TEST(huge_requests),          TEST(two_hundred_slow_connections),
        TEST(rates),                   TEST(allocations),
        cmocka_unit_test_setup_teardown(test_web__a_video_that_changes, set_up_film, tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
