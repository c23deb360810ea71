/* System calls about files, failing on demand; and a disk that loses what was not synced. */
#define _GNU_SOURCE /* RTLD_NEXT */
#include "sm_test_io.h"

#include <dirent.h>
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "sm_random.h"

enum { MOST_FDS = 4096, SECTOR = 512, POWER_IS_GONE = 99 };

static char watched[300];
static size_t watched_length;
static bool is_watched_fd[MOST_FDS];
static unsigned armed_kinds;
static long n_calls, fail_at, cut_at;
static int fail_code;
static uint64_t cut_seed;
static bool has_disk;

/* The C library's own function of that name; the union spares a cast that C does not know. */
#define NEXT(name, type)                                                                                               \
    static union {                                                                                                     \
        void *object;                                                                                                  \
        type;                                                                                                          \
    } next_##name;                                                                                                     \
    next_##name.object = next_##name.object ? next_##name.object : dlsym(RTLD_NEXT, #name)

static bool is_inside(const char *path)
{
    return watched_length && path && strncmp(path, watched, watched_length) == 0;
}

static bool is_inside_fd(int fd)
{
    return fd >= 0 && fd < MOST_FDS && is_watched_fd[fd];
}

/* Count a call that is about to happen. @return true when it is to fail. */
static bool is_hit(unsigned kind)
{
    if (!(armed_kinds & kind)) {
        return false;
    }
    n_calls++;
    if (cut_at && n_calls == cut_at) {
        sm_test_io_power_cut(cut_seed);
    }
    if (n_calls == fail_at) {
        errno = fail_code;
        return true;
    }
    return false;
}

/* ---- what the disk holds ---- */

struct pending {
    off_t at; /* -1: the file's size became n */
    size_t n;
    char *data;
};
struct disk_file {
    ino_t inode;
    char *data; /* as synced */
    size_t n;
    struct pending *pending;
    size_t n_pending;
};
static struct disk_file *disk;
static size_t n_disk;

static struct disk_file *disk_file(ino_t inode, bool is_made)
{
    for (size_t i = 0; i < n_disk; i++) {
        if (disk[i].inode == inode) {
            return &disk[i];
        }
    }
    if (!is_made) {
        return NULL;
    }
    disk = realloc(disk, (n_disk + 1) * sizeof *disk);
    if (!disk) {
        abort();
    }
    disk[n_disk] = (struct disk_file){.inode = inode};
    return &disk[n_disk++];
}

static ssize_t real_pread(int fd, void *data, size_t n, off_t at)
{
    NEXT(pread64, ssize_t (*call)(int, void *, size_t, off_t));
    return next_pread64.call(fd, data, n, at);
}

static int real_open(const char *path, int flags, mode_t mode)
{
    NEXT(open64, int (*call)(const char *, int, ...));
    return next_open64.call(path, flags, mode);
}

static void take_content(const char *path)
{
    struct stat status;
    int fd = real_open(path, O_RDONLY | O_CLOEXEC, 0);
    if (fd < 0 || fstat(fd, &status) != 0 || !S_ISREG(status.st_mode)) {
        if (fd >= 0) {
            close(fd);
        }
        return;
    }
    struct disk_file *file = disk_file(status.st_ino, true);
    for (size_t i = 0; i < file->n_pending; i++) {
        free(file->pending[i].data);
    }
    file->n_pending = 0;
    free(file->data);
    file->n = (size_t)status.st_size;
    file->data = malloc(file->n + 1);
    if (!file->data || real_pread(fd, file->data, file->n, 0) != (ssize_t)file->n) {
        abort();
    }
    close(fd);
}

static void note(int fd, off_t at, const void *data, size_t n)
{
    struct stat status;
    if (!has_disk || fstat(fd, &status) != 0) {
        return;
    }
    struct disk_file *file = disk_file(status.st_ino, true);
    file->pending = realloc(file->pending, (file->n_pending + 1) * sizeof *file->pending);
    char *copy = data ? malloc(n + 1) : NULL;
    if (!file->pending || (data && !copy)) {
        abort();
    }
    if (data) {
        memcpy(copy, data, n);
    }
    file->pending[file->n_pending++] = (struct pending){data ? at : -1, n, copy};
}

typedef void visit_fn(const char *path, void *user);

static void visit_files(const char *folder, visit_fn *visit, void *user)
{
    DIR *dir = opendir(folder);
    for (struct dirent *entry; dir && (entry = readdir(dir));) {
        char path[1200];
        struct stat status;
        bool is_dot = strcmp(entry->d_name, ".") == 0 || strcmp(entry->d_name, "..") == 0;
        int length = snprintf(path, sizeof path, "%s/%s", folder, entry->d_name);
        if (is_dot || length < 0 || (size_t)length >= sizeof path || lstat(path, &status) != 0) {
            continue;
        }
        if (S_ISDIR(status.st_mode)) {
            visit_files(path, visit, user);
        } else if (S_ISREG(status.st_mode)) {
            visit(path, user);
        }
    }
    if (dir) {
        closedir(dir);
    }
}

