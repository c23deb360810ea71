/** Made-up glyphs and sightings for the tests of the counter stage. */
#ifndef COUNTER_SAMPLES_H
#define COUNTER_SAMPLES_H

#include "counter_internal.h"
#include "sm_test.h"

/** Glyphs of a text at a pitch: a blank leaves its place empty; unknown letters become SM_GLYPH_OTHER. */
size_t sample_glyphs(struct sm_counter__glyph_seen glyphs[SM_COUNTER_MAX_GLYPHS], const char *text,
                     float x0_px, float pitch_px);
/** Layout of a flush-right counter of n_slots digits with decimals. */
struct sm_counter__layout sample_layout(int32_t n_slots, int32_t decimals, int32_t fixed_digits,
                                        enum sm_unit unit);
/** Sighting of a value with p for each right digit, the rest spread evenly. */
struct sm_counter__sighting sample_sighting(const struct sm_counter__layout *layout, double time_s,
                                            int64_t counts, double p);
/** Make one slot say another digit with probability p. */
void sample_misread(struct sm_counter__sighting *sighting, int32_t slot, int32_t digit, double p);
/** Sighting of a picture without a counter. */
struct sm_counter__sighting sample_hidden(const struct sm_counter__layout *layout, double time_s);

#endif
