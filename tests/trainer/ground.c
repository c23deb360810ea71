/**
 * @file ground.c
 * A wall is built up in one float plane (shade, textures, edges, glare), then tinted and combed.
 */
#include "ground.h"

#include <math.h>

static float clamp_byte(float value)
{
    return value < 0.0F ? 0.0F : value > 255.0F ? 255.0F : value;
}

/** Smooth random field with bumps of size_px added with this amplitude. */
static enum sm_status add_texture(struct raster *wall, struct sm_test_random *rng, double size_px,
                                  float amplitude, struct sm_error *err)
{
    struct raster coarse;
    int32_t width = (int32_t)fmax(2.0, ceil(wall->width_px / size_px) + 1.0);
    int32_t height = (int32_t)fmax(2.0, ceil(wall->height_px / size_px) + 1.0);
    enum sm_status status = raster_new(&coarse, width, height, err);
    if (status != SM_OK) {
        return status;
    }
    raster_noise(&coarse, rng, amplitude, 0.0F);
    status = raster_resize(&coarse, wall->width_px, wall->height_px, err);
    for (ptrdiff_t i = 0; status == SM_OK && i < (ptrdiff_t)wall->width_px * wall->height_px; i++) {
        wall->px[i] += coarse.px[i];
    }
    raster_release(&coarse);
    return status;
}

static void add_shading(struct raster *wall, struct sm_test_random *rng)
{
    float across = (float)sm_test_uniform(rng, -80.0, 80.0) / (float)wall->width_px;
    float down = (float)sm_test_uniform(rng, -50.0, 50.0) / (float)wall->height_px;
    for (int32_t y = 0; y < wall->height_px; y++) {
        for (int32_t x = 0; x < wall->width_px; x++) {
            wall->px[(ptrdiff_t)y * wall->width_px + x] +=
                across * (float)(x - wall->width_px / 2) + down * (float)(y - wall->height_px / 2);
        }
    }
}

/** A step or a thin band along a large circle: joints, rims, water lines. */
static void add_edge(struct raster *wall, struct sm_test_random *rng, double unit_px)
{
    double radius = rng_log_between(rng, unit_px, 60.0 * unit_px), angle = sm_test_uniform(rng, 0.0, 6.2832);
    double centre_x = sm_test_uniform(rng, 0.0, wall->width_px) + radius * cos(angle);
    double centre_y = sm_test_uniform(rng, 0.0, wall->height_px) + radius * sin(angle);
    double band = rng_chance(rng, 0.5) ? sm_test_uniform(rng, 0.1, 0.6) * unit_px : 1e9,
           soft = sm_test_uniform(rng, 0.5, 3.0);
    float height = (float)sm_test_uniform(rng, -70.0, 70.0);
    for (int32_t y = 0; y < wall->height_px; y++) {
        for (int32_t x = 0; x < wall->width_px; x++) {
            double inside = radius - hypot(x - centre_x, y - centre_y);
            double part = fmin(1.0, fmax(0.0, 0.5 + inside / soft)) *
                          fmin(1.0, fmax(0.0, 0.5 + (band - inside) / soft));
            wall->px[(ptrdiff_t)y * wall->width_px + x] += height * (float)part;
        }
    }
}

static void add_glare(struct raster *wall, struct sm_test_random *rng, double unit_px)
{
    double centre_x = sm_test_uniform(rng, 0.0, wall->width_px),
           centre_y = sm_test_uniform(rng, 0.0, wall->height_px);
    double size_x = rng_log_between(rng, 0.15, 5.0) * unit_px,
           size_y = size_x * rng_log_between(rng, 0.4, 2.5);
    float strength = (float)sm_test_uniform(rng, 60.0, 320.0);
    for (int32_t y = 0; y < wall->height_px; y++) {
        for (int32_t x = 0; x < wall->width_px; x++) {
            double dx = (x - centre_x) / size_x, dy = (y - centre_y) / size_y;
            wall->px[(ptrdiff_t)y * wall->width_px + x] += strength * (float)exp(-0.5 * (dx * dx + dy * dy));
        }
    }
}

/** Two levels in small cells with hard edges, as strong as the text: gravel, brick, mesh, compression gone
 * wrong. */
