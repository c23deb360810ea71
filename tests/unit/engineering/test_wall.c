/*
 * Wall thickness against the two worked examples of "Trenchless Technology Piping: Installation and
 * Inspection", section 2.7 (a 48 in pipe, fully and partially deteriorated), a table of our own for small
 * bores, and what must hold for any input.
 */
#include "sm_test.h"

#include "stopmark/engineering.h"

#include <math.h>
#include <string.h>

#define MM_PER_IN 25.4

static double psi(double value)
{
    return value * SM_KPA_PER_PSI;
}

static double ft(double value)
{
    return value * SM_M_PER_FT;
}

/* What both worked examples share. */
static struct sm_wall_input handbook(enum sm_wall_condition condition)
{
    struct sm_wall_input in = sm_wall_input_default();
    in.condition = condition;
    in.diameter_m = 48 * MM_PER_IN / 1e3;
    in.head_m = ft(12);
    in.long_term_modulus_kpa = psi(125000);
    in.initial_modulus_kpa = psi(250000);
    in.flexural_strength_kpa = psi(4500);
    in.cover_m = ft(16);
    in.water_above_top_m = ft(8);
    in.soil_modulus_kpa = psi(1000);
    in.total_load_kpa = psi(14.90);
    return in;
}

static struct sm_wall_result design(const struct sm_wall_input *in)
{
    struct sm_wall_result result;
    struct sm_error err = {0};
    assert_ok(sm_wall_design(&result, in, &err), &err);
    return result;
}

/*
 * Handbook pages 109 to 114. Printed there: C 0.836, B' 0.414, Rw 0.835, P 5.20 psi, t 0.878, 0.376, 1.01,
 * 0.790 in.
 */
static void test_wall__handbook_fully_deteriorated(void **state)
{
    (void)state;
    struct sm_wall_input in = handbook(SM_WALL_FULL);
    struct sm_wall_result result = design(&in);
    assert_close(result.ovality_factor, 0.836, 0.0005);
    assert_close(result.support_factor, 0.414, 0.0005);
    assert_close(result.buoyancy_factor, 0.835, 0.0005);
    assert_close(result.water_kpa / SM_KPA_PER_PSI, 5.20, 0.005);
    assert_close(result.equation_mm[SM_WALL_X1_1] / MM_PER_IN, 0.878, 0.0005);
    assert_close(result.equation_mm[SM_WALL_X1_2] / MM_PER_IN, 0.376, 0.0005);
    assert_close(result.equation_mm[SM_WALL_X1_3] / MM_PER_IN, 1.01, 0.005);
    assert_close(result.equation_mm[SM_WALL_X1_4] / MM_PER_IN, 0.790, 0.0005);
    assert_int_equal(result.governing, SM_WALL_X1_3);
    assert_close(result.thickness_mm, 25.6, 0.05);
    assert_true(strstr(result.edition, "2007") != NULL);
}

/* Handbook pages 116 and 117: X1.1 0.878 in, X1.2 0.376 in, design 22.3 mm. */
static void test_wall__handbook_partially_deteriorated(void **state)
{
    (void)state;
    struct sm_wall_input in = handbook(SM_WALL_PARTIAL);
    struct sm_wall_result result = design(&in);
    assert_close(result.equation_mm[SM_WALL_X1_1] / MM_PER_IN, 0.878, 0.0005);
    assert_close(result.equation_mm[SM_WALL_X1_2] / MM_PER_IN, 0.376, 0.0005);
    assert_true(isnan(result.equation_mm[SM_WALL_X1_3]));
    assert_int_equal(result.governing, SM_WALL_X1_1);
    assert_close(result.thickness_mm, 22.3, 0.05);
    assert_string_equal(sm_wall_equation_name(result.governing), "X1.1");
}

/*
 * The handbook's qt of 14.90 psi stands without its sum; soil of 120 lb/ft3 leaves 0.30 psi for the live
 * load.
 */