static void take_visited(const char *path, void *user)
{
    (void)user;
    take_content(path);
}

static void put_bytes(struct disk_file *file, off_t at, const char *data, size_t n)
{
    size_t end = (size_t)at + n;
    if (end > file->n) {
        file->data = realloc(file->data, end + 1);
        if (!file->data) {
            abort();
        }
        memset(file->data + file->n, 0, end - file->n);
        file->n = end;
    }
    memcpy(file->data + at, data, n);
}

/* Each write since the last sync: all of it, its first sectors, or nothing. */
static void apply_some(struct disk_file *file, struct sm_test_random *random)
{
    for (size_t i = 0; i < file->n_pending; i++) {
        const struct pending *pending = &file->pending[i];
        double dice = sm_test_uniform(random, 0, 3);
        if (pending->at < 0) {
            file->n = dice < 1.5 && pending->n < file->n ? pending->n : file->n;
        } else if (dice < 2) {
            size_t torn = (size_t)sm_test_uniform(random, 0, (double)(pending->n / SECTOR + 1)) * SECTOR;
            put_bytes(file, pending->at, pending->data, dice < 1 || torn > pending->n ? pending->n : torn);
        }
    }
}

static void leave_on_disk(const char *path, void *user)
{
    struct stat status;
    if (lstat(path, &status) != 0) {
        return;
    }
    struct disk_file *file = disk_file(status.st_ino, true);
    apply_some(file, user);
    NEXT(ftruncate64, int (*call)(int, off_t));
    NEXT(pwrite64, ssize_t (*call)(int, const void *, size_t, off_t));
    int fd = real_open(path, O_WRONLY | O_CLOEXEC, 0);
    if (fd < 0 || next_ftruncate64.call(fd, 0) != 0 ||
        (file->n && next_pwrite64.call(fd, file->data, file->n, 0) != (ssize_t)file->n)) {
        abort();
    }
    close(fd);
}

void sm_test_io_power_cut(uint64_t seed)
{
    struct sm_test_random random = {seed};
    armed_kinds = 0;
    has_disk = false;
    visit_files(watched, leave_on_disk, &random);
    _exit(POWER_IS_GONE);
}

/* ---- arming ---- */

static void watch(const char *folder, unsigned kinds)
{
    snprintf(watched, sizeof watched, "%s", folder);
    watched_length = strlen(watched);
    armed_kinds = kinds;
    n_calls = fail_at = cut_at = 0;
}

void sm_test_io_fail(const char *folder, unsigned kinds, long n, int code)
{
    watch(folder, kinds);
    fail_at = n;
    fail_code = code;
}

long sm_test_io_count(void)
{
    return n_calls;
}

void sm_test_io_power_watch(const char *folder)
{
    watch(folder, SM_TEST_IO_WRITE | SM_TEST_IO_SYNC | SM_TEST_IO_NAME);
    visit_files(folder, take_visited, NULL);
    has_disk = true;
}

void sm_test_io_power_cut_at(long n, uint64_t seed)
{
    n_calls = 0;
    cut_at = n;
    cut_seed = seed;
}

/* ---- in front of the C library ---- */

int open(const char *path, int flags, ...);
int open64(const char *path, int flags, ...);
ssize_t pread64(int fd, void *data, size_t n, off_t at);
ssize_t pwrite64(int fd, const void *data, size_t n, off_t at);
int ftruncate64(int fd, off_t n);

static int open_watched(const char *path, int flags, mode_t mode)
{
    if (is_inside(path) && is_hit(SM_TEST_IO_OPEN)) {
        return -1;
    }
    int fd = real_open(path, flags, mode);
    if (fd >= 0 && fd < MOST_FDS) {
        is_watched_fd[fd] = is_inside(path);
    }
    return fd;
}

int open(const char *path, int flags, ...)
{
    va_list args;
    va_start(args, flags);
    mode_t mode = (flags & O_CREAT) ? va_arg(args, mode_t) : 0;
    va_end(args);
    return open_watched(path, flags, mode);
}

int open64(const char *path, int flags, ...)
{
    va_list args;
    va_start(args, flags);
    mode_t mode = (flags & O_CREAT) ? va_arg(args, mode_t) : 0;
    va_end(args);
    return open_watched(path, flags, mode);
}

FILE *fopen(const char *restrict path, const char *restrict mode)
{
    NEXT(fopen, FILE *(*call)(const char *, const char *));
    if (is_inside(path) && is_hit(SM_TEST_IO_OPEN)) {
        return NULL;
    }
    FILE *file = next_fopen.call(path, mode);
    if (file && fileno(file) < MOST_FDS) {
        is_watched_fd[fileno(file)] = is_inside(path);
    }
    return file;
}

