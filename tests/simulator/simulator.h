/**
 * @file simulator.h
 * Makes camera surveys of a pipe that never existed, with their truth: a video with a burned-in counter, the
 * reading on every frame, the planted observations, and an operator's log with errors that were asked for.
 * Everything follows from the options; the same options make the same pictures and the same text files.
 *
 * Distances are true metres from the pipe edge at the access point the camera entered. The counter shows
 * (true - offset) * scale in its own unit, later set anew where counter.set_at_m says so.
 */
#ifndef SM_SIMULATOR_H
#define SM_SIMULATOR_H

#include "stopmark/base.h"

enum sm_sim_codec {
    SM_SIM_MPEG1,
    SM_SIM_MPEG2,
    SM_SIM_MPEG4,
    SM_SIM_MJPEG,
    SM_SIM_H264,
    SM_SIM_HEVC,
    SM_SIM_WMV2
};
enum sm_sim_container { SM_SIM_PS, SM_SIM_TS, SM_SIM_AVI, SM_SIM_MP4, SM_SIM_MKV, SM_SIM_ASF };
enum sm_sim_material { SM_SIM_CLAY, SM_SIM_CONCRETE, SM_SIM_PVC, SM_SIM_IRON, SM_SIM_LINER };
enum sm_sim_unit { SM_SIM_METRES, SM_SIM_FEET };
/** What stands before the number's own digits: nothing, blanks or zeros up to int_digits. */
enum sm_sim_fill { SM_SIM_FILL_NONE, SM_SIM_FILL_BLANK, SM_SIM_FILL_ZERO };
enum sm_sim_sign { SM_SIM_SIGN_MINUS, SM_SIM_SIGN_ALWAYS };
/** Ground behind the texts: none, around each text, fixed rectangles, one band across the picture. */
enum sm_sim_ground { SM_SIM_GROUND_NONE, SM_SIM_GROUND_TEXT, SM_SIM_GROUND_FIXED, SM_SIM_GROUND_BAND };
/** Where the fields stand: in the corners, in a line at the top and one at the bottom, in boxes, in a column,
 * in one line. */
enum sm_sim_layout {
    SM_SIM_CORNERS,
    SM_SIM_TWO_LINES,
    SM_SIM_PANELS,
    SM_SIM_COLUMN,
    SM_SIM_ONE_LINE,
    SM_SIM_ALONE,
    SM_SIM_SCATTERED
};
enum sm_sim_place {
    SM_SIM_TOP_LEFT,
    SM_SIM_TOP,
    SM_SIM_TOP_RIGHT,
    SM_SIM_BOTTOM_LEFT,
    SM_SIM_BOTTOM,
    SM_SIM_BOTTOM_RIGHT
};
enum sm_sim_clock { SM_SIM_LOG_VIDEO, SM_SIM_LOG_CLOCK };
enum sm_sim_profile { SM_SIM_PLAIN, SM_SIM_VARIED, SM_SIM_HARD };

#define SM_SIM_NAME_SIZE 64
#define SM_SIM_PLAN_SIZE 1024

struct sm_sim_video_opts {
    int64_t width_px, height_px;
    int64_t rate_num, rate_den; /**< frames per second */
    bool is_variable_rate; /**< frames left out at random; times in milliseconds. Not for MPEG-1/2, AVI */
    enum sm_sim_codec codec;
    enum sm_sim_container container;
    int64_t bitrate_kbps; /**< 0 = an ordinary one for codec and size */
    int64_t gop;          /**< frames between frames that decode alone, 0 = usual for the codec */
    int64_t b_frames;     /**< -1 = usual for the codec */
    bool is_slow;         /**< H.264: more work for better pictures at the same size */
    double limit_s;       /**< cut the recording here, 0 = when the run is over */
};

