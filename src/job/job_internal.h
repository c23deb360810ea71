/* What the parts of the job share: the survey under work, progress with words, the part of a recording. */
#ifndef SM_JOB_INTERNAL_H
#define SM_JOB_INTERNAL_H

#include "stopmark/counter.h"
#include "stopmark/distances.h"
#include "stopmark/job.h"
#include "stopmark/media.h"
#include "stopmark/obslog.h"
#include "stopmark/trace.h"

enum sm_job__stage {
    SM_JOB__SHEET,
    SM_JOB__LOG,
    SM_JOB__VIDEO,
    SM_JOB__ALIGN,
    SM_JOB__PLAN,
    SM_JOB__N_STAGES
};

struct sm_job {
    size_t n_users; /* that hold it besides the caller of sm_job_schedule(); the last to free it does */
    struct sm_arena *arena;
    struct sm_sheet *sheet; /* as read, with the changes asked for */
    struct sm_sheet merged; /* the same with the segment completed from the log; owns nothing */
    struct sm_obslog *log;
    struct sm_codes *codes;
    struct sm_media *media; /* NULL = worked from the log alone */
    struct sm_distances *distances; /* beside the picture, NULL = none */
    struct sm_trace *trace;
    struct sm_alignment *alignment;
    struct sm_plan *plan;
    struct sm_findings own;   /* found by the chain itself */
    struct sm_findings exported; /* what the form of the exported log cannot hold */
    struct sm_findings video; /* of media and of the chain about the video */
    struct sm_schedule schedule;
    size_t n_changes;
    const struct sm_job_change *change; /* copies */
    const struct sm_trace *stored_trace; /* as first read, where trace was corrected; NULL = trace itself */
    struct sm_store_findings findings[SM_JOB__N_STAGES];
    size_t n_threads; /* 0 = 1 */
    sm_job_progress_fn *progress;
    void *progress_user;
    struct sm_job_hashes *hashes; /* of large files, taken before; NULL = none kept */
    struct sm_joined *joined; /* with other runs of the segment; NULL = there are none */
    const char *made_sheet; /* the sheet made from a log that came alone; NULL = sheet->path holds it */
    struct sm_job_log *shared_log; /* that log, with its other inspections; NULL = there is a sheet */
    struct sm_job_log *own_log;    /* the same where nobody shares it */
};

/* log_alone.c: is this file a log rather than a sheet? */
enum sm_status sm_job__is_log(bool *is_log, const char *path, struct sm_error *err);
/* The sheet that says what job->shared_log says, into job->sheet and job->made_sheet. */
enum sm_status sm_job__make_sheet(struct sm_job *job, int32_t inspection, struct sm_error *err);

/* shared_log.c: a log that stands for surveys itself. */
struct sm_job_log {
    struct sm_arena *arena;
    const char *path;
    struct sm_obslog_file *file;    /* distances without a unit in metres */
    struct sm_obslog_file *file_ft; /* in feet; NULL = nobody asked yet */
    struct sm_obslog_list *list;
    size_t *next;        /* of each inspection the next of its segment, round in a ring */
    struct sm_job **run; /* of each the survey placed for itself, where others need it; NULL = not yet */
};
enum sm_status sm_job__log_open(struct sm_job_log **out, const char *path, struct sm_error *err) SM_CHECKED;
void sm_job__log_free(struct sm_job_log **log);
/* What sm_obslog_read() gives. */
enum sm_status sm_job__log_pick(struct sm_obslog **out, struct sm_job_log *log, const struct sm_obslog_opts *opts,
                                struct sm_error *err) SM_CHECKED;
/* Has the segment of an inspection (from 1) others? */
bool sm_job__log_has_more(const struct sm_job_log *log, int32_t inspection);
/* other_runs.c: how to place each of the other runs of a survey's segment, those its sheet names before those of its log. */
enum { SM_JOB__MOST_OTHERS = 15 };
struct sm_job__others {
    size_t n, n_left_out;
    struct sm_job_opts opts[SM_JOB__MOST_OTHERS];
};
void sm_job__others(struct sm_job__others *out, const struct sm_job *job);
/* Keep a placed survey for the others of its segment, where there are any. */
void sm_job__log_keep(struct sm_job_log *log, int32_t inspection, struct sm_job *job);

