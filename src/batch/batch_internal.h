/* What the two sides of a batch share: what a worker is told, and what it tells. */
#ifndef SM_BATCH_INTERNAL_H
#define SM_BATCH_INTERNAL_H

#include "stopmark/batch.h"

/* One survey's work, as its process knows it; the process is a copy, so pointers hold. */
struct sm_batch__work {
    const struct sm_batch_survey *survey;
    const struct sm_batch_opts *opts;
    const char *out_dir; /* of this survey; NULL = none */
};

/* What a worker sends: small enough that one is written whole. */
struct sm_batch__message {
    bool is_result;
    double share; /* 0..1 of the survey */
    struct sm_batch_result result;
};

/* A search for surveys under way. */
struct sm_batch__search {
    struct sm_batch_surveys *found;
    size_t capacity; /* of found->item */
    struct sm_findings *findings; /* may be NULL */
    struct sm_error *err;
};
/* find.c: one more. @param way as seen from where the search began; its name is made of it and of part, which may be
 * NULL. @param inspection 0 = a sheet's. */
enum sm_status sm_batch__add(struct sm_batch__search *search, const char *path, const char *way, const char *part,
                             int32_t inspection);

/* find_logs.c: by content, a standard's format; one that a schedule wrote beside itself. */
bool sm_batch__is_standard_log(const char *path);
bool sm_batch__is_our_log(const char *path);
/* Every inspection of a log is a survey; of one that cannot be read, the log as a whole, so that its failure is told. */
enum sm_status sm_batch__add_log(struct sm_batch__search *search, const char *path, const char *way);
/* A log that a sheet names is that sheet's survey. */
enum sm_status sm_batch__drop_named_logs(struct sm_batch__search *search);

/* worker.c: an sm_process_fn over a struct sm_batch__work. */
int sm_batch__work(void *work, int channel);

#endif
