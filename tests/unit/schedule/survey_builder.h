/* Invented surveys for the tests of the schedule's documents, made by hand so that every number is known. */
#ifndef SURVEY_BUILDER_H
#define SURVEY_BUILDER_H

#include <math.h>

#include "stopmark/schedule.h"

enum survey_kind {
    SURVEY_METRES,  /* 43.80 m, twelve observations, four repairs, flags, one unrepaired */
    SURVEY_FEET,    /* the same pipe for a crew with an inch tape, working from the far end over the rim */
    SURVEY_EMPTY,   /* a sound pipe: nodes only, no length known, no repair */
    SURVEY_MANY,    /* 60 repairs on 240 m */
    SURVEY_LONG,    /* very long names and remarks */
    SURVEY_HOSTILE, /* markup, formulas, control characters and broken UTF-8 in every string */
    SURVEY_SHORT,   /* two observations and one repair: for tests that repeat a document very often */
};
#define N_SURVEY_KINDS 7

struct survey {
    struct sm_schedule schedule;
    struct sm_sheet sheet;
    struct sm_obslog log;
    struct sm_trace trace;
    struct sm_alignment alignment;
    struct sm_plan plan;
    struct sm_codes *codes; /* only with SURVEY_METRES */
    struct sm_arena *arena;
};
#define UNKNOWN ((double)NAN)

void survey_build(struct survey *survey, enum survey_kind kind);
void survey_release(struct survey *survey);
/* Give it pictures: writes stills/ below dir (needs the ffmpeg program) and names them. */
void survey_add_stills(struct survey *survey, const char *dir);

#endif
