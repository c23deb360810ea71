/*
 * Wall thickness by ASTM F1216 appendix X1. Inside everything is SI (m, kPa); the standard's own constants
 * are in inch-pound units and are converted where they stand.
 *
 *   D diameter  t wall  DR = D/t  EL long-term, E initial modulus  S strength  nu Poisson  N safety  K
 * enhancement q ovality, %   C = [(1 - q/100) / (1 + q/100)^2]^3   P water at the invert   qt total load E's
 * soil modulus Rw = 1 - 0.33 Hw/H, at least 0.67     B' = 1 / (1 + 4 exp(-0.065 H)), H in feet
 *
 *   X1.1  P = 2 K EL / (1 - nu^2) x 1/(DR - 1)^3 x C/N
 *   X1.2  1.5 q/100 (1 + q/100) DR^2 - 0.5 (1 + q/100) DR = S / (P N)
 *   X1.3  qt = 1/N [32 Rw B' E's C EL I/D^3]^(1/2),  I = t^3/12
 *   X1.4  E / (12 DR^3) >= 0.093 psi
 *
 * The handbook the equations were read in prints "2.178" for e and "1 - q/100" in C's denominator on one
 * page; its results come out only with e and "1 + q/100", as on its other pages.
 */
#include "stopmark/engineering.h"

#include <math.h>

#define WATER_LB_PER_FT3 62.4
#define IN2_PER_FT2 144.0
#define SUPPORT_PER_FT 0.065
#define LEAST_BUOYANCY 0.67
#define LEAST_STIFFNESS_KPA (0.093 * SM_KPA_PER_PSI)
#define GRAVITY_M_S2 9.80665
#define THICKEST_SHARE (1.0 / 6.0) /* of the diameter: thicker is no liner and outside thin-wall theory */
#define MM_PER_M 1e3

const char *sm_wall_equation_name(enum sm_wall_equation equation)
{
    static const char *const names[SM_N_WALL_EQUATIONS] = {"X1.1", "X1.2", "X1.3", "X1.4"};
    return names[equation];
}

double sm_water_kpa(double head_m)
{
    return head_m / SM_M_PER_FT * (WATER_LB_PER_FT3 / IN2_PER_FT2) * SM_KPA_PER_PSI;
}

double sm_bore_left_frac(double diameter_mm, double thickness_mm)
{
    double share = 1 - 2 * thickness_mm / diameter_mm;
    return share > 0 ? share * share : 0;
}

struct sm_wall_input sm_wall_input_default(void)
{
    return (struct sm_wall_input){
        .condition = SM_WALL_PARTIAL,
        .edition = SM_WALL_EDITION_2007,
        .diameter_m = SM_NAN,
        .ovality_pct = 2,
        .head_m = SM_NAN,
        .long_term_modulus_kpa = SM_NAN,
        .initial_modulus_kpa = SM_NAN,
        .flexural_strength_kpa = SM_NAN,
        .poisson = 0.3,
        .safety = 2,
        .enhancement = 7,
        .cover_m = SM_NAN,
        .water_above_top_m = SM_NAN,
        .soil_modulus_kpa = SM_NAN,
        .soil_density_kg_m3 = SM_NAN,
        .live_load_kpa = 0,
        .total_load_kpa = SM_NAN,
    };
}

/* ---- input that makes sense */

/* A value's range: least < value (or <=) and value <= most. */
struct range {
    const char *name;
    double value, least, most;
    bool may_be_least;
    const char *says; /* the range in words */
};

static enum sm_status check_ranges(const struct range *range, size_t n, struct sm_error *err)
{
    for (size_t i = 0; i < n; i++) {
        if (isnan(range[i].value)) {
            sm_error_set(err, SM_E_RANGE, "the %s is not given", range[i].name);
            sm_error_remedy(err, "give it; it must be %s", range[i].says);
            return SM_E_RANGE;
        }
        bool is_above =
            range[i].may_be_least ? range[i].value >= range[i].least : range[i].value > range[i].least;
        if (!is_above || !(range[i].value <= range[i].most)) {
            sm_error_set(err, SM_E_RANGE, "the %s makes no sense", range[i].name);
            sm_error_remedy(err, "it must be %s", range[i].says);
            return SM_E_RANGE;
        }
    }
    return SM_OK;
}

