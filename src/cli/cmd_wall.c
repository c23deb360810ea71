/* stopmark wall: the least wall of a liner after ASTM F1216 appendix X1. */
#include <math.h>
#include <stdio.h>

#include "cli.h"
#include "stopmark/engineering.h"

/* option, quantity, unit taken where none is given ("" = the kind's own), field of the input, factor into the
 * field's unit */
#define WALL_QUANTITIES(X)                                                                                   \
    X(diameter, "diameter", SM_LENGTH, "mm", diameter_m)                                                     \
    X(head, "head", SM_LENGTH, "m", head_m)                                                                  \
    X(long_term_modulus, "long-term-modulus", SM_PRESSURE, "kPa", long_term_modulus_kpa)                     \
    X(initial_modulus, "initial-modulus", SM_PRESSURE, "kPa", initial_modulus_kpa)                           \
    X(flexural_strength, "flexural-strength", SM_PRESSURE, "kPa", flexural_strength_kpa)                     \
    X(ovality, "ovality", SM_PLAIN, "", ovality_pct)                                                         \
    X(safety, "safety", SM_PLAIN, "", safety)                                                                \
    X(enhancement, "enhancement", SM_PLAIN, "", enhancement)                                                 \
    X(poisson, "poisson", SM_PLAIN, "", poisson)                                                             \
    X(cover, "cover", SM_LENGTH, "m", cover_m)                                                               \
    X(water_above_top, "water-above-top", SM_LENGTH, "m", water_above_top_m)                                 \
    X(soil_modulus, "soil-modulus", SM_PRESSURE, "kPa", soil_modulus_kpa)                                    \
    X(soil_density, "soil-density", SM_DENSITY, "kg/m3", soil_density_kg_m3)                                 \
    X(live_load, "live-load", SM_PRESSURE, "kPa", live_load_kpa)                                             \
    X(total_load, "total-load", SM_PRESSURE, "kPa", total_load_kpa)

#define TAKE(id, option, quantity, unit, field)                                                              \
    static bool take_##id(void *user, const char *value, struct sm_error *err)                               \
    {                                                                                                        \
        struct sm_wall_input *input = user;                                                                  \
        return sm_parse_quantity(value, quantity, unit, &input->field, err) == SM_OK;                        \
    }
WALL_QUANTITIES(TAKE)
#undef TAKE

static bool take_condition(void *user, const char *value, struct sm_error *err)
{
    struct sm_wall_input *input = user;
    bool is_full = sm_ascii_ieq(value, "full");
    if (!is_full && !sm_ascii_ieq(value, "partial")) {
        sm_error_set(err, SM_E_FORMAT, "no condition \"%s\"", value);
        sm_error_remedy(err, "give partial or full");
        return false;
    }
    input->condition = is_full ? SM_WALL_FULL : SM_WALL_PARTIAL;
    return true;
}

/* Layers of the usual mat that give the wall, and what they leave of the bore. */
struct layers {
    int32_t n; /* 0 = more than can be told */
    double layer_mm, bore_left_frac;
};

static struct layers layers_of(const struct sm_wall_result *result)
{
    struct sm_mat mat = sm_mat_default();
    struct layers layers = {sm_mat_layers_for(&mat, result->thickness_mm), sm_mat_layer_mm(&mat), SM_NAN};
    double diameter_mm = result->dimension_ratio * result->thickness_mm;
    if (layers.n && layers.n * layers.layer_mm < diameter_mm / 2) {
        layers.bore_left_frac = sm_bore_left_frac(diameter_mm, layers.n * layers.layer_mm);
    }
    return layers;
}

static void add_layers(struct sm_text *text, const struct layers *layers)
{
    if (!isfinite(layers->bore_left_frac)) {
        return;
    }
    sm_text_addf(text, "\n%d layers of the usual mat, ", (int)layers->n);
    sm_text_add_fixed(text, layers->layer_mm, 2);
    sm_text_add(text, " mm each (from memory; the kit's own sheet comes first), leave ");
    sm_text_add_fixed(text, layers->bore_left_frac * 100, 1);
    sm_text_add(text, " % of the bore\n");
}

