/*
 * A set of files that appears in a folder together or not at all. They are written into a draft folder beside
 * it. Placing a new folder is one rename. Into a folder that exists each file is renamed on its own, and the
 * file it replaces moves into the draft, so that all of it can be put back until the caller keeps it.
 */
#include "job_internal.h"

#include <dirent.h>
#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

struct placed {
    char *name;        /* inside the folder, or NULL for the folder itself */
    bool has_replaced; /* the file that stood there lies in the draft's old/ */
    bool has_ours;     /* ours stands there now */
};
struct sm_job__folder {
    char *path;
    char *draft;
    size_t n_names, names_capacity;
    char **name; /* files written, "stills/O1.jpg" */
    size_t n_placed, placed_capacity;
    struct placed *placed;
    bool is_kept;
    bool leaves_stills;
};

static enum sm_status io_error(struct sm_error *err, const char *path, const char *what)
{
    enum sm_status status = sm_error_at(err, SM_E_IO, path, 0, 0, "%s: %s", what, strerror(errno));
    sm_error_remedy(err, "check the folder, its permissions and the room on the disk");
    return status;
}

/* Path of a/b or a/b/c. @return NULL when memory runs out; free with sm_free(). */
static char *join(const char *a, const char *b, const char *c)
{
    struct sm_text text = {0};
    sm_text_addf(&text, "%s/%s%s%s", a, b, c ? "/" : "", c ? c : "");
    if (text.failed) {
        sm_text_release(&text);
    }
    return text.data;
}

/* Rename from under one folder to under another. */
static bool move(const char *from_dir, const char *from_sub, const char *to_dir, const char *to_sub,
                 const char *name)
{
    char *from = from_sub ? join(from_dir, from_sub, name) : join(from_dir, name, NULL);
    char *to = to_sub ? join(to_dir, to_sub, name) : join(to_dir, name, NULL);
    bool is_moved = from && to && rename(from, to) == 0;
    int code = from && to ? errno : ENOMEM;
    sm_free(from);
    sm_free(to);
    errno = code;
    return is_moved;
}

/* What stands under a name: nothing, something we may replace, or a folder. */
enum standing { STANDS_NOTHING, STANDS_FILE, STANDS_FOLDER };
static enum standing look(const char *dir, const char *name)
{
    char *path = join(dir, name, NULL);
    struct stat status;
    enum standing standing = !path || lstat(path, &status) != 0 ? STANDS_NOTHING
                             : S_ISDIR(status.st_mode)          ? STANDS_FOLDER
                                                                : STANDS_FILE;
    sm_free(path);
    return standing;
}

/* ---- drafting ---- */

static char *draft_path(const char *path)
{
    size_t n = strlen(path);
    while (n > 1 && path[n - 1] == '/') {
        n--;
    }
    for (int i = 0; i < 100; i++) {
        struct sm_text text = {0};
        sm_text_add_n(&text, path, n);
        sm_text_addf(&text, ".part-%ld-%d", (long)getpid(), i);
        if (text.failed || access(text.data, F_OK) != 0) {
            return text.data;
        }
        sm_text_release(&text);
    }
    return NULL;
}

static enum sm_status make_draft(struct sm_job__folder *folder, struct sm_error *err)
{
    char *stills = join(folder->draft, "stills", NULL);
    char *old = join(folder->draft, "old", "stills");
    enum sm_status status = stills && old ? sm_dir_make(stills, err) : sm_job__no_memory(err);
    if (status == SM_OK) {
        status = sm_dir_make(old, err);
    }
    sm_free(stills);
    sm_free(old);
    return status;
}

enum sm_status sm_job__folder_new(struct sm_job__folder **out, const char *path, struct sm_error *err)
{
    struct stat present;
    if (stat(path, &present) == 0 && !S_ISDIR(present.st_mode)) {
        sm_error_at(err, SM_E_IO, path, 0, 0, "exists and is not a folder");
        sm_error_remedy(err, "choose another name for the folder of results");
        return SM_E_IO;
    }
    struct sm_job__folder *folder = sm_calloc(1, sizeof *folder);
    if (!folder) {
        return sm_job__no_memory(err);
    }
    folder->path = sm_strdup(path);
    folder->draft = draft_path(path);
    enum sm_status status = folder->path && folder->draft ? make_draft(folder, err) : sm_job__no_memory(err);
    if (status != SM_OK) {
        sm_job__folder_free(&folder);
        return status;
    }
    *out = folder;
    return SM_OK;
}

const char *sm_job__folder_draft(const struct sm_job__folder *folder)
{
    return folder->draft;
}

