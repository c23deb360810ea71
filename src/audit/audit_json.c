/*
 * audit.json. Defects come first and can be written away segment by segment; what belongs to a segment as a whole
 * (surveys, liners, repairs not made, new defects, openings, axes) is gathered in a second text that follows them.
 */
#include "audit_internal.h"

#include <string.h>

enum { DECIMALS = 6 };

static void add_m(struct sm_json *json, const char *key, double value)
{
    sm_json_number(json, key, value, DECIMALS);
}

static void add_um(struct sm_json *json, const char *key, int64_t value_um)
{
    sm_json_number(json, key, (double)value_um / SM_AUDIT__UM_PER_M, DECIMALS);
}

static void add_words(struct sm_json *json, const char *key, const char *words)
{
    sm_json_string(json, key, words && *words ? words : NULL);
}

/* ---- evidence ---- */

static void add_file_hashes(struct sm_json *json, const struct sm_audit_survey *survey)
{
    sm_json_open(json, "files", '[');
    for (size_t i = 0; i < survey->n_files; i++) {
        const struct sm_audit_file *file = &survey->file[i];
        if (strcmp(file->role, "video") == 0 || strcmp(file->role, "log") == 0) {
            sm_json_open_compact(json, NULL, '{');
            sm_json_string(json, "role", file->role);
            sm_json_string(json, "sha256", file->sha256);
            sm_json_close(json, '}');
        }
    }
    sm_json_close(json, ']');
}

static void add_look(struct sm_json *json, const char *key, const struct sm_audit_survey *survey, int32_t observation_idx,
                     double distance_m)
{
    const struct sm_observation *o =
        observation_idx >= 0 ? &survey->alignment->observation[observation_idx] : NULL;
    sm_json_open(json, key, '{');
    sm_json_string(json, "survey", survey->key);
    add_words(json, "date", survey->date);
    add_words(json, "observation", o ? o->id : "");
    if (o) {
        add_m(json, "time_s", o->time_s);
        add_m(json, "distance_m", distance_m);
        add_m(json, "error_m", o->error_m);
    }
    add_file_hashes(json, survey);
    sm_json_close(json, '}');
}

static void add_row(struct sm_json *json, const struct sm_audit *audit, const struct sm_audit_liner *liner)
{
    const struct sm_recorded *recorded = liner->row->recorded;
    const struct sm_as_built *row = &recorded->row;
    sm_json_open(json, NULL, '{');
    sm_json_string(json, "row", recorded->key);
    add_words(json, "repair", row->repair);
    sm_json_bool(json, "planned", liner->row->repair != NULL);
    add_words(json, "date", row->date);
    add_words(json, "crew", row->crew);
    add_words(json, "kit", row->kit);
    add_words(json, "lot", row->lot);
    add_m(json, "liner_length_m", row->liner_length_m);
    add_m(json, "stop_m", row->stop_m);
    add_m(json, "mark_m", row->mark_m);
    add_m(json, "pressure_kpa", row->pressure_kpa);
    add_m(json, "pipe_temperature_c", row->pipe_temperature_c);
    add_words(json, "mixed", row->mixed);
    add_words(json, "inflated", row->inflated);
    add_words(json, "deflated", row->deflated);
    if (liner->has_place) {
        add_um(json, "start_m", liner->span.start_um);
        add_um(json, "end_m", liner->span.end_um);
        sm_json_string(json, "placed", liner->place_how);
    }
    add_words(json, "sight", sm_audit_sight_name(liner->sight));
    add_words(json, "sight_how", liner->sight_how);
    add_m(json, "seen_start_m", liner->seen_start_m);
    add_m(json, "seen_end_m", liner->seen_end_m);
    if (liner->recheck_idx >= 0) {
        sm_json_string(json, "recheck", audit->about->recheck[liner->recheck_idx].key);
    }
    sm_json_bool(json, "disputed", recorded->is_disputed);
    sm_json_string(json, "file", recorded->source);
    sm_json_string(json, "sha256", recorded->source_sha256);
    sm_json_int(json, "line", row->line);
    add_words(json, "recorded_by", recorded->who);
    sm_json_string(json, "recorded_at", recorded->recorded_at);
    sm_json_open(json, "findings", '[');
    for (size_t i = 0; i < recorded->n_remarks; i++) {
        sm_json_string(json, NULL, recorded->remark[i].message);
    }
    sm_json_close(json, ']');
    sm_json_close(json, '}');
}

