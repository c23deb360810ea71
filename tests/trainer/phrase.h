/**
 * @file phrase.h
 * Invents what stands on a survey picture: counters above all, and everything that a counter must not be
 * mistaken for.
 */
#ifndef SM_TRAINER_PHRASE_H
#define SM_TRAINER_PHRASE_H

#include "rng.h"

#include "stopmark/base.h"

/** Append one line of fields, about max_chars characters long at most (it may be blank). */
void phrase_make(struct sm_text *out, struct sm_test_random *rng, int max_chars);
/** Blank out what a seven-segment font cannot show. */
void phrase_only_segments(char *text);

#endif