static void add_pattern(struct raster *wall, struct sm_test_random *rng, double unit_px)
{
    int32_t cell_x = (int32_t)fmax(1.0, round(unit_px * rng_log_between(rng, 0.04, 0.5)));
    int32_t cell_y = (int32_t)fmax(1.0, round(unit_px * rng_log_between(rng, 0.04, 0.5)));
    float height = (float)sm_test_uniform(rng, 30.0, 150.0);
    double share = sm_test_uniform(rng, 0.2, 0.8);
    bool is_brick = rng_chance(rng, 0.3);
    uint64_t seed = sm_test_next(rng);
    for (int32_t y = 0; y < wall->height_px; y++) {
        for (int32_t x = 0; x < wall->width_px; x++) {
            int32_t row = y / cell_y, column = (x + (is_brick && (row & 1) ? cell_x / 2 : 0)) / cell_x;
            struct sm_test_random cell = rng_of(seed, (uint64_t)row << 20 | (uint64_t)(uint32_t)column);
            wall->px[(ptrdiff_t)y * wall->width_px + x] += rng_chance(&cell, share) ? height : 0.0F;
        }
    }
}

static enum sm_status build_wall(struct raster *wall, double unit_px, double pattern_share,
                                 struct sm_test_random *rng, struct sm_error *err)
{
    double kind = sm_test_uniform(rng, 0.0, 1.0);
    float base = (float)(kind < 0.3    ? sm_test_uniform(rng, 0.0, 60.0)
                         : kind < 0.75 ? sm_test_uniform(rng, 60.0, 170.0)
                                       : sm_test_uniform(rng, 170.0, 255.0));
    float rough = rng_chance(rng, 0.2) ? 0.1F : (float)sm_test_uniform(rng, 0.3, 1.6);
    const struct {
        double size;
        float amplitude;
    } octave[] = {{5.0, 22.0F}, {1.6, 14.0F}, {0.5, 10.0F}, {0.14, 8.0F}};
    for (ptrdiff_t i = 0; i < (ptrdiff_t)wall->width_px * wall->height_px; i++) {
        wall->px[i] = base;
    }
    add_shading(wall, rng);
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < sizeof octave / sizeof octave[0]; i++) {
        double size_px = fmax(1.5, octave[i].size * unit_px);
        status = add_texture(wall, rng, size_px,
                             rough * octave[i].amplitude * (float)sm_test_uniform(rng, 0.2, 1.5), err);
    }
    for (int n = rng_below(rng, 4); n > 0; n--) {
        add_edge(wall, rng, unit_px);
    }
    if (pattern_share > 0.0 && rng_chance(rng, pattern_share)) {
        add_pattern(wall, rng, unit_px);
    }
    for (int n = rng_chance(rng, 0.35) ? 1 + rng_below(rng, 4) : 0; n > 0; n--) {
        add_glare(wall, rng, unit_px);
    }
    return status;
}

/** Odd rows moved sideways, as when the camera moves between the fields of a frame. */
static int32_t comb_shift(struct sm_test_random *rng, double unit_px)
{
    return rng_chance(rng, 0.12) ? (int32_t)sm_test_uniform(rng, -0.5 * unit_px, 0.5 * unit_px) : 0;
}

enum sm_status ground_paint(uint8_t *rgb, int32_t width_px, int32_t height_px, double unit_px,
                            double pattern_share, struct sm_test_random *rng, struct sm_error *err)
{
    struct raster wall;
    enum sm_status status = raster_new(&wall, width_px, height_px, err);
    if (status != SM_OK) {
        return status;
    }
    status = build_wall(&wall, unit_px, pattern_share, rng, err);
    const float tint[3] = {(float)sm_test_uniform(rng, 0.85, 1.2), 1.0F,
                           (float)sm_test_uniform(rng, 0.6, 1.15)};
    int32_t shift = comb_shift(rng, unit_px);
    for (int32_t y = 0; y < height_px; y++) {
        for (int32_t x = 0; x < width_px; x++) {
            int32_t from = x + (y & 1 ? shift : 0);
            from = from < 0 ? 0 : from >= width_px ? width_px - 1 : from;
            for (int c = 0; c < 3; c++) {
                float value = tint[c] * wall.px[(ptrdiff_t)y * width_px + from];
                rgb[3 * ((ptrdiff_t)y * width_px + x) + c] = (uint8_t)clamp_byte(value);
            }
        }
    }
    raster_release(&wall);
    return status;
}
