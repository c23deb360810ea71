/* The registry of formats, told apart by content; a file is read once, with all its inspections. */
#include "obslog_internal.h"

static const struct sm_obslog_reader *const readers[] = {&sm_obslog__csv, &sm_obslog__en13508,
                                                         &sm_obslog__isybau, &sm_obslog__m150};

static const struct sm_obslog_reader *find_reader(const struct sm_obslog_input *input)
{
    const struct sm_obslog_reader *best = NULL;
    int best_sure = 0;
    for (size_t k = 0; k < sizeof readers / sizeof readers[0]; k++) {
        int sure = readers[k]->probe(input);
        if (sure > best_sure) {
            best = readers[k];
            best_sure = sure;
        }
    }
    return best;
}

const char *sm_obslog_guess_format(const char *data, size_t n)
{
    struct sm_obslog_input input = {.data = data, .n = n, .source = ""};
    const struct sm_obslog_reader *reader = n ? find_reader(&input) : NULL;
    return reader ? reader->name : NULL;
}

static enum sm_status read_file(struct sm_obslog_file *file, const struct sm_obslog_input *input,
                                struct sm_error *err)
{
    const struct sm_obslog_reader *reader = input->n ? find_reader(input) : NULL;
    if (input->n == 0) {
        sm_error_at(err, SM_E_FORMAT, input->source, 0, 0, "the log is empty");
        return sm_error_remedy(err, "check that the export was finished");
    }
    if (!reader) {
        sm_error_at(err, SM_E_FORMAT, input->source, 1, 0, "this is no log of a format known here");
        return sm_error_remedy(err, "give a CSV log, an EN 13508-2 text file, ISYBAU XML or DWA-M 150 XML");
    }
    struct sm_obslog_build build = {
        .input = input, .file = file, .arena = file->arena, .upcoming = {SM_OBSLOG_NONE, SM_OBSLOG_NONE}};
    file->format = reader->name;
    enum sm_status status = reader->read(&build, err);
    for (size_t k = 0; status == SM_OK && k < file->n_parts; k++) {
        status = sm_obslog__check_order(&build, k);
        status = status == SM_OK ? SM_OK : sm_obslog__no_memory(err);
    }
    sm_obslog__settle(&build);
    sm_error_source(status == SM_OK ? NULL : err, input->source);
    return status;
}

enum sm_status sm_obslog_file_parse(struct sm_obslog_file **out, const char *data, size_t n,
                                    const char *source, enum sm_unit unit, struct sm_error *err)
{
    struct sm_obslog_input input = {data, n, source ? source : "", unit};
    struct sm_obslog_file *file = sm_obslog__file_new(input.source);
    enum sm_status status = file ? read_file(file, &input, err) : sm_obslog__no_memory(err);
    if (status != SM_OK) {
        sm_obslog_file_free(&file);
        return status;
    }
    *out = file;
    return SM_OK;
}

enum sm_status sm_obslog_file_read(struct sm_obslog_file **out, const char *path, enum sm_unit unit,
                                   struct sm_error *err)
{
    char *data = NULL;
    size_t n = 0;
    enum sm_status status = sm_file_read(&data, &n, path, SM_OBSLOG_LIMIT_BYTES, err);
    if (status == SM_OK) {
        status = sm_obslog_file_parse(out, data, n, path, unit, err);
    }
    sm_free(data);
    return status;
}

/* ---- in one call
 * ------------------------------------------------------------------------------------------- */

static enum sm_status pick_only(struct sm_obslog **out, struct sm_obslog_file *file,
                                const struct sm_obslog_opts *opts, enum sm_status status,
                                struct sm_error *err)
{
    if (status == SM_OK) {
        status = sm_obslog_file_pick(out, file, opts, err);
    }
    sm_obslog_file_free(&file);
    return status;
}

enum sm_status sm_obslog_parse(struct sm_obslog **out, const char *data, size_t n, const char *source,
                               const struct sm_obslog_opts *opts, struct sm_error *err)
{
    struct sm_obslog_file *file = NULL;
    enum sm_unit unit = opts ? opts->unit : SM_UNIT_UNKNOWN;
    enum sm_status status = sm_obslog_file_parse(&file, data, n, source, unit, err);
    return pick_only(out, file, opts, status, err);
}

enum sm_status sm_obslog_read(struct sm_obslog **out, const char *path, const struct sm_obslog_opts *opts,
                              struct sm_error *err)
{
    struct sm_obslog_file *file = NULL;
    enum sm_status status = sm_obslog_file_read(&file, path, opts ? opts->unit : SM_UNIT_UNKNOWN, err);
    return pick_only(out, file, opts, status, err);
}

static enum sm_status list_only(struct sm_obslog_list **out, struct sm_obslog_file *file,
                                enum sm_status status, struct sm_error *err)
{
    if (status == SM_OK) {
        status = sm_obslog_file_list(out, file, err);
    }
    sm_obslog_file_free(&file);
    return status;
}

enum sm_status sm_obslog_list_parse(struct sm_obslog_list **out, const char *data, size_t n,
                                    const char *source, struct sm_error *err)
{
    struct sm_obslog_file *file = NULL;
    enum sm_status status = sm_obslog_file_parse(&file, data, n, source, SM_UNIT_UNKNOWN, err);
    return list_only(out, file, status, err);
}

enum sm_status sm_obslog_list(struct sm_obslog_list **out, const char *path, struct sm_error *err)
{
    struct sm_obslog_file *file = NULL;
    enum sm_status status = sm_obslog_file_read(&file, path, SM_UNIT_UNKNOWN, err);
    return list_only(out, file, status, err);
}
