/* A survey out of the job file, as the audit takes it: the rules that were used are read back from the settings' words. */
#include <string.h>

#include "job_internal.h"

static const char *setting(const struct sm_store_record *record, const char *name)
{
    for (size_t i = 0; i < record->n_settings; i++) {
        if (strcmp(record->setting[i].name, name) == 0) {
            return record->setting[i].value;
        }
    }
    return "";
}

/* A value that is not there, or no longer understood, leaves the default. */
static void take_number(const struct sm_store_record *record, const char *name, enum sm_quantity quantity, double *value)
{
    const char *text = setting(record, name);
    double read;
    if (*text && sm_parse_quantity(text, quantity, "", &read, NULL) == SM_OK) {
        *value = read;
    }
}

/* "150 mm", wherever it is kept in millimetres. */
static void take_mm(const struct sm_store_record *record, const char *name, double *value_mm)
{
    double value_m = *value_mm / 1000;
    take_number(record, name, SM_LENGTH, &value_m);
    *value_mm = value_m * 1000;
}

static bool says(const struct sm_store_record *record, const char *name, const char *word)
{
    return strcmp(setting(record, name), word) == 0;
}

static void take_rules(struct sm_rules *rules, const struct sm_store_record *record)
{
    *rules = (struct sm_rules){.end_cover_m = 0.150, .placement_m = 0.050, .distance_error_frac = 0.005,
                               .distance_error_m = 0.3, .overlap_m = 0.100, .keep_clear_m = 0.100,
                               .connection_diameter_mm = 150, .full_lining_rate_per_m = SM_NAN};
    take_number(record, "rules.end cover", SM_LENGTH, &rules->end_cover_m);
    take_number(record, "rules.placement", SM_LENGTH, &rules->placement_m);
    take_number(record, "rules.distance error", SM_LENGTH, &rules->distance_error_m);
    take_number(record, "rules.overlap", SM_LENGTH, &rules->overlap_m);
    take_number(record, "rules.keep clear", SM_LENGTH, &rules->keep_clear_m);
    take_mm(record, "rules.connection diameter", &rules->connection_diameter_mm);
    rules->may_reopen = says(record, "rules.reopen", "yes");
    rules->locate = says(record, "rules.locate", "counter") ? SM_LOCATE_COUNTER : SM_LOCATE_MARK;
}

static void take_access(struct sm_access *access, const struct sm_store_record *record)
{
    *access = (struct sm_access){.pipe_temperature_c = SM_NAN, .groundwater_head_m = SM_NAN};
    access->enters_at_to = says(record, "access.enter", "to");
    access->reference = says(record, "access.reference", "rim") ? SM_REFERENCE_RIM : SM_REFERENCE_PIPE_EDGE;
    take_number(record, "access.rim to pipe edge", SM_LENGTH, &access->rim_to_pipe_edge_m);
    take_number(record, "access.pipe temperature", SM_TEMPERATURE, &access->pipe_temperature_c);
    take_number(record, "access.groundwater head", SM_LENGTH, &access->groundwater_head_m);
}

static void take_sheet(struct sm_sheet *sheet, const struct sm_store_record *record)
{
    *sheet = (struct sm_sheet){
        .segment = record->survey.segment,
        .date = record->survey.date,
        .operator_name = record->survey.operator_name,
        .video_start_s = SM_NAN,
        .video_end_s = SM_NAN,
        .codes = says(record, "survey.codes", "NA") ? SM_CODES_NA : SM_CODES_EN,
        .n_kits = record->n_kits,
        .kit = record->kit,
        .n_cure_rows = record->n_cure_rows,
        .cure_row = record->cure_row,
    };
    sheet->people_unit = says(record, "documents.unit", "ft") ? SM_UNIT_FT : SM_UNIT_M;
    take_rules(&sheet->rules, record);
    take_access(&sheet->access, record);
    take_number(record, "counter.datum offset", SM_LENGTH, &sheet->datum_offset_m);
    take_number(record, "counter.view ahead", SM_LENGTH, &sheet->view_ahead_m);
}

static enum sm_status take_files(struct sm_job__stored *stored, struct sm_error *err)
{
    struct sm_store_record *record = stored->record;
    struct sm_audit_file *file = sm_arena_alloc(record->arena, record->n_inputs * sizeof *file);
    if (!file) {
        return sm_job__no_memory(err);
    }
    for (size_t i = 0; i < record->n_inputs; i++) {
        const struct sm_store_input *input = &record->input[i];
        file[i] = (struct sm_audit_file){input->role, input->path, input->sha256};
    }
    stored->survey.file = file;
    stored->survey.n_files = record->n_inputs;
    return SM_OK;
}

void sm_job__stored_free(struct sm_job__stored **stored)
{
    if (stored && *stored) {
        sm_store_record_free(&(*stored)->record);
        sm_free(*stored);
        *stored = NULL;
    }
}

enum sm_status sm_job__stored_get(struct sm_job__stored **out, struct sm_store *store, int64_t survey_id,
                                  bool wants_trace, struct sm_error *err)
{
    struct sm_job__stored *stored = sm_calloc(1, sizeof *stored);
    if (!stored) {
        return sm_job__no_memory(err);
    }
    enum sm_status status = wants_trace ? sm_store_get_survey(&stored->record, store, survey_id, err)
                                        : sm_store_get_results(&stored->record, store, survey_id, err);
    if (status == SM_OK) {
        const struct sm_store_record *record = stored->record;
        take_sheet(&stored->sheet, record);
        stored->survey = (struct sm_audit_survey){
            .key = record->survey.key,
            .date = record->survey.date ? record->survey.date : "",
            .stored_at = record->survey.stored_at,
            .sheet = &stored->sheet,
            .alignment = record->alignment,
            .plan = record->plan,
            .trace = record->trace,
        };
        status = take_files(stored, err);
    }
    if (status != SM_OK) {
        sm_job__stored_free(&stored);
        return status;
    }
    *out = stored;
    return SM_OK;
}
