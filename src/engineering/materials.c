/*
 * Mat and resin by mass balance. A layer of mat with W kg of glass to the square metre, soaked with R kg of
 * resin for each kg of glass, is W (1/rho_glass + R/rho_resin) thick (densities in kg/l give mm).
 */
#include "stopmark/engineering.h"

#include <math.h>

#define TIES_PER_REPAIR 4    /* two of them close together at the leading end (common practice, no source) */
#define SLEEVES_PER_REPAIR 2 /* rehearsal and live (common practice, no source) */
#define MOST_LAYERS 50

struct sm_mat sm_mat_default(void)
{
    return (struct sm_mat){
        .glass_kg_m2 = 1.05,
        .resin_per_glass = 1.5,
        .glass_density_kg_l = 2.55,
        .resin_density_kg_l = 1.3,
        .lap_m = 0.025,
        .waste_frac = 0.10,
        .parts_a = 2,
        .parts_b = 1,
        .least_thickness_mm = 3,
        .least_layers = 2,
        .part_a_density_kg_l = SM_NAN,
        .part_b_density_kg_l = SM_NAN,
    };
}

static bool is_mat(const struct sm_mat *mat)
{
    return mat->glass_kg_m2 > 0 && mat->resin_per_glass > 0 && mat->glass_density_kg_l > 0 &&
           mat->resin_density_kg_l > 0;
}

double sm_mat_layer_mm(const struct sm_mat *mat)
{
    if (!is_mat(mat)) {
        return SM_NAN;
    }
    return mat->glass_kg_m2 * (1 / mat->glass_density_kg_l + mat->resin_per_glass / mat->resin_density_kg_l);
}

double sm_mat_glass_frac(const struct sm_mat *mat)
{
    return mat->glass_kg_m2 / mat->glass_density_kg_l / sm_mat_layer_mm(mat);
}

int32_t sm_mat_layers_for(const struct sm_mat *mat, double thickness_mm)
{
    double layers = ceil(fmax(thickness_mm, mat->least_thickness_mm) / sm_mat_layer_mm(mat) - 1e-9);
    if (!(layers >= 1 && layers <= MOST_LAYERS)) {
        return 0;
    }
    return (int32_t)layers > mat->least_layers ? (int32_t)layers : mat->least_layers;
}

static enum sm_status check_sizes(double liner_length_m, double diameter_mm, const struct sm_mat *mat,
                                  struct sm_error *err)
{
    if (!(liner_length_m > 0 && liner_length_m <= 1000) || !(diameter_mm > 0 && diameter_mm <= 10000)) {
        return sm_error_set(err, SM_E_RANGE, "the liner's length or the pipe's diameter is not known");
    }
    bool has_parts = mat->parts_a >= 0 && mat->parts_b >= 0 && mat->parts_a + mat->parts_b > 0 &&
                     !(mat->part_a_density_kg_l <= 0) && !(mat->part_b_density_kg_l <= 0);
    if (!is_mat(mat) || !has_parts || !(mat->lap_m >= 0) || !(mat->waste_frac >= 0 && mat->waste_frac < 1)) {
        sm_error_set(err, SM_E_RANGE, "the mat's masses, densities, lap, waste or parts make no sense");
        sm_error_remedy(err, "take them from the maker's sheet");
        return SM_E_RANGE;
    }
    return SM_OK;
}

/* One mat wound that often: each turn lies inside the one before it, a layer closer to the axis. */
static double wound_width_m(double diameter_mm, int32_t layers, const struct sm_mat *mat)
{
    double mean_mm = diameter_mm - (layers - 1) * sm_mat_layer_mm(mat);
    return layers * M_PI * fmax(mean_mm, 0) / 1e3 + mat->lap_m;
}

static void add_resin(struct sm_materials *one, const struct sm_mat *mat)
{
    one->resin_kg = one->glass_kg * mat->resin_per_glass * (1 + mat->waste_frac);
    one->resin_l = one->resin_kg / mat->resin_density_kg_l;
    one->waste_kg = one->glass_kg * mat->resin_per_glass * mat->waste_frac;
    one->waste_l = one->waste_kg / mat->resin_density_kg_l;
    double mixed_l = isfinite(one->kit_resin_l) ? one->kit_resin_l : one->resin_l;
    double parts = mat->parts_a + mat->parts_b;
    bool has_a = isfinite(mat->part_a_density_kg_l), has_b = isfinite(mat->part_b_density_kg_l);
    one->part_a_l = mixed_l * mat->parts_a / parts;
    one->part_b_l = mixed_l * mat->parts_b / parts;
    one->part_a_kg = one->part_a_l * (has_a ? mat->part_a_density_kg_l : mat->resin_density_kg_l);
    one->part_b_kg = one->part_b_l * (has_b ? mat->part_b_density_kg_l : mat->resin_density_kg_l);
}

