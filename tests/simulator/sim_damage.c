/*
 * sim_damage.c - what camera, cable and recorder do to the picture. Under the overlay: gain flicker and the
 * camera's noise. Over it: blur, smeared colour, crawl (fine detail taken for colour, as in composite video),
 * noise of the cable, dropouts. Each frame's randomness comes from one generator, in frame order.
 */
#include "sim_internal.h"

#include <math.h>
#include <string.h>

#define N_NOISE 65536
#define KERNEL_MAX 19

struct sm_sim_damage {
    const struct sm_sim_damage_opts *opts;
    double rate_hz;
    struct sm_test_random random;
    int8_t grain[N_NOISE];  /* normal, standard deviation 32 */
    int8_t smooth[N_NOISE]; /* the same, neighbours alike: what a cable's bandwidth leaves */
    double gain;
    int32_t frame;
    int32_t kernel[KERNEL_MAX], half; /* of the blur, sum 256 */
    uint8_t *row, *plane;             /* room to work */
};

static void fill_noise(struct sm_sim_damage *damage)
{
    double before = 0;
    for (size_t i = 0; i < N_NOISE; i++) {
        double sum = -6;
        for (int32_t k = 0; k < 12; k++) {
            sum += sm_test_uniform(&damage->random, 0, 1);
        }
        damage->grain[i] = (int8_t)fmax(-127, fmin(127, sum * 32));
        before = 0.6 * before + 0.8 * sum;
        damage->smooth[i] = (int8_t)fmax(-127, fmin(127, before * 32));
    }
}

static void fill_kernel(struct sm_sim_damage *damage, double sigma_px)
{
    damage->half = (int32_t)fmin((KERNEL_MAX - 1) / 2.0, ceil(sigma_px * 2));
    double sum = 0, weight[KERNEL_MAX];
    for (int32_t i = 0; i <= 2 * damage->half; i++) {
        double away = (i - damage->half) / fmax(sigma_px, 0.01);
        weight[i] = exp(-away * away / 2);
        sum += weight[i];
    }
    int32_t rest = 256;
    for (int32_t i = 0; i <= 2 * damage->half; i++) {
        damage->kernel[i] = (int32_t)(weight[i] / sum * 256);
        rest -= damage->kernel[i];
    }
    damage->kernel[damage->half] += rest;
}

enum sm_status sm_sim__damage_new(struct sm_sim_damage **out, const struct sm_sim_opts *opts,
                                  struct sm_error *err)
{
    struct sm_sim_damage *damage = sm_calloc(1, sizeof *damage);
    if (!damage) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for the noise");
    }
    damage->opts = &opts->damage;
    damage->rate_hz = (double)opts->video.rate_num / (double)opts->video.rate_den;
    damage->random = sm_sim__stream(opts->seed, SM_SIM_STREAM_NOISE);
    damage->gain = 1;
    fill_noise(damage);
    fill_kernel(damage, opts->damage.blur_px);
    size_t n = (size_t)opts->video.width_px * (size_t)opts->video.height_px;
    damage->row = sm_calloc((size_t)opts->video.width_px + KERNEL_MAX, 1);
    damage->plane = sm_calloc(n, 1);
    if (!damage->row || !damage->plane) {
        sm_sim__damage_free(&damage);
        return sm_error_set(err, SM_E_NOMEM, "no memory for the noise");
    }
    *out = damage;
    return SM_OK;
}

void sm_sim__damage_free(struct sm_sim_damage **damage)
{
    if (*damage) {
        sm_free((*damage)->row);
        sm_free((*damage)->plane);
        sm_free(*damage);
        *damage = NULL;
    }
}

