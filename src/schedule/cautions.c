/*
 * What can hurt someone at this work, for every document people take to the site. Common practice, no source;
 * none of it replaces the rules that hold at the place, which it names as what decides.
 */
#include "report.h"

#include <math.h>

#include "stopmark/engineering.h"

#define N_PER_KGF 9.80665
#define N_PER_LBF 4.4482216152605 /* both exact by definition */

enum { PRESSURE = 1 }; /* the caution that is told with this segment's own number */

static const char *const cautions[] = {
    "Confined space: nobody enters a manhole or chamber without the permit, gas test, attendant and rescue "
    "means that the "
    "local rules ask for. Working from the surface is always better.",
    "Pressure: never inflate a packer outside a pipe. Regulator, gauge and relief valve are set below its limit. "
    "Inflated, nobody stands in line with a pipe end or over an opening",
    "Resin: gloves, eye protection and air as the resin's safety sheet says. Mixed resin heats up in the "
    "bucket: mix what is "
    "needed, keep it shallow, stop when its working time has run out.",
    "Traffic: set up signs and barriers as the road's owner asks before a cover is lifted; covers off are "
    "guarded.",
    "Flow: stop or divert it, connections included, and release it slowly. Watch for rain and for pumps "
    "upstream.",
    "The owner's engineer and licensed practice decide; this document gives places, not permission. Where "
    "the camera "
    "contradicts it, the camera is right.",
};

/* The greatest push of a packer's end on this segment, and the pressure that makes it; 0 = not known. */
static double greatest_thrust_n(double *pressure_kpa, const struct sm_schedule *s)
{
    double greatest_n = 0;
    for (size_t i = 0; i < s->plan->n_repairs; i++) {
        const struct sm_kit *kit = sm_schedule__kit(s, &s->plan->repair[i]);
        struct sm_packer_pressure band;
        bool is_known = kit && sm_packer_pressure_for(&band, kit, s->segment->diameter_mm, s->sheet->access.groundwater_head_m,
                                                      s->sheet->access.lateral_head_m, NULL) == SM_OK;
        if (is_known && band.end_thrust_n > greatest_n) {
            greatest_n = band.end_thrust_n;
            *pressure_kpa = isfinite(band.greatest_kpa) ? band.greatest_kpa : band.least_kpa;
        }
    }
    return greatest_n;
}

/* Force as the weight people know, rounded up to two digits. */
static void add_thrust(struct sm_text *out, const struct sm_schedule *s)
{
    double pressure_kpa = 0, thrust_n = greatest_thrust_n(&pressure_kpa, s);
    if (thrust_n > 0) {
        double weight = thrust_n / (s->people_unit == SM_UNIT_FT ? N_PER_LBF : N_PER_KGF);
        double step = pow(10, floor(log10(weight)) - 1);
        sm_text_add(out, ": at ");
        sm_schedule__add_pressure(out, s, pressure_kpa);
        sm_text_add(out, " its end pushes with the weight of ");
        sm_text_add_number(out, ceil(weight / step - 1e-6) * step, 0, 1);
        sm_text_add(out, s->people_unit == SM_UNIT_FT ? " lb" : " kg");
    }
    sm_text_add(out, ".");
}

bool sm_schedule__add_caution(struct sm_text *out, const struct sm_schedule *s, size_t idx)
{
    if (idx >= sizeof cautions / sizeof *cautions) {
        return false;
    }
    sm_text_add(out, cautions[idx]);
    if (idx == PRESSURE) {
        add_thrust(out, s);
    }
    return true;
}
