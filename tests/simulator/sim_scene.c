/*
 * sim_scene.c - the view along the pipe. For every pixel a map, made once, holds which wall texel its ray
 * meets (turn around the pipe, rows ahead) and how much light comes back; drawing a frame is one lookup a
 * pixel, moved along by the camera's place. Pictures wider than SMALL_PX are drawn at half size and scaled
 * up, which is what a cheap lens does to the wall anyway; the overlay is drawn at full size later.
 *
 * The wall that meets the picture at two thirds of its half height is the wall at the camera's place: that is
 * where an operator stops for a defect.
 */
#include "sim_internal.h"

#include <assert.h>
#include <math.h>
#include <string.h>

#define SMALL_PX 500
#define SHAKE_PX 6       /* room around the map for the camera's shaking */
#define DEEPEST_ROW 3000 /* black from there on */
#define FAR_FROM_ROW 700 /* coarse texels from there on */
#define ROW_STEP 16      /* of the tables over depth */
#define N_STEPS (DEEPEST_ROW / ROW_STEP + 2)
#define BEND_LENGTH_M 0.5
#define BEND_ANGLE 0.3

struct ray {
    uint16_t row, column;
    uint16_t gain; /* 256 = as painted */
    uint8_t glare;
};

struct sm_sim_scene {
    struct sm_sim_wall *wall;
    const struct sm_sim_scenario *scenario;
    const struct sm_sim_opts *opts;
    int32_t scale, width_px, height_px; /* of the scene */
    int32_t map_width_px;
    double focal_px, row_m, diameter_m;
    int32_t reference_row; /* rows ahead of the lens that meet the picture at the reference */
    struct ray *map;
    uint8_t *y, *u, *v;          /* one drawn scene */
    bool has_water, has_bend;    /* in view */
    int32_t water_half[N_STEPS]; /* columns each side of the invert, by rows ahead */
    int32_t bend_shift_px[N_STEPS];
};

/* ---- map
 * ----------------------------------------------------------------------------------------------------- */

/* Lamps sit around the lens: mirror images at four clock places, near the picture's edge. */
static double glare_at(double x, double y)
{
    static const double lamp[][2] = {{-0.62, -0.6}, {0.62, -0.6}, {-0.7, 0.5}, {0.7, 0.5}};
    double sum = 0;
    for (size_t i = 0; i < 4; i++) {
        double away = hypot((x - lamp[i][0]) * 1.4, y - lamp[i][1]);
        sum += exp(-away * away / 0.045) * (i < 2 ? 1 : 0.5);
    }
    return sum;
}

/* The ray through a point of the picture (half height = 1), from a camera a little below the axis. */
static struct ray make_ray(const struct sm_sim_scene *scene, double x, double y)
{
    const double below = 0.12, radius = 1.0; /* in radii */
    double dx = x / (scene->focal_px * 2 / scene->height_px),
           dy = y / (scene->focal_px * 2 / scene->height_px);
    double a = dx * dx + dy * dy, b = 2 * below * dy, c = below * below - radius * radius;
    double depth = a > 1e-9 ? (-b + sqrt(b * b - 4 * a * c)) / (2 * a) : 1e9;
    double rows = fmin(depth * scene->diameter_m / 2 / scene->row_m, DEEPEST_ROW);
    double hit_x = depth * dx, hit_y = below + depth * dy;
    double turn = atan2(-hit_x, hit_y) / (2 * M_PI);
    double light = 1.55 / (1 + pow(depth / 4.2, 2)) * fmin(1.0, 0.55 + 0.45 * depth);
    light *= 1 - 0.25 * fmin(1.0, pow(hypot(x, y) / 1.7, 4));
    if (rows > DEEPEST_ROW - 1500) {
        light *= (DEEPEST_ROW - rows) / 1500;
    }
    return (struct ray){
        .row = (uint16_t)rows,
        .column = (uint16_t)((int32_t)floor((turn + 1) * SM_SIM_WALL_COLUMNS) & (SM_SIM_WALL_COLUMNS - 1)),
        .gain = (uint16_t)(light * scene->opts->damage.brightness * 256),
        .glare = (uint8_t)fmin(255, 300 * scene->opts->damage.glare * glare_at(x, y)),
    };
}

static void make_map(struct sm_sim_scene *scene)
{
    double half_px = scene->height_px / 2.0;
    for (int32_t y = -SHAKE_PX; y < scene->height_px + SHAKE_PX; y++) {
        for (int32_t x = -SHAKE_PX; x < scene->width_px + SHAKE_PX; x++) {
            double at_x = (x + 0.5 - scene->width_px / 2.0) / half_px, at_y = (y + 0.5 - half_px) / half_px;
            ptrdiff_t at = (ptrdiff_t)(y + SHAKE_PX) * scene->map_width_px + x + SHAKE_PX;
            scene->map[at] = make_ray(scene, at_x, at_y);
        }
    }
    scene->reference_row = make_ray(scene, 0, -0.66).row;
}

