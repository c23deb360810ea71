/*
 * What to load for several segments: liners by kit and pipe size, mat and resin of all of them, spares. Spares are not
 * summed up over segments: one crew works one after the other, so that of each pipe size it takes as many as the segment
 * that asks for most, of the longest liner of that size (common practice, no source).
 */
#include "work.h"

#include <math.h>
#include <string.h>

struct segment {
    const char *id, *why; /* why = mat and resin cannot be worked out, NULL = they can */
    size_t n_repairs;
};
struct kit {
    const char *name;
    double diameter_mm;
    int64_t length_um;
    int n;
};
struct pipe {
    double diameter_mm;
    size_t kit_idx; /* of the longest liner */
    int n_spares;
    bool has_materials;
    struct sm_materials longest;
};
struct sm_load {
    struct sm_arena *arena;
    size_t n_segments, segments_capacity, n_kits, kits_capacity, n_pipes, pipes_capacity;
    struct segment *segment;
    struct kit *kit;
    struct pipe *pipe;
    struct sm_materials sum; /* without spares */
    enum sm_unit unit;
};

static enum sm_status no_memory(struct sm_error *err)
{
    return sm_error_set(err, SM_E_NOMEM, "no memory for the list of what to load");
}

enum sm_status sm_schedule_load_new(struct sm_load **out, struct sm_error *err)
{
    struct sm_load *load = sm_calloc(1, sizeof *load);
    if (!load || sm_arena_new(&load->arena) != SM_OK) {
        sm_free(load);
        return no_memory(err);
    }
    *out = load;
    return SM_OK;
}

void sm_schedule_load_free(struct sm_load **load)
{
    if (load && *load) {
        sm_free((*load)->segment);
        sm_free((*load)->kit);
        sm_free((*load)->pipe);
        sm_arena_free(&(*load)->arena);
        sm_free(*load);
        *load = NULL;
    }
}

/* ---- adding a segment ---- */

static bool is_same(double a, double b)
{
    return fabs(a - b) < 0.05 || (isnan(a) && isnan(b));
}

/* @return index of the kit in this size of pipe, made when missing; SIZE_MAX = no memory. */
static size_t find_kit(struct sm_load *load, const struct sm_kit *kit, double diameter_mm)
{
    const char *name = kit->name ? kit->name : "";
    for (size_t i = 0; i < load->n_kits; i++) {
        const struct kit *known = &load->kit[i];
        if (known->length_um == kit->length_um && is_same(known->diameter_mm, diameter_mm) &&
            strcmp(known->name, name) == 0) {
            return i;
        }
    }
    if (sm_grow(&load->kit, load->n_kits, &load->kits_capacity, sizeof *load->kit) != SM_OK) {
        return SIZE_MAX;
    }
    struct kit *made = &load->kit[load->n_kits];
    *made = (struct kit){sm_arena_strdup(load->arena, name), diameter_mm, kit->length_um, 0};
    return made->name ? load->n_kits++ : SIZE_MAX;
}

static struct pipe *find_pipe(struct sm_load *load, double diameter_mm)
{
    for (size_t i = 0; i < load->n_pipes; i++) {
        if (is_same(load->pipe[i].diameter_mm, diameter_mm)) {
            return &load->pipe[i];
        }
    }
    if (sm_grow(&load->pipe, load->n_pipes, &load->pipes_capacity, sizeof *load->pipe) != SM_OK) {
        return NULL;
    }
    struct pipe *made = &load->pipe[load->n_pipes++];
    *made = (struct pipe){.diameter_mm = diameter_mm, .kit_idx = SIZE_MAX};
    return made;
}

