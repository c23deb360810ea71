/*
 * A schedule.json read back, as far as two of them are compared: the repairs, the sums, the rules. It may
 * have been edited or cut off since: what is missing or of another kind is an error with the key's name.
 */
#include "stopmark/plan.h"
#include "stopmark/schedule.h"

#include <jansson.h>
#include <math.h>
#include <string.h>

#define MOST_BYTES (256u << 20)
#define MOST_M 1e6

struct sm_schedule_file {
    struct sm_arena *arena;
    json_t *root;
    struct sm_plan plan;   /* repairs, cost and number of unrepaired only */
    struct sm_sheet sheet; /* kits only, one for each repair */
    const char *name;
};

void sm_schedule_file_free(struct sm_schedule_file **file)
{
    if (!*file) {
        return;
    }
    json_decref((*file)->root);
    sm_arena_free(&(*file)->arena);
    sm_free(*file);
    *file = NULL;
}

static enum sm_status no_memory(struct sm_error *err)
{
    return sm_error_set(err, SM_E_NOMEM, "out of memory");
}

static enum sm_status missing(const char *key, struct sm_error *err)
{
    sm_error_set(err, SM_E_FORMAT, "no %s, or one that makes no sense", key);
    return sm_error_remedy(err, "name a schedule.json as stopmark schedule --out writes it");
}

static bool take_number(double *out, const json_t *object, const char *key, double least)
{
    const json_t *value = json_object_get(object, key);
    *out = json_is_number(value) ? json_number_value(value) : SM_NAN;
    return *out >= least && *out <= 1e12;
}

static enum sm_status take_repair(struct sm_repair *repair, struct sm_kit *kit, const json_t *item,
                                  struct sm_error *err)
{
    const char *id = json_string_value(json_object_get(item, "id"));
    double start_m, length_m;
    kit->name = json_string_value(json_object_get(item, "kit"));
    if (!id || !kit->name || !take_number(&start_m, item, "start_m", 0) ||
        !take_number(&length_m, item, "length_m", 1e-6) || start_m > MOST_M || length_m > MOST_M ||
        !take_number(&repair->cost, item, "cost", 0)) {
        return missing("id, kit, start_m, length_m or cost of a repair", err);
    }
    sm_strcopy(repair->id, sizeof repair->id, id);
    repair->start_um = llround(start_m * 1e6);
    repair->length_um = llround(length_m * 1e6);
    kit->length_um = repair->length_um;
    return SM_OK;
}

static enum sm_status take_plan(struct sm_schedule_file *file, struct sm_error *err)
{
    const json_t *list = json_object_get(file->root, "repairs");
    const json_t *unrepaired = json_object_get(file->root, "unrepaired");
    if (!json_is_array(list) || !json_is_array(unrepaired)) {
        return missing("list of repairs or unrepaired", err);
    }
    size_t n = json_array_size(list);
    struct sm_repair *repair = sm_arena_alloc(file->arena, (n + 1) * sizeof *repair);
    struct sm_kit *kit = sm_arena_alloc(file->arena, (n + 1) * sizeof *kit);
    if (!repair || !kit) {
        return no_memory(err);
    }
    for (size_t i = 0; i < n; i++) {
        enum sm_status status = take_repair(&repair[i], &kit[i], json_array_get(list, i), err);
        if (status != SM_OK) {
            return status;
        }
        repair[i].kit_idx = (int32_t)i;
    }
    file->plan.repair = repair;
    file->plan.n_repairs = n;
    file->plan.n_unrepaired = json_array_size(unrepaired);
    file->sheet.kit = kit;
    file->sheet.n_kits = n;
    return take_number(&file->plan.cost, json_object_get(file->root, "cost"), "repairs", 0)
               ? SM_OK
               : missing("cost of the repairs", err);
}

static enum sm_status parse(struct sm_schedule_file *file, const char *text, size_t n, struct sm_error *err)
{
    json_error_t why;
    file->root = json_loadb(text, n, JSON_REJECT_DUPLICATES, &why);
    if (!file->root) {
        sm_error_at(err, SM_E_FORMAT, NULL, why.line > 0 ? (uint32_t)why.line : 0, 0, "no JSON: %s",
                    why.text);
        return sm_error_remedy(err, "name a schedule.json as stopmark schedule --out writes it");
    }
    const char *schema = json_string_value(json_object_get(file->root, "schema"));
    return schema && strcmp(schema, "stopmark.schedule/1") == 0 ? take_plan(file, err)
                                                                : missing("schema stopmark.schedule/1", err);
}

enum sm_status sm_schedule_file_read(struct sm_schedule_file **out, const char *path, struct sm_error *err)
{
    struct sm_schedule_file *file = sm_calloc(1, sizeof *file);
    char *text = NULL;
    size_t n = 0;
    if (!file || sm_arena_new(&file->arena) != SM_OK) {
        sm_free(file);
        return no_memory(err);
    }
    enum sm_status status = sm_file_read(&text, &n, path, MOST_BYTES, err);
    if (status == SM_OK) {
        file->name = sm_arena_strdup(file->arena, path);
        status = file->name ? parse(file, text, n, err) : no_memory(err);
    }
    sm_free(text);
    if (status != SM_OK) {
        sm_error_source(err, path);
        sm_schedule_file_free(&file);
        return status;
    }
    *out = file;
    return SM_OK;
}

/* ---- comparing ---- */

static int add_piece(const char *piece, size_t n, void *text)
{
    sm_text_add_n(text, piece, n);
    return 0;
}

static void add_value(struct sm_text *text, const json_t *value)
{
    const size_t flags = JSON_ENCODE_ANY | JSON_COMPACT | JSON_REAL_PRECISION(9);
    if (!value) {
        sm_text_add(text, "not said");
    } else if (json_dump_callback(value, add_piece, text, flags) != 0) {
        text->failed = true;
    }
}

/* What differs between two objects of the files, in the order of the first; keys of one alone as well. */
static void add_differences(struct sm_text *text, const struct sm_schedule_file *before,
                            const struct sm_schedule_file *after, const char *section)
{
    json_t *a = json_object_get(before->root, section), *b = json_object_get(after->root, section);
    const char *key;
    json_t *value;
    json_object_foreach(a, key, value)
    {
        const json_t *other = json_object_get(b, key);
        if (!json_equal(value, other)) {
            sm_text_addf(text, "%s %s: ", section, key);
            add_value(text, value);
            sm_text_add(text, " -> ");
            add_value(text, other);
            sm_text_add(text, "\n");
        }
    }
    json_object_foreach(b, key, value)
    {
        if (!json_object_get(a, key)) {
            sm_text_addf(text, "%s %s: not said -> ", section, key);
            add_value(text, value);
            sm_text_add(text, "\n");
        }
    }
}

enum sm_status sm_schedule_file_compare(struct sm_text *text, const struct sm_schedule_file *before,
                                        const struct sm_schedule_file *after, struct sm_error *err)
{
    struct sm_plan_case a = {before->name, &before->plan, NULL, &before->sheet};
    struct sm_plan_case b = {after->name, &after->plan, NULL, &after->sheet};
    add_differences(text, before, after, "segment");
    add_differences(text, before, after, "access");
    add_differences(text, before, after, "rules");
    return sm_plan_compare(text, &a, &b, err);
}
