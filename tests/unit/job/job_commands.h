/* The commands that write a job, over an invented one in a scratch folder: what tests interrupt and make fail. */
#ifndef SM_TEST_JOB_COMMANDS_H
#define SM_TEST_JOB_COMMANDS_H

#include "stopmark/job.h"

/* All files are below dir; base is the job before, work its copy that commands work on. */
struct job_commands_files {
    char dir[256], base[320], work[320], other[320], out_dir[320];
};
extern struct job_commands_files job_files;

/* The clock of the commands; NULL = each has its own day. */
extern const char *job_now;

struct job_command {
    const char *name; /* schedule, record, recheck, merge, audit, decide, issue */
    enum sm_status (*run)(struct sm_error *err);
};
/* NULL = no such command. */
const struct job_command *job_command_named(const char *name);
enum sm_status job_record_file(const char *name, struct sm_error *err);

/* Scratch folder with base job, sheets, logs and rows; to be removed with sm_test_dir_remove(job_files.dir). */
void job_make_base(void);
void job_write_in(const char *name, const char *text);
/* Borrowed, good for four calls. */
char *job_path_in(const char *name);
/* What is to be issued has to be decided before. */
void job_decide_in_base(void);
/* work is base again, no documents. */
void job_fresh(void);
/* The state of work in one word: the chain at the end of a history that holds against everything it speaks of. */
void job_read_state(char chain[65]);
/* Documents are all there or none is. @return which. */
bool job_has_documents(void);

#endif
