/* What the parts of the review page's server share. */
#ifndef SM_WEB_INTERNAL_H
#define SM_WEB_INTERNAL_H

#include <pthread.h>

#include "stopmark/job.h"
#include "stopmark/web.h"

/* ---- request.c: what comes from outside, taken apart without trusting it ---- */

enum {
    SM_WEB__MAX_BODY = 16 * 1024,
    SM_WEB__MAX_FIELDS = 48,
    SM_WEB__SECRET_HEX = 32, /* 128 random bits */
};
struct sm_web__field {
    char *name, *value; /* decoded, valid UTF-8, no control characters but tab and line feed */
};
/* Fields of application/x-www-form-urlencoded text. Zero-initialise; release with sm_web__form_release(). */
struct sm_web__form {
    char *block;
    size_t n;
    struct sm_web__field field[SM_WEB__MAX_FIELDS];
};
/* @return false: too long, too many fields, a field twice, a bad escape, or text that is none. */
bool sm_web__form_parse(struct sm_web__form *form, const char *data, size_t n);
void sm_web__form_release(struct sm_web__form *form);
const char *sm_web__form_get(const struct sm_web__form *form, const char *name); /* NULL = not there */
/* A decision out of a form; its strings are the form's. @return false: err says what is wrong. */
bool sm_web__form_decision(struct sm_review_decision *out, const struct sm_web__form *form, struct sm_error *err);
/* The value of a cookie in a Cookie header, copied. @return false when it is not there or too long. */
bool sm_web__cookie_get(char *value, size_t size, const char *header, const char *name);
/* Is a Host header this server: 127.0.0.1:PORT or localhost:PORT? */
bool sm_web__is_own_host(const char *host, uint16_t port);
bool sm_web__is_own_origin(const char *origin, uint16_t port);
/* Equal, in a time that does not tell where they differ. */
bool sm_web__is_secret(const char *given, const char *secret);

/* ---- the parts of the page ---- */

struct sm_web__asset {
    const char *path, *type;
    const unsigned char *data;
    const uint64_t *size;
};
const struct sm_web__asset *sm_web__asset_find(const char *path); /* NULL = none */

/* ---- the server ---- */

/* Is the video the one of the survey? Told by a thread that nobody waits for. */
enum sm_web__video { SM_WEB__VIDEO_NONE, SM_WEB__VIDEO_CHECKING, SM_WEB__VIDEO_SAME, SM_WEB__VIDEO_CHANGED, SM_WEB__VIDEO_MISSING };
struct sm_web__check;

/* Requests let through: so many at once, so many a second. */
struct sm_web__bucket {
    double tokens, last_s;
};

/* The camera stood if it stood so long. */
#define SM_WEB__LEAST_STANDSTILL_S 2.0

struct sm_web {
    void *daemon; /* of the HTTP library; web.c only */
    uint16_t port;
    char *address;
    char *who;
    char token[SM_WEB__SECRET_HEX + 1], cookie[SM_WEB__SECRET_HEX + 1], cookie_name[32];
    void (*now)(char text[32]);
    pthread_mutex_t lock; /* over all below */
    pthread_cond_t changed;
    struct sm_job_review *review;
    struct sm_job_frames *frames; /* NULL = no video; itself safe for threads */
    char *video_trouble;          /* why not; NULL = none */
    struct sm_web__check *check;
    enum sm_web__video video_seen;
    int64_t version; /* of the state, rises with every change */
    bool is_stopping;
    struct sm_web__bucket strangers, friends, changes;
    /* the counter read again in a box */
    pthread_t reader;
    bool has_reader, is_reading;
    double reading_frac;
    char reading_trouble[320];
    struct sm_web__reread *reread;
};

/* An answer under construction. */
struct sm_web__answer {
    unsigned status;
    const char *type;
    struct sm_text body;
    char headers[3][2][128];
    size_t n_headers;
};
void sm_web__answer_header(struct sm_web__answer *answer, const char *name, const char *value);
/* An error as JSON with text and remedy. */
void sm_web__answer_error(struct sm_web__answer *answer, unsigned status, const struct sm_error *err);
void sm_web__answer_words(struct sm_web__answer *answer, unsigned status, const char *text, const char *remedy);

/* api.c: what an entered browser asks. query: of a GET. @return false: no such path. */
bool sm_web__get(struct sm_web *web, const char *path, const struct sm_web__form *query, struct sm_web__answer *answer);
bool sm_web__post(struct sm_web *web, const char *path, const struct sm_web__form *form, struct sm_web__answer *answer);

/* state.c: all that the page shows, as JSON. Called with the lock held. */
enum sm_status sm_web__state(struct sm_text *out, struct sm_web *web, struct sm_error *err);
enum sm_status sm_web__trace(struct sm_text *out, struct sm_web *web, struct sm_error *err);
/* A plan alone, for what is tried. */
void sm_web__add_plan(struct sm_json *json, const char *key, const struct sm_schedule *schedule);

/* needs.c: what needs a decision, most consequential first. */
struct sm_web__need {
    size_t observation_idx;
    uint32_t flag; /* enum sm_flag; 0 = it cannot be repaired */
    double weight;
};
/* @param need [out] room for every observation. @return how many. */
size_t sm_web__needs(struct sm_web__need *need, const struct sm_job_review *review);
/* Was it settled by a decision that counts? */
bool sm_web__is_settled(const struct sm_job_review *review, const struct sm_observation *observation);
void sm_web__need_words(struct sm_text *title, struct sm_text *text, const struct sm_web__need *need,
                        const struct sm_schedule *schedule);

/* documents.c: downloads. Called with the lock held. */
enum sm_status sm_web__document(struct sm_web__answer *answer, struct sm_web *web, const char *name, struct sm_error *err);
bool sm_web__is_document(const char *name);

/* reread.c: the recording read again with the counter in a box, then decided. Called with the lock held. */
enum sm_status sm_web__reread_start(struct sm_web *web, const struct sm_review_decision *decision, struct sm_error *err);
void sm_web__reread_end(struct sm_web *web); /* at the stop; without the lock */

/* check.c: the videos' SHA-256 against the job's. */
enum sm_status sm_web__check_start(struct sm_web__check **out, const struct sm_job_video *video, size_t n, struct sm_error *err);
enum sm_web__video sm_web__check_result(struct sm_web__check *check);
void sm_web__check_release(struct sm_web__check **check);

enum sm_status sm_web__no_memory(struct sm_error *err);

#endif