enum sm_status sm_materials_for(struct sm_materials *out, double liner_length_m, double diameter_mm,
                                const struct sm_kit *kit, const struct sm_mat *mat, struct sm_error *err)
{
    enum sm_status status = check_sizes(liner_length_m, diameter_mm, mat, err);
    if (status != SM_OK) {
        return status;
    }
    struct sm_materials one = {
        .n_repairs = 1,
        .layers = kit && kit->layers > 0 ? kit->layers : mat->least_layers,
        .mat_length_m = liner_length_m,
        .mat_width_m = M_PI * diameter_mm / 1e3 + mat->lap_m,
        .kit_resin_l = kit ? kit->resin_l : SM_NAN,
        .ties = TIES_PER_REPAIR,
        .sleeves = SLEEVES_PER_REPAIR,
    };
    one.glass_m2 = one.layers * one.mat_width_m * one.mat_length_m;
    one.glass_kg = one.glass_m2 * mat->glass_kg_m2;
    one.wound_width_m = wound_width_m(diameter_mm, one.layers, mat);
    add_resin(&one, mat);
    one.thickness_mm = one.layers * sm_mat_layer_mm(mat);
    *out = one;
    return SM_OK;
}

void sm_materials_add(struct sm_materials *sum, const struct sm_materials *one)
{
    bool is_first = sum->n_repairs == 0;
    sum->layers = is_first || sum->layers == one->layers ? one->layers : 0;
    sum->mat_width_m =
        is_first || fabs(sum->mat_width_m - one->mat_width_m) < 1e-9 ? one->mat_width_m : SM_NAN;
    sum->wound_width_m =
        is_first || fabs(sum->wound_width_m - one->wound_width_m) < 1e-9 ? one->wound_width_m : SM_NAN;
    sum->thickness_mm = is_first ? one->thickness_mm : fmin(sum->thickness_mm, one->thickness_mm);
    sum->n_repairs += one->n_repairs;
    sum->mat_length_m += one->mat_length_m;
    sum->glass_m2 += one->glass_m2;
    sum->glass_kg += one->glass_kg;
    sum->resin_kg += one->resin_kg;
    sum->resin_l += one->resin_l;
    sum->kit_resin_l += one->kit_resin_l;
    sum->part_a_l += one->part_a_l;
    sum->part_b_l += one->part_b_l;
    sum->part_a_kg += one->part_a_kg;
    sum->part_b_kg += one->part_b_kg;
    sum->waste_kg += one->waste_kg;
    sum->waste_l += one->waste_l;
    sum->ties += one->ties;
    sum->sleeves += one->sleeves;
}

static enum sm_status add_repair(struct sm_materials *sum, const struct sm_repair *repair,
                                 const struct sm_sheet *sheet, const struct sm_mat *mat, struct sm_error *err)
{
    struct sm_materials one;
    enum sm_status status =
        sm_materials_for(&one, (double)repair->length_um / 1e6, sheet->segment.diameter_mm,
                         &sheet->kit[repair->kit_idx], mat, err);
    if (status == SM_OK) {
        sm_materials_add(sum, &one);
    }
    return status;
}

enum sm_status sm_materials_for_plan(struct sm_materials *sum, const struct sm_plan *plan,
                                     const struct sm_sheet *sheet, const struct sm_mat *mat, int32_t n_spares,
                                     struct sm_error *err)
{
    struct sm_materials total = {0};
    const struct sm_repair *longest = NULL;
    enum sm_status status = SM_OK;
    for (size_t i = 0; i < plan->n_repairs && status == SM_OK; i++) {
        const struct sm_repair *repair = &plan->repair[i];
        longest = !longest || repair->length_um > longest->length_um ? repair : longest;
        status = add_repair(&total, repair, sheet, mat, err);
    }
    for (int32_t i = 0; longest && i < n_spares && status == SM_OK; i++) {
        status = add_repair(&total, longest, sheet, mat, err);
    }
    if (status == SM_OK) {
        *sum = total;
    }
    return status;
}
