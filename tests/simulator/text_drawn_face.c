/**
 * @file text_drawn_face.c
 * The face that belongs to a number.
 */
#include "text_drawn_internal.h"

#include "sm_random.h"

#include <math.h>
#include <string.h>

static const char *const prefix[FACE_KINDS] = {"cells:", "strokes:", "segments:", "dots:", "bursts:"};

enum face_kind sm_text__face_kind(const char *font)
{
    int k = 0;
    while (k < FACE_KINDS && strncmp(font, prefix[k], strlen(prefix[k])) != 0) {
        k++;
    }
    return (enum face_kind)k;
}

bool sm_text__face_number(int64_t *number, const char *font)
{
    enum face_kind kind = sm_text__face_kind(font);
    return kind != FACE_KINDS && sm_parse_int(font + strlen(prefix[kind]), 0, INT32_MAX, number);
}

bool sm_text__is_drawn_font(const char *font)
{
    return sm_text__face_kind(font) != FACE_KINDS;
}

bool sm_text__drawn_font_exists(const char *font)
{
    int64_t number;
    return sm_text__face_number(&number, font);
}

static bool chance(struct sm_test_random *rng, double probability)
{
    return sm_test_uniform(rng, 0.0, 1.0) < probability;
}

/** Bitmap cells: rows of a digit, and columns to go with them; two pixels of pen only where there is room. */
static void choose_cell(struct face *face, struct sm_test_random *rng)
{
    static const int8_t rows[] = {6, 7, 7, 7, 8, 8, 9, 9, 10, 10, 11, 12, 12, 14};
    face->rows = rows[sm_test_int(rng, 0, (int64_t)sizeof rows - 1)];
    face->columns = (int32_t)fmax(4.0, round(face->rows * sm_test_uniform(rng, 0.5, 0.78)));
    face->pen_px = face->rows >= 9 && face->columns >= 7 && chance(rng, 0.5) ? 2 : 1;
    face->rounding = chance(rng, 0.25) ? 0.0 : chance(rng, 0.7) ? 1.0 : 2.0; /* pixels */
    face->slant = 0.0;
    face->space = chance(rng, 0.75) ? 1.0 : 2.0; /* pixels */
    face->is_proportional = chance(rng, 0.15);
    face->is_point_in_gap = false;
    if (face->rows < 8 || face->columns < 5 + 2 * face->pen_px) {
        face->form[0] = 0; /* no room for a slash: it would be an 8 */
    }
}

static void choose_display(struct face *face, struct sm_test_random *rng)
{
    static const uint8_t tails[10] = {0, 4, 1, 2, 2, 1, 3, 1, 0, 3},
                         bare[10] = {0, 4, 1, 2, 2, 1, 2, 5, 0, 2};
    for (int digit = 0; digit < 10; digit++) {
        face->form[digit] = chance(rng, 0.7) ? tails[digit] : bare[digit];
    }
    face->form[1] = chance(rng, 0.85) ? 4 : 5; /* right, left */
    face->pen = sm_test_uniform(rng, 0.06, 0.19);
    face->aspect = sm_test_uniform(rng, 0.42, 0.68);
    face->slant = chance(rng, 0.3) ? 0.0 : sm_test_uniform(rng, 0.02, 0.17);
    face->space = sm_test_uniform(rng, 0.1, 0.42);
    face->gap = sm_test_uniform(rng, 0.0, 0.06);
    face->dark = chance(rng, 0.12) ? sm_test_uniform(rng, 0.04, 0.2) : 0.0;
    face->is_pointed = chance(rng, 0.7);
    face->is_point_in_gap = chance(rng, 0.6);
    face->is_proportional = chance(rng, 0.15); /* a thin 1 */
}

/** Dots apart from each other in both directions, or in lines that stand apart. */
static void choose_dots(struct face *face, struct sm_test_random *rng)
{
    choose_cell(face, rng);
    face->pen_px = 1;
    face->rounding = chance(rng, 0.6) ? 1.0 : 0.0;
    face->dot_height = sm_test_uniform(rng, 0.45, 0.9);
    face->dot_width = chance(rng, 0.35) ? 1.0 : face->dot_height * sm_test_uniform(rng, 0.9, 1.1);
}

struct face sm_text__face_of(enum face_kind kind, int64_t number)
{
    /* The faces of the first three kinds were numbered before there were more. */
    uint64_t first = kind <= FACE_SEGMENTS ? 0x5eedface00U : 0x70d07face00U;
    struct sm_test_random rng = {first + (uint64_t)number * 3 + (uint64_t)kind};
    struct face face = {.kind = kind, .waist = sm_test_uniform(&rng, 0.42, 0.58)};
    for (int digit = 0; digit < 10; digit++) {
        face.form[digit] = (uint8_t)sm_test_int(&rng, 0, SM_TEXT_DIGIT_FORMS - 1);
    }
    face.aspect = sm_test_uniform(&rng, 0.42, 0.78);
    face.pen = sm_test_uniform(&rng, 0.06, 0.2);
    face.form[0] = face.pen > 0.15 ? 0 : face.form[0]; /* a slash would fill it */
    face.rounding = sm_test_uniform(&rng, 0.0, 1.0);
    face.slant = chance(&rng, 0.8) ? 0.0 : sm_test_uniform(&rng, -0.03, 0.2);
    face.space = sm_test_uniform(&rng, 0.08, 0.3);
    face.is_proportional = chance(&rng, 0.5);
    face.is_point_in_gap = chance(&rng, 0.1);
    face.has_round_ends = chance(&rng, 0.5);
    face.has_round_dots = chance(&rng, 0.5);
    if (kind == FACE_CELLS) {
        choose_cell(&face, &rng);
    } else if (kind == FACE_DOTS) {
        choose_dots(&face, &rng);
    } else if (kind == FACE_SEGMENTS || kind == FACE_BURSTS) {
        choose_display(&face, &rng);
    }
    return face;
}