/* survey_names.c: a name in small letters; NULL = no memory. */
const char *sm_job__folded(struct sm_arena *arena, const char *name);
/* A name unlike those taken: "S101-S102", for a second one of it "S101-S102_2". @param segment NULL = not known. @return NULL =
 * no memory. */
const char *sm_job__name_survey(struct sm_names *taken, struct sm_arena *arena, const char *segment);

/* Progress of one step, told in words. */
struct sm_job__step {
    sm_job_progress_fn *progress;
    void *user;
    const char *doing;
};
bool sm_job__tell(void *step, double done, double total); /* an sm_progress_fn over a struct sm_job__step */

/* The part [start_s, end_s] of a recording (NaN = open) as a source of its own; times stay those of the
 * recording. */
struct sm_job__part {
    struct sm_frame_source whole;
    double start_s, end_s;
};
struct sm_frame_source sm_job__part_source(struct sm_job__part *part);
struct sm_job__reading;
struct sm_job__part sm_job__part_of(const struct sm_job__reading *reading);

/* What is to be read of which recording. */
struct sm_job__reading {
    struct sm_media *media;
    struct sm_box box;
    enum sm_unit unit;
    double start_s, end_s; /* NaN = open */
    size_t n_threads;      /* 0 = 1 */
    enum sm_counter_effort effort;
    sm_job_progress_fn *progress;
    void *progress_user;
    struct sm_text *picture; /* receives a PNG of what the search looked at; NULL = not asked for */
};
/* What further threads read through: views of the recording of their own. */
struct sm_job__helpers {
    size_t n;
    struct sm_media **media;
    struct sm_job__part *part;
    struct sm_frame_source *source;
};
/* Close them whatever this returns. */
enum sm_status sm_job__helpers_open(struct sm_job__helpers *helpers, const struct sm_job__reading *reading,
                                    struct sm_error *err);
/* What they met of damage goes to the recording's own findings. @return status, or a failure here. */
enum sm_status sm_job__helpers_close(struct sm_job__helpers *helpers, const struct sm_job__reading *reading,
                                     enum sm_status status, struct sm_error *err);
/* Find the counter and read it; at_s are the times that must be read themselves. Read again with other times,
 * only these are looked at. */
enum sm_status sm_job__find(struct sm_counter **out, const struct sm_job__reading *reading,
                            struct sm_findings *findings, struct sm_error *err);
enum sm_status sm_job__read(struct sm_trace **out, struct sm_counter *counter,
                            const struct sm_job__reading *reading, const double *at_s, size_t n_at,
                            struct sm_error *err);

/* seen_picture.c: a frame with what the search looked at, as PNG. A recording without a frame there gives none. */
enum sm_status sm_job__draw_seen(const struct sm_job__reading *reading, const struct sm_counter_seen *seen,
                                 struct sm_error *err);

/* beside.c: distances that stand beside the picture. */
struct sm_job__beside {
    size_t n_named, n_videos;
    const char *const *named; /* files the user named; none = look for some */
    const char *const *video;
    const char *log; /* the operator's log, which is no list; may be NULL */
};
/* What there is, *out NULL where there is nothing. Findings (may be NULL) tell what was passed over. */
enum sm_status sm_job__beside_find(struct sm_distances **out, const struct sm_job__beside *from, struct sm_media *media,
                                   struct sm_findings *findings, struct sm_error *err);
/* Hold it against a trace read from the picture; list may be NULL. */
enum sm_status sm_job__beside_use(struct sm_trace *trace, const struct sm_distances *list,
                                  struct sm_findings *findings, struct sm_error *err);
/* The trace where the picture has no counter; why = what finding it said. */
enum sm_status sm_job__beside_alone(struct sm_trace **out, const struct sm_distances *list,
                                    const struct sm_job__reading *reading, const struct sm_error *why,
                                    struct sm_findings *findings, struct sm_error *err);

