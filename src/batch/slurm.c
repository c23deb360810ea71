/*
 * A batch as jobs of a Slurm cluster: an array in which each task works on one survey into a small job file of its own, and a
 * merge that waits for all of them. Everything lies in a folder beside the job file, where the nodes must see it too:
 *
 *   JOB.slurm/ID.txt    the survey, as a list of one          JOB.slurm/ID.args  what it was asked for with
 *   JOB.slurm/ID.job    its job file                          JOB.slurm/ID.log   what its task said
 *   JOB.slurm/array-N.todo, array-N.sh, merge.sh              what was submitted last
 *
 * ID comes from the survey's path and inspection, so that it is the same at every submission. A survey whose job file is newer
 * than its inputs is not submitted again; its task looks at the content itself, should it be submitted after all.
 */
#include "batch_internal.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "stopmark/process.h"

enum { ID_LENGTH = 16, MOST_IN_ARRAY = 1000, ARGS_BYTES = 1 << 20, REPLY_BYTES = 4096, MOST_ARRAYS = 1000 };

struct submitting {
    const struct sm_batch_surveys *surveys;
    const struct sm_batch_opts *opts;
    const struct sm_batch_slurm *slurm;
    char job[PATH_MAX], out[PATH_MAX], program[PATH_MAX], folder[PATH_MAX];
    struct sm_text args; /* what each task is asked for, as words of the shell */
    struct sm_text todo; /* IDs of the array under way, one a line */
    struct sm_text after; /* Slurm's numbers of the arrays, each after a colon */
    size_t n_in_array, n_arrays;
    struct sm_batch_submission *result;
    struct sm_error *err;
};

static enum sm_status no_memory(struct submitting *s)
{
    return sm_error_set(s->err, SM_E_NOMEM, "out of memory");
}

/* ---- words for the shell ---- */

static void add_word(struct sm_text *out, const char *word)
{
    sm_text_add(out, out->length ? " '" : "'");
    for (; *word; word++) {
        if (*word == '\'') {
            sm_text_add(out, "'\\''");
        } else {
            sm_text_add_n(out, word, 1);
        }
    }
    sm_text_add(out, "'");
}

static void add_number(struct sm_text *out, const char *option, double number, const char *unit)
{
    struct sm_text value = {0};
    sm_text_add_number(&value, number, 0, 3);
    sm_text_add(&value, unit);
    add_word(out, option);
    add_word(out, sm_text_str(&value));
    out->failed = out->failed || value.failed;
    sm_text_release(&value);
}

static void fill_args(struct submitting *s)
{
    const struct sm_batch_opts *opts = s->opts;
    add_word(&s->args, "--workers");
    add_word(&s->args, "1");
    add_number(&s->args, "--time-limit", opts->time_limit_s, " s");
    add_number(&s->args, "--memory-limit", (double)opts->memory_limit_bytes / 1048576.0, " MB");
    if (s->out[0]) {
        add_word(&s->args, "--out");
        add_word(&s->args, s->out);
    }
    for (size_t i = 0; i < opts->n_changes; i++) {
        struct sm_text change = {0};
        sm_text_addf(&change, "%s=%s", opts->change[i].key, opts->change[i].value);
        add_word(&s->args, "--set");
        add_word(&s->args, sm_text_str(&change));
        s->args.failed = s->args.failed || change.failed;
        sm_text_release(&change);
    }
}

/* ---- files of the folder ---- */

static enum sm_status write_file(struct submitting *s, const char *id, const char *ending, const char *text)
{
    struct sm_text path = {0};
    sm_text_addf(&path, "%s/%s%s", s->folder, id, ending);
    enum sm_status status =
        path.failed ? no_memory(s) : sm_file_write(path.data, text, strlen(text), s->err);
    sm_text_release(&path);
    return status;
}

