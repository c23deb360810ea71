/* A review issued: the survey as decided becomes a survey of the job like any other. */
#include "review_internal.h"

#include <string.h>

/* What was decided, as a setting of the survey that is put: another state of the review is another survey. */
static enum sm_status review_setting(struct sm_text *text, const struct sm_job_review *review,
                                     struct sm_error *err)
{
    size_t n = review->decisions->n;
    sm_text_addf(text, "%zu decisions up to %s", n, n ? review->decisions->item[n - 1].key : "none");
    return text->failed ? sm_job__no_memory(err) : SM_OK;
}

static enum sm_status put_issue(struct sm_job_review *review, const struct sm_job_delivery *delivery,
                                int64_t *survey_id, struct sm_error *err)
{
    struct sm_text setting = {0};
    struct sm_job__record record = {0};
    enum sm_status status = review_setting(&setting, review, err);
    if (status == SM_OK) {
        status = sm_job__record_again(&record, review->now, review->record, setting.data, err);
    }
    if (status == SM_OK) {
        status = sm_job__record_put(review->store, &record, review->now, delivery, survey_id, NULL, err);
    }
    sm_job__record_release(&record);
    sm_text_release(&setting);
    return status;
}

enum sm_status sm_job_review_issue(struct sm_job_review *review, const char *now, const char *who,
                                   struct sm_error *err)
{
    const struct sm_job_delivery delivery = {.now = now, .who = who};
    int64_t survey_id = 0;
    struct sm_store_record *record = NULL;
    if (sm_job_review_unissued(review) == 0) {
        return SM_OK;
    }
    enum sm_status status = put_issue(review, &delivery, &survey_id, err);
    if (status == SM_OK) {
        status = sm_store_get_survey(&record, review->store, survey_id, err);
    }
    if (status != SM_OK) {
        return status;
    }
    /* The jobs' traces, stored ones too, belong to the record they were planned from. */
    struct sm_store_record *before = review->record;
    struct sm_store_decisions *decisions = NULL;
    review->record = record;
    review->kept.record = record;
    status = sm_store_list_decisions(&decisions, review->store, record->survey.key, err);
    if (status == SM_OK) {
        status = sm_job__review_adopt(review, decisions, err);
    }
    if (status != SM_OK) {
        sm_store_decisions_free(&decisions);
        review->record = before;
        review->kept.record = before;
        sm_store_record_free(&record);
        return status;
    }
    review->first->stored_trace = record->trace;
    sm_store_record_free(&before);
    return SM_OK;
}

/* "3 decisions up to KEY", "" = never issued. */
static const char *issue_of(const struct sm_job_review *review)
{
    for (size_t i = 0; i < review->record->n_settings; i++) {
        if (strcmp(review->record->setting[i].name, "review") == 0) {
            return review->record->setting[i].value;
        }
    }
    return "";
}

const char *sm_job__review_issued_up_to(const struct sm_job_review *review)
{
    const char *issue = issue_of(review), *space = strrchr(issue, ' ');
    return space && strcmp(space + 1, "none") != 0 ? space + 1 : "";
}

size_t sm_job_review_unissued(const struct sm_job_review *review)
{
    double n;
    const char *end;
    bool is_issued = sm_scan_number(issue_of(review), false, false, &n, &end);
    return review->decisions->n - (is_issued ? (size_t)n : 0);
}
