/* stopmark review: the review page, on this machine only. */
#include <errno.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "cli.h"
#include "stopmark/web.h"

struct request {
    const char *segment;
    uint16_t port;
    bool opens;
};

static bool take_port(void *user, const char *value, struct sm_error *err)
{
    int64_t port;
    if (!sm_parse_int(value, 0, 65535, &port)) {
        sm_error_set(err, SM_E_FORMAT, "\"%s\" is no port", value);
        sm_error_remedy(err, "give a number from 1024 to 65535, or leave it out");
        return false;
    }
    ((struct request *)user)->port = (uint16_t)port;
    return true;
}

static bool take_segment(void *user, const char *value, struct sm_error *err)
{
    (void)err;
    ((struct request *)user)->segment = value;
    return true;
}

static bool take_open(void *user, const char *value, struct sm_error *err)
{
    (void)value;
    (void)err;
    ((struct request *)user)->opens = true;
    return true;
}

static const struct sm_cli_option options[] = {
    {"port", take_port, true},
    {"segment", take_segment, true},
    {"open", take_open, false},
    {0},
};

static int print_address(const struct sm_web *web, const struct sm_cli_common *common)
{
    struct sm_text text = {0};
    if (common->is_json) {
        struct sm_json json = {.out = &text};
        sm_json_open(&json, NULL, '{');
        sm_json_string(&json, "schema", "stopmark.review-address/1");
        sm_json_string(&json, "address", sm_web_get_address(web));
        sm_json_int(&json, "port", sm_web_get_port(web));
        sm_json_close(&json, '}');
    } else {
        sm_text_addf(&text, "%s\n", sm_web_get_address(web));
    }
    int result = sm_cli_print(&text);
    sm_text_release(&text);
    return result;
}

/* The desktop's own way of opening an address; a child of its own, so that the page does not wait for it. */
static void open_browser(const char *address)
{
    pid_t pid = fork();
    if (pid == 0) {
        if (fork() == 0) {
            execlp("xdg-open", "xdg-open", address, (char *)NULL);
            _exit(127);
        }
        _exit(0);
    }
    if (pid > 0) {
        waitpid(pid, NULL, 0);
    }
}

/* Until Ctrl-C or a request to end; the signals are blocked, so that none comes between looking and waiting. */
static void wait_for_end(const sigset_t *ends)
{
    int signal_number;
    while (sigwait(ends, &signal_number) != 0) {
    }
}

static int serve(const char *job_path, const struct request *request, const struct sm_cli_common *common)
{
    struct sm_web *web = NULL;
    struct sm_error err = {0};
    sigset_t ends;
    sigemptyset(&ends);
    sigaddset(&ends, SIGINT);
    sigaddset(&ends, SIGTERM);
    sigaddset(&ends, SIGHUP);
    sigprocmask(SIG_BLOCK, &ends, NULL); /* before the server's threads start: they inherit it */
    signal(SIGPIPE, SIG_IGN);            /* a browser that goes away is no reason to end */
    const struct sm_web_opts opts = {.job_path = job_path,
                                     .segment = request->segment,
                                     .port = request->port,
                                     .who = sm_cli_who(),
                                     .now = sm_cli_now};
    sm_cli_warn_of_missing_bars();
    if (sm_web_start(&web, &opts, &err) != SM_OK) {
        return sm_cli_fail(&err);
    }
    int result = print_address(web, common);
    if (result == SM_CLI_DONE && !common->is_quiet) {
        sm_cli_note("serving this machine only; Ctrl-C ends it, decisions are kept as they are made");
    }
    if (result == SM_CLI_DONE && request->opens) {
        open_browser(sm_web_get_address(web));
    }
    if (result == SM_CLI_DONE) {
        wait_for_end(&ends);
    }
    sm_web_stop(&web);
    return result;
}

static int run(int argc, char **argv)
{
    struct request request = {0};
    struct sm_cli_common common = {0};
    int n_operands = 0;
    enum sm_cli_parsed parsed = sm_cli_parse(&sm_cli_review, options, &request, &common, argc, argv, &n_operands);
    if (parsed != SM_CLI_GO_ON) {
        return parsed == SM_CLI_HELP_SHOWN ? SM_CLI_DONE : SM_CLI_USAGE;
    }
    if (n_operands != 1) {
        return sm_cli_misuse(&sm_cli_review, n_operands ? "more than one job named" : "no job named");
    }
    return serve(argv[0], &request, &common);
}

const struct sm_cli_command sm_cli_review = {
    .name = "review",
    .run = run,
    .line = "Settle what is doubtful: footage, trace, log and plan on one page",
    .usage = "review JOB [--segment NAME] [--port N] [--open]",
    .help = "Serves one page to browsers of this machine and prints its address, which changes with every start.\n"
            "JOB is a job file made by stopmark schedule --job. Each decision is kept in it as it is made.\n\n"
            "  --segment NAME      which segment, where the job holds several\n"
            "  --port N            listen on this port; else any that is free\n"
            "  --open              open the page in the desktop's browser\n",
};