static void test_wall__total_load_from_its_parts(void **state)
{
    (void)state;
    struct sm_wall_input in = handbook(SM_WALL_FULL);
    in.total_load_kpa = SM_NAN;
    in.soil_density_kg_m3 = 120 * 0.45359237 / (0.3048 * 0.3048 * 0.3048);
    in.live_load_kpa = psi(0.30);
    assert_close(design(&in).total_load_kpa / SM_KPA_PER_PSI, 14.90, 0.01);
    in.water_above_top_m = SM_NAN; /* 12 ft above the invert of a 4 ft pipe */
    assert_close(design(&in).total_load_kpa / SM_KPA_PER_PSI, 14.90, 0.01);
}

/* The old form divides by C^2 under the cube root: thicker by C^(-1/3). */
static void test_wall__old_edition_is_thicker(void **state)
{
    (void)state;
    static const double published[][2] = {{2, 0.942}, {3, 0.914}, {5, 0.862}}; /* our own arithmetic */
    for (size_t i = 0; i < sizeof published / sizeof *published; i++) {
        struct sm_wall_input in = handbook(SM_WALL_FULL);
        in.ovality_pct = published[i][0];
        double now = design(&in).equation_mm[SM_WALL_X1_3];
        in.edition = SM_WALL_EDITION_OLD;
        assert_close(now / design(&in).equation_mm[SM_WALL_X1_3], published[i][1], 0.0005);
    }
}

/*
 * Ours, made with the formulas the examples verify (water at 0.433 psi a foot); no published table of
 * small bores was found.
 */
static void test_wall__small_bores_stay_as_they_were(void **state)
{
    (void)state;
    static const double head_ft[] = {5, 10, 15, 20, 30};
    static const struct {
        double bore_in, mm[5];
    } rows[] = {
        {4, {1.39, 1.75, 2.00, 2.20, 2.51}},   {6, {2.09, 2.63, 3.00, 3.29, 3.76}},
        {8, {2.79, 3.50, 4.00, 4.39, 5.01}},   {10, {3.49, 4.38, 5.00, 5.49, 6.26}},
        {12, {4.18, 5.25, 6.00, 6.59, 7.52}},  {15, {5.23, 6.56, 7.50, 8.23, 9.40}},
        {18, {6.27, 7.88, 8.99, 9.88, 11.28}}, {24, {8.37, 10.50, 11.99, 13.17, 15.03}},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        for (size_t j = 0; j < 5; j++) {
            struct sm_wall_input in = handbook(SM_WALL_PARTIAL);
            in.diameter_m = rows[i].bore_in * MM_PER_IN / 1e3;
            in.head_m = ft(head_ft[j]);
            assert_close(design(&in).thickness_mm, rows[i].mm[j], 0.01);
        }
    }
}

static struct sm_wall_input any_input(struct sm_test_random *random)
{
    struct sm_wall_input in = sm_wall_input_default();
    in.condition = sm_test_int(random, 0, 1) ? SM_WALL_FULL : SM_WALL_PARTIAL;
    in.diameter_m = sm_test_uniform(random, 0.1, 1.0);
    in.ovality_pct = sm_test_uniform(random, 0.1, 8);
    in.head_m = sm_test_uniform(random, 0.5, 12);
    in.initial_modulus_kpa = sm_test_uniform(random, 1.5e6, 6e6);
    in.long_term_modulus_kpa = in.initial_modulus_kpa * sm_test_uniform(random, 0.4, 0.8);
    in.flexural_strength_kpa = sm_test_uniform(random, 2.5e4, 8e4);
    in.safety = sm_test_uniform(random, 1.5, 2.5);
    in.enhancement = sm_test_uniform(random, 4, 7);
    in.cover_m = sm_test_uniform(random, 1, 8);
    in.soil_modulus_kpa = sm_test_uniform(random, 3000, 12000);
    in.soil_density_kg_m3 = sm_test_uniform(random, 1700, 2200);
    in.water_above_top_m = sm_test_uniform(random, 0, in.cover_m);
    return in;
}

