/* The packer's pressure band and the thrust on its ends. */
#include "stopmark/engineering.h"

#include <math.h>

double sm_end_thrust_n(double pressure_kpa, double diameter_mm)
{
    double radius_m = diameter_mm / 2e3;
    return pressure_kpa * 1e3 * M_PI * radius_m * radius_m;
}

static bool is_head(double head_m)
{
    return isnan(head_m) || (head_m >= 0 && head_m <= 200);
}

static enum sm_status cross(const struct sm_packer_pressure *band, struct sm_error *err)
{
    sm_error_set(err, SM_E_INFEASIBLE, "%s more pressure (%d kPa) than the kit may have (%d kPa)",
                 isfinite(band->test_kpa) ? "the packer's own pressure and the water outside take"
                                          : "the water outside alone takes",
                 (int)lround(isfinite(band->least_kpa) ? band->least_kpa : band->head_kpa),
                 (int)lround(band->greatest_kpa));
    sm_error_remedy(err, "lower the water, or take a kit and packer made for more pressure");
    return SM_E_INFEASIBLE;
}

enum sm_status sm_packer_pressure_for(struct sm_packer_pressure *out, const struct sm_kit *kit,
                                      double diameter_mm, double groundwater_head_m, double lateral_head_m,
                                      struct sm_error *err)
{
    if (!is_head(groundwater_head_m) || !is_head(lateral_head_m)) {
        sm_error_set(err, SM_E_RANGE, "a water head is not between 0 and 200 m");
        sm_error_remedy(err, "give it in metres above the invert");
        return SM_E_RANGE;
    }
    double head_m =
        fmax(isnan(groundwater_head_m) ? 0 : groundwater_head_m, isnan(lateral_head_m) ? 0 : lateral_head_m);
    struct sm_packer_pressure band = {
        .head_kpa = sm_water_kpa(head_m),
        .test_kpa = kit->test_pressure_kpa,
        .greatest_kpa = kit->max_pressure_kpa,
        .end_thrust_n = SM_NAN,
    };
    band.least_kpa = band.test_kpa + band.head_kpa; /* not known while the test pressure is not */
    double asked_kpa = isfinite(band.least_kpa) ? band.least_kpa : band.head_kpa;
    if (isfinite(band.greatest_kpa) && asked_kpa > band.greatest_kpa) {
        return cross(&band, err);
    }
    double pressure_kpa = isfinite(band.greatest_kpa) ? band.greatest_kpa : band.least_kpa;
    if (isfinite(pressure_kpa) && diameter_mm > 0) {
        band.end_thrust_n = sm_end_thrust_n(pressure_kpa, diameter_mm);
    }
    *out = band;
    return SM_OK;
}
