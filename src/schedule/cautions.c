/*
 * What can hurt someone at this work, for every document people take to the site. Common practice, no source;
 * none of it replaces the rules that hold at the place, which it names as what decides.
 */
#include "report.h"

static const char *const cautions[] = {
    "Confined space: nobody enters a manhole or chamber without the permit, gas test, attendant and rescue "
    "means that the "
    "local rules ask for. Working from the surface is always better.",
    "Pressure: never inflate a packer outside a pipe. Regulator, gauge and relief valve are set below the "
    "packer's own limit. "
    "While it is inflated nobody stands in line with a pipe end or over an opening.",
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
    NULL,
};

const char *const *sm_schedule__cautions(void)
{
    return cautions;
}
