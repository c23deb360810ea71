/** The trainer's gradient against finite differences, its packing against the program's reader, its data
 * against itself. */
#include "sm_test.h"

#include "model.h"
#include "phrase.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define COLUMNS 14

static void draw_sample(struct sample *sample, uint64_t seed)
{
    struct sm_test_random random = sm_test_seed(seed);
    *sample = (struct sample){.width_px = 2 * COLUMNS - 1, .n_columns = COLUMNS};
    for (int32_t i = 0; i < SM_STRIP_HEIGHT * sample->width_px; i++) {
        sample->strip[i] = (float)sm_test_uniform(&random, -2.0, 2.0);
    }
    for (int32_t i = 0; i < COLUMNS; i++) {
        sample->label[i] = (uint8_t)sm_test_int(&random, 0, SM_GLYPH_COUNT - 1);
    }
    sample->label[3] = LABEL_IGNORE;
}

struct fixture {
    struct model model;
    struct model_pass *pass;
    struct sample sample;
    float *gradient, *spare;
};

static int set_up(void **state)
{
    struct fixture *f = sm_calloc(1, sizeof *f);
    struct sm_test_random random = sm_test_seed(31);
    assert_non_null(f);
    assert_ok(model_new(&f->model, &random, NULL), NULL);
    assert_ok(model_pass_new(&f->pass, &f->model, NULL), NULL);
    f->gradient = sm_calloc((size_t)f->model.n, sizeof(float));
    f->spare = sm_calloc((size_t)f->model.n, sizeof(float));
    assert_non_null(f->gradient);
    assert_non_null(f->spare);
    draw_sample(&f->sample, 32);
    *state = f;
    return 0;
}

static int tear_down(void **state)
{
    struct fixture *f = *state;
    model_pass_free(&f->pass);
    model_release(&f->model);
    sm_free(f->gradient);
    sm_free(f->spare);
    sm_free(f);
    return 0;
}

static double loss_with(struct fixture *f, ptrdiff_t at, float change)
{
    int32_t n_asked = 0;
    float before = f->model.value[at];
    f->model.value[at] = before + change;
    double loss = model_learn(&f->model, f->pass, &f->sample, 0.0F, f->spare, &n_asked);
    f->model.value[at] = before;
    return loss;
}

/** Sum of absolute differences over sums of absolute values: single weights may sit on a kink of the
 * largest-of. */
static void test_gradient_is_that_of_the_loss(void **state)
{
    struct fixture *f = *state;
    int32_t n_asked = 0;
    (void)model_learn(&f->model, f->pass, &f->sample, 0.0F, f->gradient, &n_asked);
    assert_int_equal(n_asked, COLUMNS - 1);
    for (int i = 0; i < SM_NET_LAYERS; i++) {
        const struct model_layer *l = &f->model.layer[i];
        double difference = 0.0, size = 0.0;
        for (int32_t k = 0; k < 8; k++) {
            ptrdiff_t at = k == 0 ? l->bias_at + 3 : l->weight_at + (k * 977 + 5) % l->n_weights;
            double slope = (loss_with(f, at, 1e-3F) - loss_with(f, at, -1e-3F)) / 2e-3;
            difference += fabs(slope - (double)f->gradient[at]);
            size += fabs(slope);
        }
        assert_true(size > 0.0);
        assert_true(difference < 0.05 * size + 1e-3);
    }
}

/** A narrow sample after a wide one must give what it gives alone. */
static void test_nothing_is_left_of_the_sample_before(void **state)
{
    struct fixture *f = *state;
    int32_t n_asked = 0;
    double alone = model_learn(&f->model, f->pass, &f->sample, 0.0F, f->spare, &n_asked);
    struct sample *wide = sm_calloc(1, sizeof *wide);
    assert_non_null(wide);
    wide->width_px = 2 * COLUMNS + 10;
    wide->n_columns = COLUMNS + 5;
    for (size_t i = 0; i < sizeof wide->strip / sizeof wide->strip[0]; i++) {
        wide->strip[i] = 3.0F;
    }
    (void)model_learn(&f->model, f->pass, wide, 0.0F, f->spare, &n_asked);
    sm_free(wide);
    double again = model_learn(&f->model, f->pass, &f->sample, 0.0F, f->spare, &n_asked);
    assert_memory_equal(&alone, &again, sizeof alone);
}

