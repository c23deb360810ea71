/* The files of the invented survey, inside the program; the table is made by CMake from fixtures/demo. */
#ifndef SM_CLI_DEMO_FILES_H
#define SM_CLI_DEMO_FILES_H

#include <stddef.h>
#include <stdint.h>

enum { SM_CLI_MAX_DEMO_FILES = 16 };

struct sm_cli_demo_file {
    const char *name;
    const unsigned char *data;
    const uint64_t *size;
};
extern const struct sm_cli_demo_file sm_cli_demo_files[];
extern const size_t sm_cli_n_demo_files;

#endif
