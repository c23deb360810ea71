/* Views of the recording for further threads, each with a decoder of its own. */
#include "job_internal.h"

enum sm_status sm_job__helpers_open(struct sm_job__helpers *helpers, const struct sm_job__reading *reading,
                                    struct sm_error *err)
{
    size_t n = reading->n_threads > 1 ? reading->n_threads - 1 : 0;
    *helpers = (struct sm_job__helpers){.media = sm_calloc(n, sizeof(struct sm_media *)),
                                .part = sm_calloc(n, sizeof(struct sm_job__part)),
                                .source = sm_calloc(n, sizeof(struct sm_frame_source))};
    if (!helpers->media || !helpers->part || !helpers->source) {
        return sm_job__no_memory(err);
    }
    enum sm_status status = SM_OK;
    while (status == SM_OK && helpers->n < n) {
        size_t i = helpers->n;
        status = sm_media_open_again(&helpers->media[i], reading->media, err);
        if (status == SM_OK) {
            struct sm_job__reading same = *reading;
            same.media = helpers->media[i];
            helpers->part[i] = sm_job__part_of(&same);
            helpers->source[i] = sm_job__part_source(&helpers->part[i]);
            helpers->n++;
        }
    }
    return status;
}

enum sm_status sm_job__helpers_close(struct sm_job__helpers *helpers, const struct sm_job__reading *reading,
                                     enum sm_status status, struct sm_error *err)
{
    for (size_t i = 0; i < helpers->n; i++) {
        enum sm_status told = sm_media_take_findings(reading->media, helpers->media[i],
                                                     status == SM_OK ? err : NULL);
        status = status == SM_OK ? told : status;
        sm_media_close(&helpers->media[i]);
    }
    sm_free(helpers->media);
    sm_free(helpers->part);
    sm_free(helpers->source);
    return status;
}