static enum sm_status check_liner(const struct sm_wall_input *in, struct sm_error *err)
{
    const struct range ranges[] = {
        {"diameter", in->diameter_m, 0.02, 10, true, "between 20 mm and 10 m"},
        {"ovality", in->ovality_pct, 0, 25, true, "between 0 and 25 percent"},
        {"water head above the invert", in->head_m, 0, 200, true, "between 0 and 200 m"},
        {"long-term modulus", in->long_term_modulus_kpa, 0, 1e9, false, "above 0"},
        {"flexural strength", in->flexural_strength_kpa, 0, 1e8, false, "above 0"},
        {"Poisson ratio", in->poisson, 0, 0.5, true, "between 0 and 0.5"},
        {"safety factor", in->safety, 1, 20, true, "between 1 and 20"},
        {"enhancement factor", in->enhancement, 1, 20, true, "between 1 and 20"},
    };
    return check_ranges(ranges, sizeof ranges / sizeof *ranges, err);
}

static enum sm_status check_soil(const struct sm_wall_input *in, struct sm_error *err)
{
    bool has_total = !isnan(in->total_load_kpa), has_water = !isnan(in->water_above_top_m);
    const struct range ranges[] = {
        {"initial modulus", in->initial_modulus_kpa, 0, 1e9, false, "above 0"},
        {"cover", in->cover_m, 0, 200, false, "above 0 and at most 200 m"},
        {"soil modulus", in->soil_modulus_kpa, 0, 1e6, false, "above 0"},
        {"live load", in->live_load_kpa, 0, 1e5, true, "0 or more"},
        {"water above the top", has_water ? in->water_above_top_m : 0, 0, 200, true, "between 0 and 200 m"},
        {"total load", has_total ? in->total_load_kpa : 1, 0, 1e6, false, "above 0"},
        {"soil density", has_total ? 1 : in->soil_density_kg_m3, 0, 5000, false,
         "above 0 and at most 5000 kg/m3"},
    };
    return check_ranges(ranges, sizeof ranges / sizeof *ranges, err);
}

static enum sm_status check(const struct sm_wall_input *in, struct sm_error *err)
{
    enum sm_status status = check_liner(in, err);
    if (status == SM_OK && in->condition == SM_WALL_FULL) {
        status = check_soil(in, err);
    }
    if (status == SM_OK && in->long_term_modulus_kpa > in->initial_modulus_kpa) {
        sm_error_set(err, SM_E_RANGE, "the long-term modulus is larger than the initial one");
        sm_error_remedy(err, "creep only lowers it; half of the initial one is usual");
        return SM_E_RANGE;
    }
    if (status == SM_OK && in->condition == SM_WALL_PARTIAL && in->head_m <= 0) {
        sm_error_set(err, SM_E_RANGE, "no water stands above the invert, so X1.1 and X1.2 ask for no wall");
        sm_error_remedy(
            err, "give the highest water to be expected, or design for a fully deteriorated pipe");
        return SM_E_RANGE;
    }
    return status;
}

/* ---- the equations, thickness in m */

static double ovality_factor(double ovality_pct)
{
    double q = ovality_pct / 100;
    return pow((1 - q) / ((1 + q) * (1 + q)), 3);
}

static double buckling_m(const struct sm_wall_input *in, double water_kpa)
{
    double support = 2 * in->enhancement * in->long_term_modulus_kpa * ovality_factor(in->ovality_pct);
    double load = water_kpa * in->safety * (1 - in->poisson * in->poisson);
    return water_kpa > 0 ? in->diameter_m / (cbrt(support / load) + 1) : SM_NAN;
}

double sm_wall_buckling_kpa(const struct sm_wall_input *in, double thickness_mm)
{
    double ratio = in->diameter_m * MM_PER_M / thickness_mm;
    double support = 2 * in->enhancement * in->long_term_modulus_kpa * ovality_factor(in->ovality_pct);
    return support / ((1 - in->poisson * in->poisson) * pow(ratio - 1, 3) * in->safety);
}

static double bending_m(const struct sm_wall_input *in, double water_kpa)
{
    double q = in->ovality_pct / 100;
    double a = 1.5 * q * (1 + q), b = 0.5 * (1 + q), c = in->flexural_strength_kpa / (water_kpa * in->safety);
    if (!(water_kpa > 0) || !(a > 0)) {
        return SM_NAN; /* a round pipe does not bend */
    }
    return in->diameter_m * 2 * a / (b + sqrt(b * b + 4 * a * c));
}