static enum sm_status add_repair(struct sm_load *load, struct segment *segment, const struct sm_schedule *s,
                                 const struct sm_repair *repair, struct sm_error *err)
{
    struct sm_materials one;
    struct sm_error why = {0};
    size_t kit_idx = find_kit(load, sm_schedule__kit(s, repair), s->segment->diameter_mm);
    struct pipe *pipe = kit_idx == SIZE_MAX ? NULL : find_pipe(load, s->segment->diameter_mm);
    if (!pipe) {
        return no_memory(err);
    }
    bool has_materials = sm_schedule__materials(&one, s, repair, &why);
    if (has_materials) {
        sm_materials_add(&load->sum, &one);
    } else if (!segment->why && !(segment->why = sm_arena_strdup(load->arena, why.text))) {
        return no_memory(err);
    }
    load->kit[kit_idx].n++;
    pipe->n_spares = s->sheet->rules.n_spares > pipe->n_spares ? (int)s->sheet->rules.n_spares : pipe->n_spares;
    if (pipe->kit_idx == SIZE_MAX || load->kit[kit_idx].length_um > load->kit[pipe->kit_idx].length_um) {
        pipe->kit_idx = kit_idx;
        pipe->has_materials = has_materials;
        pipe->longest = has_materials ? one : pipe->longest;
    }
    return SM_OK;
}

enum sm_status sm_schedule_load_add(struct sm_load *load, const struct sm_schedule *s, struct sm_error *err)
{
    if (sm_grow(&load->segment, load->n_segments, &load->segments_capacity, sizeof *load->segment) != SM_OK) {
        return no_memory(err);
    }
    struct segment *segment = &load->segment[load->n_segments];
    *segment = (struct segment){.id = sm_arena_strdup(load->arena, s->segment->id ? s->segment->id : ""),
                                .n_repairs = s->plan->n_repairs};
    enum sm_status status = segment->id ? SM_OK : no_memory(err);
    load->unit = load->n_segments == 0 || load->unit == s->people_unit ? s->people_unit : SM_UNIT_M;
    for (size_t i = 0; status == SM_OK && i < s->plan->n_repairs; i++) {
        status = add_repair(load, segment, s, &s->plan->repair[i], err);
    }
    load->n_segments += status == SM_OK;
    return status;
}

/* ---- telling ---- */

static int spares_of(const struct sm_load *load, size_t kit_idx)
{
    for (size_t i = 0; i < load->n_pipes; i++) {
        if (load->pipe[i].kit_idx == kit_idx) {
            return load->pipe[i].n_spares;
        }
    }
    return 0;
}

static struct sm_materials with_spares(const struct sm_load *load)
{
    struct sm_materials sum = load->sum;
    for (size_t i = 0; i < load->n_pipes; i++) {
        for (int k = 0; load->pipe[i].has_materials && k < load->pipe[i].n_spares; k++) {
            sm_materials_add(&sum, &load->pipe[i].longest);
        }
    }
    return sum;
}

static void add_segments(struct sm_text *out, const struct sm_load *load)
{
    size_t n_repairs = 0, n_quiet = 0;
    for (size_t i = 0; i < load->n_segments; i++) {
        const struct segment *segment = &load->segment[i];
        n_repairs += segment->n_repairs;
        n_quiet += segment->n_repairs == 0;
        if (segment->n_repairs) {
            sm_text_addf(out, "%s: %zu repair%s%s%s\n", *segment->id ? segment->id : "segment without a name",
                         segment->n_repairs, segment->n_repairs == 1 ? "" : "s",
                         segment->why ? "; mat and resin cannot be worked out: " : "", segment->why ? segment->why : "");
        }
    }
    if (n_quiet) {
        sm_text_addf(out, "%zu segment%s without a repair\n", n_quiet, n_quiet == 1 ? "" : "s");
    }
    sm_text_addf(out, "%zu repair%s in all\n", n_repairs, n_repairs == 1 ? "" : "s");
}