static void test_wall__holds_for_any_input(void **state)
{
    struct sm_test_random random = sm_test_seed(1216);
    (void)state;
    for (int i = 0; i < 2000; i++) {
        struct sm_wall_input in = any_input(&random), more = in;
        struct sm_wall_result result = design(&in);
        double t = result.equation_mm[SM_WALL_X1_1];
        assert_close(sm_wall_buckling_kpa(&in, t), result.water_kpa, 1e-9 * result.water_kpa);
        more.head_m *= 1.1;
        assert_true(design(&more).thickness_mm >= result.thickness_mm);
        more = in;
        more.safety *= 1.05;
        assert_true(design(&more).thickness_mm >= result.thickness_mm);
        more = in;
        more.ovality_pct *= 1.1;
        assert_true(design(&more).thickness_mm >= result.thickness_mm);
        more = in;
        more.initial_modulus_kpa *= 1.1;
        more.long_term_modulus_kpa *= 1.1;
        more.flexural_strength_kpa *= 1.1;
        assert_true(design(&more).thickness_mm <= result.thickness_mm);
        more = in;
        more.diameter_m *= 1.25;
        assert_close(design(&more).thickness_mm, 1.25 * result.thickness_mm, 1e-9 * result.thickness_mm);
    }
}

static void test_wall__round_pipe_does_not_bend(void **state)
{
    (void)state;
    struct sm_wall_input in = handbook(SM_WALL_PARTIAL);
    in.ovality_pct = 0;
    struct sm_wall_result result = design(&in);
    assert_true(isnan(result.equation_mm[SM_WALL_X1_2]));
    assert_close(result.ovality_factor, 1, 0);
    in = handbook(SM_WALL_FULL);
    in.head_m = 0; /* dry ground: soil and stiffness alone */
    result = design(&in);
    assert_true(isnan(result.equation_mm[SM_WALL_X1_1]) && isnan(result.equation_mm[SM_WALL_X1_2]));
    assert_int_equal(result.governing, SM_WALL_X1_3);
}

static void refuse(const struct sm_wall_input *in, enum sm_status expected, const char *word)
{
    struct sm_wall_result result = {.thickness_mm = -1};
    struct sm_error err = {0};
    assert_int_equal(sm_wall_design(&result, in, &err), expected);
    assert_true(strstr(err.text, word) != NULL);
    assert_true(err.remedy[0]);
    assert_close(result.thickness_mm, -1, 0); /* unchanged */
    assert_int_equal(sm_wall_design(&result, in, NULL), expected); /* whether or not the reason is asked for */
}

static void test_wall__refuses_nonsense(void **state)
{
    (void)state;
    struct sm_wall_input in = handbook(SM_WALL_PARTIAL);
    in.ovality_pct = -1;
    refuse(&in, SM_E_RANGE, "ovality");
    in = handbook(SM_WALL_PARTIAL);
    in.head_m = 0;
    refuse(&in, SM_E_RANGE, "no water");
    in = handbook(SM_WALL_PARTIAL);
    in.poisson = 1;
    refuse(&in, SM_E_RANGE, "Poisson");
    in = handbook(SM_WALL_PARTIAL);
    in.diameter_m = SM_NAN;
    refuse(&in, SM_E_RANGE, "diameter is not given");
    in = handbook(SM_WALL_PARTIAL);
    in.long_term_modulus_kpa = 2 * in.initial_modulus_kpa;
    refuse(&in, SM_E_RANGE, "long-term");
    in = handbook(SM_WALL_FULL);
    in.soil_modulus_kpa = (double)INFINITY;
    refuse(&in, SM_E_RANGE, "soil modulus");
    in = handbook(SM_WALL_FULL);
    in.total_load_kpa = SM_NAN;
    refuse(&in, SM_E_RANGE, "soil density is not given");
    in = handbook(SM_WALL_PARTIAL);
    in.long_term_modulus_kpa = 10; /* psi taken for GPa, say */
    refuse(&in, SM_E_INFEASIBLE, "sixth");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_wall__handbook_fully_deteriorated),
        cmocka_unit_test(test_wall__handbook_partially_deteriorated),
        cmocka_unit_test(test_wall__total_load_from_its_parts),
        cmocka_unit_test(test_wall__old_edition_is_thicker),
        cmocka_unit_test(test_wall__small_bores_stay_as_they_were),
        cmocka_unit_test(test_wall__holds_for_any_input),
        cmocka_unit_test(test_wall__round_pipe_does_not_bend),
        cmocka_unit_test(test_wall__refuses_nonsense),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
