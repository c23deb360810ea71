/**
 * Makes the n-th system call about files fail, or cuts the power there. The functions stand in front of the C library's for the
 * whole program, SQLite's calls included; the target that uses them is linked with sm_test_io (symbols of the program come
 * first). Only files below one folder count.
 */
#ifndef SM_TEST_IO_H
#define SM_TEST_IO_H

#include <stdint.h>

/** Which calls count, a set. */
enum sm_test_io_kind {
    SM_TEST_IO_OPEN = 1,
    SM_TEST_IO_READ = 2,
    SM_TEST_IO_WRITE = 4, /**< bytes and sizes */
    SM_TEST_IO_SYNC = 8,
    SM_TEST_IO_NAME = 16, /**< rename, link, unlink, mkdir, rmdir */
};
/** From now on the n-th such call (1 = the next) fails with code, once. n = 0 only counts. */
void sm_test_io_fail(const char *folder, unsigned kinds, long n, int code);
/** Calls counted since then. */
long sm_test_io_count(void);

/** From now on remember what the disk would hold: what was there, and what was synced since. */
void sm_test_io_power_watch(const char *folder);
/** The power goes at the n-th write, sync or change of a name from now on: see sm_test_io_power_cut(). */
void sm_test_io_power_cut_at(long n, uint64_t seed);
/**
 * Leave the folder as a disk might after a power cut, and end the process with status 99: of a file what was synced, with any
 * of the writes since, some of them torn at a sector. Names are as they were: a file system with a journal keeps their order.
 */
_Noreturn void sm_test_io_power_cut(uint64_t seed);

#endif