/* ---- what changes with the place
 * ----------------------------------------------------------------------------- */

/* Water depth as a share of the diameter: sags of the pipe hold it. */
static double water_level(const struct sm_sim_scene *scene, double place_m)
{
    const struct sm_sim_pipe_opts *pipe = &scene->opts->pipe;
    double half_m = fmin(4.0, pipe->length_m / 4), away = (place_m - 0.6 * pipe->length_m) / half_m;
    double level = pipe->water_level * (1 - away * away);
    for (size_t i = 0; i < scene->scenario->n_items; i++) {
        const struct sm_sim_item *item = &scene->scenario->item[i];
        if (item->kind == SM_SIM_WATER) {
            away = (place_m - item->distance_m) / 1.5;
            level = fmax(level, item->q1 / 100 * (1 - away * away));
        }
    }
    return fmax(level, 0);
}

static void fill_water(struct sm_sim_scene *scene, double place_m)
{
    scene->has_water = false;
    for (int32_t i = 0; i < N_STEPS; i++) {
        double ahead_m = (i * ROW_STEP - scene->reference_row) * scene->row_m;
        double level = water_level(scene, place_m + ahead_m);
        scene->water_half[i] = (int32_t)(acos(1 - 2 * fmin(level, 0.5)) / (2 * M_PI) * SM_SIM_WALL_COLUMNS);
        scene->has_water = scene->has_water || scene->water_half[i] > 0;
    }
}

/* How far the axis has left the straight line at a depth, where a bend lies between two depths. */
static double bend_away_m(double depth_m, double from_m, double to_m)
{
    double curved_m = fmin(depth_m, to_m) - fmax(from_m, 0);
    if (to_m <= 0 || curved_m <= 0) {
        return 0;
    }
    double curvature = BEND_ANGLE / BEND_LENGTH_M;
    return curvature * curved_m * (curved_m / 2 + fmax(0, depth_m - to_m));
}

static void fill_bend(struct sm_sim_scene *scene, double place_m)
{
    double at_m = scene->opts->pipe.bend_at_m, from_m = at_m - place_m + scene->reference_row * scene->row_m;
    double view_m = DEEPEST_ROW / 2 * scene->row_m;
    scene->has_bend = at_m >= 0 && from_m < view_m && from_m + BEND_LENGTH_M > 0;
    for (int32_t i = 0; i < N_STEPS; i++) {
        double depth_m = fmax(i * ROW_STEP, 1) * scene->row_m;
        double away_m = bend_away_m(depth_m, from_m, from_m + BEND_LENGTH_M);
        scene->bend_shift_px[i] = -(int32_t)(scene->focal_px * away_m / depth_m);
    }
}

/* ---- drawing
 * ------------------------------------------------------------------------------------------------- */

struct view {
    const uint32_t *texel, *far_texel;
    int64_t lens_row;
    int32_t roll, shift_x_px, shift_y_px;
    int32_t ripple;
};

/* Follow a bend: the ray that shows a pixel is the one its depth's shift leads to; two steps come close
 * enough. */
static const struct ray *bent_ray(const struct sm_sim_scene *scene, const struct ray *map_row, int32_t x)
{
    int32_t at = x;
    for (int32_t i = 0; i < 2; i++) {
        at = x - scene->bend_shift_px[map_row[at].row / ROW_STEP];
        at = at < 0 ? 0 : at >= scene->map_width_px ? scene->map_width_px - 1 : at;
    }
    return &map_row[at];
}

static uint32_t fetch(const struct view *view, int32_t row, int32_t column)
{
    uint64_t at_row = (uint64_t)(view->lens_row + row) & (SM_SIM_WALL_ROWS - 1);
    uint32_t at_column = (uint32_t)column & (SM_SIM_WALL_COLUMNS - 1);
    if (row >= FAR_FROM_ROW) {
        return view->far_texel[at_row / SM_SIM_WALL_FAR * (SM_SIM_WALL_COLUMNS / SM_SIM_WALL_FAR) +
                               at_column / SM_SIM_WALL_FAR];
    }
    return view->texel[at_row * SM_SIM_WALL_COLUMNS + at_column];
}

/*
 * Where the ray meets water, it goes on to the wall above it, mirrored and dimmed.
 * @return how much of the light is the mirror's, 0..16: the edge is soft, as a wet line on the wall is.
 */
