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

/* worker.c: an sm_process_fn over a struct sm_batch__work. */
int sm_batch__work(void *work, int channel);

#endif