static bool holds(const struct submitting *s, const char *id, const char *ending, const char *text)
{
    struct sm_text path = {0};
    char *data = NULL;
    size_t n = 0;
    sm_text_addf(&path, "%s/%s%s", s->folder, id, ending);
    bool is_same = !path.failed && sm_file_read(&data, &n, path.data, ARGS_BYTES, NULL) == SM_OK &&
                   n == strlen(text) && memcmp(data, text, n) == 0;
    sm_free(data);
    sm_text_release(&path);
    return is_same;
}

/* ---- is it there already? ---- */

static bool is_older(const struct sm_store_input *input, const struct stat *part)
{
    struct stat status;
    if (stat(input->path, &status) != 0 || (strcmp(input->role, "video") == 0 && status.st_size != input->size_bytes)) {
        return false;
    }
    return status.st_mtim.tv_sec < part->st_mtim.tv_sec ||
           (status.st_mtim.tv_sec == part->st_mtim.tv_sec && status.st_mtim.tv_nsec <= part->st_mtim.tv_nsec);
}

static bool is_current(const struct submitting *s, struct sm_store *store, const struct sm_store_survey *survey,
                       const char *name, const struct stat *part)
{
    struct sm_text folder = {0};
    sm_text_addf(&folder, "%s/%s", s->out, name);
    bool is_fine = !folder.failed && (!s->out[0] || sm_job_has_stamp(folder.data, survey->key));
    struct sm_store_record *record = NULL;
    is_fine = is_fine && sm_store_get_results(&record, store, survey->survey_id, NULL) == SM_OK;
    for (size_t i = 0; is_fine && i < record->n_inputs; i++) {
        is_fine = is_older(&record->input[i], part);
    }
    sm_store_record_free(&record);
    sm_text_release(&folder);
    return is_fine;
}

/* The last survey of its job file, newer than what it was made from and made with these words. */
static bool is_held(const struct submitting *s, const char *id, const char *name)
{
    struct sm_text path = {0};
    struct stat part;
    struct sm_store *store = NULL;
    struct sm_store_surveys *surveys = NULL;
    bool is_there = false;
    sm_text_addf(&path, "%s/%s.job", s->folder, id);
    bool is_open = !path.failed && holds(s, id, ".args", sm_text_str(&s->args)) && stat(path.data, &part) == 0 &&
                   sm_store_open(&store, path.data, SM_STORE_READ, NULL) == SM_OK;
    sm_text_release(&path);
    if (!is_open) {
        return false;
    }
    if (sm_store_list_surveys(&surveys, store, NULL, NULL) == SM_OK) {
        for (size_t i = 0; i < surveys->n && !is_there; i++) {
            is_there = surveys->item[i].superseded_by == 0 && is_current(s, store, &surveys->item[i], name, &part);
        }
    }
    sm_store_surveys_free(&surveys);
    sm_store_close(&store);
    return is_there;
}

/* ---- sbatch ---- */

struct call {
    const char *sbatch;
    char *argv[5];
};

static int call_sbatch(void *user, int channel)
{
    const struct call *call = user;
    if (dup2(channel, STDOUT_FILENO) < 0 || dup2(channel, STDERR_FILENO) < 0) {
        return 1;
    }
    execvp(call->sbatch, call->argv);
    return 127;
}

static size_t read_reply(int channel, char reply[REPLY_BYTES])
{
    size_t n = 0;
    ssize_t got;
    while (n + 1 < REPLY_BYTES && ((got = read(channel, reply + n, REPLY_BYTES - 1 - n)) > 0 || (got < 0 && errno == EINTR))) {
        n += got > 0 ? (size_t)got : 0;
    }
    reply[n] = '\0';
    return n;
}

static enum sm_status sbatch_failed(struct submitting *s, const char *sbatch, int exit_status, char *reply)
{
    reply[strcspn(reply, "\n")] = '\0';
    if (exit_status == 127) {
        sm_error_set(s->err, SM_E_NOTFOUND, "%s cannot be started", sbatch);
        sm_error_remedy(s->err, "submit where Slurm is installed, or leave out --slurm");
        return SM_E_NOTFOUND;
    }
    sm_error_set(s->err, SM_E_IO, "%s took nothing (exit status %d): %.300s", sbatch, exit_status, reply);
    sm_error_remedy(s->err, "look at what it says; --slurm-option hands words of your cluster on");
    return SM_E_IO;
}