struct sm_sim_pipe_opts {
    double length_m; /**< pipe edge to pipe edge */
    double diameter_mm;
    double unit_length_m; /**< between joints */
    enum sm_sim_material material;
    int64_t n_observations; /**< beside the two nodes; planned at random */
    /** What is planted instead of a random choice: "crack:4.30-4.90@2 roots:9@12" (kind:place[-end][@clock]).
     */
    char plan[SM_SIM_PLAN_SIZE];
    double bend_at_m;   /**< < 0 = straight */
    double water_level; /**< standing water in the lowest stretch, share of the diameter, 0 = none */
    char id[SM_SIM_NAME_SIZE], from[SM_SIM_NAME_SIZE], to[SM_SIM_NAME_SIZE];
};

struct sm_sim_motion_opts {
    double speed_min_m_s, speed_max_m_s;
    double stand_min_s, stand_max_s; /**< at each observation */
    double reversal_chance;          /**< of a short run back at an observation, 0..1 */
    double start_m;                  /**< where the run begins */
    double stop_at_m;                /**< given up here, 0 = at the end node */
    double lead_in_s, lead_out_s;    /**< standing before and after the run */
};

struct sm_sim_counter_opts {
    double offset_m; /**< true distance at which the counter showed zero */
    double scale;    /**< counter metres per true metre */
    double set_at_m; /**< the counter is set anew when the camera passes here, < 0 = never */
    double set_to;   /**< to this, in the counter's unit */
    double update_s; /**< interval between updates of the display, 0 = each frame */
    double lag_s;    /**< the display is late by this */
    enum sm_sim_unit unit;
    int64_t int_digits; /**< fill up to this many digits before the point */
    int64_t decimals;   /**< 0..3 */
    enum sm_sim_fill fill;
    enum sm_sim_sign sign;
    bool has_comma;
    char prefix[SM_SIM_NAME_SIZE], suffix[SM_SIM_NAME_SIZE]; /**< "_" stands for a blank */
};

struct sm_sim_overlay_opts {
    char font[SM_SIM_NAME_SIZE];       /**< as struct sm_caption_style has it */
    double digit_px;                   /**< height of the digits */
    double other_scale;                /**< size of the other fields against the counter's */
    char other_font[SM_SIM_NAME_SIZE]; /**< empty = the same */
    bool is_bold, has_slashed_zero, is_hard_edged;
    double stretch, spacing_px;
    int64_t colour, outline_colour, box_colour; /**< 0xRRGGBB */
    double outline_px, shadow_px;
    enum sm_sim_ground ground;
    double ground_alpha; /**< 0..1 */
    double opacity;      /**< of the texts, 0..1 */
    bool is_flipping;    /**< each character black or white, whichever its ground is not */
    enum sm_sim_layout layout;
    enum sm_sim_place place; /**< of the counter */
    double margin_px;        /**< from the picture's edge, 0 = a share of the height */
    bool has_date, has_time, has_elapsed, has_nodes, has_diameter, has_temperature, has_inclination,
        has_material;
    bool has_second_distance; /**< a distance since the last stop beside the counter */
    bool has_pressure;
    double clock_start_s; /**< time of day at the first frame */
    double sentence_s;    /**< the observation's sentence is shown this long at each stop, 0 = never */
    double title_s;       /**< title page before the run */
    double black_s;       /**< black before everything */
    double not_running_s; /**< the counter shows lines instead of digits, after the title */
    int64_t n_text_pages; /**< pages of text over the picture, the counter hidden */
    int64_t n_gaps;       /**< stretches with no overlay at all */
    double gap_s;
};

struct sm_sim_damage_opts {
    double blur_px;    /**< of the wall and the text */
    double noise;      /**< of the camera, under the overlay, standard deviation in grey levels */
    double line_noise; /**< of the cable, over the overlay */
    double flicker;    /**< of the gain, share */
    double glare;      /**< of the lamps, 0..1 */
    double brightness; /**< of the wall, 1 = ordinary */
    bool is_interlaced;
    double bleed_px;    /**< colour smeared to the right */
    double crawl;       /**< fine detail turned into moving colour, 0..1 */
    double dropouts_hz; /**< bright or dark dashes along a line, per second */
};