static int32_t mirror_in_water(const struct sm_sim_scene *scene, const struct view *view, int32_t row,
                               int32_t *column)
{
    int32_t step = row / ROW_STEP, part = row % ROW_STEP;
    int32_t half =
        (scene->water_half[step] * (ROW_STEP - part) + scene->water_half[step + 1] * part) / ROW_STEP;
    int32_t from_invert =
        ((*column + SM_SIM_WALL_COLUMNS / 2) & (SM_SIM_WALL_COLUMNS - 1)) - SM_SIM_WALL_COLUMNS / 2;
    int32_t size = from_invert < 0 ? -from_invert : from_invert;
    if (size >= half) {
        return 0;
    }
    int32_t wave = (int32_t)(4 * sinf((float)row * 0.11F + (float)view->ripple * 0.09F));
    int32_t mirrored = 2 * half - size + wave;
    *column = from_invert < 0 ? -mirrored : mirrored;
    return half - size > 16 ? 16 : half - size;
}

static void draw_row(const struct sm_sim_scene *scene, const struct view *view, int32_t y)
{
    const struct ray *map_row =
        scene->map + (ptrdiff_t)(y + SHAKE_PX + view->shift_y_px) * scene->map_width_px;
    ptrdiff_t out = (ptrdiff_t)y * scene->width_px;
    for (int32_t x = 0; x < scene->width_px; x++, out++) {
        int32_t at = x + SHAKE_PX + view->shift_x_px;
        const struct ray *ray = scene->has_bend ? bent_ray(scene, map_row, at) : &map_row[at];
        int32_t column = ray->column + view->roll, gain = ray->gain, red = 0;
        if (scene->has_water) {
            int32_t mirror = mirror_in_water(scene, view, ray->row, &column);
            gain -= gain * mirror / 44;
            red = mirror / 5;
        }
        uint32_t texel = fetch(view, ray->row, column);
        int32_t shine = (int32_t)(texel >> 24) * ray->glare >> 7;
        int32_t level = 16 + ((((int32_t)(texel & 255) - 16) * gain) >> 8) + shine;
        scene->y[out] = (uint8_t)(level < 16 ? 16 : level > 235 ? 235 : level);
        gain = gain > 280 ? 280 : gain;
        gain = shine > 128 ? gain / 4 : gain - gain * shine / 200;
        scene->u[out] = sm_sim__byte(128 + ((((int32_t)(texel >> 8 & 255) - 128) * gain) >> 8) - red);
        scene->v[out] = sm_sim__byte(128 + ((((int32_t)(texel >> 16 & 255) - 128) * gain) >> 8) + red);
    }
}

/* Row of the luma picture from the two nearest scene rows, twice as wide. */
static void scale_row(const uint8_t *near_row, const uint8_t *next_row, int32_t width_px, uint8_t *out)
{
    for (int32_t x = 0; x < width_px; x++) {
        int32_t after = x + 1 < width_px ? x + 1 : x;
        int32_t here = 3 * near_row[x] + next_row[x], there = 3 * near_row[after] + next_row[after];
        out[2 * x] = (uint8_t)((3 * here + there + 8) >> 4);
        out[2 * x + 1] = (uint8_t)((here + 3 * there + 8) >> 4);
    }
}

static void store_luma(const struct sm_sim_scene *scene, struct sm_sim_picture *picture, int32_t y)
{
    uint8_t *out = picture->y + (ptrdiff_t)y * picture->width_px;
    if (scene->scale == 1) {
        memcpy(out, scene->y + (ptrdiff_t)y * scene->width_px, (size_t)picture->width_px);
        return;
    }
    int32_t near_row = y / 2, next_row = y % 2 == 0 ? near_row - 1 : near_row + 1;
    next_row = next_row < 0 ? 0 : next_row >= scene->height_px ? scene->height_px - 1 : next_row;
    scale_row(scene->y + (ptrdiff_t)near_row * scene->width_px,
              scene->y + (ptrdiff_t)next_row * scene->width_px, scene->width_px, out);
}

static void store_chroma(const struct sm_sim_scene *scene, struct sm_sim_picture *picture, int32_t y)
{
    int32_t pitch = 2 / scene->scale, width_px = picture->width_px / 2;
    ptrdiff_t out = (ptrdiff_t)y * width_px, in = (ptrdiff_t)y * pitch * scene->width_px;
    for (int32_t x = 0; x < width_px; x++) {
        picture->u[out + x] = scene->u[in + (ptrdiff_t)x * pitch];
        picture->v[out + x] = scene->v[in + (ptrdiff_t)x * pitch];
    }
}