enum sm_status sm_job__folder_write(struct sm_job__folder *folder, const char *name,
                                    const struct sm_text *content, struct sm_error *err)
{
    if (content->failed ||
        sm_grow(&folder->name, folder->n_names, &folder->names_capacity, sizeof *folder->name) != SM_OK) {
        return sm_job__no_memory(err);
    }
    char *path = join(folder->draft, name, NULL);
    char *kept = sm_strdup(name);
    enum sm_status status = path && kept ? sm_file_write(path, sm_text_str(content), content->length, err)
                                         : sm_job__no_memory(err);
    sm_free(path);
    if (status != SM_OK) {
        sm_free(kept);
        return status;
    }
    folder->name[folder->n_names++] = kept;
    return SM_OK;
}

void sm_job__folder_leave_stills(struct sm_job__folder *folder)
{
    folder->leaves_stills = true;
}

static enum sm_status add_bytes(const char *path, const struct sm_text *piece, struct sm_error *err)
{
    FILE *file = fopen(path, "ab");
    bool is_written = file && fwrite(sm_text_str(piece), 1, piece->length, file) == piece->length &&
                      fflush(file) == 0 && fsync(fileno(file)) == 0;
    int code = errno;
    bool is_closed = file && fclose(file) == 0;
    errno = is_written ? errno : code;
    return is_written && is_closed ? SM_OK : io_error(err, path, "cannot be written");
}

static bool is_ours(const struct sm_job__folder *folder, const char *name);

bool sm_job__folder_has(const struct sm_job__folder *folder, const char *name)
{
    return is_ours(folder, name);
}

enum sm_status sm_job__folder_append(struct sm_job__folder *folder, const char *name, const struct sm_text *piece,
                                     struct sm_error *err)
{
    if (piece->failed) {
        return sm_job__no_memory(err);
    }
    if (!is_ours(folder, name)) {
        return sm_job__folder_write(folder, name, piece, err);
    }
    char *path = join(folder->draft, name, NULL);
    enum sm_status status = path ? add_bytes(path, piece, err) : sm_job__no_memory(err);
    sm_free(path);
    return status;
}

/* ---- removing ---- */

static void remove_in(const char *dir, const char *name, int (*fn)(const char *))
{
    char *path = join(dir, name, NULL);
    if (path) {
        (void)fn(path);
    }
    sm_free(path);
}

static void remove_old(const struct sm_job__folder *folder, const char *dir)
{
    char *old = join(dir, "old", NULL);
    for (size_t i = 0; old && i < folder->n_placed; i++) {
        if (folder->placed[i].name) {
            remove_in(old, folder->placed[i].name, unlink);
        }
    }
    if (old) {
        remove_in(old, "stills", rmdir);
        (void)rmdir(old);
    }
    sm_free(old);
}

/* ---- placing ---- */

static struct placed *note_placed(struct sm_job__folder *folder, const char *name)
{
    if (sm_grow(&folder->placed, folder->n_placed, &folder->placed_capacity, sizeof *folder->placed) !=
        SM_OK) {
        return NULL;
    }
    struct placed *placed = &folder->placed[folder->n_placed];
    *placed = (struct placed){.name = name ? sm_strdup(name) : NULL};
    if (name && !placed->name) {
        return NULL;
    }
    folder->n_placed++;
    return placed;
}

/* What stands there goes into the draft first, then ours takes its place. undo() mends it from any point. */
static enum sm_status place_file(struct sm_job__folder *folder, const char *name, struct sm_error *err)
{
    enum standing standing = look(folder->path, name);
    if (standing == STANDS_FOLDER) {
        sm_error_at(err, SM_E_IO, folder->path, 0, 0, "a folder is in the way of %s", name);
        sm_error_remedy(err, "move it away, or choose another folder for the results");
        return SM_E_IO;
    }
    struct placed *placed = note_placed(folder, name);
    if (!placed) {
        return sm_job__no_memory(err);
    }
    if (standing == STANDS_FILE) {
        if (!move(folder->path, NULL, folder->draft, "old", name)) {
            return io_error(err, folder->path, "a file of an earlier run cannot be replaced");
        }
        placed->has_replaced = true;
    }
    if (!move(folder->draft, NULL, folder->path, NULL, name)) {
        return io_error(err, folder->path, "results cannot be put in place");
    }
    placed->has_ours = true;
    return SM_OK;
}

static bool is_still(const char *name)
{
    size_t digits = name[0] == 'O' ? strspn(name + 1, "0123456789") : 0;
    return digits && strcmp(name + 1 + digits, ".jpg") == 0;
}