/* Of n times those that lie in a recording, in the same order: before and after it there is no picture.
 * @return how many. */
size_t sm_job__inside(double *at_s, const double *time_s, size_t n, double duration_s);

/* Copy findings. */
enum sm_status sm_job__add_findings(struct sm_findings *to, const struct sm_findings *from,
                                    struct sm_error *err);

/* job.c: the plan, with alignment made and changed for the last time; then the last step. */
enum sm_status sm_job__plan(struct sm_job *job, struct sm_error *err) SM_CHECKED;
enum sm_status sm_job__finish(struct sm_job *job, struct sm_error *err);

/* ---- a survey planned anew from what the job file holds ---- */

/* Decisions in their order; those taken back stay in the list. */
struct sm_job__decisions {
    size_t n;
    const struct sm_review_decision *item;
    const bool *is_active;
};
/* A small input with what it held. */
struct sm_job__kept_file {
    const char *role, *path;
    char *data;
    size_t n;
};
struct sm_job__kept {
    const struct sm_store_record *record;
    size_t n_files;
    struct sm_job__kept_file *file;
};
/*
 * Plan anew: the kept inputs and the trace, changed as decided, through alignment and plan. Nothing is read from
 * disk.
 * @param first [borrow] the same survey without any decision, which gives observations their names; NULL = this
 * is that one (decisions must be empty). @param trace [borrow] as read, outlives out; NULL = none.
 */
enum sm_status sm_job__replan(struct sm_job **out, const struct sm_job__kept *kept,
                              const struct sm_trace *trace, const struct sm_job *first,
                              const struct sm_job__decisions *decisions, struct sm_error *err) SM_CHECKED;

/* decide.c: what decisions change before alignment ... */
enum sm_status sm_job__decide_sheet(struct sm_sheet *sheet, const struct sm_job__decisions *decisions,
                                    struct sm_error *err);
enum sm_status sm_job__decide_log(struct sm_job *job, const struct sm_job *first,
                                  const struct sm_job__decisions *decisions, struct sm_error *err);
enum sm_status sm_job__decide_trace(struct sm_trace **out, const struct sm_trace *trace,
                                    const struct sm_job__decisions *decisions, struct sm_error *err);
/* ... and after it. */
enum sm_status sm_job__decide_places(struct sm_job *job, const struct sm_job__decisions *decisions,
                                     struct sm_error *err);
/* Is it one that makes sense about this survey? */
enum sm_status sm_job__decision_check(const struct sm_review_decision *decision, const struct sm_job *job,
                                      struct sm_error *err);

/* job.c: a survey with its observations placed, nothing planned. Freed with sm_job_free(). */
enum sm_status sm_job__place(struct sm_job **out, const struct sm_job_opts *opts, struct sm_error *err);
/* job.c: an empty job; sheet, codes and log of one, nothing of the video. */
enum sm_status sm_job__new(struct sm_job **out, const struct sm_job_opts *opts, struct sm_error *err);
enum sm_status sm_job__read_inputs(struct sm_job *job, const struct sm_job_opts *opts, struct sm_error *err);

/* join_runs.c: other runs of the segment, named by the sheet or in the same log, on this one's axis: job->joined. */
enum sm_status sm_job__join_runs(struct sm_job *job, struct sm_error *err);

/* merge.c: the segment, sheet over log. */
enum sm_status sm_job__merge_segment(struct sm_job *job, struct sm_error *err);

/* record.c: inputs by hash, settings as words, and all of it into the open job file. */
struct sm_job__record {
    struct sm_arena *arena;
    size_t n_inputs, inputs_capacity;
    struct sm_store_input *input;
    size_t n_settings, settings_capacity;
    struct sm_store_setting *setting;
    bool has_failed; /* memory ran out while settings were added */
};
enum sm_status sm_job__record_make(struct sm_job__record *record, const struct sm_job *job,
                                   struct sm_error *err);
/* The same for a survey that is in the job file already and was planned anew. @param known its inputs, which
 * must outlive record. @param review what was decided since, as a setting; NULL = nothing. */
