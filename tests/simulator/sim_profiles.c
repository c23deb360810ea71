/*
 * sim_profiles.c - options out of a seed. "plain" is one clean survey that differs in its pipe only; "varied"
 * draws from everything that real screens show while staying legible; "hard" adds poor wires, starved
 * bitrates and odd layouts.
 */
#include "sim_internal.h"
#include "text_render.h"

#include <math.h>
#include <string.h>

struct sm_sim_opts sm_sim_opts_default(void)
{
    struct sm_sim_opts opts = {
        .seed = 1,
        .video = {.width_px = 352,
                  .height_px = 288,
                  .rate_num = 25,
                  .rate_den = 1,
                  .codec = SM_SIM_H264,
                  .container = SM_SIM_MP4,
                  .b_frames = -1},
        .pipe = {.length_m = 20,
                 .diameter_mm = 200,
                 .unit_length_m = 1,
                 .material = SM_SIM_CLAY,
                 .n_observations = 6,
                 .bend_at_m = -1,
                 .id = "T12-T13",
                 .from = "T12",
                 .to = "T13"},
        .motion = {.speed_min_m_s = 0.1,
                   .speed_max_m_s = 0.2,
                   .stand_min_s = 5,
                   .stand_max_s = 9,
                   .reversal_chance = 0.2,
                   .lead_in_s = 2,
                   .lead_out_s = 2},
        .counter = {.scale = 1,
                    .set_at_m = -1,
                    .unit = SM_SIM_METRES,
                    .int_digits = 3,
                    .decimals = 2,
                    .fill = SM_SIM_FILL_ZERO,
                    .suffix = "_m"},
        .overlay = {.font = "DejaVu Sans Mono",
                    .digit_px = 15,
                    .other_scale = 1,
                    .stretch = 1,
                    .colour = 0xffffff,
                    .outline_px = 1,
                    .opacity = 1,
                    .ground_alpha = 1,
                    .layout = SM_SIM_CORNERS,
                    .place = SM_SIM_BOTTOM_RIGHT,
                    .has_time = true,
                    .has_date = true,
                    .has_nodes = true,
                    .clock_start_s = 36720,
                    .gap_s = 4},
        .damage = {.noise = 4, .flicker = 0.03, .glare = 0.5, .brightness = 1},
        .log = {.time = SM_SIM_LOG_VIDEO, .reaction_min_s = 1.2, .reaction_max_s = 3.5, .decimals = 2},
    };
    return opts;
}

enum sm_status sm_sim_profile_parse(enum sm_sim_profile *out, const char *name, struct sm_error *err)
{
    static const char *const names[] = {"plain", "varied", "hard"};
    for (size_t i = 0; i < 3; i++) {
        if (strcmp(names[i], name) == 0) {
            *out = (enum sm_sim_profile)i;
            return SM_OK;
        }
    }
    (void)sm_error_set(err, SM_E_NOTFOUND, "no profile is called \"%s\"", name);
    (void)sm_error_remedy(err, "use plain, varied or hard");
    return SM_E_NOTFOUND;
}

#define PICK(random, array)                                                                                  \
    ((array)[sm_test_int((random), 0, (int64_t)(sizeof(array) / sizeof(array)[0]) - 1)])

static void pick_pipe(struct sm_sim_opts *opts, struct sm_test_random *random)
{
    static const double diameters_mm[] = {150, 200, 200, 250, 300, 400},
                        units_m[] = {0.75, 1, 1.25, 1.5, 2, 3};
    opts->pipe.length_m = round(sm_test_uniform(random, 12, 30) * 20) / 20;
    opts->pipe.diameter_mm = PICK(random, diameters_mm);
    opts->pipe.unit_length_m = PICK(random, units_m);
    opts->pipe.material = (enum sm_sim_material)sm_test_int(random, 0, SM_SIM_LINER);
    opts->pipe.n_observations = sm_test_int(random, 4, 9);
    opts->pipe.bend_at_m =
        sm_sim__chance(random, 0.2) ? opts->pipe.length_m * sm_test_uniform(random, 0.3, 0.8) : -1;
    opts->pipe.water_level = sm_sim__chance(random, 0.3) ? sm_test_uniform(random, 0.05, 0.2) : 0;
    opts->motion.speed_min_m_s = sm_test_uniform(random, 0.03, 0.12);
    opts->motion.speed_max_m_s = sm_test_uniform(random, 0.13, 0.25);
    opts->motion.reversal_chance = sm_test_uniform(random, 0, 0.4);
}

