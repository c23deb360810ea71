/* Downloads of the survey as decided: what `stopmark schedule --out` writes, stills in the report included. */
#include "web_internal.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

typedef enum sm_status write_fn(struct sm_text *out, const struct sm_schedule *schedule, struct sm_error *err);

static const struct document {
    const char *name, *type;
    write_fn *write;
    bool has_stills;
} documents[] = {
    {"crew-sheet.pdf", "application/pdf", sm_schedule_write_pdf, false},
    {"report.html", "text/html; charset=utf-8", sm_schedule_write_html, true},
    {"schedule.csv", "text/csv; charset=utf-8", sm_schedule_write_csv, false},
    {"schedule.json", "application/json", sm_schedule_write_json, false},
    {"strip.svg", "image/svg+xml", sm_schedule_write_svg, false},
};
enum { N_DOCUMENTS = sizeof documents / sizeof *documents };

static const struct document *find(const char *name)
{
    for (size_t i = 0; i < N_DOCUMENTS; i++) {
        if (strcmp(documents[i].name, name) == 0) {
            return &documents[i];
        }
    }
    return NULL;
}

bool sm_web__is_document(const char *name)
{
    return find(name) != NULL;
}

/* ---- stills, in a folder that lives as long as the writing ---- */

struct stills {
    char dir[64];
    struct sm_arena *arena;
    const char **name; /* per observation */
    size_t n;
};

static enum sm_status write_still(struct stills *stills, struct sm_web *web, size_t idx, const struct sm_observation *o,
                                  struct sm_error *err)
{
    struct sm_text jpeg = {0};
    size_t frame = sm_job_frames_at(web->frames, o->time_s);
    if (sm_job_frames_get(web->frames, frame, 0, &jpeg, NULL) != SM_OK) {
        sm_text_release(&jpeg);
        return SM_OK; /* no picture there */
    }
    const char *name = sm_arena_printf(stills->arena, "%s.jpg", o->id);
    const char *path = name ? sm_arena_printf(stills->arena, "%s/%s", stills->dir, name) : NULL;
    enum sm_status status = path ? sm_file_write(path, jpeg.data, jpeg.length, err) : sm_web__no_memory(err);
    sm_text_release(&jpeg);
    stills->name[idx] = status == SM_OK ? name : NULL;
    return status;
}

static void remove_stills(struct stills *stills)
{
    for (size_t i = 0; stills->name && i < stills->n; i++) {
        const char *path = stills->name[i] ? sm_arena_printf(stills->arena, "%s/%s", stills->dir, stills->name[i]) : NULL;
        if (path) {
            unlink(path);
        }
    }
    rmdir(stills->dir);
    sm_arena_free(&stills->arena);
    sm_free(stills->name);
}

static enum sm_status write_stills(struct stills *stills, struct sm_web *web, const struct sm_schedule *schedule, struct sm_error *err)
{
    stills->n = schedule->alignment->n_observations;
    stills->name = sm_calloc(stills->n + 1, sizeof *stills->name);
    enum sm_status status = stills->name && sm_arena_new(&stills->arena) == SM_OK ? SM_OK : sm_web__no_memory(err);
    for (size_t i = 0; status == SM_OK && i < stills->n; i++) {
        const struct sm_observation *o = &schedule->alignment->observation[i];
        if (isfinite(o->time_s) && o->time_s >= 0) {
            status = write_still(stills, web, i, o, err);
        }
    }
    return status;
}

static enum sm_status write_with_stills(struct sm_text *out, struct sm_web *web, const struct document *document,
                                        struct sm_schedule schedule, struct sm_error *err)
{
    struct stills stills = {0};
    const char *folder = getenv("TMPDIR");
    struct sm_text name = {0};
    sm_text_addf(&name, "%s/stopmark-XXXXXX", folder && *folder && strlen(folder) < 40 ? folder : "/tmp");
    bool is_made = !name.failed && sm_strcopy(stills.dir, sizeof stills.dir, name.data) && mkdtemp(stills.dir);
    sm_text_release(&name);
    if (!is_made) {
        return sm_error_set(err, SM_E_IO, "no folder can be made for the stills");
    }
    enum sm_status status = write_stills(&stills, web, &schedule, err);
    schedule.still = stills.name;
    schedule.out_dir = stills.dir;
    if (status == SM_OK) {
        status = document->write(out, &schedule, err);
    }
    remove_stills(&stills);
    return status;
}

/* "report.html" of T12-T13 is saved as report-T12-T13.html; a name from a sheet may hold anything. */
static void add_name(struct sm_text *out, const char *name, const char *segment)
{
    const char *dot = strrchr(name, '.');
    sm_text_add(out, "attachment; filename=\"");
    sm_text_add_n(out, name, (size_t)(dot - name));
    sm_text_add(out, "-");
    for (const char *at = segment; at && *at && at - segment < 40; at++) {
        bool is_plain = (*at >= '0' && *at <= '9') || ((*at | 0x20) >= 'a' && (*at | 0x20) <= 'z') || *at == '-';
        sm_text_add_n(out, is_plain ? at : "_", 1);
    }
    sm_text_addf(out, "%s\"", dot);
}

enum sm_status sm_web__document(struct sm_web__answer *answer, struct sm_web *web, const char *name, struct sm_error *err)
{
    const struct document *document = find(name);
    const struct sm_schedule *schedule = sm_job_get_schedule(sm_job_review_get_job(web->review));
    struct sm_text disposition = {0};
    enum sm_status status = document->has_stills && web->frames
                                ? write_with_stills(&answer->body, web, document, *schedule, err)
                                : document->write(&answer->body, schedule, err);
    add_name(&disposition, name, schedule->segment->id);
    if (status == SM_OK) {
        answer->status = 200;
        answer->type = document->type;
        sm_web__answer_header(answer, "Content-Disposition", sm_text_str(&disposition));
    }
    sm_text_release(&disposition);
    return status;
}
