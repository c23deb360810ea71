/** @file sim_check.h - a small survey made in a scratch folder, and its tables read back. */
#ifndef SIM_CHECK_H
#define SIM_CHECK_H

#include "sm_test.h"
#include "simulator.h"

/** A run of a few seconds in a small picture; settings: "key=value" strings, NULL at the end. */
void sim_check_make(struct sm_sim_opts *opts, const char *const *settings, const char *dir);
/** DIR/name as a table; free with sm_csv_free(). */
struct sm_csv *sim_check_table(const char *dir, const char *name);
/** Field of a row (0 = first below the header) by column name. */
const char *sim_check_field(const struct sm_csv *csv, size_t row, const char *column);
double sim_check_number(const struct sm_csv *csv, size_t row, const char *column);
/** SHA-256 of DIR/name. */
void sim_check_hash(const char *dir, const char *name, char hex[65]);

#endif