/* ---- video
 * --------------------------------------------------------------------------------------------------- */

static void pick_video(struct sm_sim_opts *opts, struct sm_test_random *random)
{
    static const int32_t pal[][2] = {{352, 288}, {704, 576}, {720, 576}, {720, 576}},
                         ntsc[][2] = {{320, 240}, {640, 480}, {720, 480}, {720, 480}},
                         large[][2] = {{1280, 720}, {1920, 1080}};
    static const enum sm_sim_container home[] = {SM_SIM_PS,  SM_SIM_PS,  SM_SIM_AVI, SM_SIM_AVI,
                                                 SM_SIM_MP4, SM_SIM_MP4, SM_SIM_ASF},
                                       away[] = {SM_SIM_TS,  SM_SIM_TS,  SM_SIM_AVI, SM_SIM_AVI,
                                                 SM_SIM_MKV, SM_SIM_MKV, SM_SIM_ASF};
    struct sm_sim_video_opts *video = &opts->video;
    bool is_feet = sm_sim__chance(random, 0.4);
    opts->counter.unit = is_feet ? SM_SIM_FEET : SM_SIM_METRES;
    const int32_t *size = is_feet ? PICK(random, ntsc) : PICK(random, pal);
    video->codec = (enum sm_sim_codec)sm_test_int(random, 0, SM_SIM_WMV2);
    if (video->codec >= SM_SIM_H264 && video->codec != SM_SIM_WMV2 && sm_sim__chance(random, 0.25)) {
        size = PICK(random, large);
    }
    video->width_px = size[0];
    video->height_px = size[1];
    video->rate_num = is_feet ? 30000 : 25;
    video->rate_den = is_feet ? 1001 : 1;
    video->container = sm_sim__chance(random, 0.7) ? home[video->codec] : away[video->codec];
    video->is_variable_rate =
        (video->codec == SM_SIM_H264 || video->codec == SM_SIM_HEVC) && sm_sim__chance(random, 0.2);
    static const int64_t gops[] = {25, 50, 250};
    video->gop = video->codec == SM_SIM_MPEG4 || video->codec >= SM_SIM_H264 ? PICK(random, gops) : 0;
}

/* ---- counter
 * ------------------------------------------------------------------------------------------------- */

static void pick_counter(struct sm_sim_opts *opts, struct sm_test_random *random)
{
    static const char *const metres[] = {"m", "_m", "M", "_M", ""}, *const feet[] = {"_ft", "ft", "FT",
                                                                                     "_FT", "'",  ""},
                             *const prefixes[] = {"", "", "", "D:", "D:_", "DIST_", "L="};
    struct sm_sim_counter_opts *counter = &opts->counter;
    bool is_feet = counter->unit == SM_SIM_FEET;
    (void)sm_strcopy(counter->suffix, sizeof counter->suffix,
                     is_feet ? PICK(random, feet) : PICK(random, metres));
    (void)sm_strcopy(counter->prefix, sizeof counter->prefix, PICK(random, prefixes));
    counter->decimals = is_feet ? sm_test_int(random, 0, 2) : sm_test_int(random, 1, 3);
    if (is_feet && counter->decimals == 0 && sm_sim__chance(random, 0.7)) {
        counter->decimals = 1;
    }
    counter->fill = (enum sm_sim_fill)sm_test_int(random, 0, 2);
    counter->int_digits = sm_test_int(random, 2, 5);
    counter->has_comma = !is_feet && sm_sim__chance(random, 0.2);
    counter->sign = sm_sim__chance(random, 0.1) ? SM_SIM_SIGN_ALWAYS : SM_SIM_SIGN_MINUS;
    counter->scale = sm_test_uniform(random, 0.985, 1.015);
    counter->offset_m = sm_sim__chance(random, 0.3) ? sm_test_uniform(random, -0.8, 0.8) : 0;
    counter->update_s = sm_sim__chance(random, 0.4) ? sm_test_uniform(random, 0.1, 0.5) : 0;
    counter->lag_s = sm_sim__chance(random, 0.3) ? sm_test_uniform(random, 0.05, 0.3) : 0;
}

/* ---- overlay
 * ------------------------------------------------------------------------------------------------- */