/* @param number [out] what Slurm calls the job. */
static enum sm_status submit(struct submitting *s, const char *script, char number[32])
{
    char path[PATH_MAX + 300];
    char parsable[] = "--parsable";
    const char *sbatch = s->slurm->sbatch ? s->slurm->sbatch : "sbatch";
    snprintf(path, sizeof path, "%s/%s", s->folder, script);
    struct call call = {sbatch, {(char *)(uintptr_t)sbatch, parsable, path, NULL}};
    struct sm_process process = {0};
    struct sm_process_end end;
    char reply[REPLY_BYTES];
    enum sm_status status = sm_process_start(&process, call_sbatch, &call, s->err);
    if (status != SM_OK) {
        return status;
    }
    (void)read_reply(process.channel, reply);
    sm_process_ended(&process, true, &end);
    size_t n = strspn(reply, "0123456789");
    if (end.exit_status != 0 || n == 0 || n >= 32) {
        return sbatch_failed(s, sbatch, end.exit_status, reply);
    }
    memcpy(number, reply, n);
    number[n] = '\0';
    return SM_OK;
}

/* ---- scripts ---- */

static void add_head(struct submitting *s, struct sm_text *script, const char *name, const char *log)
{
    sm_text_addf(script, "#!/bin/sh\n#SBATCH --job-name=%s\n#SBATCH --output=\"%s/%s\"\n#SBATCH --open-mode=truncate\n", name,
                 s->folder, log);
    for (size_t i = 0; i < s->slurm->n_options; i++) {
        sm_text_addf(script, "#SBATCH %s\n", s->slurm->option[i]);
    }
}

static void add_limits(struct submitting *s, struct sm_text *script)
{
    enum { SPARE_MIN = 5, SPARE_MB = 256 }; /* what the task needs beside the survey: so that its own limit, which tells why, is first */
    if (s->opts->time_limit_s > 0) {
        sm_text_addf(script, "#SBATCH --time=%lld\n", (long long)(s->opts->time_limit_s / 60) + SPARE_MIN);
    }
    if (s->opts->memory_limit_bytes > 0) {
        sm_text_addf(script, "#SBATCH --mem=%lldM\n", (long long)(s->opts->memory_limit_bytes >> 20) + SPARE_MB);
    }
}

static enum sm_status submit_array(struct submitting *s)
{
    struct sm_text script = {0}, folder = {0}, program = {0};
    char name[64], number[32];
    s->n_arrays++;
    snprintf(name, sizeof name, "array-%zu", s->n_arrays);
    add_word(&folder, s->folder);
    add_word(&program, s->program);
    add_head(s, &script, "stopmark", "task-%A-%a.log");
    sm_text_addf(&script, "#SBATCH --array=1-%zu\n#SBATCH --ntasks=1\n#SBATCH --cpus-per-task=1\n", s->n_in_array);
    add_limits(s, &script);
    sm_text_addf(&script, "folder=%s\nid=$(sed -n \"${SLURM_ARRAY_TASK_ID}p\" \"$folder/%s.todo\")\n", sm_text_str(&folder), name);
    sm_text_addf(&script, "exec %s batch \"$folder/$id.txt\" --job \"$folder/$id.job\" %s >\"$folder/$id.log\" 2>&1\n",
                 sm_text_str(&program), sm_text_str(&s->args));
    bool has_failed = script.failed || folder.failed || program.failed || s->todo.failed;
    enum sm_status status = has_failed ? no_memory(s) : write_file(s, name, ".todo", sm_text_str(&s->todo));
    status = status == SM_OK ? write_file(s, name, ".sh", script.data) : status;
    char file[80];
    snprintf(file, sizeof file, "%s.sh", name);
    status = status == SM_OK ? submit(s, file, number) : status;
    if (status == SM_OK) {
        sm_text_addf(&s->after, ":%s", number);
        sm_text_clear(&s->todo);
        s->n_in_array = 0;
    }
    sm_text_release(&script);
    sm_text_release(&folder);
    sm_text_release(&program);
    return status;
}

