/**
 * @file engineering.h
 * The numbers behind a liner: wall thickness, mat and resin, working and cure time, pressure, the day's time plan.
 * Nothing here decides; every number comes with what it was made from, and is refused where its source says nothing.
 * A licensed engineer signs designs, the resin's and the packer's own sheets come before all of this.
 */
#ifndef STOPMARK_ENGINEERING_H
#define STOPMARK_ENGINEERING_H

#include "stopmark/model.h"

/* ---- wall thickness ---------------------------------------------------------------------------------------- */

enum sm_wall_condition {
    SM_WALL_PARTIAL, /**< the host pipe carries soil and traffic; the liner holds the groundwater */
    SM_WALL_FULL,    /**< the host pipe carries nothing for sure */
};
/** How equation X1.3 treats the ovality factor C. */
enum sm_wall_edition {
    SM_WALL_EDITION_2007, /**< C inside the root, since the 2007 editions */
    SM_WALL_EDITION_OLD,  /**< C before the root, as until then: thicker walls (from memory) */
};
enum sm_wall_equation { SM_WALL_X1_1, SM_WALL_X1_2, SM_WALL_X1_3, SM_WALL_X1_4, SM_N_WALL_EQUATIONS };
/** "X1.1" ... */
const char *sm_wall_equation_name(enum sm_wall_equation equation);

/** Start from sm_wall_input_default(). SM_NAN where a value is not given. */
struct sm_wall_input {
    enum sm_wall_condition condition;
    enum sm_wall_edition edition;
    double diameter_m;             /**< mean inside diameter of the host pipe */
    double ovality_pct;            /**< 100 x (largest - mean) / mean diameter; 2 */
    double head_m;                 /**< water above the invert; 0 = none */
    double long_term_modulus_kpa;  /**< flexural modulus after creep */
    double initial_modulus_kpa;    /**< flexural modulus when new */
    double flexural_strength_kpa;
    double poisson;                /**< 0.3 */
    double safety;                 /**< N, 2 */
    double enhancement;            /**< K, support by the host pipe, 7 */
    double cover_m;                /**< full: soil above the top of the pipe */
    double water_above_top_m;      /**< full: SM_NAN = head less the diameter, not below 0 */
    double soil_modulus_kpa;       /**< full: modulus of soil reaction E's */
    double soil_density_kg_m3;     /**< full, unless total_load_kpa is given */
    double live_load_kpa;          /**< full: at the pipe, 0 */
    double total_load_kpa;         /**< full: all external pressure qt; SM_NAN = from water, soil and live load */
};
struct sm_wall_result {
    double thickness_mm; /**< the largest of the equations that apply */
    enum sm_wall_equation governing;
    double equation_mm[SM_N_WALL_EQUATIONS]; /**< SM_NAN where one does not apply */
    double dimension_ratio;   /**< diameter / thickness */
    double water_kpa;         /**< external water pressure at the invert, P */
    double total_load_kpa;    /**< qt; SM_NAN for partial */
    double ovality_factor;    /**< C */
    double buoyancy_factor;   /**< Rw; SM_NAN for partial */
    double support_factor;    /**< B'; SM_NAN for partial */
    const char *edition;      /**< in words, static */
};

/** Defaults of the field comments; everything else SM_NAN, condition partial, edition 2007. */
struct sm_wall_input sm_wall_input_default(void);
/**
 * Least wall of a liner for external loads on a gravity pipe.
 * partial: the larger of X1.1 (buckling) and X1.2 (bending at the ovality); full: of X1.1 to X1.4. X1.1 and X1.2 need
 * water above the invert, X1.2 an ovality above 0.
 * @return SM_OK; SM_E_RANGE a value is missing or makes no sense, its name in err; SM_E_INFEASIBLE no wall thinner than
 *         a sixth of the diameter is enough.
 * @source ASTM F1216 appendix X1, as printed in "Trenchless Technology Piping: Installation and Inspection", section
 *         2.7 (X1.1 to X1.4 and both worked examples); the old form of X1.3 from memory.
 */