static void add_evidence(struct sm_json *json, const struct sm_audit *audit, const struct sm_audit_defect *d)
{
    const struct sm_audit_survey *first = &audit->about->first[d->first_idx];
    sm_json_open(json, "evidence", '{');
    add_look(json, "survey", first, d->observation_idx, first->alignment->observation[d->observation_idx].distance_m);
    sm_json_open(json, "as_built", '[');
    for (size_t i = 0; i < d->n_liners; i++) {
        add_row(json, audit, &audit->liner[d->liner[i]]);
    }
    sm_json_close(json, ']');
    if (d->recheck_idx >= 0) {
        const struct sm_audit_axis *axis = sm_audit_get_axis(audit, (size_t)d->first_idx, (size_t)d->recheck_idx);
        double at_m = d->recheck_observation_idx >= 0 ? axis->sighting[d->recheck_observation_idx].start_m : SM_NAN;
        add_look(json, "recheck", &audit->about->recheck[d->recheck_idx], d->recheck_observation_idx, at_m);
    } else {
        sm_json_null(json, "recheck");
    }
    const struct sm_audit_still *still = audit->still ? &audit->still[d - audit->defect] : NULL;
    add_words(json, "still_before", still ? still->before : "");
    add_words(json, "still_after", still ? still->after : "");
    sm_json_close(json, '}');
}

/* ---- history ---- */

static bool names(const char *list, const char *name)
{
    size_t n = strlen(name);
    for (const char *at = list; n && (at = strstr(at, name)); at += n) {
        if ((at == list || at[-1] == ' ') && (at[n] == ' ' || !at[n])) {
            return true;
        }
    }
    return false;
}

/* What happened to the survey as a whole, to this observation, and to the repairs that have to do with it. */
static bool is_about(const struct sm_audit_event *event, const struct sm_audit *audit, const struct sm_audit_defect *d)
{
    const struct sm_audit_survey *first = &audit->about->first[d->first_idx];
    const struct sm_observation *o = &first->alignment->observation[d->observation_idx];
    bool is_ours = strcmp(event->survey_key, first->key) == 0;
    if (!*event->subject) {
        return is_ours || (d->recheck_idx >= 0 && strcmp(event->survey_key, audit->about->recheck[d->recheck_idx].key) == 0);
    }
    return (is_ours && strcmp(event->subject, o->id) == 0) || names(d->repair, event->subject);
}

static void add_history(struct sm_json *json, const struct sm_audit *audit, const struct sm_audit_defect *d)
{
    sm_json_open(json, "history", '[');
    for (size_t i = 0; i < audit->about->n_events; i++) {
        const struct sm_audit_event *event = &audit->about->event[i];
        if (is_about(event, audit, d)) {
            sm_json_open_compact(json, NULL, '{');
            sm_json_string(json, "at", event->at);
            add_words(json, "who", event->who);
            sm_json_string(json, "event", event->event);
            add_words(json, "subject", event->subject);
            add_words(json, "detail", event->detail);
            sm_json_close(json, '}');
        }
    }
    sm_json_close(json, ']');
}

/* ---- defects ---- */