/* It waits for every task, however it ended: what is done is merged, what failed is told by its log and its absence. */
static enum sm_status submit_merge(struct submitting *s)
{
    struct sm_text script = {0}, words = {0};
    add_word(&words, s->program);
    add_word(&words, "merge");
    add_word(&words, s->job);
    add_head(s, &script, "stopmark-merge", "merge.log");
    sm_text_add(&script, "#SBATCH --ntasks=1\n#SBATCH --cpus-per-task=1\n");
    if (s->after.length) {
        sm_text_addf(&script, "#SBATCH --dependency=afterany%s\n", s->after.data);
    }
    sm_text_addf(&script, "cd '%s' || exit 1\nset -- *.job\n[ -e \"$1\" ] || exit 0\nexec %s \"$@\"\n", s->folder,
                 sm_text_str(&words));
    enum sm_status status = script.failed || words.failed || s->after.failed ? no_memory(s)
                                                                              : write_file(s, "merge", ".sh", script.data);
    status = status == SM_OK ? submit(s, "merge.sh", s->result->merge) : status;
    sm_text_release(&script);
    sm_text_release(&words);
    return status;
}

/* ---- surveys ---- */

static enum sm_status make_id(struct submitting *s, const struct sm_batch_survey *survey, const char *path, char id[65])
{
    struct sm_text text = {0};
    sm_text_addf(&text, "%s %d", path, (int)survey->inspection);
    if (text.failed) {
        return no_memory(s);
    }
    sm_sha256(text.data, text.length, id);
    id[ID_LENGTH] = '\0';
    sm_text_release(&text);
    return SM_OK;
}

static enum sm_status take_survey(struct submitting *s, const struct sm_batch_survey *survey)
{
    char path[PATH_MAX], id[65];
    struct sm_text line = {0};
    if (!realpath(survey->path, path)) {
        return sm_error_at(s->err, SM_E_IO, survey->path, 0, 0, "%s", strerror(errno));
    }
    enum sm_status status = make_id(s, survey, path, id);
    if (status == SM_OK && is_held(s, id, survey->name)) {
        s->result->n_held++;
        return SM_OK;
    }
    sm_text_addf(&line, "%s\t%d\t%s\n", path, (int)survey->inspection, survey->name);
    status = status == SM_OK && line.failed ? no_memory(s) : status;
    status = status == SM_OK ? write_file(s, id, ".txt", line.data) : status;
    status = status == SM_OK ? write_file(s, id, ".args", sm_text_str(&s->args)) : status;
    if (status == SM_OK) {
        sm_text_addf(&s->todo, "%s\n", id);
        s->n_in_array++;
        s->result->n_submitted++;
    }
    sm_text_release(&line);
    return status == SM_OK && s->n_in_array == MOST_IN_ARRAY ? submit_array(s) : status;
}

/* ---- all of it ---- */

static enum sm_status whole_path(struct submitting *s, char out[PATH_MAX], const char *path)
{
    struct sm_text above = {0};
    char folder[PATH_MAX];
    const char *slash = strrchr(path, '/');
    enum sm_status status = sm_path_beside(&above, path, ".") == SM_OK ? SM_OK : no_memory(s);
    if (status == SM_OK && !realpath(above.data, folder)) {
        status = sm_error_at(s->err, SM_E_IO, path, 0, 0, "%s", strerror(errno));
        sm_error_remedy(s->err, "name a place in a folder that is there");
    }
    int n = status == SM_OK ? snprintf(out, PATH_MAX, "%s/%s", folder, slash ? slash + 1 : path) : 0;
    sm_text_release(&above);
    return status == SM_OK && (n < 0 || n >= PATH_MAX) ? sm_error_at(s->err, SM_E_RANGE, path, 0, 0, "too long a path") : status;
}

