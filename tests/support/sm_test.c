#include "sm_test.h"

#include <dirent.h>
#include <errno.h>
#include <ftw.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

void sm_test_close(double actual, double expected, double tol, const char *what, const char *file, int line)
{
    if ((isnan(actual) && isnan(expected)) || fabs(actual - expected) <= tol) {
        return;
    }
    print_error("%s is %.12g, expected %.12g within %.3g\n", what, actual, expected, tol);
    _fail(file, line);
}

void sm_test_ok(enum sm_status status, const struct sm_error *err, const char *what, const char *file, int line)
{
    if (status == SM_OK) {
        return;
    }
    print_error("%s: %s", what, sm_status_text(status));
    if (err) {
        print_error(": %s:%u: %s; %s", err->source, (unsigned)err->line, err->text, err->remedy);
    }
    print_error("\n");
    _fail(file, line);
}

void sm_test_dir_make(char path[256])
{
    const char *base = getenv("TMPDIR");
    snprintf(path, 256, "%s/sm-test-XXXXXX", base && *base ? base : "/tmp");
    if (!mkdtemp(path)) {
        fail_msg("mkdtemp %s: %s", path, strerror(errno));
    }
}

static int remove_entry(const char *path, const struct stat *status, int flag, struct FTW *walk)
{
    (void)status;
    (void)flag;
    (void)walk;
    return remove(path);
}

void sm_test_dir_remove(const char *path)
{
    nftw(path, remove_entry, 16, FTW_DEPTH | FTW_PHYS);
}

int sm_test_dir_count(const char *path)
{
    DIR *dir = opendir(path);
    if (!dir) {
        fail_msg("%s: %s", path, strerror(errno));
        return -1;
    }
    int n = 0;
    for (struct dirent *entry; (entry = readdir(dir));) {
        n += entry->d_name[0] != '.';
    }
    closedir(dir);
    return n;
}

int sm_test_scratch_make(void **state)
{
    struct sm_test_scratch *scratch = malloc(sizeof *scratch);
    if (!scratch) {
        return -1;
    }
    sm_test_dir_make(scratch->dir);
    snprintf(scratch->path, sizeof scratch->path, "%s/file", scratch->dir);
    *state = scratch;
    return 0;
}

int sm_test_scratch_remove(void **state)
{
    struct sm_test_scratch *scratch = *state;
    sm_test_dir_remove(scratch->dir);
    free(scratch);
    return 0;
}

const char *sm_test_source(const char *relative)
{
    static char path[1024];
    const char *root = getenv("SM_SOURCE_DIR");
    snprintf(path, sizeof path, "%s/%s", root && *root ? root : ".", relative);
    return path;
}

struct sm_test_random sm_test_seed(uint64_t default_seed)
{
    const char *given = getenv("SM_SEED");
    struct sm_test_random random = {given && *given ? strtoull(given, NULL, 0) : default_seed};
    print_message("seed %llu (SM_SEED repeats it)\n", (unsigned long long)random.state);
    return random;
}