static void add_defect(struct sm_json *json, const struct sm_audit *audit, const struct sm_audit_defect *d)
{
    const struct sm_audit_survey *first = &audit->about->first[d->first_idx];
    const struct sm_observation *o = &first->alignment->observation[d->observation_idx];
    sm_json_open(json, NULL, '{');
    sm_json_string(json, "segment", audit->about->segment);
    sm_json_string(json, "survey", first->key);
    sm_json_string(json, "observation", o->id);
    sm_json_string(json, "code", o->code);
    add_words(json, "ch1", o->ch1);
    add_words(json, "ch2", o->ch2);
    add_m(json, "distance_m", o->distance_m);
    add_m(json, "start_m", o->start_m);
    add_m(json, "end_m", o->end_m);
    add_m(json, "error_m", o->error_m);
    if (d->has_target) {
        sm_json_open_compact(json, "target_m", '[');
        add_um(json, NULL, d->target.start_um);
        add_um(json, NULL, d->target.end_um);
        sm_json_close(json, ']');
    }
    sm_json_string(json, "treatment", sm_treatment_name(o->treatment));
    sm_json_string(json, "state", sm_audit_state_name(d->state));
    add_words(json, "repair", d->repair);
    sm_json_string(json, "reason", d->reason);
    if (d->age_d >= 0) {
        sm_json_int(json, "age_days", d->age_d);
    }
    add_evidence(json, audit, d);
    add_history(json, audit, d);
    sm_json_close(json, '}');
}

/* ---- segments ---- */

static void add_surveys(struct sm_json *json, const char *key, const struct sm_audit_survey *survey, size_t n)
{
    sm_json_open(json, key, '[');
    for (size_t i = 0; i < n; i++) {
        sm_json_open(json, NULL, '{');
        sm_json_string(json, "survey", survey[i].key);
        add_words(json, "date", survey[i].date);
        sm_json_string(json, "stored_at", survey[i].stored_at);
        add_m(json, "length_m", survey[i].alignment->length_m);
        sm_json_open(json, "files", '[');
        for (size_t k = 0; k < survey[i].n_files; k++) {
            sm_json_open_compact(json, NULL, '{');
            sm_json_string(json, "role", survey[i].file[k].role);
            sm_json_string(json, "path", survey[i].file[k].path);
            sm_json_string(json, "sha256", survey[i].file[k].sha256);
            sm_json_close(json, '}');
        }
        sm_json_close(json, ']');
        sm_json_close(json, '}');
    }
    sm_json_close(json, ']');
}

static void add_axis(struct sm_json *json, const struct sm_audit *audit, size_t first_idx, size_t recheck_idx)
{
    const struct sm_audit_axis *axis = sm_audit_get_axis(audit, first_idx, recheck_idx);
    sm_json_open(json, NULL, '{');
    sm_json_string(json, "survey", audit->about->first[first_idx].key);
    sm_json_string(json, "recheck", audit->about->recheck[recheck_idx].key);
    sm_json_bool(json, "from_the_other_end", axis->is_reverse);
    add_m(json, "shift_m", axis->shift_m);
    add_m(json, "misclosure_m", axis->misclosure_m);
    add_m(json, "error_m", axis->error_m);
    sm_json_open(json, "ties", '[');
    for (size_t i = 0; i < axis->n_ties; i++) {
        sm_json_open_compact(json, NULL, '{');
        sm_json_string(json, "survey",
                       audit->about->first[first_idx].alignment->observation[axis->tie[i].first_idx].id);
        sm_json_string(json, "recheck",
                       audit->about->recheck[recheck_idx].alignment->observation[axis->tie[i].recheck_idx].id);
        add_m(json, "survey_m", axis->tie[i].first_m);
        add_m(json, "recheck_m", axis->tie[i].recheck_m);
        sm_json_close(json, '}');
    }
    sm_json_close(json, ']');
    sm_json_open_compact(json, "seen_m", '[');
    for (size_t i = 0; i < axis->n_seen; i++) {
        sm_json_open(json, NULL, '[');
        add_m(json, NULL, axis->seen[i].start_m);
        add_m(json, NULL, axis->seen[i].end_m);
        sm_json_close(json, ']');
    }
    sm_json_close(json, ']');
    sm_json_close(json, '}');
}

