/** Drawn texts must stand where their geometry says, since the simulator's and the trainer's truth is taken
 * from it. */
#include "sm_test.h"

#include "text_render.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static struct sm_caption render(const struct sm_caption_style *style, const char *text)
{
    struct sm_caption caption = {0};
    struct sm_error err;
    assert_ok(sm_caption_render(&caption, style, text, &err), &err);
    return caption;
}

static int alpha_at(const struct sm_caption *caption, int32_t x, int32_t y)
{
    return caption->rgba[4 * (y * caption->width_px + x) + 3];
}

/** Most alpha of a column or row. */
static int most_in_column(const struct sm_caption *caption, int32_t x)
{
    int most = 0;
    for (int32_t y = 0; y < caption->height_px; y++) {
        most = alpha_at(caption, x, y) > most ? alpha_at(caption, x, y) : most;
    }
    return most;
}

static int most_in_row(const struct sm_caption *caption, int32_t y)
{
    int most = 0;
    for (int32_t x = 0; x < caption->width_px; x++) {
        most = alpha_at(caption, x, y) > most ? alpha_at(caption, x, y) : most;
    }
    return most;
}

/** Ink starts and ends within a pixel of where the geometry says. */
static void check_ink(const struct sm_caption_style *style)
{
    /* Dots that stand apart end up to a dot before their cells do, and come in as many rows as the face has.
     */
    double off_px = strncmp(style->font, "dots:", 5) == 0 ? 2.0 + 0.1 * style->height_px : 1.01;
    struct sm_caption caption = render(style, strstr(style->font, "segment") || strstr(style->font, "bursts") ? "8 8" : "7 7");
    int32_t first = 0, last = caption.width_px - 1, top = 0, bottom = caption.height_px - 1;
    while (most_in_column(&caption, first) < 100) {
        first++;
    }
    while (most_in_column(&caption, last) < 100) {
        last--;
    }
    while (most_in_row(&caption, top) < 100) {
        top++;
    }
    while (most_in_row(&caption, bottom) < 100) {
        bottom--;
    }
    assert_int_equal(caption.n_glyphs, 3);
    assert_false(caption.glyph[1].has_ink);
    assert_close(caption.glyph[0].left_px, first, off_px);
    assert_close(caption.glyph[2].right_px, last + 1, off_px);
    assert_close(caption.top_px, top, off_px);
    assert_close(caption.baseline_px, bottom + 1, off_px);
    assert_close(caption.baseline_px - caption.top_px, style->height_px, off_px);
    sm_caption_release(&caption);
}

static void test_ink_stands_where_it_is_said_to(void **state)
{
    (void)state;
    static const char *const font[] = {"DejaVu Sans Mono", "Liberation Sans", "psf:Lat15-VGA16",
                                       "seven-segment",    "strokes:12",      "segments:7",
                                       "dots:5",           "bursts:9"};
    for (size_t i = 0; i < sizeof font / sizeof font[0]; i++) {
        for (double height = 10.0; height < 45.0; height *= 2.0) {
            struct sm_caption_style style = sm_caption_style_default();
            style.font = font[i];
            style.height_px = height;
            check_ink(&style);
            style.x_stretch = 1.3;
            style.letter_spacing_px = 2.0;
            check_ink(&style);
            style.is_hard_edged = true;
            check_ink(&style);
        }
    }
}

static void test_pixel_fonts_have_hard_edges(void **state)
{
    (void)state;
    struct sm_caption_style style = sm_caption_style_default();
    style.font = "psf:Lat15-VGA16";
    struct sm_caption caption = render(&style, "0689");
    for (int32_t i = 0; i < caption.width_px * caption.height_px; i++) {
        assert_true(caption.rgba[4 * i + 3] == 0 || caption.rgba[4 * i + 3] == 255);
    }
    sm_caption_release(&caption);
}

static void test_fixed_cells_are_equal(void **state)
{
    (void)state;
    struct sm_caption_style style = sm_caption_style_default();
    style.letter_spacing_px = 3.0;
    struct sm_caption caption = render(&style, "11.00m");
    double cell = caption.glyph[0].cell_right_px - caption.glyph[0].cell_left_px;
    for (size_t i = 1; i < caption.n_glyphs; i++) {
        assert_close(caption.glyph[i].cell_left_px - caption.glyph[i - 1].cell_left_px, cell, 0.05);
    }
    sm_caption_release(&caption);
}

static void test_outline_goes_round_the_fill(void **state)
{
    (void)state;
    struct sm_caption_style style = sm_caption_style_default();
    style.is_hard_edged = true;
    style.outline = (struct sm_colour){10, 20, 30, 255};
    style.outline_px = 2.0;
    struct sm_caption with = render(&style, "1");
    style.outline_px = 0.0;
    struct sm_caption without = render(&style, "1");
    int32_t shift = (int32_t)lround(with.top_px - without.top_px);
    int32_t x = (int32_t)without.glyph[0].centre_px,
            y = (int32_t)(0.5 * (without.top_px + without.baseline_px));
    assert_true(alpha_at(&without, x, y) > 200);
    while (alpha_at(&without, x, y) > 0) {
        x--;
    }
    const uint8_t *pixel = with.rgba + 4 * ((y + shift) * with.width_px + x + shift);
    assert_in_range(pixel[0], 8, 12);
    assert_int_equal(pixel[3], 255);
    sm_caption_release(&with);
    sm_caption_release(&without);
}