static void add_noise(struct sm_sim_damage *damage, const int8_t *noise, double strength, uint8_t *plane,
                      int32_t width_px, int32_t height_px)
{
    int32_t factor = (int32_t)lround(strength * 8); /* noise / 32 * strength = noise * factor / 256 */
    if (factor <= 0) {
        return;
    }
    for (int32_t y = 0; y < height_px; y++) {
        const int8_t *from = noise + (sm_test_next(&damage->random) >> 20) % (uint64_t)(N_NOISE - width_px);
        uint8_t *out = plane + (ptrdiff_t)y * width_px;
        for (int32_t x = 0; x < width_px; x++) {
            out[x] = sm_sim__byte(out[x] + ((from[x] * factor) >> 8));
        }
    }
}

static void noise_picture(struct sm_sim_damage *damage, const int8_t *noise, double strength,
                          struct sm_sim_picture *picture)
{
    int32_t width_px = picture->width_px, height_px = picture->height_px;
    add_noise(damage, noise, strength, picture->y, width_px, height_px);
    add_noise(damage, noise, strength * 0.4, picture->u, width_px / 2, height_px / 2);
    add_noise(damage, noise, strength * 0.4, picture->v, width_px / 2, height_px / 2);
}

/* The gain wanders and now and then jumps, as an automatic iris does. */
static void flicker(struct sm_sim_damage *damage, struct sm_sim_picture *picture)
{
    double strength = damage->opts->flicker;
    if (strength <= 0) {
        return;
    }
    double aim = 1 + sm_test_uniform(&damage->random, -strength, strength);
    damage->gain += (aim - damage->gain) * (sm_test_int(&damage->random, 0, 40) == 0 ? 1.0 : 0.25);
    uint8_t changed[256];
    for (int32_t i = 0; i < 256; i++) {
        changed[i] = sm_sim__byte((int32_t)lround(16 + (i - 16) * damage->gain));
    }
    size_t n = (size_t)picture->width_px * (size_t)picture->height_px;
    for (size_t i = 0; i < n; i++) {
        picture->y[i] = changed[picture->y[i]];
    }
}

void sm_sim__damage_under(struct sm_sim_damage *damage, struct sm_sim_picture *picture)
{
    flicker(damage, picture);
    noise_picture(damage, damage->grain, damage->opts->noise, picture);
}

/* ---- over the overlay
 * ---------------------------------------------------------------------------------------- */

static void blur_row(const struct sm_sim_damage *damage, const uint8_t *in, ptrdiff_t pitch, int32_t last,
                     int32_t at, uint8_t *out, int32_t width_px)
{
    for (int32_t x = 0; x < width_px; x++) {
        int32_t sum = 128;
        for (int32_t k = -damage->half; k <= damage->half; k++) {
            int32_t from = at + k < 0 ? 0 : at + k > last ? last : at + k;
            sum += damage->kernel[k + damage->half] * in[from * pitch + x];
        }
        out[x] = (uint8_t)(sum >> 8);
    }
}

static void blur(struct sm_sim_damage *damage, struct sm_sim_picture *picture)
{
    if (damage->opts->blur_px <= 0) {
        return;
    }
    int32_t width_px = picture->width_px, height_px = picture->height_px, half = damage->half;
    for (int32_t y = 0; y < height_px; y++) {
        blur_row(damage, picture->y, width_px, height_px - 1, y, damage->plane + (ptrdiff_t)y * width_px,
                 width_px);
    }
    for (int32_t y = 0; y < height_px; y++) {
        uint8_t *row = damage->row, *in = damage->plane + (ptrdiff_t)y * width_px;
        memset(row, in[0], (size_t)half);
        memcpy(row + half, in, (size_t)width_px);
        memset(row + half + width_px, in[width_px - 1], (size_t)half);
        blur_row(damage, row, 1, width_px, half, picture->y + (ptrdiff_t)y * width_px, width_px);
    }
}

static void bleed_plane(uint8_t *plane, int32_t width_px, int32_t height_px, double smear_px)
{
    int32_t keep = (int32_t)(256 * exp(-2 / smear_px)); /* chroma pixels are two luma pixels wide */
    for (int32_t y = 0; y < height_px; y++) {
        uint8_t *row = plane + (ptrdiff_t)y * width_px;
        int32_t level = row[0] << 8;
        for (int32_t x = 0; x < width_px; x++) {
            level = (level * keep + row[x] * (256 - keep) * 256) >> 8;
            row[x] = (uint8_t)(level >> 8);
        }
    }
}