/* Fonts of many packages; the ones that are not installed are passed over, so pictures depend on what is
 * installed. */
static const char *const fonts[] = {
    "DejaVu Sans Mono",
    "seven-segment",
    "psf:Lat15-VGA16",
    "psf:Lat15-Terminus16",
    "DejaVu Sans",
    "Liberation Mono",
    "Liberation Sans",
    "OCRA",
    "OCR B",
    "FreeMono",
    "FreeSans",
    "Nimbus Mono PS",
    "Terminus",
    "Unifont",
    "Roboto",
    "Inconsolata",
    "Hack",
    "DSEG7 Classic",
    "psf:Lat15-Fixed16",
    "psf:Lat15-VGA8",
    "Noto Mono",
    "Open Sans",
    "Cantarell",
    "DejaVu Serif",
    "Liberation Sans Narrow",
};

static void pick_font(struct sm_sim_overlay_opts *overlay, struct sm_test_random *random)
{
    enum { N = sizeof fonts / sizeof fonts[0] };
    int64_t start = sm_test_int(random, 0, N - 1);
    for (int64_t i = 0; i < N; i++) {
        const char *font = fonts[(start + i) % N];
        if (sm_caption_font_exists(font)) {
            (void)sm_strcopy(overlay->font, sizeof overlay->font, font);
            return;
        }
    }
}

static void pick_style(struct sm_sim_opts *opts, struct sm_test_random *random)
{
    static const int64_t colours[] = {0xffffff, 0xffffff, 0xffffff, 0xf8f840,
                                      0x40f060, 0xf0f0f0, 0x60f0f0, 0xff5040};
    struct sm_sim_overlay_opts *overlay = &opts->overlay;
    double small_px = fmax(9, (double)opts->video.height_px / 32),
           large_px = fmin(40, (double)opts->video.height_px / 14);
    pick_font(overlay, random);
    overlay->digit_px = floor(sm_test_uniform(random, small_px, large_px));
    overlay->other_scale = sm_sim__chance(random, 0.5) ? 1 : sm_test_uniform(random, 0.7, 1.0);
    overlay->is_bold = sm_sim__chance(random, 0.3);
    overlay->has_slashed_zero = sm_sim__chance(random, 0.3);
    overlay->is_hard_edged = sm_sim__chance(random, 0.2);
    overlay->stretch = sm_sim__chance(random, 0.2) ? sm_test_uniform(random, 0.85, 1.25) : 1;
    overlay->colour = PICK(random, colours);
    overlay->outline_px = overlay->shadow_px = 0;
    overlay->ground = SM_SIM_GROUND_NONE;
    switch (sm_test_int(random, 0, 5)) {
    case 0:
        overlay->shadow_px = overlay->digit_px > 16 ? 2 : 1;
        break;
    case 1:
    case 2:
        overlay->ground = (enum sm_sim_ground)sm_test_int(random, SM_SIM_GROUND_TEXT, SM_SIM_GROUND_BAND);
        break;
    default:
        overlay->outline_px = overlay->digit_px > 18 ? 2 : 1;
        break;
    }
    overlay->ground_alpha = sm_sim__chance(random, 0.6) ? 1 : sm_test_uniform(random, 0.4, 0.8);
    overlay->box_colour = sm_sim__chance(random, 0.4) ? 0x102080 : 0;
    if (overlay->ground != SM_SIM_GROUND_NONE && overlay->ground_alpha == 1 && sm_sim__chance(random, 0.2)) {
        overlay->colour = 0x101010;
        overlay->box_colour = 0xe8e8e8;
    }
}