static void test_blend_is_cut_at_the_edges(void **state)
{
    (void)state;
    struct sm_caption_style style = sm_caption_style_default();
    uint8_t rgb[10 * 10 * 3 + 1] = {0};
    style.box = (struct sm_colour){200, 100, 50, 255};
    style.box_padding_px = 20.0;
    struct sm_caption caption = render(&style, " ");
    rgb[300] = 77;
    for (int32_t at = -60; at < 15; at += 5) {
        sm_caption_blend(&caption, rgb, 10, 10, 30, at, at, 1.0);
    }
    assert_int_equal(rgb[300], 77);
    sm_caption_blend(&caption, rgb, 10, 10, 30, -10, -10, 1.0);
    assert_int_equal(rgb[0], 200);
    assert_int_equal(rgb[2], 50);
    sm_caption_release(&caption);
}

static void test_half_opacity_mixes_half(void **state)
{
    (void)state;
    struct sm_caption_style style = sm_caption_style_default();
    uint8_t rgb[3] = {100, 100, 100};
    style.box = (struct sm_colour){200, 0, 100, 255};
    style.box_padding_px = 20.0;
    struct sm_caption caption = render(&style, " ");
    sm_caption_blend(&caption, rgb, 1, 1, 3, -8, -20, 0.5);
    assert_in_range(rgb[0], 149, 151);
    assert_in_range(rgb[1], 49, 51);
    assert_in_range(rgb[2], 99, 101);
    sm_caption_release(&caption);
}

/** Characters of a drawn face stand one after the other with ink of their own, the same each time. */
static void check_drawn_face(const char *kind, int number)
{
    char font[32];
    struct sm_caption_style style = sm_caption_style_default();
    snprintf(font, sizeof font, "%s:%d", kind, number);
    style.font = font;
    assert_true(sm_caption_font_exists(font));
    struct sm_caption caption = render(&style, "0123456789-17.5,m'"),
                      again = render(&style, "0123456789-17.5,m'");
    assert_int_equal(caption.width_px, again.width_px);
    assert_memory_equal(caption.rgba, again.rgba, (size_t)(4 * caption.width_px * caption.height_px));
    for (size_t i = 0; i < caption.n_glyphs; i++) {
        assert_true(caption.glyph[i].has_ink);
        assert_true(caption.glyph[i].right_px > caption.glyph[i].left_px);
        assert_true(i == 0 || caption.glyph[i].centre_px > caption.glyph[i - 1].centre_px);
    }
    sm_caption_release(&caption);
    sm_caption_release(&again);
}

static void test_drawn_faces_have_every_digit(void **state)
{
    (void)state;
    for (int number = 0; number < 40; number++) {
        check_drawn_face("cells", number);
        check_drawn_face("strokes", number);
        check_drawn_face("segments", number);
    }
    assert_false(sm_caption_font_exists("cells:"));
    assert_false(sm_caption_font_exists("strokes:x"));
    assert_false(sm_caption_font_exists("segments:-1"));
}

/** Another number, another face. */
static void test_drawn_faces_differ(void **state)
{
    (void)state;
    struct sm_caption_style style = sm_caption_style_default();
    style.font = "strokes:2";
    struct sm_caption a = render(&style, "0417");
    style.font = "strokes:3";
    struct sm_caption b = render(&style, "0417");
    assert_true(a.width_px != b.width_px ||
                memcmp(a.rgba, b.rgba, (size_t)(4 * a.width_px * a.height_px)) != 0);
    sm_caption_release(&a);
    sm_caption_release(&b);
}

static void test_what_cannot_be_drawn_says_why(void **state)
{
    (void)state;
    struct sm_caption caption = {0};
    struct sm_caption_style style = sm_caption_style_default();
    struct sm_error err;
    style.font = "No Such Font";
    assert_int_equal(sm_caption_render(&caption, &style, "1", &err), SM_E_NOTFOUND);
    assert_true(err.remedy[0] != '\0');
    assert_false(sm_caption_font_exists(style.font));
    style.font = "psf:../../../etc/passwd";
    assert_int_equal(sm_caption_render(&caption, &style, "1", &err), SM_E_NOTFOUND);
    style.font = "DejaVu Sans Mono";
    assert_int_equal(sm_caption_render(&caption, &style, "a\xff", &err), SM_E_FORMAT);
    assert_int_equal(sm_caption_render(&caption, &style, "a\nb", &err), SM_E_FORMAT);
    style.height_px = 4000.0;
    assert_int_equal(sm_caption_render(&caption, &style, "1", &err), SM_E_RANGE);
    assert_null(caption.rgba);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_ink_stands_where_it_is_said_to),
        cmocka_unit_test(test_pixel_fonts_have_hard_edges),
        cmocka_unit_test(test_fixed_cells_are_equal),
        cmocka_unit_test(test_outline_goes_round_the_fill),
        cmocka_unit_test(test_blend_is_cut_at_the_edges),
        cmocka_unit_test(test_half_opacity_mixes_half),
        cmocka_unit_test(test_drawn_faces_have_every_digit),
        cmocka_unit_test(test_drawn_faces_differ),
        cmocka_unit_test(test_what_cannot_be_drawn_says_why),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
