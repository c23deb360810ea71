/* Mat and resin, the way in, the day and the other end, looked up for the documents and said in words. */
#include "work.h"

#include <math.h>

#define MM_PER_IN 25.4
#define KG_PER_LB 0.45359237
#define L_PER_FL_OZ 0.0295735295625
#define FL_OZ_PER_GAL 128.0

static bool is_in_feet(const struct sm_schedule *s)
{
    return s->people_unit == SM_UNIT_FT;
}

/* ---- mat and resin ---- */

bool sm_schedule__materials(struct sm_materials *one, const struct sm_schedule *s,
                            const struct sm_repair *repair, struct sm_error *err)
{
    return sm_materials_for(one, sm_schedule__um_to_m(repair->length_um), s->segment->diameter_mm,
                            sm_schedule__kit(s, repair), &s->sheet->mat, err) == SM_OK;
}

static const struct sm_repair *longest_repair(const struct sm_plan *plan)
{
    const struct sm_repair *longest = NULL;
    for (size_t i = 0; i < plan->n_repairs; i++) {
        longest = !longest || plan->repair[i].length_um > longest->length_um ? &plan->repair[i] : longest;
    }
    return longest;
}

bool sm_schedule__materials_to_load(struct sm_materials *sum, const struct sm_schedule *s,
                                    struct sm_error *err)
{
    struct sm_sheet sheet = *s->sheet;
    sheet.segment = *s->segment; /* what the log says of the pipe comes in here */
    return sm_materials_for_plan(sum, s->plan, &sheet, &sheet.mat, sheet.rules.n_spares, err) == SM_OK;
}

int sm_schedule__spares_of_kit(const struct sm_schedule *s, size_t kit_idx)
{
    const struct sm_repair *longest = longest_repair(s->plan);
    return longest && (size_t)longest->kit_idx == kit_idx ? (int)s->sheet->rules.n_spares : 0;
}

void sm_schedule__add_volume(struct sm_text *text, const struct sm_schedule *s, double volume_l)
{
    sm_schedule__add_volume_of(text, s, volume_l, volume_l);
}

void sm_schedule__add_volume_of(struct sm_text *text, const struct sm_schedule *s, double volume_l, double largest_l)
{
    double fl_oz = volume_l / L_PER_FL_OZ;
    if (!is_in_feet(s)) {
        sm_text_add_number(text, volume_l, 1, 2);
        sm_text_add(text, " l");
    } else if (largest_l / L_PER_FL_OZ < FL_OZ_PER_GAL) {
        sm_text_add_number(text, fl_oz, 0, 1);
        sm_text_add(text, " fl oz");
    } else {
        sm_text_add_number(text, fl_oz / FL_OZ_PER_GAL, 1, 2);
        sm_text_add(text, " gal");
    }
}

void sm_schedule__add_mass(struct sm_text *text, const struct sm_schedule *s, double mass_kg)
{
    sm_text_add_number(text, is_in_feet(s) ? mass_kg / KG_PER_LB : mass_kg, 1, 2);
    sm_text_add(text, is_in_feet(s) ? " lb" : " kg");
}

void sm_schedule__add_mats(struct sm_text *text, const struct sm_schedule *s, const struct sm_materials *one)
{
    sm_text_addf(text, "%d mat%s of ", (int)one->layers, one->layers == 1 ? "" : "s");
    sm_schedule__add_liner_length(text, s, llround(one->mat_length_m * SM_UM_PER_M));
    sm_text_add(text, " \u00d7 ");
    sm_schedule__add_error(text, s, one->mat_width_m);
}

void sm_schedule__add_wound(struct sm_text *text, const struct sm_schedule *s, const struct sm_materials *one)
{
    if (one->layers < 2) {
        return;
    }
    sm_text_add(text, "or one ");
    sm_schedule__add_error(text, s, one->wound_width_m);
    if (one->layers == 2) {
        sm_text_add(text, " wide, wound twice");
    } else {
        sm_text_addf(text, " wide, wound %d times", (int)one->layers);
    }
}

int sm_schedule__layers_needed(const struct sm_schedule *s)
{
    return (int)sm_mat_layers_for(&s->sheet->mat, s->sheet->mat.least_thickness_mm);
}

/* What is there is never said thicker than it is, what is needed never thinner. */
static void add_thickness(struct sm_text *text, const struct sm_schedule *s, double thickness_mm,
                          double round(double))
{
    double scale = is_in_feet(s) ? 1000 / MM_PER_IN : 100; /* thousandths of an inch, hundredths of a millimetre */
    double nearest = nearbyint(thickness_mm * scale);
    bool is_whole = fabs(thickness_mm * scale - nearest) < 1e-6;
    sm_text_add_number(text, (is_whole ? nearest : round(thickness_mm * scale)) / scale * (is_in_feet(s) ? 1 / MM_PER_IN : 1), 0, 3);
    sm_text_add(text, is_in_feet(s) ? " in" : " mm");
}

static void add_layers(struct sm_text *text, int n)
{
    sm_text_addf(text, "%d layer%s", n, n == 1 ? "" : "s");
}