enum sm_status sm_wall_design(struct sm_wall_result *result, const struct sm_wall_input *input,
                              struct sm_error *err) SM_CHECKED;
/** Water pressure at which a wall of thickness_mm just meets X1.1 with the input's other values (its head is not used). */
double sm_wall_buckling_kpa(const struct sm_wall_input *input, double thickness_mm);
/** Pressure of a column of water. @source 62.4 lb/ft3, the standard's own value */
double sm_water_kpa(double head_m);
/** Share of the pipe's cross-section left inside a wall, 0 to 1. Plain geometry. */
double sm_bore_left_frac(double diameter_mm, double thickness_mm);

/* ---- mat and resin ----------------------------------------------------------------------------------------- */

/** The defaults of the field comments (model.h). */
struct sm_mat sm_mat_default(void);
/** Wall that one layer gives: glass and resin by mass balance. SM_NAN when a value is not above 0. */
double sm_mat_layer_mm(const struct sm_mat *mat);
/** Share of glass in the wall by volume. */
double sm_mat_glass_frac(const struct sm_mat *mat);
/** Fewest layers for a wall; at least mat's own least. 0 when it cannot be told. */
int32_t sm_mat_layers_for(const struct sm_mat *mat, double thickness_mm);

/** What to load for repairs. All amounts of one repair, or summed. */
struct sm_materials {
    int32_t n_repairs;
    int32_t layers;         /**< of one repair; 0 in a sum of different ones */
    double mat_length_m;    /**< of each layer, or the sum over liners */
    double mat_width_m;     /**< of each layer: round the pipe and the lap; SM_NAN in a sum of different ones */
    double wound_width_m;   /**< of one mat wound that often instead: all its turns and the lap; SM_NAN likewise */
    double glass_m2, glass_kg;
    double resin_kg, resin_l;      /**< by mass balance, waste included */
    double waste_kg, waste_l;      /**< what of it the waste is */
    double kit_resin_l;            /**< as the kits say, SM_NAN when one does not */
    double part_a_l, part_b_l;     /**< of kit_resin_l where it is given, else of resin_l */
    double part_a_kg, part_b_kg;   /**< of the same, by the parts' own densities */
    double thickness_mm;           /**< of one repair's wall; the thinnest in a sum */
    int32_t ties, sleeves;         /**< four ties; two sleeves: one for the rehearsal, one live (common practice) */
};
/**
 * Mat and resin for one liner. The kit's layers are used; where it says none, mat->least_layers.
 * @return SM_OK; SM_E_RANGE a length, diameter or mat value that makes no sense.
 */
enum sm_status sm_materials_for(struct sm_materials *out, double liner_length_m, double diameter_mm,
                                const struct sm_kit *kit, const struct sm_mat *mat, struct sm_error *err) SM_CHECKED;
/** Add one to a sum that started as {0}. */
void sm_materials_add(struct sm_materials *sum, const struct sm_materials *one);

/**
 * What to load for a whole plan, with spares of the longest liner in it.
 * @param n_spares not below 0; 0 = what the repairs themselves take.
 * @param sum [out] all 0 when the plan has no repairs.
 */
enum sm_status sm_materials_for_plan(struct sm_materials *sum, const struct sm_plan *plan, const struct sm_sheet *sheet,
                                     const struct sm_mat *mat, int32_t n_spares, struct sm_error *err) SM_CHECKED;

/* ---- working and cure time --------------------------------------------------------------------------------- */

struct sm_cure_time {
    double working_min; /**< whole minutes, rounded down */
    double cure_min;    /**< whole minutes, rounded up */
    bool is_between_rows;
};
/**
 * Times at a temperature from the kit's own table; between two rows the logarithm of the time is taken as straight in
 * the temperature. Nothing is said outside the table's rows.
 * @param name of the table's rows, as in sm_kit.cure (ASCII case ignored); NULL = none.
 * @return SM_OK; SM_E_NOTFOUND no table for the kit, or no temperature (SM_NAN); SM_E_RANGE outside the table.
 */
