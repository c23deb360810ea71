/**
 * @file text_drawn_font.h
 * Which names of fonts stand for faces drawn from a number: "cells:N", "dots:N", "strokes:N", "segments:N",
 * "bursts:N", N from 0 to 2^31 - 1.
 */
#ifndef SM_TEXT_DRAWN_FONT_H
#define SM_TEXT_DRAWN_FONT_H

#include <stdbool.h>
#include <stdint.h>

/** Whether the name begins as that of a drawn face does. */
bool sm_text__is_drawn_font(const char *font);
/** Whether it goes on with a number. */
bool sm_text__drawn_font_exists(const char *font);

/** How a digit is written; each has SM_TEXT_DIGIT_FORMS ways. The syntax stands beside the table. */
#define SM_TEXT_DIGIT_FORMS 6
const char *sm_text__digit_strokes(int digit, int form);
/** How any other character is written; a box where nothing is known. Capitals stand in for small letters. */
const char *sm_text__sign_strokes(uint32_t codepoint);

#endif