static void add_kits(struct sm_text *out, const struct sm_load *load, const struct sm_schedule *unit)
{
    for (size_t i = 0; i < load->n_kits; i++) {
        const struct kit *kit = &load->kit[i];
        int n_spares = spares_of(load, i);
        sm_text_addf(out, "  %d \u00d7 %s", kit->n, *kit->name ? kit->name : "kit without a name");
        if (n_spares) {
            sm_text_addf(out, " and %d spare", n_spares);
        }
        sm_text_add(out, ", ");
        sm_schedule__add_liner_length(out, unit, kit->length_um);
        sm_text_add(out, ", pipe ");
        sm_schedule__add_diameter(out, unit, kit->diameter_mm);
        sm_text_add(out, "\n");
    }
}

static void add_part(struct sm_text *out, const struct sm_schedule *unit, const char *words, double volume_l,
                     double largest_l, double mass_kg)
{
    sm_text_add(out, words);
    sm_schedule__add_volume_of(out, unit, volume_l, largest_l);
    sm_text_add(out, ", ");
    sm_schedule__add_mass(out, unit, mass_kg);
}

void sm_schedule_load_write(struct sm_text *out, const struct sm_load *load)
{
    const struct sm_schedule unit = {.people_unit = load->unit};
    struct sm_materials sum = with_spares(load);
    double mixed_l = sum.part_a_l + sum.part_b_l;
    add_segments(out, load);
    if (load->n_kits == 0) {
        return;
    }
    sm_text_add(out, "\nTo load:\n");
    add_kits(out, load, &unit);
    sm_text_add(out, "  spares counted: glass mat ");
    sm_schedule__add_mass(out, &unit, sum.glass_kg);
    sm_text_add(out, "; resin ");
    sm_schedule__add_volume(out, &unit, mixed_l);
    add_part(out, &unit, ": part A ", sum.part_a_l, mixed_l, sum.part_a_kg);
    add_part(out, &unit, "; part B ", sum.part_b_l, mixed_l, sum.part_b_kg);
    sm_text_addf(out, "\n  %d sleeves, %d ties\n", (int)sum.sleeves, (int)sum.ties);
}

static void add_json_lists(struct sm_json *json, const struct sm_load *load)
{
    sm_json_open(json, "segments", '[');
    for (size_t i = 0; i < load->n_segments; i++) {
        sm_json_open_compact(json, NULL, '{');
        sm_json_string(json, "segment", load->segment[i].id);
        sm_json_int(json, "repairs", (int64_t)load->segment[i].n_repairs);
        sm_json_string(json, "no_materials", load->segment[i].why);
        sm_json_close(json, '}');
    }
    sm_json_close(json, ']');
    sm_json_open(json, "liners", '[');
    for (size_t i = 0; i < load->n_kits; i++) {
        sm_json_open_compact(json, NULL, '{');
        sm_json_string(json, "kit", load->kit[i].name);
        sm_json_number(json, "diameter_mm", load->kit[i].diameter_mm, 6);
        sm_json_number(json, "length_m", sm_schedule__um_to_m(load->kit[i].length_um), 6);
        sm_json_int(json, "count", load->kit[i].n);
        sm_json_int(json, "spares", spares_of(load, i));
        sm_json_close(json, '}');
    }
    sm_json_close(json, ']');
}

void sm_schedule_load_write_json(struct sm_text *out, const struct sm_load *load)
{
    struct sm_materials sum = with_spares(load);
    const struct {
        const char *key;
        double value;
    } amounts[] = {{"glass_kg", sum.glass_kg},   {"part_a_l", sum.part_a_l}, {"part_a_kg", sum.part_a_kg},
                   {"part_b_l", sum.part_b_l}, {"part_b_kg", sum.part_b_kg}};
    struct sm_json json = {.out = out};
    sm_json_open(&json, NULL, '{');
    sm_json_string(&json, "schema", "stopmark.load/1");
    add_json_lists(&json, load);
    for (size_t i = 0; i < sizeof amounts / sizeof *amounts; i++) {
        sm_json_number(&json, amounts[i].key, amounts[i].value, 6);
    }
    sm_json_int(&json, "sleeves", sum.sleeves);
    sm_json_int(&json, "ties", sum.ties);
    sm_json_close(&json, '}');
}