struct sm_sim_log_opts {
    enum sm_sim_clock time;
    double clock_offset_s;                 /**< the log's clock ahead of the picture's clock */
    double clock_drift;                    /**< s per s */
    double reaction_min_s, reaction_max_s; /**< after the camera has stopped */
    int64_t decimals;                      /**< of the logged distance */
    int64_t n_typing; /**< distances with two digits swapped or the point one place off */
    int64_t n_unit;   /**< distances in the other unit without saying so */
    int64_t n_no_time, n_no_distance;
    int64_t n_unknown_code;
    bool has_open_continuous; /**< the end of a continuous defect is not logged */
    bool is_north_american;
};

/** Everything a survey is made from. */
struct sm_sim_opts {
    int64_t seed;
    struct sm_sim_video_opts video;
    struct sm_sim_pipe_opts pipe;
    struct sm_sim_motion_opts motion;
    struct sm_sim_counter_opts counter;
    struct sm_sim_overlay_opts overlay;
    struct sm_sim_damage_opts damage;
    struct sm_sim_log_opts log;
};

/** A plain survey: 352x288 H.264, metres, white text with an outline. */
struct sm_sim_opts sm_sim_opts_default(void);
/** The options that a seed picks within a profile; plain changes the pipe only. */
struct sm_sim_opts sm_sim_opts_random(int64_t seed, enum sm_sim_profile profile);
/** Set one option from "key=value". @return SM_OK; SM_E_NOTFOUND no such key; SM_E_FORMAT or SM_E_RANGE the
 * value. */
enum sm_status sm_sim_opts_set(struct sm_sim_opts *opts, const char *assignment,
                               struct sm_error *err) SM_CHECKED;
/** Check what single keys cannot: codec against container, sizes, a plan inside the pipe. */
enum sm_status sm_sim_opts_check(const struct sm_sim_opts *opts, struct sm_error *err) SM_CHECKED;
/** All keys with their values, one "key=value" a line, in the order of the table. */
void sm_sim_opts_print(const struct sm_sim_opts *opts, struct sm_text *out);
/** All keys with what they mean, for people. */
void sm_sim_opts_help(struct sm_text *out);
enum sm_status sm_sim_profile_parse(enum sm_sim_profile *out, const char *name,
                                    struct sm_error *err) SM_CHECKED;

/**
 * Make the survey in a folder: video (run.EXT), truth.csv, truth.json, defects.csv, options.txt, log.csv,
 * sheet.ini, kits.csv, cure.csv. Files that exist are replaced.
 * @return SM_OK; SM_E_RANGE or SM_E_FORMAT options; SM_E_NOTFOUND font; SM_E_UNSUPPORTED encoder; SM_E_IO;
 * SM_E_NOMEM.
 */
enum sm_status sm_sim_write_survey(const struct sm_sim_opts *opts, const char *dir,
                                   struct sm_error *err) SM_CHECKED;

/** File name of the video that sm_sim_write_survey() makes, "run.mp4". */
const char *sm_sim_video_name(const struct sm_sim_opts *opts);

/** A clip of a benchmark list. */
struct sm_sim_clip {
    char name[48];
    bool is_untouched; /**< of the half that nobody looks at while tuning */
    struct sm_sim_opts opts;
};
/**
 * Read a list of clips (the format stands in sim_clips.c). @param out [new] free with sm_free().
 * @return SM_OK; SM_E_IO; SM_E_FORMAT, SM_E_NOTFOUND, SM_E_RANGE with the line.
 */
enum sm_status sm_sim_clips_read(struct sm_sim_clip **out, size_t *n, const char *path,
                                 struct sm_error *err) SM_CHECKED;

#endif