enum sm_status sm_cure_time_at(struct sm_cure_time *out, const struct sm_sheet *sheet, const char *name,
                               double temperature_c, struct sm_error *err) SM_CHECKED;

/* ---- packer pressure --------------------------------------------------------------------------------------- */

struct sm_packer_pressure {
    double head_kpa;     /**< water outside: the larger of groundwater and what stands in connections */
    double test_kpa;     /**< what the packer alone takes to fill a piece of the same pipe; SM_NAN = to be noted on the day */
    double least_kpa;    /**< test and head; SM_NAN while the test pressure is not known */
    double greatest_kpa; /**< the kit's limit, SM_NAN = not said */
    double end_thrust_n; /**< of an unrestrained end at the greatest (else the least) pressure; SM_NAN = not known */
};
/**
 * Pressure band of the packer while the resin cures: above the water outside, never above the kit's limit.
 * @param lateral_head_m water that may stand in a connection above the invert, 0 = none.
 * @return SM_OK; SM_E_INFEASIBLE the least exceeds the greatest; SM_E_RANGE a value that makes no sense.
 * @source pressure above groundwater and lateral head: City of Nashua NH, cured-in-place pipe specification
 */
enum sm_status sm_packer_pressure_for(struct sm_packer_pressure *out, const struct sm_kit *kit, double diameter_mm,
                                      double groundwater_head_m, double lateral_head_m, struct sm_error *err) SM_CHECKED;
/** Force on an end plug of this bore. Plain geometry. */
double sm_end_thrust_n(double pressure_kpa, double diameter_mm);

/* ---- the day ----------------------------------------------------------------------------------------------- */

/** The defaults of the field comments (model.h). */
struct sm_day_rules sm_day_rules_default(void);

enum sm_day_kind {
    SM_DAY_SET_UP, SM_DAY_PREPARE, SM_DAY_REHEARSAL, SM_DAY_WET_OUT, SM_DAY_PUSH, SM_DAY_INFLATE, SM_DAY_CURE,
    SM_DAY_DEFLATE, SM_DAY_LOOK,
};
const char *sm_day_kind_name(enum sm_day_kind kind); /**< "set up", "prepare", ... */

struct sm_day_step {
    enum sm_day_kind kind;
    int32_t repair_idx; /**< into the plan's repairs, -1 = the whole segment */
    double start_min, end_min; /**< from the start of work, pauses not counted */
};
/** One repair's clock, minutes from the start of work. */
struct sm_day_repair {
    double mixed_min;          /**< parts mixed: working time begins */
    double inflated_min;       /**< packer inflated */
    double latest_inflate_min; /**< working time over: past this the liner is not used */
    double deflate_min;        /**< earliest */
    double end_min;
    double margin_min;         /**< latest_inflate less inflated; below 0 it cannot be done like this */
    const char *trouble;       /**< why the times are not known or do not fit, NULL = none */
};
/** Free with sm_day_plan_free(). */
struct sm_day_plan {
    struct sm_arena *arena;
    size_t n_steps;
    const struct sm_day_step *step; /**< in order; of a repair without cure times only those up to the push */
    size_t n_repairs;
    const struct sm_day_repair *repair; /**< as in the plan */
    int32_t n_in_shift;        /**< repairs done within shift_min, in order, up to the first in trouble */
    bool has_trouble;
};
/**
 * One crew, one packer, one repair after the other in the plan's order.
 * @param alignment for the pipe's length, where the crew enters at the far end.
 */
enum sm_status sm_day_plan_make(struct sm_day_plan **out, const struct sm_plan *plan, const struct sm_sheet *sheet,
                                const struct sm_alignment *alignment, const struct sm_day_rules *rules,
                                struct sm_error *err) SM_CHECKED;
void sm_day_plan_free(struct sm_day_plan **day);

#endif