/** The program's reader with packed weights says what the model says, up to the rounding to 8 bits. */
static void test_packed_weights_read_alike(void **state)
{
    struct fixture *f = *state;
    struct packed packed;
    struct sm_counter__net *net = NULL;
    float logprob[COLUMNS * SM_GLYPH_COUNT];
    int32_t n_asked = 0;
    double loss = 0.0, expected = model_learn(&f->model, f->pass, &f->sample, 0.0F, f->spare, &n_asked);
    assert_ok(packed_make(&packed, &f->model, 1.0F, NULL), NULL);
    assert_ok(sm_counter__net_new(&net, &packed.weights, NULL), NULL);
    assert_ok(sm_counter__net_run(net, f->sample.strip, f->sample.width_px, logprob, NULL), NULL);
    for (int32_t i = 0; i < COLUMNS; i++) {
        loss -= f->sample.label[i] == LABEL_IGNORE ? 0.0
                                                   : (double)logprob[i * SM_GLYPH_COUNT + f->sample.label[i]];
    }
    assert_close(loss, expected, 0.02 * expected);
    sm_counter__net_free(&net);
    packed_release(&packed);
}

static void test_stored_weights_can_be_taken_over(void **state)
{
    struct fixture *f = *state;
    struct packed packed, again;
    assert_ok(packed_make(&packed, &f->model, 1.0F, NULL), NULL);
    memset(f->model.value, 0, (size_t)f->model.n * sizeof(float));
    model_load(&f->model, &packed.weights);
    assert_ok(packed_make(&again, &f->model, 1.0F, NULL), NULL);
    for (int i = 0; i < SM_NET_LAYERS; i++) {
        const struct sm_counter__layer *l = &packed.weights.layer[i];
        size_t n = (size_t)(l->n_rows * l->n_columns * l->n_in * l->n_out);
        assert_memory_equal(packed.value[i], again.value[i], n);
        assert_memory_equal(packed.bias[i], again.bias[i], (size_t)l->n_out * sizeof(float));
    }
    packed_release(&packed);
    packed_release(&again);
}

static void test_written_weights_are_whole(void **state)
{
    struct fixture *f = *state;
    struct packed packed;
    char dir[256], path[300], *text = NULL;
    size_t n = 0;
    sm_test_dir_make(dir);
    snprintf(path, sizeof path, "%s/weights.c", dir);
    assert_ok(packed_make(&packed, &f->model, 1.0F, NULL), NULL);
    assert_ok(packed_write(&packed, path, "a note", NULL), NULL);
    assert_ok(sm_file_read(&text, &n, path, 1 << 20, NULL), NULL);
    assert_non_null(strstr(text, "a note"));
    assert_non_null(strstr(text, "static const int8_t value_3[40960]"));
    assert_non_null(strstr(text, "    {1, 1, 64, 25, value_5, scale_5, bias_5},\n}};"));
    assert_true(n < 400000);
    sm_free(text);
    packed_release(&packed);
    sm_test_dir_remove(dir);
}

static void test_learning_a_sample_lowers_its_loss(void **state)
{
    struct fixture *f = *state;
    struct adam adam;
    int32_t n_asked = 0;
    double first = 0.0, last = 0.0;
    assert_ok(adam_new(&adam, &f->model, NULL), NULL);
    for (int i = 0; i < 25; i++) {
        memset(f->gradient, 0, (size_t)f->model.n * sizeof(float));
        last = model_learn(&f->model, f->pass, &f->sample, 0.0F, f->gradient, &n_asked);
        first = i == 0 ? last : first;
        adam_step(&adam, &f->model, f->gradient, 2e-3F, 0.0F);
    }
    assert_true(last < 0.5 * first);
    adam_release(&adam);
}