static void add_not_made(struct sm_json *json, const struct sm_audit *audit)
{
    sm_json_open(json, "planned_not_made", '[');
    for (size_t i = 0; i < audit->n_not_made; i++) {
        const struct sm_audit_not_made *item = &audit->not_made[i];
        sm_json_open_compact(json, NULL, '{');
        sm_json_string(json, "repair", audit->about->first[item->first_idx].plan->repair[item->repair_idx].id);
        sm_json_string(json, "reason", item->reason);
        sm_json_close(json, '}');
    }
    sm_json_close(json, ']');
}

static void add_new(struct sm_json *json, const struct sm_audit *audit)
{
    sm_json_open(json, "new_defects", '[');
    for (size_t i = 0; i < audit->n_new; i++) {
        const struct sm_audit_new_defect *item = &audit->new_defect[i];
        const struct sm_audit_survey *recheck = &audit->about->recheck[item->recheck_idx];
        const struct sm_observation *o = &recheck->alignment->observation[item->observation_idx];
        sm_json_open_compact(json, NULL, '{');
        sm_json_string(json, "recheck", recheck->key);
        sm_json_string(json, "observation", o->id);
        sm_json_string(json, "code", o->code);
        add_m(json, "start_m", item->start_m);
        add_m(json, "end_m", item->end_m);
        sm_json_string(json, "treatment", sm_treatment_name(o->treatment));
        add_words(json, "where", item->where);
        sm_json_close(json, '}');
    }
    sm_json_close(json, ']');
}

static void add_openings(struct sm_json *json, const struct sm_audit *audit)
{
    sm_json_open(json, "connections", '[');
    for (size_t i = 0; i < audit->n_openings; i++) {
        const struct sm_audit_opening *item = &audit->opening[i];
        const struct sm_observation *o = &audit->about->first[item->first_idx].alignment->observation[item->observation_idx];
        sm_json_open_compact(json, NULL, '{');
        sm_json_string(json, "observation", o->id);
        add_m(json, "distance_m", o->distance_m);
        sm_json_string(json, "liner", audit->liner[item->liner_idx].row->recorded->row.repair);
        sm_json_string(json, "state", item->state);
        sm_json_string(json, "words", item->words);
        sm_json_close(json, '}');
    }
    sm_json_close(json, ']');
}

static void add_acceptance(struct sm_json *json, const struct sm_audit *audit)
{
    const struct sm_audit_acceptance *a = audit->acceptance;
    if (!a) {
        return;
    }
    sm_json_open(json, "acceptance", '{');
    sm_json_bool(json, "video_before", a->has_video_before);
    sm_json_bool(json, "video_after", a->has_video_after);
    sm_json_bool(json, "whole_length_seen", a->is_whole_seen);
    sm_json_open(json, "distances_to_connections", '[');
    for (size_t i = 0; i < a->n_connections; i++) {
        const struct sm_audit_connection *c = &a->connection[i];
        sm_json_open_compact(json, NULL, '{');
        sm_json_string(json, "observation", audit->about->first[0].alignment->observation[c->observation_idx].id);
        add_m(json, "survey_m", c->survey_m);
        add_m(json, "recheck_m", c->recheck_m);
        sm_json_close(json, '}');
    }
    sm_json_close(json, ']');
    add_words(json, "missing", a->missing);
    sm_json_close(json, '}');
}

static void add_rating(struct sm_json *json, const char *key, const struct sm_audit_rating *rating)
{
    char quick[5];
    sm_audit_rating_quick(quick, rating);
    sm_json_open_compact(json, key, '{');
    sm_json_open(json, "grades", '[');
    for (size_t i = 0; i < SM_AUDIT_N_GRADES; i++) {
        sm_json_int(json, NULL, rating->count[i]);
    }
    sm_json_close(json, ']');
    sm_json_int(json, "rating", rating->sum);
    sm_json_fixed(json, "index", sm_audit_rating_index(rating), 2);
    sm_json_string(json, "quick", quick);
    sm_json_close(json, '}');
}