/* A number that is given back may come again for something else. */
static void forget(int fd)
{
    if (fd >= 0 && fd < MOST_FDS) {
        is_watched_fd[fd] = false;
    }
}

int fclose(FILE *file)
{
    NEXT(fclose, int (*call)(FILE *));
    forget(fileno(file));
    return next_fclose.call(file);
}

int close(int fd)
{
    NEXT(close, int (*call)(int));
    forget(fd);
    return next_close.call(fd);
}

size_t fwrite(const void *restrict data, size_t size, size_t n, FILE *restrict file)
{
    NEXT(fwrite, size_t (*call)(const void *, size_t, size_t, FILE *));
    if (is_inside_fd(fileno(file)) && is_hit(SM_TEST_IO_WRITE)) {
        return 0;
    }
    return next_fwrite.call(data, size, n, file);
}

ssize_t read(int fd, void *data, size_t n)
{
    NEXT(read, ssize_t (*call)(int, void *, size_t));
    return is_inside_fd(fd) && is_hit(SM_TEST_IO_READ) ? -1 : next_read.call(fd, data, n);
}

ssize_t pread64(int fd, void *data, size_t n, off_t at)
{
    return is_inside_fd(fd) && is_hit(SM_TEST_IO_READ) ? -1 : real_pread(fd, data, n, at);
}

ssize_t write(int fd, const void *data, size_t n)
{
    NEXT(write, ssize_t (*call)(int, const void *, size_t));
    if (is_inside_fd(fd) && is_hit(SM_TEST_IO_WRITE)) {
        return -1;
    }
    off_t at = is_inside_fd(fd) ? lseek(fd, 0, SEEK_CUR) : -1;
    ssize_t put = next_write.call(fd, data, n);
    if (put > 0 && at >= 0) {
        note(fd, at, data, (size_t)put);
    }
    return put;
}

ssize_t pwrite64(int fd, const void *data, size_t n, off_t at)
{
    NEXT(pwrite64, ssize_t (*call)(int, const void *, size_t, off_t));
    if (is_inside_fd(fd) && is_hit(SM_TEST_IO_WRITE)) {
        return -1;
    }
    ssize_t put = next_pwrite64.call(fd, data, n, at);
    if (put > 0 && is_inside_fd(fd)) {
        note(fd, at, data, (size_t)put);
    }
    return put;
}

int ftruncate64(int fd, off_t n)
{
    NEXT(ftruncate64, int (*call)(int, off_t));
    if (is_inside_fd(fd) && is_hit(SM_TEST_IO_WRITE)) {
        return -1;
    }
    int result = next_ftruncate64.call(fd, n);
    if (result == 0 && is_inside_fd(fd)) {
        note(fd, -1, NULL, (size_t)n);
    }
    return result;
}

static void take_synced(int fd)
{
    char path[64];
    snprintf(path, sizeof path, "/proc/self/fd/%d", fd);
    if (has_disk) {
        take_content(path);
    }
}

int fsync(int fd)
{
    NEXT(fsync, int (*call)(int));
    if (is_inside_fd(fd) && is_hit(SM_TEST_IO_SYNC)) {
        return -1;
    }
    if (is_inside_fd(fd)) {
        take_synced(fd);
        return 0; /* the disk is the one above: no need to wait for another */
    }
    return next_fsync.call(fd);
}

int fdatasync(int fd)
{
    NEXT(fdatasync, int (*call)(int));
    if (is_inside_fd(fd) && is_hit(SM_TEST_IO_SYNC)) {
        return -1;
    }
    if (is_inside_fd(fd)) {
        take_synced(fd);
        return 0;
    }
    return next_fdatasync.call(fd);
}

int rename(const char *from, const char *to)
{
    NEXT(rename, int (*call)(const char *, const char *));
    return is_inside(to) && is_hit(SM_TEST_IO_NAME) ? -1 : next_rename.call(from, to);
}

int link(const char *from, const char *to)
{
    NEXT(link, int (*call)(const char *, const char *));
    return is_inside(to) && is_hit(SM_TEST_IO_NAME) ? -1 : next_link.call(from, to);
}

int unlink(const char *path)
{
    NEXT(unlink, int (*call)(const char *));
    return is_inside(path) && is_hit(SM_TEST_IO_NAME) ? -1 : next_unlink.call(path);
}

int mkdir(const char *path, mode_t mode)
{
    NEXT(mkdir, int (*call)(const char *, mode_t));
    return is_inside(path) && is_hit(SM_TEST_IO_NAME) ? -1 : next_mkdir.call(path, mode);
}
