/* Files: read whole with a limit, written whole or not at all, folders, paths beside a file, SHA-256 of a
 * file. */
#include "stopmark/base.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "sha256.h"

static enum sm_status io_error(struct sm_error *err, const char *path, const char *what, int code)
{
    enum sm_status status = sm_error_at(err, SM_E_IO, path, 0, 0, "%s: %s", what, strerror(code));
    const char *remedy = code == ENOENT   ? "check the name and the folder"
                         : code == EACCES ? "check the permissions"
                         : code == ENOSPC ? "make room on the disk"
                                          : "check the path and the disk";
    sm_error_remedy(err, "%s", remedy);
    return status;
}

/* O_NONBLOCK: a pipe under that name must not hold the program up before we see that it is one. */
static enum sm_status open_regular(int *fd, const char *path, struct sm_error *err)
{
    int opened = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK | O_NOCTTY);
    if (opened < 0) {
        return io_error(err, path, "cannot be opened", errno);
    }
    struct stat status;
    if (fstat(opened, &status) != 0 || !S_ISREG(status.st_mode)) {
        close(opened);
        sm_error_at(err, SM_E_IO, path, 0, 0, "not a regular file");
        sm_error_remedy(err, "name a file");
        return SM_E_IO;
    }
    *fd = opened;
    return SM_OK;
}

static ssize_t read_some(int fd, void *to, size_t n)
{
    ssize_t got;
    do {
        got = read(fd, to, n);
    } while (got < 0 && errno == EINTR);
    return got;
}

/* The size the system reports is only where to start: the file may grow while it is read. */
static enum sm_status read_all(int fd, struct sm_text *text, size_t limit_bytes, const char *path,
                               struct sm_error *err)
{
    char piece[16384];
    for (;;) {
        ssize_t got = read_some(fd, piece, sizeof piece);
        if (got < 0) {
            return io_error(err, path, "cannot be read", errno);
        }
        if (got == 0) {
            return SM_OK;
        }
        if ((size_t)got > limit_bytes - text->length) {
            sm_error_at(err, SM_E_RANGE, path, 0, 0, "larger than %zu bytes", limit_bytes);
            sm_error_remedy(err, "check that this is the right file");
            return SM_E_RANGE;
        }
        sm_text_add_n(text, piece, (size_t)got);
        if (text->failed) {
            return sm_error_at(err, SM_E_NOMEM, path, 0, 0, "out of memory while reading");
        }
    }
}

enum sm_status sm_file_read(char **out, size_t *n, const char *path, size_t limit_bytes, struct sm_error *err)
{
    int fd = -1;
    enum sm_status status = open_regular(&fd, path, err);
    if (status != SM_OK) {
        return status;
    }
    struct sm_text text = {0};
    sm_text_add(&text, "");
    status = text.failed ? sm_error_at(err, SM_E_NOMEM, path, 0, 0, "out of memory while reading")
                         : read_all(fd, &text, limit_bytes, path, err);
    close(fd);
    if (status != SM_OK) {
        sm_text_release(&text);
        return status;
    }
    *out = text.data;
    *n = text.length;
    return SM_OK;
}

enum sm_status sm_file_read_head(char **out, size_t *n, const char *path, size_t n_most, struct sm_error *err)
{
    int fd = -1;
    enum sm_status status = open_regular(&fd, path, err);
    if (status != SM_OK) {
        return status;
    }
    char *head = sm_calloc(n_most + 1, 1);
    size_t n_got = 0;
    ssize_t got = head ? 1 : 0;
    while (got > 0 && n_got < n_most) {
        got = read_some(fd, head + n_got, n_most - n_got);
        n_got += got > 0 ? (size_t)got : 0;
    }
    int code = errno;
    close(fd);
    if (!head || got < 0) {
        sm_free(head);
        return head ? io_error(err, path, "cannot be read", code)
                    : sm_error_at(err, SM_E_NOMEM, path, 0, 0, "out of memory while reading");
    }
    *out = head;
    *n = n_got;
    return SM_OK;
}

static bool write_all(int fd, const char *data, size_t n)
{
    while (n) {
        ssize_t put = write(fd, data, n);
        if (put < 0 && errno != EINTR) {
            return false;
        }
        if (put > 0) {
            data += put;
            n -= (size_t)put;
        }
    }
    return true;
}

