/* The counter read again in a box that a reviewer marked: rows beside the survey, each an event of the history. */
#include "store_internal.h"

static const char digest_sql[] =
    "SELECT survey_key, asked, unit, decimals, box_x_px, box_y_px, box_width_px, box_height_px, has_leading_zeros,"
    " has_decimal_comma, duration_s, n_readings, readings, n_jumps, jumps FROM reread WHERE survey_key = ? AND asked = ?";
static const char later_sql[] = "SELECT " SM_STORE__PICTURE_CLOCK_COLUMNS " FROM reread WHERE survey_key = ? AND asked = ?"
                                " AND " SM_STORE__HAS_PICTURE_CLOCK;

enum sm_status sm_store__reread_digest(char hex[65], struct sm_store *store, const char *survey_key, const char *asked,
                                       struct sm_error *err)
{
    const struct sm_store__value values[] = {sm_store__text(survey_key), sm_store__text(asked)};
    return sm_store__digest_rows(hex, store, digest_sql, later_sql, values, 2, err);
}

/* The detail begins with the box: what is gone is found by it. */
static enum sm_status tell(struct sm_store *store, const struct sm_store_survey *survey, const char *asked,
                           const struct sm_review_decision *decision, struct sm_error *err)
{
    char digest[65];
    enum sm_status status = sm_store__reread_digest(digest, store, survey->key, asked, err);
    struct sm_text detail = {0};
    sm_text_addf(&detail, "%s: readings %s", asked, digest);
    const struct sm_store_event event = {.at = decision->at ? decision->at : "",
                                         .who = decision->who ? decision->who : "",
                                         .event = "counter read again",
                                         .segment = survey->segment.id,
                                         .survey_key = survey->key,
                                         .subject = "",
                                         .detail = sm_text_str(&detail)};
    if (status == SM_OK) {
        status = detail.failed ? sm_store__no_memory(err) : sm_store_put_event(store, &event, err);
    }
    sm_text_release(&detail);
    return status;
}

enum sm_status sm_store_put_reread(struct sm_store *store, const struct sm_store_survey *survey,
                                   const struct sm_review_decision *decision, const struct sm_trace *trace, struct sm_error *err)
{
    char asked[SM_STORE__BOX_TEXT];
    sm_store__box_text(asked, decision->box);
    const struct sm_store__value whose[] = {sm_store__text(survey->key), sm_store__text(asked)};
    bool is_own = false;
    enum sm_status status = sm_store__join(store, &is_own, err);
    if (status == SM_OK) {
        status = sm_store__put_trace_row(
            store, "INSERT OR REPLACE INTO reread VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", whose, 2, trace, err);
    }
    if (status == SM_OK) {
        status = tell(store, survey, asked, decision, err);
    }
    return sm_store__leave(store, is_own, status, err);
}
