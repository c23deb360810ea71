/** Whole way from a drawn text to its characters, in fonts that never trained the reader. */
#include "sm_test.h"

#include "net.h"
#include "strip.h"
#include "text_render.h"

#include <math.h>
#include <string.h>

#define WIDTH 700
#define HEIGHT 140
#define LINE_TOP 50

static uint8_t rgb[HEIGHT][WIDTH][3], luma[HEIGHT][WIDTH];

/** A rough dim wall with the text on it. @return the line where the text stands. */
static struct sm_counter__line draw(const struct sm_caption_style *style, const char *text, uint64_t seed)
{
    struct sm_error err;
    struct sm_caption caption;
    struct sm_test_random random = sm_test_seed(seed);
    for (int y = 0; y < HEIGHT; y++) {
        for (int x = 0; x < WIDTH; x++) {
            memset(rgb[y][x],
                   (int)(70.0 + 15.0 * sin(x * 0.05 + y * 0.08) + sm_test_uniform(&random, -8.0, 8.0)), 3);
        }
    }
    assert_ok(sm_caption_render(&caption, style, text, &err), &err);
    int32_t x = 20, y = LINE_TOP - (int32_t)caption.top_px;
    sm_caption_blend(&caption, rgb[0][0], WIDTH, HEIGHT, 3 * WIDTH, x, y, 1.0);
    for (int row = 0; row < HEIGHT; row++) {
        for (int column = 0; column < WIDTH; column++) {
            luma[row][column] = rgb[row][column][1];
        }
    }
    struct sm_counter__line line = {.left_px = x + caption.text_left_px - 6.0,
                                    .right_px = x + caption.text_right_px + 6.0,
                                    .top_px = y + caption.top_px,
                                    .baseline_px = y + caption.baseline_px,
                                    .weight_y = 1.0F};
    sm_caption_release(&caption);
    return line;
}

/** Characters out of the columns: the best class of each run of columns that are not blank. */
static void collapse(char *out, size_t size, const float *logprob, int32_t n_columns)
{
    size_t n = 0;
    int last = SM_GLYPH_BLANK;
    for (int32_t column = 0; column < n_columns; column++) {
        const float *at = logprob + column * SM_GLYPH_COUNT;
        int best = 0;
        for (int k = 1; k < SM_GLYPH_COUNT; k++) {
            best = at[k] > at[best] ? k : best;
        }
        if (best != SM_GLYPH_BLANK && best != last && n + 1 < size) {
            out[n++] = sm_counter__glyph_char((enum sm_glyph)best);
        }
        last = best;
    }
    out[n] = '\0';
}

static void check(const struct sm_caption_style *style, const char *text, const char *expected)
{
    static float strip[SM_STRIP_HEIGHT * SM_STRIP_MAX_WIDTH],
        logprob[SM_STRIP_MAX_WIDTH / 2 * SM_GLYPH_COUNT];
    struct sm_counter__net *net = NULL;
    char read[64];
    struct sm_error err;
    struct sm_counter__line line = draw(style, text, 21);
    struct sm_image image = {.width_px = WIDTH, .height_px = HEIGHT, .y = luma[0], .stride_y = WIDTH};
    int32_t width = sm_counter__strip_width(&line);
    assert_ok(sm_counter__strip_make(strip, width, &image, &line, &err), &err);
    assert_ok(sm_counter__net_new(&net, &sm_counter__trained_weights, &err), &err);
    assert_ok(sm_counter__net_run(net, strip, width, logprob, &err), &err);
    collapse(read, sizeof read, logprob, sm_counter__net_columns(width));
    sm_counter__net_free(&net);
    assert_string_equal(read, expected);
}

static void test_fixed_width_at_many_sizes(void **state)
{
    (void)state;
    struct sm_caption_style style = sm_caption_style_default();
    style.font = "Liberation Mono";
    style.is_bold = true;
    for (style.height_px = 10.0; style.height_px < 42.0; style.height_px *= 1.4) {
        check(&style, "0123456789", "0123456789");
        check(&style, "12.34 m", "12.34m");
    }
}

static void test_outlined_and_boxed(void **state)
{
    (void)state;
    struct sm_caption_style style = sm_caption_style_default();
    style.font = "Liberation Sans";
    style.outline = (struct sm_colour){0, 0, 0, 255};
    style.outline_px = 1.5;
    check(&style, "-7.05 m", "-7.05m");
    style.outline.a = 0;
    style.box = (struct sm_colour){0, 0, 120, 255};
    style.box_padding_px = 6.0;
    check(&style, "0168,9", "0168,9");
}

static void test_pixel_font_with_slashed_zero(void **state)
{
    (void)state;
    struct sm_caption_style style = sm_caption_style_default();
    style.font = "psf:Uni2-TerminusBoldVGA16";
    style.height_px = 10.0;
    check(&style, "0068.9", "0068.9");
    style.height_px = 20.0;
    check(&style, "12:30:45", "12:30:45");
}

static void test_dark_on_bright(void **state)
{
    (void)state;
    struct sm_caption_style style = sm_caption_style_default();
    style.font = "Liberation Mono";
    style.fill = (struct sm_colour){0, 0, 0, 255};
    style.box = (struct sm_colour){230, 230, 230, 255};
    style.box_padding_px = 8.0;
    check(&style, "203.6", "203.6");
}

static void test_bare_wall_stays_blank(void **state)
{
    (void)state;
    struct sm_caption_style style = sm_caption_style_default();
    check(&style, "          ", "");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_fixed_width_at_many_sizes),    cmocka_unit_test(test_outlined_and_boxed),
        cmocka_unit_test(test_pixel_font_with_slashed_zero), cmocka_unit_test(test_dark_on_bright),
        cmocka_unit_test(test_bare_wall_stays_blank),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
