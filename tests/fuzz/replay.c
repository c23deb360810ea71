/*
 * Runs a fuzz target over the files of a corpus, one after the other in the order of their names: inputs that
 * once broke something stay tests under every compiler. Each input lies in a heap block of exactly its size,
 * so that a read beyond it is seen. An empty or missing corpus is an error.
 */
#include "fuzz.h"

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static int run_file(const char *path)
{
    FILE *file = fopen(path, "rb");
    if (!file || fseek(file, 0, SEEK_END) != 0) {
        perror(path);
        return -1;
    }
    long n = ftell(file);
    rewind(file);
    uint8_t *data = malloc(n > 0 ? (size_t)n : 1);
    int status = data && n >= 0 && fread(data, 1, (size_t)n, file) == (size_t)n ? 0 : -1;
    fclose(file);
    if (status == 0) {
        printf("%s\n", path);
        fflush(stdout);
        LLVMFuzzerTestOneInput(data, (size_t)n);
    }
    free(data);
    return status;
}

static int is_input(const struct dirent *entry)
{
    return entry->d_name[0] != '.' && strcmp(entry->d_name, "README.md") != 0;
}

/* @return number of inputs run, -1 on failure. */
static int run_folder(const char *folder)
{
    struct dirent **entry = NULL;
    int n = scandir(folder, &entry, is_input, alphasort);
    int n_run = n < 0 ? -1 : 0;
    for (int i = 0; i < n; i++) {
        char path[4096];
        int length = snprintf(path, sizeof path, "%s/%s", folder, entry[i]->d_name);
        if (n_run >= 0 && length > 0 && (size_t)length < sizeof path && run_file(path) == 0) {
            n_run++;
        } else {
            n_run = -1;
        }
        free(entry[i]);
    }
    free(entry);
    return n_run;
}

int main(int n_args, char **arg)
{
    if (n_args < 2) {
        fprintf(stderr, "usage: %s FOLDER...\n", arg[0]);
        return 2;
    }
    for (int i = 1; i < n_args; i++) {
        int n = run_folder(arg[i]);
        if (n <= 0) {
            fprintf(stderr, "%s: no inputs, or one that cannot be read\n", arg[i]);
            return 1;
        }
        printf("%s: %d inputs\n", arg[i], n);
    }
    return 0;
}
