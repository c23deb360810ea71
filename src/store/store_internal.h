/* What the parts of the store share: the open file, statements with typed values, columns. */
#ifndef SM_STORE_INTERNAL_H
#define SM_STORE_INTERNAL_H

#include <sqlite3.h>

#include "stopmark/store.h"

enum { SM_STORE__N_CACHED = 192 };

struct sm_store {
    sqlite3 *db;
    char *path;
    char *new_path; /* a new file is built under this name until its first commit; NULL = the file stands at
                       path */
    bool in_transaction;
    struct {
        const char *sql; /* compared by address: every statement is one literal */
        sqlite3_stmt *stmt;
    } cached[SM_STORE__N_CACHED];
    size_t n_cached;
};

/* A value to bind. NaN and NULL text become NULL. Text and blobs must outlive the statement's run. */
struct sm_store__value {
    enum { SM_STORE__NULL, SM_STORE__INT, SM_STORE__REAL, SM_STORE__TEXT, SM_STORE__BLOB } type;
    int64_t whole;
    double real;
    const void *bytes;
    size_t n_bytes;
};
struct sm_store__value sm_store__int(int64_t value);
struct sm_store__value sm_store__int_or_null(int64_t value, int64_t null_value);
struct sm_store__value sm_store__real(double value);
struct sm_store__value sm_store__text(const char *value);
struct sm_store__value sm_store__words(const char *value); /* NULL becomes "" */
struct sm_store__value sm_store__blob(const void *bytes, size_t n);

/* Turn what SQLite says last into an error. @return its status. */
enum sm_status sm_store__error(struct sm_store *store, const char *doing, struct sm_error *err);

/* Run a script of several statements. */
enum sm_status sm_store__script(struct sm_store *store, const char *sql, struct sm_error *err);
/* Run one statement that gives no rows. */
enum sm_status sm_store__run(struct sm_store *store, const char *sql, const struct sm_store__value *values,
                             size_t n, struct sm_error *err);
#define SM_STORE__RUN(store, err, sql, ...)                                                                  \
    sm_store__run((store), (sql), (const struct sm_store__value[]){__VA_ARGS__},                             \
                  sizeof((const struct sm_store__value[]){__VA_ARGS__}) / sizeof(struct sm_store__value),    \
                  (err))

/* Start a query; rows come from sm_store__next(). The statement belongs to the store and is reset when the
 * rows end. */
enum sm_status sm_store__query(struct sm_store *store, sqlite3_stmt **stmt, const char *sql,
                               const struct sm_store__value *values, size_t n, struct sm_error *err);
#define SM_STORE__QUERY(store, stmt, err, sql, ...)                                                          \
    sm_store__query((store), (stmt), (sql), (const struct sm_store__value[]){__VA_ARGS__},                   \
                    sizeof((const struct sm_store__value[]){__VA_ARGS__}) / sizeof(struct sm_store__value),  \
                    (err))
/* Next row. @param has_row [out] false at the end. */
enum sm_status sm_store__next(struct sm_store *store, sqlite3_stmt *stmt, bool *has_row,
                              struct sm_error *err);
/* One whole number out of a query of one row and column. */
enum sm_status sm_store__get_int(struct sm_store *store, int64_t *value, const char *sql,
                                 struct sm_error *err);
/* Let go of every prepared statement. */
void sm_store__forget(struct sm_store *store);

/* Columns of the current row. */
double sm_store__column_real(sqlite3_stmt *stmt, int column); /* NULL gives NaN */
const char *sm_store__column_text(sqlite3_stmt *stmt, int column); /* NULL gives ""; valid until the next step */
/* Into the arena. NULL in a column that has none by the schema is damage: SQLite does not look when it reads. */
enum sm_status sm_store__copy_text(const char **out, struct sm_arena *arena, sqlite3_stmt *stmt, int column, struct sm_error *err);
enum sm_status sm_store__copy_text_or_null(const char **out, struct sm_arena *arena, sqlite3_stmt *stmt, int column,
                                           struct sm_error *err);
/* n columns from first on. @param may_be_null bit i = the i-th may. */
enum sm_status sm_store__copy_texts(const char **const *out, size_t n, unsigned may_be_null, struct sm_arena *arena,
                                    sqlite3_stmt *stmt, int first, struct sm_error *err);

/* "x,y,width,height" */
enum { SM_STORE__BOX_TEXT = 64 };
void sm_store__box_text(char text[SM_STORE__BOX_TEXT], struct sm_box box);

/* migrate.c */
enum sm_status sm_store__migrate(struct sm_store *store,
                                 enum sm_store_mode mode, bool is_new,
                                 struct sm_error *err);

/* schema_check.c: is the schema of the file, of this version, the one that the steps make? @return SM_E_FORMAT it is not. */
enum sm_status sm_store__check_schema(struct sm_store *store, const unsigned char *const *step, int64_t version,
                                      struct sm_error *err);

/* trace_blob.c: readings and jumps as bytes, and back. */
void sm_store__pack_readings(struct sm_text *out,
                             const struct sm_trace *trace);
void sm_store__pack_jumps(struct sm_text *out,
                          const struct sm_trace *trace);
