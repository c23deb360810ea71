/* stopmark demo: writes the invented survey that is part of the program. */
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "cli.h"
#include "demo_files.h"

/* A file a person may have changed is never overwritten. */
static enum sm_status check_free(const char *path, const struct sm_cli_demo_file *file, struct sm_error *err)
{
    char present[65];
    char ours[65];
    if (access(path, F_OK) != 0) {
        return SM_OK;
    }
    enum sm_status status = sm_file_sha256(path, present, err);
    if (status != SM_OK) {
        return status;
    }
    sm_sha256(file->data, (size_t)*file->size, ours);
    if (strcmp(present, ours) != 0) {
        sm_error_at(err, SM_E_CONFLICT, path, 0, 0, "is there already, with other content");
        sm_error_remedy(err, "name another folder");
        return SM_E_CONFLICT;
    }
    return SM_OK;
}

static enum sm_status path_in(struct sm_text *path, const char *dir, const char *name, struct sm_error *err)
{
    sm_text_clear(path);
    sm_text_addf(path, "%s/%s", dir, name);
    return path->failed ? sm_error_set(err, SM_E_NOMEM, "out of memory") : SM_OK;
}

/* Take back the first n files, those that were not there before. */
static void take_back(const char *dir, const bool *was_there, size_t n)
{
    struct sm_text path = {0};
    for (size_t i = 0; i < n; i++) {
        if (!was_there[i] && path_in(&path, dir, sm_cli_demo_files[i].name, NULL) == SM_OK) {
            unlink(path.data);
        }
    }
    sm_text_release(&path);
}

static enum sm_status write_files(const char *dir, struct sm_error *err)
{
    bool was_there[SM_CLI_MAX_DEMO_FILES] = {0};
    struct sm_text path = {0};
    enum sm_status status = sm_dir_make(dir, err);
    for (size_t i = 0; status == SM_OK && i < sm_cli_n_demo_files; i++) {
        status = path_in(&path, dir, sm_cli_demo_files[i].name, err);
        if (status == SM_OK) {
            was_there[i] = access(path.data, F_OK) == 0;
            status = check_free(path.data, &sm_cli_demo_files[i], err);
        }
    }
    for (size_t i = 0; status == SM_OK && i < sm_cli_n_demo_files; i++) {
        const struct sm_cli_demo_file *file = &sm_cli_demo_files[i];
        status = path_in(&path, dir, file->name, err);
        if (status == SM_OK) {
            status = sm_file_write(path.data, file->data, (size_t)*file->size, err);
        }
        if (status != SM_OK) {
            take_back(dir, was_there, i);
        }
    }
    sm_text_release(&path);
    return status;
}

static void add_json(struct sm_text *text, const char *dir)
{
    struct sm_json json = {.out = text};
    sm_json_open(&json, NULL, '{');
    sm_json_string(&json, "schema", "stopmark.demo/1");
    sm_json_string(&json, "folder", dir);
    sm_json_open(&json, "files", '[');
    for (size_t i = 0; i < sm_cli_n_demo_files; i++) {
        sm_json_string(&json, NULL, sm_cli_demo_files[i].name);
    }
    sm_json_close(&json, ']');
    sm_json_close(&json, '}');
}

static int tell(const char *dir, const struct sm_cli_common *common)
{
    struct sm_text text = {0};
    if (common->is_json) {
        add_json(&text, dir);
    } else if (!common->is_quiet) {
        sm_text_addf(&text,
                     "An invented survey is in %s. Try\n  stopmark schedule %s/sheet.ini --job %s/town.job --out %s/results\n"
                     "  stopmark record %s/town.job %s/asbuilt.csv\n"
                     "  stopmark recheck %s/town.job %s/recheck.ini\n"
                     "  stopmark audit %s/town.job --out %s/proof\n",
                     dir, dir, dir, dir, dir, dir, dir, dir, dir, dir);
    }
    int result = sm_cli_print(&text);
    sm_text_release(&text);
    return result;
}

static int run(int argc, char **argv)
{
    static const struct sm_cli_option none[] = {{0}};
    struct sm_cli_common common = {0};
    int n_operands = 0;
    enum sm_cli_parsed parsed = sm_cli_parse(&sm_cli_demo, none, NULL, &common, argc, argv, &n_operands);
    if (parsed != SM_CLI_GO_ON) {
        return parsed == SM_CLI_HELP_SHOWN ? SM_CLI_DONE : SM_CLI_USAGE;
    }
    if (n_operands != 1) {
        return sm_cli_misuse(&sm_cli_demo, n_operands ? "more than one folder named" : "no folder named");
    }
    struct sm_error err = {0};
    return write_files(argv[0], &err) == SM_OK ? tell(argv[0], &common) : sm_cli_fail(&err);
}

const struct sm_cli_command sm_cli_demo = {
    .name = "demo",
    .run = run,
    .line = "Write an invented survey to try all this on",
    .usage = "demo DIR",
    .help =
        "Writes a video, the operator's log, a sheet, kits and a cure table into DIR, made when missing.\n\n",
};