static void add_json(struct sm_text *text, const struct sm_wall_result *result)
{
    struct layers layers = layers_of(result);
    struct sm_json json = {.out = text};
    sm_json_open(&json, NULL, '{');
    sm_json_string(&json, "schema", "stopmark.wall/1");
    sm_json_fixed(&json, "thickness_mm", result->thickness_mm, 3);
    sm_json_string(&json, "governing", sm_wall_equation_name(result->governing));
    sm_json_open(&json, "equations_mm", '{');
    for (int i = 0; i < SM_N_WALL_EQUATIONS; i++) {
        if (!isnan(result->equation_mm[i])) {
            sm_json_fixed(&json, sm_wall_equation_name((enum sm_wall_equation)i), result->equation_mm[i], 3);
        }
    }
    sm_json_close(&json, '}');
    sm_json_fixed(&json, "dimension_ratio", result->dimension_ratio, 2);
    sm_json_fixed(&json, "water_kpa", result->water_kpa, 3);
    sm_json_fixed(&json, "total_load_kpa", result->total_load_kpa, 3);
    sm_json_fixed(&json, "ovality_factor", result->ovality_factor, 5);
    sm_json_fixed(&json, "buoyancy_factor", result->buoyancy_factor, 5);
    sm_json_fixed(&json, "support_factor", result->support_factor, 5);
    sm_json_int(&json, "mat_layers", layers.n);
    sm_json_fixed(&json, "layer_mm", layers.layer_mm, 3);
    sm_json_fixed(&json, "bore_left_frac", layers.bore_left_frac, 4);
    sm_json_string(&json, "edition", result->edition);
    sm_json_close(&json, '}');
}

static void add_words(struct sm_text *text, const struct sm_wall_result *result)
{
    sm_text_add(text, "Wall at least ");
    sm_text_add_fixed(text, result->thickness_mm, 2);
    sm_text_addf(text, " mm, governed by %s\n\n", sm_wall_equation_name(result->governing));
    for (int i = 0; i < SM_N_WALL_EQUATIONS; i++) {
        sm_text_addf(text, "  %s  ", sm_wall_equation_name((enum sm_wall_equation)i));
        if (isnan(result->equation_mm[i])) {
            sm_text_add(text, "does not apply\n");
        } else {
            sm_text_add_fixed(text, result->equation_mm[i], 2);
            sm_text_add(text, " mm\n");
        }
    }
    struct layers layers = layers_of(result);
    add_layers(text, &layers);
    sm_text_addf(text, "\n%s\nA licensed engineer signs designs; this is arithmetic.\n", result->edition);
}

static int run(int argc, char **argv)
{
#define OPTION(id, option, quantity, unit, field) {option, take_##id, true},
    static const struct sm_cli_option own[] = {{"condition", take_condition, true},
                                               WALL_QUANTITIES(OPTION){0}};
#undef OPTION
    struct sm_cli_common common = {0};
    struct sm_wall_input input = sm_wall_input_default();
    int n_operands = 0;
    enum sm_cli_parsed parsed = sm_cli_parse(&sm_cli_wall, own, &input, &common, argc, argv, &n_operands);
    if (parsed != SM_CLI_GO_ON) {
        return parsed == SM_CLI_HELP_SHOWN ? SM_CLI_DONE : SM_CLI_USAGE;
    }
    if (n_operands) {
        return sm_cli_misuse(&sm_cli_wall, "\"%s\" is no option", argv[0]);
    }
    struct sm_wall_result result;
    struct sm_error err = {0};
    if (sm_wall_design(&result, &input, &err) != SM_OK) {
        return sm_cli_fail(&err);
    }
    struct sm_text text = {0};
    (common.is_json ? add_json : add_words)(&text, &result);
    int status = sm_cli_print(&text);
    sm_text_release(&text);
    return status;
}

const struct sm_cli_command sm_cli_wall = {
    .name = "wall",
    .run = run,
    .line = "Least wall of a liner after ASTM F1216 appendix X1",
    .usage = "wall --diameter D --head H --long-term-modulus E [--condition partial|full] [OPTION]...",
    .help = "Any unit of its kind is taken: 48in, 1.2 m, 250000psi, 1.7 GPa, 120pcf.\n\n"
            "  --condition C           partial (default): the host pipe carries soil and traffic; full: it "
            "does not\n"
            "  --diameter D            mean inside diameter of the host pipe\n"
            "  --head H                water above the invert\n"
            "  --long-term-modulus E   flexural modulus after creep\n"
            "  --initial-modulus E     flexural modulus when new\n"
            "  --flexural-strength S\n"
            "  --ovality PERCENT       2\n"
            "  --safety N              2\n"
            "  --enhancement K         7\n"
            "  --poisson NU            0.3\n"
            "  full: --cover H, --water-above-top H, --soil-modulus E, --soil-density D, --live-load P,\n"
            "        or --total-load P in place of water, soil and live load\n",
};
