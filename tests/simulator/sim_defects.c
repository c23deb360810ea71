/*
 * sim_defects.c - how the planted things look on the unrolled wall. Shapes come from the item's own seed, so
 * that every strip the item reaches into shows its part of the same shape.
 */
#include "sim_wall_internal.h"

#include <math.h>

struct place {
    double x_m, y_m;
};

/* Clock reference 6 is the invert, x = 0; 9 o'clock is a quarter turn on (left as seen with the run). */
static double clock_x_m(int32_t clock_h, double diameter_m)
{
    return (double)((clock_h + 6) % 12) / 12 * M_PI * diameter_m;
}

static void grey(cairo_t *cr, double level, double alpha)
{
    cairo_set_source_rgba(cr, level, level * 0.95, level * 0.9, alpha);
}

/* A jagged line from a to b that strays by up to stray_m. */
static void jagged(cairo_t *cr, struct sm_test_random *random, struct place a, struct place b, double stray_m)
{
    double length_m = hypot(b.x_m - a.x_m, b.y_m - a.y_m);
    int32_t n = (int32_t)fmin(400, fmax(3, length_m / 0.012));
    double stray = 0;
    cairo_move_to(cr, a.x_m, a.y_m);
    for (int32_t i = 1; i <= n; i++) {
        double along = (double)i / n;
        stray = 0.8 * stray + sm_test_uniform(random, -0.5, 0.5) * stray_m;
        double across_x = (b.y_m - a.y_m) / length_m, across_y = (a.x_m - b.x_m) / length_m;
        cairo_line_to(cr, a.x_m + (b.x_m - a.x_m) * along + across_x * stray,
                      a.y_m + (b.y_m - a.y_m) * along + across_y * stray);
    }
}

/* Dark line with a pale broken edge beside it. */
static void stroke_crack(cairo_t *cr, double width_m)
{
    cairo_set_line_join(cr, CAIRO_LINE_JOIN_BEVEL);
    cairo_path_t *path = cairo_copy_path(cr);
    cairo_new_path(cr);
    cairo_save(cr);
    cairo_translate(cr, width_m * 0.8, 0);
    cairo_append_path(cr, path);
    cairo_restore(cr);
    grey(cr, 0.8, 0.35);
    cairo_set_line_width(cr, width_m * 1.2);
    cairo_stroke(cr);
    cairo_append_path(cr, path);
    grey(cr, 0.04, 0.95);
    cairo_set_line_width(cr, width_m);
    cairo_stroke(cr);
    cairo_path_destroy(path);
}

static void paint_crack(cairo_t *cr, const struct sm_sim_item *item, double diameter_m)
{
    struct sm_test_random random = {item->seed};
    double x_m = clock_x_m(item->clock_from_h, diameter_m), width_m = 0.0022 + item->q1 * 0.0008;
    jagged(cr, &random, (struct place){x_m, item->start_m}, (struct place){x_m + 0.01, item->end_m}, 0.012);
    stroke_crack(cr, width_m);
    double mid_m = (item->start_m + item->end_m) / 2;
    jagged(cr, &random, (struct place){x_m, mid_m}, (struct place){x_m + 0.04, mid_m + 0.03}, 0.008);
    stroke_crack(cr, width_m * 0.6);
}

static void paint_round_crack(cairo_t *cr, const struct sm_sim_item *item, double diameter_m)
{
    struct sm_test_random random = {item->seed};
    jagged(cr, &random, (struct place){0, item->distance_m},
           (struct place){M_PI * diameter_m, item->distance_m}, 0.006);
    stroke_crack(cr, 0.0022 + item->q1 * 0.0008);
}

/* An uneven closed outline around a middle. */
static void blob(cairo_t *cr, struct sm_test_random *random, struct place middle, double half_x_m,
                 double half_y_m, double uneven)
{
    enum { N = 22 };
    for (int32_t i = 0; i < N; i++) {
        double turn = 2 * M_PI * i / N, far = 1 + uneven * sm_test_uniform(random, -1, 1);
        double x_m = middle.x_m + half_x_m * far * cos(turn), y_m = middle.y_m + half_y_m * far * sin(turn);
        i == 0 ? cairo_move_to(cr, x_m, y_m) : cairo_line_to(cr, x_m, y_m);
    }
    cairo_close_path(cr);
}