static void add_ratings(struct sm_json *json, const struct sm_audit *audit)
{
    size_t n = audit->ratings ? audit->about->n_first + audit->about->n_rechecks : 0;
    if (n) {
        sm_json_open(json, "ratings", '[');
    }
    for (size_t i = 0; i < n; i++) {
        bool is_first = i < audit->about->n_first;
        sm_json_open(json, NULL, '{');
        sm_json_string(json, is_first ? "survey" : "recheck",
                       is_first ? audit->about->first[i].key : audit->about->recheck[i - audit->about->n_first].key);
        for (int k = 0; k < SM_AUDIT_N_RATED; k++) {
            add_rating(json, sm_audit_rated_name((enum sm_audit_rated)k), &audit->ratings[i].of[k]);
        }
        sm_json_int(json, "not_graded", audit->ratings[i].n_not_graded);
        sm_json_close(json, '}');
    }
    if (n) {
        sm_json_close(json, ']');
    }
}

static void add_segment(struct sm_json *json, const struct sm_audit *audit)
{
    const struct sm_audit_case *about = audit->about;
    sm_json_open(json, NULL, '{');
    sm_json_string(json, "segment", about->segment);
    add_surveys(json, "surveys", about->first, about->n_first);
    add_surveys(json, "rechecks", about->recheck, about->n_rechecks);
    sm_json_open(json, "axes", '[');
    for (size_t k = 0; k < about->n_first * about->n_rechecks; k++) {
        add_axis(json, audit, k / about->n_rechecks, k % about->n_rechecks);
    }
    sm_json_close(json, ']');
    sm_json_open(json, "liners", '[');
    for (size_t i = 0; i < audit->n_liners; i++) {
        add_row(json, audit, &audit->liner[i]);
    }
    sm_json_close(json, ']');
    add_not_made(json, audit);
    add_new(json, audit);
    add_openings(json, audit);
    add_acceptance(json, audit);
    add_ratings(json, audit);
    add_m(json, "repaired_m", audit->repaired_m);
    sm_json_close(json, '}');
}

/* ---- totals ---- */

static void add_counts(struct sm_json *json, const char *key, const int64_t *count)
{
    sm_json_open(json, key, '{');
    for (size_t i = 0; i < SM_AUDIT_N_STATES; i++) {
        sm_json_int(json, sm_audit_state_name((enum sm_audit_state)i), count[i]);
    }
    sm_json_close(json, '}');
}

static void add_tally(struct sm_json *json, const struct sm_audit_tally *tally)
{
    sm_json_open_compact(json, NULL, '{');
    sm_json_string(json, "name", tally->name);
    sm_json_int(json, "defects", tally->n_defects);
    for (size_t i = 0; i < SM_AUDIT_N_STATES; i++) {
        if (tally->count[i]) {
            sm_json_int(json, sm_audit_state_name((enum sm_audit_state)i), tally->count[i]);
        }
    }
    sm_json_int(json, "liners", tally->n_liners);
    add_m(json, "liner_m", tally->liner_m);
    sm_json_close(json, '}');
}

static void add_due(struct sm_json *json, const struct sm_audit_totals *totals)
{
    sm_json_open(json, "warranty", '[');
    for (size_t i = 0; i < totals->n_due; i++) {
        const struct sm_audit_due *due = &totals->due[i];
        sm_json_open_compact(json, NULL, '{');
        sm_json_string(json, "segment", due->segment);
        sm_json_string(json, "repair", due->repair);
        sm_json_string(json, "set_on", due->set_on);
        sm_json_string(json, "due_on", due->due_on);
        sm_json_bool(json, "overdue", due->is_overdue);
        add_words(json, "seen_on", due->seen_on);
        add_words(json, "crew", due->crew);
        add_words(json, "kit", due->kit);
        add_words(json, "lot", due->lot);
        sm_json_close(json, '}');
    }
    sm_json_close(json, ']');
}