bool sm_schedule__add_wall(struct sm_text *text, const struct sm_schedule *s, const struct sm_materials *one)
{
    int n_needed = sm_schedule__layers_needed(s);
    bool is_enough = n_needed > 0 && one->layers >= n_needed;
    sm_text_add(text, "wall of ");
    add_layers(text, (int)one->layers);
    sm_text_add(text, " ");
    add_thickness(text, s, one->thickness_mm, floor);
    sm_text_add(text, "; needed ");
    add_thickness(text, s, s->sheet->mat.least_thickness_mm, ceil);
    if (n_needed > 0) {
        sm_text_add(text, ", ");
        add_layers(text, n_needed);
    }
    sm_text_add(text, is_enough ? "" : ": TOO THIN, ask the engineer first");
    return is_enough;
}

void sm_schedule__add_mix(struct sm_text *text, const struct sm_schedule *s, const struct sm_materials *one)
{
    double largest_l = fmax(one->part_a_l, one->part_b_l);
    sm_text_add(text, "A ");
    sm_schedule__add_volume_of(text, s, one->part_a_l, largest_l);
    sm_text_add(text, " + B ");
    sm_schedule__add_volume_of(text, s, one->part_b_l, largest_l);
}

/* ---- the way ---- */

static bool covers(const struct sm_repair *repair, int32_t observation_idx)
{
    for (size_t i = 0; i < repair->n_covers; i++) {
        if (repair->covers[i] == observation_idx) {
            return true;
        }
    }
    return false;
}

size_t sm_schedule__passages(const struct sm_passage **passage, struct sm_arena *arena,
                             const struct sm_schedule *s, const struct sm_repair *repair, bool *has_failed)
{
    const struct sm_passage *all = NULL;
    size_t n = 0, n_kept = 0;
    enum sm_status status = sm_plan_passage(&all, &n, arena, s->plan, s->alignment, s->sheet,
                                            (size_t)(repair - s->plan->repair), NULL);
    struct sm_passage *kept = status == SM_OK ? sm_arena_alloc(arena, (n + 1) * sizeof *kept) : NULL;
    *has_failed |= !kept;
    for (size_t i = 0; kept && i < n; i++) {
        if (!covers(repair, all[i].observation_idx)) {
            kept[n_kept++] = all[i];
        }
    }
    *passage = kept;
    return n_kept;
}

/* ---- the day ---- */

static struct sm_day_plan *day_of(const struct sm_schedule *s, const struct sm_sheet *sheet, bool *has_failed)
{
    struct sm_day_plan *day = NULL;
    if (s->plan->n_repairs == 0 || sheet->n_cure_rows == 0) {
        return NULL;
    }
    enum sm_status status = sm_day_plan_make(&day, s->plan, sheet, s->alignment, &sheet->day, NULL);
    *has_failed |= status == SM_E_NOMEM;
    return status == SM_OK ? day : NULL;
}

struct sm_day_plan *sm_schedule__day(const struct sm_schedule *s, bool *has_failed)
{
    return day_of(s, s->sheet, has_failed);
}

static void add_clock(struct sm_text *text, double minutes)
{
    long whole = (long)minutes;
    sm_text_addf(text, "%ld:%02ld", whole / 60, whole % 60);
}

void sm_schedule__add_clock_up(struct sm_text *text, double minutes)
{
    add_clock(text, ceil(minutes - 1e-6));
}

void sm_schedule__add_clock_down(struct sm_text *text, double minutes)
{
    add_clock(text, floor(minutes + 1e-6));
}

/* ---- the other end ---- */

/* Repairs whose resin would be past its working time before the packer is inflated. */
static size_t n_too_late(const struct sm_day_plan *day)
{
    size_t n = 0;
    for (size_t i = 0; i < day->n_repairs; i++) {
        n += day->repair[i].margin_min < 0;
    }
    return n;
}

static void add_working_time(struct sm_text *text, const struct sm_schedule *s, bool *has_failed)
{
    struct sm_sheet turned = *s->sheet;
    turned.access.enters_at_to = !turned.access.enters_at_to;
    struct sm_day_plan *here = day_of(s, s->sheet, has_failed);
    struct sm_day_plan *there = day_of(s, &turned, has_failed);
    if (here && there && n_too_late(there) < n_too_late(here)) {
        sm_text_addf(text,
                     "%sFrom %s the resin is past its working time before the packer is inflated at %zu of "
                     "the %zu repairs; from %s at %zu.",
                     text->length ? " " : "", sm_schedule__crew_end(s), n_too_late(here), s->plan->n_repairs,
                     sm_schedule__far_end(s), n_too_late(there));
    }
    sm_day_plan_free(&here);
    sm_day_plan_free(&there);
}

void sm_schedule__add_other_end(struct sm_text *text, const struct sm_schedule *s, bool *has_failed)
{
    enum sm_status status = sm_plan_other_end(text, s->plan, s->alignment, s->sheet, NULL);
    *has_failed |= status == SM_E_NOMEM;
    add_working_time(text, s, has_failed);
}