enum sm_status sm_store__unpack_readings(struct sm_reading *reading,
                                         size_t n, const void *bytes,
                                         size_t n_bytes,
                                         struct sm_error *err);
enum sm_status sm_store__unpack_times(double *time_s, size_t n,
                                      const void *bytes, size_t n_bytes,
                                      struct sm_error *err);

/* history.c: SHA-256 of the fields, each with its length before it, so that no two lists look alike. */
enum sm_status sm_store__hash_fields(char hex[65], const char *const *field, size_t n, struct sm_error *err);

/* store.c: become part of the open transaction, or begin one of one's own; then end that one as the status says. */
enum sm_status sm_store__join(struct sm_store *store, bool *is_own, struct sm_error *err);
enum sm_status sm_store__leave(struct sm_store *store, bool is_own, enum sm_status status, struct sm_error *err);

/* survey_parts.c: tables that hang on a survey's number, and the digest of all that was stored of it. */
struct sm_store__part {
    const char *table, *columns, *digest_sql;
};
enum { SM_STORE__N_PARTS = 11 };
extern const struct sm_store__part sm_store__parts[SM_STORE__N_PARTS];
enum sm_status sm_store__digest(char hex[65], struct sm_store *store, int64_t survey_id, struct sm_error *err);
/* The digest of what one query gives; rows of later_sql (NULL = none) count only where there are any. */
enum sm_status sm_store__digest_rows(char hex[65], struct sm_store *store, const char *sql, const char *later_sql,
                                     const struct sm_store__value *values, size_t n, struct sm_error *err);
/* What schema 4 added to traces and readings made again. */
#define SM_STORE__PICTURE_CLOCK_COLUMNS "clock_at_zero_s, clock_error_s, clock_n_seen, frame_rate_hz"
#define SM_STORE__HAS_PICTURE_CLOCK                                                                                            \
    "(clock_at_zero_s IS NOT NULL OR clock_error_s IS NOT NULL OR clock_n_seen <> 0 OR frame_rate_hz IS NOT NULL)"

/* as_built.c, verdict.c: the keys of rows as they stand in a list; digests of a row as noted and of what was found about it. */
#define SM_STORE__AS_BUILT_COLUMNS                                                                                             \
    "key, content, corrects, segment, survey_key, repair, is_planned, occurrence, date, crew, kit, lot, result, outcome,"       \
    " remark, liner_length_um, stop_um, stop_digit_um, mark_um, test_pressure_kpa, pressure_kpa, pipe_temperature_c, mixed,"    \
    " inflated, deflated, source, source_sha256, source_line, recorded_at, who"
enum sm_status sm_store__as_built_key(char content[65], char key[65], const struct sm_recorded *a, struct sm_error *err);
enum sm_status sm_store__as_built_digests(char noted[65], char found[65], struct sm_store *store, const char *key,
                                          struct sm_error *err);
enum sm_status sm_store__verdict_key(char key[65], const struct sm_verdict *v, struct sm_error *err);

/* decisions.c: columns as sm_store__take_decision() takes them, and the key of a decision that follows another. */
#define SM_STORE__DECISION_COLUMNS                                                                                             \
    "key, act, treatment, at, who, observation, of_key, code, ch1, ch2, q1, q2, reading, rule, value,"                          \
    " reason, time_s, distance_m, start_m, end_m, clock_from_h, clock_to_h, box_x_px, box_y_px, box_width_px, box_height_px"
enum { SM_STORE__N_DECISION_COLUMNS = 26 };
enum sm_status sm_store__take_decision(struct sm_review_decision *d, struct sm_arena *arena, sqlite3_stmt *stmt,
                                       struct sm_store *store, struct sm_error *err);
enum sm_status sm_store__decision_key(char key[65], const char *before, const char *survey_key,
                                      const struct sm_review_decision *d, struct sm_error *err);

/* put.c: how many inputs of a survey are kept by content. */
enum sm_status sm_store__count_kept(int64_t *n, struct sm_store *store, int64_t survey_id, struct sm_error *err);
/* One row of trace columns behind those that say whose it is (at most two). */
enum sm_status sm_store__put_trace_row(struct sm_store *store, const char *sql, const struct sm_store__value *whose,
                                       size_t n_whose, const struct sm_trace *trace, struct sm_error *err);

/* reread.c */
enum sm_status sm_store__reread_digest(char hex[65], struct sm_store *store, const char *survey_key, const char *asked,
                                       struct sm_error *err);

/* check.c, check_rows.c: what the steps of a check share. */
struct sm_store__checking {
    struct sm_store *store;
    struct sm_store_checked *checked;
    const char *expected_chain;
    sm_progress_fn *progress;
    void *user;
    struct sm_error *err;
};
enum sm_status sm_store__check_tell(struct sm_store__checking *c, enum sm_severity severity, const char *source,
                                    const char *fmt, ...) SM_PRINTF(4, 5);
/* Is there an event about this survey whose detail has these words? */
enum sm_status sm_store__check_has_event(struct sm_store__checking *c, const char *survey_key, const char *words, bool *is_there);
/* Rows that stand by their own key, rereads, kept inputs, and that nothing is gone that the history speaks of. */
enum sm_status sm_store__check_rows(struct sm_store__checking *c);

enum sm_status sm_store__no_memory(struct sm_error *err);

#endif