/* Fine luma detail leaks into colour with the subcarrier's phase, which turns from line to line and frame to
 * frame. */
static void crawl(struct sm_sim_damage *damage, struct sm_sim_picture *picture)
{
    static const int8_t turn[4] = {1, 0, -1, 0};
    int32_t factor = (int32_t)(damage->opts->crawl * 140), width_px = picture->width_px / 2;
    for (int32_t y = 0; factor > 0 && y < picture->height_px / 2; y++) {
        const uint8_t *luma = picture->y + (ptrdiff_t)2 * y * picture->width_px;
        for (int32_t x = 1; x + 1 < width_px; x++) {
            int32_t detail =
                2 * luma[2 * x] - luma[2 * x - 2] - luma[2 * x + 2] + luma[2 * x + 1] - luma[2 * x - 1];
            int32_t phase = x + 2 * y + damage->frame, leak = detail * factor >> 8;
            ptrdiff_t at = (ptrdiff_t)y * width_px + x;
            picture->u[at] = sm_sim__byte(picture->u[at] + leak * turn[phase & 3]);
            picture->v[at] = sm_sim__byte(picture->v[at] + leak * turn[(phase + 1) & 3]);
        }
    }
}

/* Colour edges show as dots in the luma: the other half of crawl. */
static void dot_crawl(struct sm_sim_damage *damage, struct sm_sim_picture *picture)
{
    int32_t factor = (int32_t)(damage->opts->crawl * 90), width_px = picture->width_px;
    for (int32_t y = 0; factor > 0 && y < picture->height_px; y++) {
        const uint8_t *u = picture->u + (ptrdiff_t)(y / 2) * (width_px / 2);
        uint8_t *luma = picture->y + (ptrdiff_t)y * width_px;
        for (int32_t x = 2; x + 2 < width_px; x++) {
            int32_t edge = u[x / 2 + 1 < width_px / 2 ? x / 2 + 1 : x / 2] - u[x / 2 - 1];
            int32_t sign = ((x + y + damage->frame) & 2) - 1;
            luma[x] = sm_sim__byte(luma[x] + (sign * edge * factor >> 9));
        }
    }
}

static void drop_out(struct sm_sim_damage *damage, struct sm_sim_picture *picture)
{
    double left = damage->opts->dropouts_hz / damage->rate_hz;
    for (; left > 0 && sm_test_uniform(&damage->random, 0, 1) < left; left -= 1) {
        int32_t y = (int32_t)sm_test_int(&damage->random, 0, picture->height_px - 1);
        int32_t x = (int32_t)sm_test_int(&damage->random, 0, picture->width_px - 1);
        int32_t n = (int32_t)sm_test_int(&damage->random, 12, picture->width_px / 4);
        uint8_t level = sm_test_int(&damage->random, 0, 2) == 0 ? 20 : 230;
        n = n < picture->width_px - x ? n : picture->width_px - x;
        memset(picture->y + (ptrdiff_t)y * picture->width_px + x, level, (size_t)n);
    }
}

void sm_sim__damage_over(struct sm_sim_damage *damage, struct sm_sim_picture *picture)
{
    const struct sm_sim_damage_opts *opts = damage->opts;
    crawl(damage, picture);
    if (opts->bleed_px > 0) {
        bleed_plane(picture->u, picture->width_px / 2, picture->height_px / 2, opts->bleed_px);
        bleed_plane(picture->v, picture->width_px / 2, picture->height_px / 2, opts->bleed_px);
    }
    dot_crawl(damage, picture);
    blur(damage, picture);
    noise_picture(damage, damage->smooth, opts->line_noise, picture);
    drop_out(damage, picture);
    damage->frame++;
}