static double soil_buckling_m(const struct sm_wall_input *in, const struct sm_wall_result *factors)
{
    bool is_old = in->edition == SM_WALL_EDITION_OLD;
    double load = in->safety * factors->total_load_kpa / (is_old ? factors->ovality_factor : 1);
    double support = 32 * factors->buoyancy_factor * factors->support_factor * in->soil_modulus_kpa *
                     (is_old ? 1 : factors->ovality_factor) * in->long_term_modulus_kpa / 12;
    return in->diameter_m * cbrt(load * load / support);
}

static double stiffness_m(const struct sm_wall_input *in)
{
    return in->diameter_m * cbrt(12 * LEAST_STIFFNESS_KPA / in->initial_modulus_kpa);
}

/* ---- the design */

static void find_soil_factors(struct sm_wall_result *result, const struct sm_wall_input *in)
{
    double water_m =
        isnan(in->water_above_top_m) ? fmax(0, in->head_m - in->diameter_m) : in->water_above_top_m;
    double soil_kpa_m = in->soil_density_kg_m3 * GRAVITY_M_S2 / 1e3;
    result->buoyancy_factor = fmax(LEAST_BUOYANCY, 1 - 0.33 * water_m / in->cover_m);
    result->support_factor = 1 / (1 + 4 * exp(-SUPPORT_PER_FT * in->cover_m / SM_M_PER_FT));
    result->total_load_kpa = in->total_load_kpa;
    if (isnan(in->total_load_kpa)) {
        result->total_load_kpa =
            sm_water_kpa(water_m) + soil_kpa_m * in->cover_m * result->buoyancy_factor + in->live_load_kpa;
    }
}

static void find_thickness(struct sm_wall_result *result, const struct sm_wall_input *in)
{
    result->equation_mm[SM_WALL_X1_1] = buckling_m(in, result->water_kpa) * MM_PER_M;
    result->equation_mm[SM_WALL_X1_2] = bending_m(in, result->water_kpa) * MM_PER_M;
    result->equation_mm[SM_WALL_X1_3] = result->equation_mm[SM_WALL_X1_4] = SM_NAN;
    if (in->condition == SM_WALL_FULL) {
        result->equation_mm[SM_WALL_X1_3] = soil_buckling_m(in, result) * MM_PER_M;
        result->equation_mm[SM_WALL_X1_4] = stiffness_m(in) * MM_PER_M;
    }
    for (int i = 0; i < SM_N_WALL_EQUATIONS; i++) {
        if (result->equation_mm[i] > result->thickness_mm) {
            result->thickness_mm = result->equation_mm[i];
            result->governing = (enum sm_wall_equation)i;
        }
    }
    result->dimension_ratio = in->diameter_m * MM_PER_M / result->thickness_mm;
}

enum sm_status sm_wall_design(struct sm_wall_result *result, const struct sm_wall_input *input,
                              struct sm_error *err)
{
    enum sm_status status = check(input, err);
    if (status != SM_OK) {
        return status;
    }
    struct sm_wall_result design = {
        .water_kpa = sm_water_kpa(input->head_m),
        .ovality_factor = ovality_factor(input->ovality_pct),
        .total_load_kpa = SM_NAN,
        .buoyancy_factor = SM_NAN,
        .support_factor = SM_NAN,
        .edition = input->edition == SM_WALL_EDITION_2007
                       ? "ASTM F1216 appendix X1, X1.3 as since 2007 (C inside the root)"
                       : "ASTM F1216 appendix X1, X1.3 as before 2007 (C before the root)",
    };
    if (input->condition == SM_WALL_FULL) {
        find_soil_factors(&design, input);
    }
    find_thickness(&design, input);
    if (!(design.thickness_mm <= THICKEST_SHARE * input->diameter_m * MM_PER_M)) {
        sm_error_set(err, SM_E_INFEASIBLE, "the load asks for a wall of more than a sixth of the diameter");
        sm_error_remedy(
            err, "check the units of the loads and moduli; a liner is not the answer to such a load");
        return SM_E_INFEASIBLE;
    }
    *result = design;
    return SM_OK;
}