/* A new file beside path under a name nobody has; O_EXCL rather than mkstemp(), so that the umask rules its
 * mode. */
static int open_temporary(struct sm_text *name, const char *path)
{
    for (int try_idx = 0; try_idx < 100; try_idx++) {
        sm_text_clear(name);
        sm_text_addf(name, "%s.part-%ld-%d", path, (long)getpid(), try_idx);
        if (name->failed) {
            errno = ENOMEM;
            return -1;
        }
        int fd = open(name->data, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
        if (fd >= 0 || errno != EEXIST) {
            return fd;
        }
    }
    return -1;
}

/* The rename itself is only sure once the folder is on the disk. A file system that cannot do this is no
 * error. */
static void sync_folder(const char *path)
{
    struct sm_text folder = {0};
    if (sm_path_beside(&folder, path, ".") == SM_OK) {
        int fd = open(folder.data, O_RDONLY | O_CLOEXEC | O_DIRECTORY);
        if (fd >= 0) {
            (void)fsync(fd);
            close(fd);
        }
    }
    sm_text_release(&folder);
}

enum sm_status sm_file_write(const char *path, const void *data, size_t n, struct sm_error *err)
{
    struct stat present;
    if (stat(path, &present) == 0 && !S_ISREG(present.st_mode)) {
        sm_error_at(err, SM_E_IO, path, 0, 0, "exists and is not a regular file");
        sm_error_remedy(err, "choose another name");
        return SM_E_IO;
    }
    struct sm_text name = {0};
    int fd = open_temporary(&name, path);
    if (fd < 0) {
        int code = errno;
        sm_text_release(&name);
        return io_error(err, path, "cannot be written", code);
    }
    bool is_written = write_all(fd, data, n) && fsync(fd) == 0;
    int code = errno;
    if (close(fd) != 0 && is_written) {
        is_written = false;
        code = errno;
    }
    if (is_written && rename(name.data, path) != 0) {
        is_written = false;
        code = errno;
    }
    if (!is_written) {
        unlink(name.data);
    } else {
        sync_folder(path);
    }
    sm_text_release(&name);
    return is_written ? SM_OK : io_error(err, path, "cannot be written", code);
}

static enum sm_status make_one(const char *path, struct sm_error *err)
{
    if (mkdir(path, 0777) == 0) {
        return SM_OK;
    }
    int code = errno;
    struct stat status;
    if (stat(path, &status) == 0 && S_ISDIR(status.st_mode)) {
        return SM_OK;
    }
    return io_error(err, path, code == EEXIST ? "is in the way of a folder" : "folder cannot be made", code);
}

enum sm_status sm_dir_make(const char *path, struct sm_error *err)
{
    char *part = sm_strdup(path);
    if (!part) {
        return sm_error_at(err, SM_E_NOMEM, path, 0, 0, "out of memory");
    }
    enum sm_status status = *part ? SM_OK : io_error(err, path, "folder cannot be made", ENOENT);
    for (char *slash = part; status == SM_OK && *slash && (slash = strchr(slash + 1, '/'));) {
        *slash = '\0';
        status = make_one(part, err);
        *slash = '/';
    }
    if (status == SM_OK) {
        status = make_one(part, err);
    }
    sm_free(part);
    return status;
}

enum sm_status sm_path_beside(struct sm_text *out, const char *base_file, const char *name)
{
    const char *slash = base_file ? strrchr(base_file, '/') : NULL;
    if (slash && name[0] != '/') {
        sm_text_add_n(out, base_file, (size_t)(slash - base_file) + 1);
    }
    sm_text_add(out, name);
    return out->failed ? SM_E_NOMEM : SM_OK;
}

enum sm_status sm_file_sha256(const char *path, char hex[65], struct sm_error *err)
{
    int fd = -1;
    enum sm_status status = open_regular(&fd, path, err);
    if (status != SM_OK) {
        return status;
    }
    struct sm_base__sha256 sha;
    sm_base__sha256_init(&sha);
    char piece[65536];
    ssize_t got;
    while ((got = read_some(fd, piece, sizeof piece)) > 0) {
        sm_base__sha256_add(&sha, piece, (size_t)got);
    }
    if (got < 0) {
        status = io_error(err, path, "cannot be read", errno);
    } else {
        sm_base__sha256_end(&sha, hex);
    }
    close(fd);
    return status;
}
