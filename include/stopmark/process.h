/**
 * @file process.h
 * Work in a process of its own: started as a copy of this one, talked to over a socket, limited, and on demand confined so
 * that it reaches nothing but the descriptors it was given. What goes wrong in it stays in it.
 *
 * POSIX and Linux. Where the kernel has no seccomp or Landlock, confining does what is left and says so.
 */
#ifndef STOPMARK_PROCESS_H
#define STOPMARK_PROCESS_H

#include "stopmark/base.h"

struct sm_process {
    int64_t pid; /**< 0 = none */
    int channel; /**< this side's end of the socket, -1 = closed */
};
/** What the child runs; its result 0..125 is the child's exit status. */
typedef int sm_process_fn(void *user, int channel);

/**
 * Start fn in a copy of this process. The child has default signals, a process group of its own (Ctrl-C at the terminal does not
 * reach it) and is killed by the system when the thread that started it ends.
 * @param out [out] its pid and channel; end with sm_process_end().
 * @return SM_OK; SM_E_IO the system starts no more processes.
 */
enum sm_status sm_process_start(struct sm_process *out, sm_process_fn *fn, void *user, struct sm_error *err) SM_CHECKED;

/** Send n bytes whole; a closed other end is no signal. @return false when the other end is gone. */
bool sm_process_send(int channel, const void *data, size_t n) SM_CHECKED;
enum sm_process_got {
    SM_PROCESS_GOT,     /**< all n bytes */
    SM_PROCESS_LATE,    /**< nothing came in time; nothing was taken */
    SM_PROCESS_GONE,    /**< the other end closed, perhaps in the middle */
};
/** Receive n bytes whole. @param wait_ms until the first of them comes; -1 = for ever, 0 = only what is there. */
enum sm_process_got sm_process_receive(int channel, void *data, size_t n, int wait_ms) SM_CHECKED;

/** How a process ended. */
struct sm_process_end {
    int exit_status; /**< -1 = it was ended by a signal */
    int signal;      /**< 0 = none */
};
/** Has it ended? Then *end is filled, the pid let go and the channel closed. @param is_blocking wait until it has. */
bool sm_process_ended(struct sm_process *process, bool is_blocking, struct sm_process_end *end);
/** Ask it and its own children to end (SIGTERM), or make them (SIGKILL). */
void sm_process_stop(const struct sm_process *process, bool is_forced);
/** Kill it if it still runs, take note of its end, close the channel. No harm on a zeroed or ended one. */
void sm_process_close(struct sm_process *process);
/** Processor time it has used. @return NaN when it cannot be told. */
double sm_process_cpu_s(const struct sm_process *process);

/* ---- inside the child ---- */

/** In the child: 0 = unlimited. Sanitized builds have no memory limit: their shadow memory is larger than any. */
struct sm_process_limits {
    int64_t memory_bytes; /**< of its own data: heap and private mappings */
    int64_t cpu_s;
};
bool sm_process_limit(const struct sm_process_limits *limits) SM_CHECKED;

/** What confining could put in place, a set. */
enum sm_process_bars {
    SM_PROCESS_BAR_FILES = 1,    /**< Landlock: no path can be opened */
    SM_PROCESS_BAR_CALLS = 2,    /**< seccomp: only the system calls of computing and of the descriptors kept */
};
/**
 * In the child: close every descriptor but those kept, and from now on open no file, no socket, start no program, trace nobody.
 * Of the descriptors kept only channel can be written. Cannot be undone.
 * @return the bars in place.
 */
unsigned sm_process_confine(const int *keep, size_t n_keep, int channel);

/* ---- beforehand ---- */

/**
 * What confining puts in place on this system: tried in a process that ends at once, so that a program can say beforehand that
 * its decoders are held by less.
 * @param bars [out] a set of enum sm_process_bars. @return false when no process could be asked; bars is unchanged then.
 */
bool sm_process_bars_here(unsigned *bars) SM_CHECKED;

#endif
