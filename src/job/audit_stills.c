/* Two pictures for every defect somebody worked on: before from the first video, after from the recheck's. */
#include <string.h>
#include <sys/stat.h>

#include "job_internal.h"

/* The recording of a survey, opened when first asked for; is_tried and no media = its files are not there any more. */
struct recording {
    struct sm_media *media;
    bool is_tried;
};

static enum sm_status open_recording(struct recording *r, const struct sm_audit_survey *survey)
{
    const char *path[64];
    size_t n = 0;
    struct stat present;
    r->is_tried = true;
    for (size_t i = 0; i < survey->n_files; i++) {
        if (strcmp(survey->file[i].role, "video") == 0) {
            if (n == sizeof path / sizeof *path || stat(survey->file[i].path, &present) != 0) {
                return SM_OK;
            }
            path[n++] = survey->file[i].path;
        }
    }
    /* a video that cannot be opened any more is no reason to withhold the audit */
    return n && sm_media_open(&r->media, path, n, NULL) == SM_E_NOMEM ? SM_E_NOMEM : SM_OK;
}

struct taking {
    struct sm_job__folder *folder;
    struct sm_audit *audit;
    int quality;
    struct sm_error *err;
};

/* @param name [out] where it stands in the folder, NULL = no picture there. */
static enum sm_status take_still(struct taking *t, struct recording *r, const struct sm_audit_survey *survey,
                                 double time_s, const char *observation, const char *when, const char **name)
{
    enum sm_status status = r->is_tried ? SM_OK : open_recording(r, survey);
    *name = NULL;
    if (status != SM_OK || !r->media || !isfinite(time_s) || time_s < 0) {
        return status;
    }
    const char *file = sm_arena_printf(t->audit->arena, "stills/%.8s-%s-%s.jpg", survey->key, observation, when);
    if (!file) {
        return sm_job__no_memory(t->err);
    }
    if (t->quality == 0) { /* taken already, where there was a picture */
        *name = sm_job__folder_has(t->folder, file) ? file : NULL;
        return SM_OK;
    }
    struct sm_text jpeg = {0};
    struct sm_error why = {0};
    status = sm_media_still_jpeg(r->media, time_s, t->quality, &jpeg, &why);
    if (status == SM_OK) {
        status = sm_job__folder_write(t->folder, file, &jpeg, t->err);
        *name = file;
    } else if (status != SM_E_NOMEM) {
        status = SM_OK; /* no picture there */
    }
    sm_text_release(&jpeg);
    return status;
}

static enum sm_status take_pair(struct taking *t, const struct sm_audit_defect *d, struct sm_audit_still *still,
                                struct recording *first, struct recording *recheck)
{
    const struct sm_audit_survey *survey = &t->audit->about->first[d->first_idx];
    const struct sm_observation *o = &survey->alignment->observation[d->observation_idx];
    enum sm_status status =
        take_still(t, &first[d->first_idx], survey, o->time_s, o->id, "before", &still->before);
    if (status != SM_OK || d->recheck_idx < 0) {
        return status;
    }
    const struct sm_audit_survey *after = &t->audit->about->recheck[d->recheck_idx];
    return take_still(t, &recheck[d->recheck_idx], after, sm_audit_after_time(t->audit, d), o->id, "after", &still->after);
}

enum sm_status sm_job__audit_stills(struct sm_job__folder *folder, struct sm_audit *audit, int quality,
                                    struct sm_error *err)
{
    struct taking t = {folder, audit, quality, err};
    size_t n_first = audit->about->n_first;
    size_t n = n_first + audit->about->n_rechecks;
    struct recording *recording = sm_calloc(n + 1, sizeof *recording);
    struct sm_audit_still *still = sm_arena_alloc(audit->arena, (audit->n_defects + 1) * sizeof *still);
    enum sm_status status = recording && still ? SM_OK : sm_job__no_memory(err);
    for (size_t i = 0; status == SM_OK && i < audit->n_defects; i++) {
        const struct sm_audit_defect *d = &audit->defect[i];
        if (d->n_liners || d->recheck_idx >= 0) {
            status = take_pair(&t, d, &still[i], recording, recording + n_first);
        }
    }
    for (size_t i = 0; recording && i < n; i++) {
        sm_media_close(&recording[i].media);
    }
    sm_free(recording);
    audit->still = still;
    return status;
}