static void paint_break(cairo_t *cr, const struct sm_sim_item *item, double diameter_m)
{
    struct sm_test_random random = {item->seed};
    struct place middle = {clock_x_m(item->clock_from_h, diameter_m), (item->start_m + item->end_m) / 2};
    double half_y_m = (item->end_m - item->start_m) / 2, half_x_m = fmax(0.04, item->q1 / 2000);
    blob(cr, &random, middle, half_x_m * 1.1, half_y_m * 1.05, 0.2);
    cairo_set_source_rgba(cr, 0.75, 0.66, 0.55, 0.8);
    cairo_fill(cr);
    struct sm_test_random same = {item->seed};
    blob(cr, &same, middle, half_x_m, half_y_m, 0.2);
    cairo_set_source_rgba(cr, 0.07, 0.05, 0.04, 1);
    cairo_fill(cr);
    for (int32_t i = 0; i < 26; i++) { /* soil and stones behind the wall */
        struct place stone = {middle.x_m + half_x_m * sm_test_uniform(&random, -0.7, 0.7),
                              middle.y_m + half_y_m * sm_test_uniform(&random, -0.7, 0.7)};
        double size_m = half_x_m * sm_test_uniform(&random, 0.05, 0.22),
               level = sm_test_uniform(&random, 0.1, 0.4);
        blob(cr, &random, stone, size_m, size_m, 0.3);
        cairo_set_source_rgba(cr, level, level * 0.8, level * 0.6, 0.9);
        cairo_fill(cr);
    }
    for (int32_t i = 0; i < 5; i++) {
        double turn = sm_test_uniform(&random, 0, 2 * M_PI);
        struct place edge = {middle.x_m + half_x_m * cos(turn), middle.y_m + half_y_m * sin(turn)};
        struct place out = {middle.x_m + half_x_m * 2 * cos(turn), middle.y_m + half_y_m * 1.3 * sin(turn)};
        jagged(cr, &random, edge, out, 0.008);
        stroke_crack(cr, 0.002);
    }
}

static void paint_roots(cairo_t *cr, const struct sm_sim_item *item, double diameter_m)
{
    struct sm_test_random random = {item->seed};
    double x_m = clock_x_m(item->clock_from_h, diameter_m), spread_m = 0.05 + item->q1 * 0.004;
    cairo_set_line_cap(cr, CAIRO_LINE_CAP_ROUND);
    for (int32_t i = 0; i < 60 + (int32_t)item->q1 * 4; i++) {
        double from_m = x_m + sm_test_uniform(&random, -spread_m, spread_m),
               level = sm_test_uniform(&random, 0.3, 0.75);
        double hang_m = sm_test_uniform(&random, 0.02, 0.05 + item->q1 * 0.004);
        double side_m = sm_test_uniform(&random, -0.05, 0.05);
        cairo_move_to(cr, from_m, item->distance_m);
        cairo_curve_to(cr, from_m + side_m, item->distance_m - hang_m * 0.3, from_m - side_m,
                       item->distance_m - hang_m * 0.7, from_m + side_m * 1.5, item->distance_m - hang_m);
        cairo_set_source_rgba(cr, level, level * 0.72, level * 0.45, 0.9);
        cairo_set_line_width(cr, sm_test_uniform(&random, 0.0008, 0.003));
        cairo_stroke(cr);
    }
}

static void paint_deposit(cairo_t *cr, const struct sm_sim_item *item, double diameter_m)
{
    struct sm_test_random random = {item->seed};
    double half_y_m = (item->end_m - item->start_m) / 2, half_x_m = 0.02 + item->q1 * 0.003;
    struct place middle = {clock_x_m(item->clock_from_h, diameter_m), (item->start_m + item->end_m) / 2};
    for (int32_t i = 0; i < 30; i++) {
        struct place lump = {middle.x_m + half_x_m * sm_test_uniform(&random, -0.8, 0.8),
                             middle.y_m + half_y_m * sm_test_uniform(&random, -0.8, 0.8)};
        double level = sm_test_uniform(&random, 0.55, 0.95);
        blob(cr, &random, lump, half_x_m * 0.3, half_y_m * 0.3, 0.35);
        cairo_set_source_rgba(cr, level, level * 0.93, level * 0.8, 0.55);
        cairo_fill(cr);
    }
}