static void pick_fields(struct sm_sim_opts *opts, struct sm_test_random *random)
{
    struct sm_sim_overlay_opts *overlay = &opts->overlay;
    overlay->layout = (enum sm_sim_layout)sm_test_int(random, 0, SM_SIM_ALONE);
    overlay->place = (enum sm_sim_place)sm_test_int(random, 0, SM_SIM_BOTTOM_RIGHT);
    overlay->has_date = sm_sim__chance(random, 0.6);
    overlay->has_time = sm_sim__chance(random, 0.6);
    overlay->has_elapsed = sm_sim__chance(random, 0.25);
    overlay->has_nodes = sm_sim__chance(random, 0.6);
    overlay->has_diameter = sm_sim__chance(random, 0.4);
    overlay->has_temperature = sm_sim__chance(random, 0.25);
    overlay->has_inclination = sm_sim__chance(random, 0.3);
    overlay->has_material = sm_sim__chance(random, 0.3);
    overlay->has_pressure = sm_sim__chance(random, 0.1);
    overlay->sentence_s = sm_sim__chance(random, 0.3) ? 3 : 0;
    overlay->title_s = sm_sim__chance(random, 0.2) ? 3 : 0;
    overlay->not_running_s = sm_sim__chance(random, 0.15) ? 3 : 0;
    overlay->n_gaps = sm_sim__chance(random, 0.2) ? 1 : 0;
    overlay->n_text_pages = sm_sim__chance(random, 0.2) ? 1 : 0;
    overlay->clock_start_s = (double)sm_test_int(random, 7 * 3600, 17 * 3600);
}

/* ---- damage
 * -------------------------------------------------------------------------------------------------- */

static void pick_damage(struct sm_sim_opts *opts, struct sm_test_random *random, double strength)
{
    struct sm_sim_damage_opts *damage = &opts->damage;
    double fine = (double)opts->overlay.digit_px / 20;
    damage->noise = sm_test_uniform(random, 1, 8) * strength;
    damage->line_noise = sm_sim__chance(random, 0.5) ? sm_test_uniform(random, 0, 5) * strength : 0;
    damage->blur_px = sm_sim__chance(random, 0.4) ? sm_test_uniform(random, 0.2, 0.7) * strength * fine : 0;
    damage->flicker = sm_test_uniform(random, 0, 0.08);
    damage->glare = sm_test_uniform(random, 0, 0.8);
    damage->brightness = sm_test_uniform(random, 0.7, 1.2);
    bool is_analogue = opts->video.height_px <= 576 && sm_sim__chance(random, 0.5);
    damage->is_interlaced = is_analogue && opts->video.height_px > 400 && sm_sim__chance(random, 0.6);
    damage->bleed_px = is_analogue ? sm_test_uniform(random, 0, 5) * strength : 0;
    damage->crawl = is_analogue ? sm_test_uniform(random, 0, 0.4) * strength : 0;
    damage->dropouts_hz =
        is_analogue && sm_sim__chance(random, 0.2) ? sm_test_uniform(random, 0, 6) * strength : 0;
}

static void harden(struct sm_sim_opts *opts, struct sm_test_random *random)
{
    struct sm_sim_video_opts *video = &opts->video;
    double px_per_s =
        (double)(video->width_px * video->height_px * video->rate_num) / (double)video->rate_den;
    if (video->codec != SM_SIM_MJPEG && sm_sim__chance(random, 0.5)) {
        video->bitrate_kbps = (int64_t)(px_per_s * sm_test_uniform(random, 0.05, 0.12) / 1000) + 80;
    }
    opts->overlay.has_second_distance = sm_sim__chance(random, 0.15);
    opts->overlay.opacity = sm_sim__chance(random, 0.3) ? sm_test_uniform(random, 0.6, 0.95) : 1;
    opts->overlay.is_flipping = opts->overlay.ground == SM_SIM_GROUND_NONE && sm_sim__chance(random, 0.15);
    if (sm_sim__chance(random, 0.25)) { /* nothing around the strokes */
        opts->overlay.outline_px = opts->overlay.shadow_px = 0;
    }
    opts->overlay.n_gaps = sm_test_int(random, 0, 2);
    opts->counter.set_at_m =
        sm_sim__chance(random, 0.2) ? opts->pipe.length_m * sm_test_uniform(random, 0.3, 0.7) : -1;
}

struct sm_sim_opts sm_sim_opts_random(int64_t seed, enum sm_sim_profile profile)
{
    struct sm_sim_opts opts = sm_sim_opts_default();
    struct sm_test_random random = sm_sim__stream(seed, SM_SIM_STREAM_OPTS);
    opts.seed = seed;
    pick_pipe(&opts, &random);
    if (profile == SM_SIM_PLAIN) {
        return opts;
    }
    pick_video(&opts, &random);
    pick_counter(&opts, &random);
    pick_style(&opts, &random);
    pick_fields(&opts, &random);
    pick_damage(&opts, &random, profile == SM_SIM_HARD ? 1.8 : 1.0);
    if (profile == SM_SIM_HARD) {
        harden(&opts, &random);
    }
    return opts;
}