static void add_totals(struct sm_json *json, const struct sm_audit_totals *totals)
{
    sm_json_open(json, "totals", '{');
    sm_json_int(json, "segments", totals->n_segments);
    sm_json_int(json, "defects", totals->n_defects);
    sm_json_int(json, "liners", totals->n_liners);
    sm_json_int(json, "liners_not_planned", totals->n_unplanned);
    sm_json_int(json, "planned_not_made", totals->n_not_made);
    sm_json_int(json, "new_defects", totals->n_new);
    add_m(json, "liner_m", totals->liner_m);
    add_m(json, "repaired_m", totals->repaired_m);
    sm_json_open(json, "ages", '{');
    for (size_t i = 0; i < SM_AUDIT_N_AGES; i++) {
        sm_json_int(json, sm_audit_age_name(i), totals->age[i]);
    }
    sm_json_close(json, '}');
    for (size_t g = 0; g < SM_AUDIT_N_GROUPS; g++) {
        sm_json_open(json, sm_audit_group_name((enum sm_audit_group)g), '[');
        for (size_t i = 0; i < totals->n_tallies[g]; i++) {
            add_tally(json, &totals->tally[g][i]);
        }
        sm_json_close(json, ']');
    }
    sm_json_close(json, '}');
    if (totals->warranty_months) {
        add_due(json, totals);
    }
}

/* ---- the document ---- */

void sm_audit_json_open(struct sm_audit_json *json, struct sm_text *out)
{
    *json = (struct sm_audit_json){.defects = {.out = out}};
    json->parts.out = &json->parts_text;
    sm_json_open(&json->parts, NULL, '{');
    sm_text_clear(&json->parts_text); /* the other has opened it already */
    sm_json_open(&json->parts, "segments", '[');
    sm_json_open(&json->defects, NULL, '{');
    sm_json_string(&json->defects, "schema", "stopmark.audit/1");
    sm_json_open(&json->defects, "defects", '[');
}

void sm_audit_json_add(struct sm_audit_json *json, const struct sm_audit *audit)
{
    json->parts.out = &json->parts_text; /* the struct may have been moved */
    for (size_t i = 0; i < audit->n_defects; i++) {
        add_defect(&json->defects, audit, &audit->defect[i]);
    }
    add_segment(&json->parts, audit);
}

enum sm_status sm_audit_json_turn(struct sm_audit_json *json, const struct sm_audit_totals *totals,
                                  const struct sm_audit_head *head, struct sm_error *err)
{
    struct sm_json *doc = &json->defects;
    sm_json_close(doc, ']');
    add_counts(doc, "counts", totals->count);
    add_words(doc, "as_of", head->today);
    sm_json_open(doc, "history", '{');
    sm_json_int(doc, "events", head->n_events);
    add_words(doc, "chain", head->chain);
    sm_json_close(doc, '}');
    if (head->grades) {
        sm_json_open(doc, "grades", '{');
        sm_json_string(doc, "file", head->grades->name);
        sm_json_string(doc, "sources", head->grades->sources);
        sm_json_close(doc, '}');
    }
    add_totals(doc, totals);
    sm_text_add(doc->out, ",");
    return doc->out->failed ? sm_audit__no_memory(err) : SM_OK;
}

enum sm_status sm_audit_json_close(struct sm_audit_json *json, struct sm_error *err)
{
    struct sm_text *out = json->defects.out;
    json->parts.out = &json->parts_text; /* the struct may have been moved */
    sm_json_close(&json->parts, ']');
    sm_json_close(&json->parts, '}');
    sm_text_add_n(out, sm_text_str(&json->parts_text), json->parts_text.length);
    return out->failed || json->parts_text.failed ? sm_audit__no_memory(err) : SM_OK;
}

void sm_audit_json_release(struct sm_audit_json *json)
{
    sm_text_release(&json->parts_text);
}