enum sm_status sm_sim__scene_draw(struct sm_sim_scene *scene, double place_m, double time_s, int32_t field,
                                  int32_t step, struct sm_sim_picture *picture, struct sm_error *err)
{
    assert(picture->width_px == scene->width_px * scene->scale &&
           picture->height_px == scene->height_px * scene->scale);
    struct view view = {
        .texel = sm_sim__wall_texels(scene->wall),
        .far_texel = sm_sim__wall_far_texels(scene->wall),
        .lens_row = (int64_t)floor(place_m / scene->row_m) - scene->reference_row,
        .roll = (int32_t)lround(14 * sin(place_m * 0.61) + 5 * sin(place_m * 3.1)) + 4 * SM_SIM_WALL_COLUMNS,
        .shift_x_px = (int32_t)lround(1.6 * sin(place_m * 4.3) + 1.2 * sin(place_m * 23)),
        .shift_y_px = (int32_t)lround(1.2 * sin(place_m * 6.7) + 1.2 * sin(place_m * 31)),
        .ripple = (int32_t)(time_s * 45),
    };
    enum sm_status status =
        sm_sim__wall_prepare(scene->wall, view.lens_row, view.lens_row + DEEPEST_ROW, err);
    if (status != SM_OK) {
        return status;
    }
    fill_water(scene, place_m);
    fill_bend(scene, place_m);
    for (int32_t y = 0; y < scene->height_px; y++) {
        draw_row(scene, &view, y);
    }
    for (int32_t y = field; y < picture->height_px; y += step) {
        store_luma(scene, picture, y);
    }
    for (int32_t y = field; y < picture->height_px / 2; y += step) {
        store_chroma(scene, picture, y);
    }
    return SM_OK;
}

/* ---- life
 * ---------------------------------------------------------------------------------------------------- */

static bool has_memory(struct sm_sim_scene *scene)
{
    size_t n = (size_t)scene->width_px * (size_t)scene->height_px;
    size_t n_map = (size_t)scene->map_width_px * (size_t)(scene->height_px + 2 * SHAKE_PX);
    scene->map = sm_calloc(n_map, sizeof *scene->map);
    scene->y = sm_calloc(n, 1);
    scene->u = sm_calloc(n, 1);
    scene->v = sm_calloc(n, 1);
    return scene->map && scene->y && scene->u && scene->v;
}

enum sm_status sm_sim__scene_new(struct sm_sim_scene **out, const struct sm_sim_opts *opts,
                                 const struct sm_sim_scenario *scenario, struct sm_error *err)
{
    struct sm_sim_scene *scene = sm_calloc(1, sizeof *scene);
    if (!scene) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for the scene");
    }
    scene->opts = opts;
    scene->scenario = scenario;
    scene->scale = opts->video.width_px > SMALL_PX ? 2 : 1;
    scene->width_px = (int32_t)opts->video.width_px / scene->scale;
    scene->height_px = (int32_t)opts->video.height_px / scene->scale;
    scene->map_width_px = scene->width_px + 2 * SHAKE_PX;
    scene->focal_px = 0.42 * scene->width_px;
    scene->diameter_m = opts->pipe.diameter_mm / 1000;
    scene->row_m = scene->diameter_m / SM_SIM_ROWS_PER_DIAMETER;
    enum sm_status status = sm_sim__wall_new(&scene->wall, opts, scenario, err);
    if (status == SM_OK && !has_memory(scene)) {
        status = sm_error_set(err, SM_E_NOMEM, "no memory for the scene");
    }
    if (status != SM_OK) {
        sm_sim__scene_free(&scene);
        return status;
    }
    make_map(scene);
    *out = scene;
    return SM_OK;
}

void sm_sim__scene_free(struct sm_sim_scene **scene)
{
    if (*scene) {
        sm_sim__wall_free(&(*scene)->wall);
        sm_free((*scene)->map);
        sm_free((*scene)->y);
        sm_free((*scene)->u);
        sm_free((*scene)->v);
        sm_free(*scene);
        *scene = NULL;
    }
}

enum sm_status sm_sim__picture_make(struct sm_sim_picture *out, int32_t width_px, int32_t height_px,
                                    struct sm_error *err)
{
    size_t n = (size_t)width_px * (size_t)height_px;
    uint8_t *planes = sm_calloc(n + n / 2, 1);
    if (!planes) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for a picture");
    }
    *out = (struct sm_sim_picture){width_px, height_px, planes, planes + n, planes + n + n / 4};
    return SM_OK;
}

void sm_sim__picture_release(struct sm_sim_picture *picture)
{
    sm_free(picture->y);
    *picture = (struct sm_sim_picture){0};
}