static enum sm_status find_places(struct submitting *s)
{
    enum sm_status status = whole_path(s, s->job, s->opts->job_path);
    if (status == SM_OK && s->opts->out_dir) {
        status = sm_dir_make(s->opts->out_dir, s->err);
        status = status == SM_OK ? whole_path(s, s->out, s->opts->out_dir) : status;
    }
    ssize_t n = readlink("/proc/self/exe", s->program, sizeof s->program - 1);
    if (status == SM_OK && n <= 0) {
        status = sm_error_set(s->err, SM_E_IO, "the program cannot tell where it lies");
    }
    if (status == SM_OK && strlen(s->job) + 64 >= sizeof s->folder) {
        status = sm_error_at(s->err, SM_E_RANGE, s->job, 0, 0, "too long a path");
    }
    if (status == SM_OK) {
        sm_strcopy(s->folder, sizeof s->folder - 6, s->job);
        memcpy(s->folder + strlen(s->folder), ".slurm", 7);
        status = sm_dir_make(s->folder, s->err);
    }
    if (status == SM_OK && strpbrk(s->folder, "'\"\n%\\")) {
        status = sm_error_at(s->err, SM_E_RANGE, s->folder, 0, 0, "Slurm takes no such letters in a path");
        sm_error_remedy(s->err, "keep the job file in a folder without quotes, per cent and backslashes in its name");
    }
    return status;
}

static enum sm_status run(struct submitting *s)
{
    enum sm_status status = find_places(s);
    fill_args(s);
    status = status == SM_OK && s->args.failed ? no_memory(s) : status;
    for (size_t i = 0; status == SM_OK && i < s->surveys->n; i++) {
        status = take_survey(s, &s->surveys->item[i]);
    }
    if (status == SM_OK && s->n_in_array) {
        status = submit_array(s);
    }
    if (status == SM_OK && (s->result->n_submitted || access(s->job, F_OK) != 0)) {
        status = submit_merge(s);
    }
    return status;
}

enum sm_status sm_batch_submit(struct sm_batch_submission *out, const struct sm_batch_surveys *surveys,
                               const struct sm_batch_opts *opts, const struct sm_batch_slurm *slurm, struct sm_error *err)
{
    struct sm_batch_submission result = {.n_surveys = surveys->n};
    struct submitting *s = sm_calloc(1, sizeof *s);
    if (!s) {
        return sm_error_set(err, SM_E_NOMEM, "out of memory");
    }
    *s = (struct submitting){.surveys = surveys, .opts = opts, .slurm = slurm, .result = &result, .err = err};
    enum sm_status status = run(s);
    sm_strcopy(result.folder, sizeof result.folder, s->folder);
    result.n_arrays = s->n_arrays;
    if (s->after.length) {
        sm_strcopy(result.arrays, sizeof result.arrays, s->after.data + 1);
    }
    sm_text_release(&s->args);
    sm_text_release(&s->todo);
    sm_text_release(&s->after);
    sm_free(s);
    if (status == SM_OK) {
        *out = result;
    }
    return status;
}

void sm_batch_write_submission_json(struct sm_text *out, const struct sm_batch_submission *submission)
{
    struct sm_json json = {.out = out};
    sm_json_open(&json, NULL, '{');
    sm_json_string(&json, "schema", "stopmark.submission/1");
    sm_json_int(&json, "surveys", (int64_t)submission->n_surveys);
    sm_json_int(&json, "submitted", (int64_t)submission->n_submitted);
    sm_json_int(&json, "held", (int64_t)submission->n_held);
    sm_json_string(&json, "arrays", submission->arrays[0] ? submission->arrays : NULL);
    sm_json_string(&json, "merge", submission->merge[0] ? submission->merge : NULL);
    sm_json_string(&json, "folder", submission->folder);
    sm_json_close(&json, '}');
}