enum sm_status sm_job__record_again(struct sm_job__record *record, const struct sm_job *job,
                                    const struct sm_store_record *known, const char *review,
                                    struct sm_error *err);
/* other_runs.c: the files of the other runs, so that a change in one makes the survey another. */
enum sm_status sm_job__record_others(struct sm_job__record *record, const struct sm_job *job, struct sm_error *err);
/* beside.c: lists of distances, named or beside the videos. */
enum sm_status sm_job__record_beside(struct sm_job__record *record, const struct sm_sheet *sheet, struct sm_error *err);
/* record.c: one input more; path may be NULL. Videos go by their hash alone, of other files the content is kept. */
enum sm_status sm_job__record_input(struct sm_job__record *record, const char *role, const char *path,
                                    struct sm_job_hashes *hashes, struct sm_error *err);
#define SM_JOB__OTHERS_VIDEO "other run's video"
bool sm_job__is_video(const char *role);
void sm_job__record_release(struct sm_job__record *record);
enum sm_status sm_job__record_put(struct sm_store *store, const struct sm_job__record *record,
                                  const struct sm_job *job, const struct sm_job_delivery *delivery,
                                  int64_t *survey_id, bool *is_known, struct sm_error *err);

/* hashes.c: sm_file_sha256() of a file that may be large. @param hashes [inout] NULL = none kept. */
enum sm_status sm_job__hash(char hex[65], struct sm_job_hashes *hashes, const char *path, struct sm_error *err);

/* Among the documents: which run they are of. */
#define SM_JOB__STAMP_FILE "survey.key"

/* folder.c: files that appear in a folder together or not at all. */
struct sm_job__folder;
enum sm_status sm_job__folder_new(struct sm_job__folder **out, const char *path, struct sm_error *err);
/* Where to write before it counts. */
const char *sm_job__folder_draft(const struct sm_job__folder *folder);
enum sm_status sm_job__folder_write(struct sm_job__folder *folder, const char *name,
                                    const struct sm_text *content, struct sm_error *err);
/* Add to a file that is written in pieces. */
enum sm_status sm_job__folder_append(struct sm_job__folder *folder, const char *name, const struct sm_text *piece,
                                     struct sm_error *err);
/* Was a file of that name written? */
bool sm_job__folder_has(const struct sm_job__folder *folder, const char *name);
/* Stills of other runs that stand there are left alone. */
void sm_job__folder_leave_stills(struct sm_job__folder *folder);
/* Put all in place; until sm_job__folder_keep() it can be undone. */
enum sm_status sm_job__folder_place(struct sm_job__folder *folder, struct sm_error *err);
void sm_job__folder_keep(struct sm_job__folder *folder);
/* Undo what is not kept, and forget. */
void sm_job__folder_free(struct sm_job__folder **folder);

/* stored.c: a survey out of the job file as the audit takes it, its rules read back from the settings' words. */
struct sm_job__stored {
    struct sm_store_record *record;
    struct sm_sheet sheet; /* borrows from record */
    struct sm_audit_survey survey;
};
enum sm_status sm_job__stored_get(struct sm_job__stored **out, struct sm_store *store, int64_t survey_id,
                                  bool wants_trace, struct sm_error *err);
void sm_job__stored_free(struct sm_job__stored **stored);

/* audit_stills.c: pictures before and after into the folder's draft, their names into audit; quality 0 = they are there
 * already, only the names are wanted. */
enum sm_status sm_job__audit_stills(struct sm_job__folder *folder, struct sm_audit *audit, int quality,
                                    struct sm_error *err);
/* audit_job.c */
enum sm_status sm_job__open_to_read(struct sm_store **out, const char *path, struct sm_error *err);

/* export.c: the aligned log in a standard's form, into the folder. */
enum sm_job__export_form { SM_JOB__EXPORT_EN13508, SM_JOB__EXPORT_ISYBAU };
enum sm_status sm_job__export(struct sm_job__folder *folder, struct sm_job *job, const char *word,
                              struct sm_error *err);

enum sm_status sm_job__no_memory(struct sm_error *err);

#endif