static bool is_ours(const struct sm_job__folder *folder, const char *name)
{
    for (size_t i = 0; i < folder->n_names; i++) {
        if (strcmp(folder->name[i], name) == 0) {
            return true;
        }
    }
    return false;
}

static enum sm_status drop_file(struct sm_job__folder *folder, const char *name, struct sm_error *err)
{
    struct placed *placed = note_placed(folder, name);
    if (!placed) {
        return sm_job__no_memory(err);
    }
    placed->has_replaced = move(folder->path, NULL, folder->draft, "old", name);
    return placed->has_replaced ? SM_OK
                                : io_error(err, folder->path, "a still of an earlier run cannot be removed");
}

/* A still that belongs to no observation any more would be taken for one. */
static enum sm_status drop_stale_stills(struct sm_job__folder *folder, struct sm_error *err)
{
    char *path = join(folder->path, "stills", NULL);
    DIR *dir = path ? opendir(path) : NULL;
    sm_free(path);
    enum sm_status status = SM_OK;
    for (struct dirent *entry; status == SM_OK && dir && (entry = readdir(dir));) {
        char *name = is_still(entry->d_name) ? join("stills", entry->d_name, NULL) : NULL;
        if (name && !is_ours(folder, name)) {
            status = drop_file(folder, name, err);
        }
        sm_free(name);
    }
    if (dir) {
        closedir(dir);
    }
    return status;
}

static bool has_stills(const struct sm_job__folder *folder)
{
    for (size_t i = 0; i < folder->n_names; i++) {
        if (strncmp(folder->name[i], "stills/", 7) == 0) {
            return true;
        }
    }
    return false;
}

static enum sm_status place_files(struct sm_job__folder *folder, struct sm_error *err)
{
    enum sm_status status = folder->leaves_stills ? SM_OK : drop_stale_stills(folder, err);
    if (status == SM_OK && has_stills(folder)) {
        char *stills = join(folder->path, "stills", NULL);
        status = stills ? sm_dir_make(stills, err) : sm_job__no_memory(err);
        sm_free(stills);
    }
    for (size_t i = 0; status == SM_OK && i < folder->n_names; i++) {
        status = place_file(folder, folder->name[i], err);
    }
    return status;
}

enum sm_status sm_job__folder_place(struct sm_job__folder *folder, struct sm_error *err)
{
    if (access(folder->path, F_OK) == 0) {
        return place_files(folder, err);
    }
    struct placed *placed = note_placed(folder, NULL);
    if (!placed) {
        return sm_job__no_memory(err);
    }
    remove_old(folder, folder->draft);         /* a new folder has replaced nothing */
    remove_in(folder->draft, "stills", rmdir); /* goes only when it is empty */
    if (rename(folder->draft, folder->path) != 0) {
        folder->n_placed--;
        return io_error(err, folder->path, "results cannot be put in place");
    }
    return SM_OK;
}

void sm_job__folder_keep(struct sm_job__folder *folder)
{
    folder->is_kept = true;
}

/* ---- undoing ---- */

static void undo(struct sm_job__folder *folder)
{
    while (folder->n_placed) {
        struct placed *placed = &folder->placed[--folder->n_placed];
        if (!placed->name) {
            (void)rename(folder->path, folder->draft);
        } else {
            if (placed->has_ours) {
                (void)move(folder->path, NULL, folder->draft, NULL, placed->name);
            }
            if (placed->has_replaced) {
                (void)move(folder->draft, "old", folder->path, NULL, placed->name);
            }
        }
        sm_free(placed->name);
    }
}

/* Only what this run made is removed; anything else would have to be looked at by a person. */
static void remove_draft(struct sm_job__folder *folder)
{
    remove_old(folder, folder->draft);
    for (size_t i = 0; i < folder->n_names; i++) {
        remove_in(folder->draft, folder->name[i], unlink);
    }
    remove_in(folder->draft, "stills", rmdir);
    (void)rmdir(folder->draft);
}

void sm_job__folder_free(struct sm_job__folder **folder)
{
    if (!folder || !*folder) {
        return;
    }
    struct sm_job__folder *f = *folder;
    if (!f->is_kept) {
        undo(f);
    }
    if (f->draft) {
        remove_draft(f);
    }
    for (size_t i = 0; i < f->n_names; i++) {
        sm_free(f->name[i]);
    }
    for (size_t i = 0; i < f->n_placed; i++) {
        sm_free(f->placed[i].name);
    }
    sm_free(f->name);
    sm_free(f->placed);
    sm_free(f->path);
    sm_free(f->draft);
    sm_free(f);
    *folder = NULL;
}