/* Wet streaks from the joint down to the invert, pale crust at their upper end. */
static void paint_infiltration(cairo_t *cr, const struct sm_sim_item *item, double diameter_m)
{
    struct sm_test_random random = {item->seed};
    double x_m = clock_x_m(item->clock_from_h, diameter_m), half_m = M_PI * diameter_m / 2;
    double down_m = x_m > half_m ? 2 * half_m : 0;
    for (int32_t i = 0; i < 24; i++) {
        double y_m = item->distance_m - sm_test_uniform(&random, 0, 0.05);
        double from_m = x_m + sm_test_uniform(&random, -0.04, 0.04);
        jagged(cr, &random, (struct place){from_m, y_m},
               (struct place){down_m, y_m - sm_test_uniform(&random, 0, 0.03)}, 0.004);
        i % 3 == 0 ? cairo_set_source_rgba(cr, 0.9, 0.88, 0.8, 0.6)
                   : cairo_set_source_rgba(cr, 0.12, 0.1, 0.08, 0.5);
        cairo_set_line_width(cr, sm_test_uniform(&random, 0.001, 0.005));
        cairo_stroke(cr);
    }
    blob(cr, &random, (struct place){x_m, item->distance_m - 0.01}, 0.05, 0.02, 0.4);
    cairo_set_source_rgba(cr, 0.95, 0.92, 0.84, 0.7);
    cairo_fill(cr);
}

/* A crescent of the next pipe's end face. */
static void paint_offset_joint(cairo_t *cr, const struct sm_sim_item *item, double diameter_m)
{
    struct sm_test_random random = {item->seed};
    double around_m = M_PI * diameter_m, phase = sm_test_uniform(&random, 0, 2 * M_PI),
           deep_m = item->q1 / 1000;
    cairo_move_to(cr, 0, item->distance_m);
    for (int32_t i = 0; i <= 64; i++) {
        double turn = 2 * M_PI * i / 64;
        cairo_line_to(cr, around_m * i / 64, item->distance_m + deep_m * fmax(0, 0.3 + cos(turn - phase)));
    }
    cairo_line_to(cr, around_m, item->distance_m);
    cairo_close_path(cr);
    grey(cr, 0.05, 0.85);
    cairo_fill(cr);
    cairo_move_to(cr, 0, item->distance_m);
    cairo_line_to(cr, around_m, item->distance_m);
    grey(cr, 0.85, 0.5);
    cairo_set_line_width(cr, 0.006);
    cairo_stroke(cr);
}

static void paint_connection(cairo_t *cr, const struct sm_sim_item *item, double diameter_m)
{
    struct sm_test_random random = {item->seed};
    struct place middle = {clock_x_m(item->clock_from_h, diameter_m), (item->start_m + item->end_m) / 2};
    double half_m = fmin(item->diameter_mm / 2000, diameter_m * 0.45);
    blob(cr, &random, middle, half_m * 1.12, half_m * 1.12, 0.03);
    cairo_set_source_rgba(cr, 0.78, 0.74, 0.68, 0.85);
    cairo_fill(cr);
    blob(cr, &random, middle, half_m, half_m, 0.015);
    cairo_set_source_rgba(cr, 0.025, 0.02, 0.02, 1);
    cairo_fill(cr);
    blob(cr, &random, (struct place){middle.x_m + half_m * 0.25, middle.y_m + half_m * 0.3}, half_m * 0.6,
         half_m * 0.55, 0.05);
    cairo_set_source_rgba(cr, 0.09, 0.07, 0.06, 1);
    cairo_fill(cr);
}

void sm_sim__paint_item(cairo_t *cr, const struct sm_sim_item *item, double diameter_m)
{
    switch (item->kind) {
    case SM_SIM_CRACK:
    case SM_SIM_LONG_CRACK:
        paint_crack(cr, item, diameter_m);
        break;
    case SM_SIM_CIRCULAR_CRACK:
        paint_round_crack(cr, item, diameter_m);
        break;
    case SM_SIM_BREAK:
        paint_break(cr, item, diameter_m);
        break;
    case SM_SIM_ROOTS:
        paint_roots(cr, item, diameter_m);
        break;
    case SM_SIM_DEPOSIT:
        paint_deposit(cr, item, diameter_m);
        break;
    case SM_SIM_INFILTRATION:
        paint_infiltration(cr, item, diameter_m);
        break;
    case SM_SIM_OFFSET_JOINT:
        paint_offset_joint(cr, item, diameter_m);
        break;
    case SM_SIM_CONNECTION:
        paint_connection(cr, item, diameter_m);
        break;
    case SM_SIM_START_NODE:
    case SM_SIM_FINISH_NODE:
    case SM_SIM_WATER:
    case SM_SIM_BEND:
        break;
    }
}
