/* What the files share that make up a review. */
#ifndef SM_JOB_REVIEW_INTERNAL_H
#define SM_JOB_REVIEW_INTERNAL_H

#include "job_internal.h"

struct sm_job_review {
    struct sm_arena *arena; /* of what lives as long as the review */
    char *path;
    struct sm_store *store;
    struct sm_store_record *record;
    struct sm_job__kept kept;
    struct sm_store_decisions *decisions;
    bool *is_active;
    struct sm_job *first, *now;
    size_t n_videos;
    struct sm_job_video *video;
};

/* review_active.c: which decisions count. */
/* @return index of the decision with this key; n = none. */
size_t sm_job__decision_find(const struct sm_review_decision *item, size_t n, const char *key);
/* Undo or redo? */
bool sm_job__decision_is_switch(const struct sm_review_decision *decision);
/* One a decision; free with sm_free(). NULL = no memory. */
bool *sm_job__decisions_active(const struct sm_review_decision *item, size_t n);
/* Key of the one that undo or redo would mean; NULL = there is none. */
const char *sm_job__decision_latest(const struct sm_review_decision *item, const bool *is_active, size_t n, enum sm_review_act act);

/* review.c: take over decisions and plan; on failure the review is as it was and decisions stays the caller's. */
enum sm_status sm_job__review_adopt(struct sm_job_review *review, struct sm_store_decisions *decisions, struct sm_error *err);

/* review_issue.c: key of the last decision that the survey was issued with, "" = none. */
const char *sm_job__review_issued_up_to(const struct sm_job_review *review);
/* As issued last: without the decisions made since. @param out [new] free with sm_job_free(). */
enum sm_status sm_job__review_as_issued(struct sm_job **out, const struct sm_job_review *review, struct sm_error *err);

#endif
