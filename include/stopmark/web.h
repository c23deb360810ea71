/**
 * @file web.h
 * The review page: one survey of a job file served to browsers of this machine. Sole user of the HTTP library.
 *
 * Listens on 127.0.0.1 only. The address printed holds a random token, which a browser exchanges for a cookie; every
 * other request needs that cookie, this server's own name as Host, and, to change something, its own Origin.
 */
#ifndef STOPMARK_WEB_H
#define STOPMARK_WEB_H

#include "stopmark/base.h"

struct sm_web_opts {
    const char *job_path;
    const char *segment; /**< NULL = the only one of the job */
    uint16_t port;       /**< 0 = any that is free */
    const char *who;     /**< name put beside decisions until the reviewer gives another; "" = none */
    void (*now)(char text[32]); /**< the caller's clock: ISO 8601 with Z */
};
struct sm_web;

/**
 * Open the job and start to serve it; threads of its own do so from then on. A video that is missing or another one is told on the
 * page, not here.
 * @param out [new] stop with sm_web_stop().
 * @return what sm_job_review_open() returns; SM_E_CONFLICT the port is taken; SM_E_IO.
 */
enum sm_status sm_web_start(struct sm_web **out, const struct sm_web_opts *opts, struct sm_error *err) SM_CHECKED;
/** The address to open, token and all. Borrowed. */
const char *sm_web_get_address(const struct sm_web *web);
uint16_t sm_web_get_port(const struct sm_web *web);
/** Ends every connection. Decisions are in the job file already. Sets NULL. */
void sm_web_stop(struct sm_web **web);

#endif
