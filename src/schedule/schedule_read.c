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

/* What is told of a key whose values differ; NULL = not said. */
typedef void tell_difference_fn(void *user, const char *section, const char *key, const json_t *before,
                                const json_t *after);

/* What differs between two objects of the files, in the order of the first; keys of one alone as well. */
static void find_differences(const struct sm_schedule_file *before, const struct sm_schedule_file *after,
                             tell_difference_fn *tell, void *user)
{
    static const char *const sections[] = {"segment", "access", "rules"};
    for (size_t i = 0; i < sizeof sections / sizeof *sections; i++) {
        json_t *a = json_object_get(before->root, sections[i]), *b = json_object_get(after->root, sections[i]);
        const char *key;
        json_t *value;
        json_object_foreach(a, key, value)
        {
            const json_t *other = json_object_get(b, key);
            if (!json_equal(value, other)) {
                tell(user, sections[i], key, value, other);
            }
        }
        json_object_foreach(b, key, value)
        {
            if (!json_object_get(a, key)) {
                tell(user, sections[i], key, NULL, value);
            }
        }
    }
}

static void add_difference(void *user, const char *section, const char *key, const json_t *before,
                           const json_t *after)
{
    struct sm_text *text = user;
    sm_text_addf(text, "%s %s: ", section, key);
    add_value(text, before);
    sm_text_add(text, " -> ");
    add_value(text, after);
    sm_text_add(text, "\n");
}

static struct sm_plan_case case_of(const struct sm_schedule_file *file)
{
    return (struct sm_plan_case){file->name, &file->plan, NULL, &file->sheet};
}

enum sm_status sm_schedule_file_compare(struct sm_text *text, const struct sm_schedule_file *before,
                                        const struct sm_schedule_file *after, struct sm_error *err)
{
    struct sm_plan_case a = case_of(before), b = case_of(after);
    find_differences(before, after, add_difference, text);
    return sm_plan_compare(text, &a, &b, err);
}

/* A value as text: what it was in the file, whatever its kind. */
static void write_value(struct sm_json *json, const char *key, const json_t *value)
{
    struct sm_text text = {0};
    if (!value) {
        sm_json_null(json, key);
    } else if (json_is_string(value)) {
        sm_json_string(json, key, json_string_value(value));
    } else {
        add_value(&text, value);
        sm_json_string(json, key, sm_text_str(&text));
        json->out->failed = json->out->failed || text.failed;
    }
    sm_text_release(&text);
}

static void write_difference(void *user, const char *section, const char *key, const json_t *before,
                             const json_t *after)
{
    struct sm_json *json = user;
    sm_json_open_compact(json, NULL, '{');
    sm_json_string(json, "section", section);
    sm_json_string(json, "key", key);
    write_value(json, "before", before);
    write_value(json, "after", after);
    sm_json_close(json, '}');
}

enum sm_status sm_schedule_file_write_comparison(struct sm_text *text, const struct sm_schedule_file *before,
                                                 const struct sm_schedule_file *after, struct sm_error *err)
{
    struct sm_plan_case a = case_of(before), b = case_of(after);
    struct sm_json json = {.out = text};
    sm_json_open(&json, NULL, '{');
    sm_json_string(&json, "schema", "stopmark.comparison/1");
    sm_json_open(&json, "changes", '[');
    find_differences(before, after, write_difference, &json);
    sm_json_close(&json, ']');
    sm_plan_write_comparison(&json, &a, &b);
    sm_json_close(&json, '}');
    return text->failed ? no_memory(err) : SM_OK;
}