static struct font one_font = {.name = "DejaVu Sans Mono", .kind = FONT_MONO};

/** Same seed, same picture; and every label stands on a character of the truth. */
static void test_scenes_follow_from_their_seed(void **state)
{
    (void)state;
    struct font every_kind[FONT_KINDS];
    for (int k = 0; k < FONT_KINDS; k++) {
        every_kind[k] = one_font;
        every_kind[k].kind = (enum font_kind)k;
    }
    struct font_list fonts = {.font = every_kind, .n = FONT_KINDS};
    struct sample *cut = sm_calloc(2, sizeof *cut);
    assert_non_null(cut);
    for (uint64_t i = 0; i < 4; i++) {
        for (int again = 0; again < 2; again++) {
            struct scene scene = {0};
            struct sm_test_random rng = rng_of(5, i);
            struct sm_error err;
            assert_ok(scene_make(&scene, &fonts, false, 0.5, &rng, &err), &err);
            assert_ok(sample_cut(&cut[again], &scene, 1.0, &rng, &err), &err);
            scene_release(&scene);
        }
        assert_int_equal(cut[0].width_px, cut[1].width_px);
        assert_memory_equal(cut[0].strip, cut[1].strip,
                            sizeof(float) * (size_t)(SM_STRIP_HEIGHT * cut[0].width_px));
        assert_memory_equal(cut[0].label, cut[1].label, (size_t)cut[0].n_columns);
        for (int32_t c = 0; c < cut[0].n_centres; c++) {
            uint8_t label = cut[0].label[cut[0].centre_column[c]];
            assert_true(label == cut[0].centre_glyph[c] || label == LABEL_IGNORE);
        }
    }
    sm_free(cut);
}

/** Faces drawn by number: even ones train, odd ones are held out, another one each time. */
static void test_drawn_faces_are_parted(void **state)
{
    (void)state;
    struct font font[2] = {{.name = "cells:*", .kind = FONT_DRAWN},
                           {.name = "cells:*", .kind = FONT_DRAWN, .is_held = true}};
    struct font every_kind[2 * FONT_KINDS];
    for (int k = 0; k < 2 * FONT_KINDS; k++) {
        every_kind[k] = font[k % 2];
        every_kind[k].kind = (enum font_kind)(k / 2);
    }
    struct font_list fonts = {.font = every_kind, .n = 2 * FONT_KINDS};
    struct sm_test_random rng = rng_of(9, 0);
    int64_t before = -1;
    for (int i = 0; i < 200; i++) {
        bool is_held = i % 2 == 1;
        struct font picked = font_list_pick(&fonts, is_held, &rng);
        int64_t number = -1;
        assert_true(sm_parse_int(picked.name + strlen("cells:"), 0, INT32_MAX, &number));
        assert_int_equal(number % 2, is_held);
        assert_int_not_equal(number, before);
        before = number;
    }
}

static void test_phrases_are_text(void **state)
{
    (void)state;
    for (uint64_t i = 0; i < 300; i++) {
        struct sm_text text = {0};
        struct sm_test_random rng = rng_of(6, i);
        phrase_make(&text, &rng, 16);
        assert_true(sm_utf8_valid(sm_text_str(&text), text.length));
        assert_true(text.length > 0 && text.length < 80);
        phrase_only_segments(text.data);
        assert_int_equal(strspn(text.data, "0123456789.:- "), text.length);
        sm_text_release(&text);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_gradient_is_that_of_the_loss, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_nothing_is_left_of_the_sample_before, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_packed_weights_read_alike, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_stored_weights_can_be_taken_over, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_written_weights_are_whole, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_learning_a_sample_lowers_its_loss, set_up, tear_down),
        cmocka_unit_test(test_scenes_follow_from_their_seed),
        cmocka_unit_test(test_drawn_faces_are_parted),
        cmocka_unit_test(test_phrases_are_text),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
