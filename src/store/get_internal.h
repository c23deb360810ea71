/* What the files share that read a survey out of the job file. */
#ifndef SM_STORE_GET_INTERNAL_H
#define SM_STORE_GET_INTERNAL_H

#include "store_internal.h"

/* What the parts of one reading share. */
struct sm_store__getting {
    struct sm_store *store;
    struct sm_arena *arena;
    struct sm_error *err;
    int64_t survey_id;
    bool wants_trace;
};

enum sm_status sm_store__get_damaged(struct sm_store__getting *g, const char *what);
/* Copy text columns one after the other, from first on. @param may_be_null bit i = the i-th may. */
enum sm_status sm_store__get_texts(struct sm_store__getting *g, sqlite3_stmt *stmt, int first, const char **const *out, size_t n,
                                 unsigned may_be_null);
/* Flags by their names, a blank between. */
uint32_t sm_store__get_flags(const char *words);

/* One row into the item given; called for each row of a query. */
typedef enum sm_status sm_store__take_row_fn(struct sm_store__getting *g, sqlite3_stmt *stmt, void *item);
/* All rows of a query about this survey into an arena array. @param items [out] address of the array pointer. */
enum sm_status sm_store__get_rows(struct sm_store__getting *g, const char *sql, void *items, size_t *n, size_t size,
                                  sm_store__take_row_fn *take);

/* survey_list.c */
#define SM_STORE__SURVEY_COLUMNS                                                                                              \
    "SELECT s.survey_id, s.kind, coalesce(s.superseded_by, 0), s.key, s.date, s.operator, s.stored_at, "                      \
    "g.name, s.from_node,"                                                                                                    \
    " s.to_node, s.material, s.flow, s.length_m, s.diameter_mm, s.pipe_unit_length_m,"                                        \
    " (SELECT count(*) FROM observation o WHERE o.survey_id = s.survey_id),"                                                  \
    " (SELECT count(*) FROM repair r WHERE r.survey_id = s.survey_id),"                                                       \
    " (SELECT count(*) FROM unrepaired u JOIN observation o USING (observation_id) WHERE o.survey_id = "                      \
    "s.survey_id)"                                                                                                            \
    " FROM survey s JOIN segment g USING (segment_id)"
sm_store__take_row_fn sm_store__take_survey;

/* get_trace.c */
enum sm_status sm_store__get_trace(struct sm_store__getting *g, struct sm_store_record *record);
/* get_observations.c */
enum sm_status sm_store__get_observations(struct sm_store__getting *g, struct sm_store_record *record);
/* get_plan.c: and every index in it points at an observation of this survey, whatever the file says. */
enum sm_status sm_store__get_plan(struct sm_store__getting *g, struct sm_store_record *record);

#endif
