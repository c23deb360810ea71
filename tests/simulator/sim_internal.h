/**
 * @file sim_internal.h
 * What the parts of the survey simulator share: the scenario planted in the pipe, the camera's way, the wall,
 * the picture, the overlay and the file writer.
 */
#ifndef SM_SIM_INTERNAL_H
#define SM_SIM_INTERNAL_H

#include "simulator.h"
#include "sm_random.h"

/** Each part draws from its own generator, so that an option of one does not move the others. */
enum sm_sim_stream {
    SM_SIM_STREAM_PLAN = 1,
    SM_SIM_STREAM_MOTION,
    SM_SIM_STREAM_WALL,
    SM_SIM_STREAM_NOISE,
    SM_SIM_STREAM_OVERLAY,
    SM_SIM_STREAM_LOG,
    SM_SIM_STREAM_RATE,
    SM_SIM_STREAM_OPTS,
};
struct sm_test_random sm_sim__stream(int64_t seed, enum sm_sim_stream stream);
bool sm_sim__chance(struct sm_test_random *random, double chance);

/* ---- what is planted (sim_scenario.c)
 * ------------------------------------------------------------------------ */

enum sm_sim_kind {
    SM_SIM_START_NODE,
    SM_SIM_FINISH_NODE,
    SM_SIM_CRACK,
    SM_SIM_CIRCULAR_CRACK,
    SM_SIM_LONG_CRACK, /**< continuous */
    SM_SIM_BREAK,
    SM_SIM_ROOTS,
    SM_SIM_DEPOSIT,
    SM_SIM_INFILTRATION,
    SM_SIM_OFFSET_JOINT,
    SM_SIM_CONNECTION,
    SM_SIM_WATER,
    SM_SIM_BEND,
};
#define SM_SIM_N_KINDS 13

/** What is known of a kind: how it is coded, and what is said about it in the picture. */
struct sm_sim_kind_info {
    const char *name;             /**< in plans */
    const char *code, *ch1, *ch2; /**< EN 13508-2 main code and characterisations */
    const char *code_na;          /**< North American condition code */
    const char *sentence;         /**< burned into the picture */
    double q1_least, q1_greatest; /**< quantification, NAN = none */
    bool is_at_joint;
    bool is_continuous;
    bool has_clock;
};
const struct sm_sim_kind_info *sm_sim__kind(enum sm_sim_kind kind);

struct sm_sim_item {
    enum sm_sim_kind kind;
    double start_m, end_m; /**< true extent */
    double distance_m;     /**< where it is logged: its start, or its middle when it is not continuous */
    int32_t clock_from_h, clock_to_h; /**< 1..12, 0 = none */
    double q1;                        /**< NAN = none */
    double diameter_mm;               /**< connections, NAN otherwise */
    int32_t continuous_id;            /**< 0 = none */
    uint64_t seed;                    /**< of its own shape */
};
struct sm_sim_scenario {
    struct sm_sim_item *item; /**< by start_m; the first is the start node, the last the finish node */
    size_t n_items, capacity;
};
enum sm_status sm_sim__scenario_make(struct sm_sim_scenario *out, const struct sm_sim_opts *opts,
                                     struct sm_error *err) SM_CHECKED;
void sm_sim__scenario_release(struct sm_sim_scenario *scenario);

/* ---- the camera's way and the counter (sim_motion.c)
 * --------------------------------------------------------- */

/** A stop at an item, or at its end. */
struct sm_sim_stop {
    size_t item_idx;
    bool is_end; /**< of a continuous one */
    double place_m;
    double start_s, end_s; /**< standing */
};
struct sm_sim_path {
    double *place_m; /**< one every 1/SM_SIM_PATH_HZ s */
    size_t n, capacity;
    double duration_s;
    double run_start_s; /**< the title and black are over */
    double set_s;       /**< the counter was set anew, NAN = never */
    struct sm_sim_stop *stop;
    size_t n_stops, stop_capacity;
};
#define SM_SIM_PATH_HZ 100
enum sm_status sm_sim__path_make(struct sm_sim_path *out, const struct sm_sim_opts *opts,
                                 const struct sm_sim_scenario *scenario, struct sm_error *err) SM_CHECKED;
void sm_sim__path_release(struct sm_sim_path *path);
double sm_sim__path_at(const struct sm_sim_path *path, double time_s);
/** The stop at which the camera stands; NULL = it moves. */
const struct sm_sim_stop *sm_sim__path_stop_at(const struct sm_sim_path *path, double time_s);

/** What the counter shows, in units of its last digit. */
int64_t sm_sim__counter_counts(const struct sm_sim_opts *opts, const struct sm_sim_path *path, double time_s);
/** The counter's value without rounding or lag, in its own unit, at a place passed at a time. */
double sm_sim__counter_value(const struct sm_sim_opts *opts, double place_m, bool is_set_anew);
/** "D: 0012.34 m" */
void sm_sim__counter_text(const struct sm_sim_counter_opts *counter, int64_t counts, struct sm_text *out);
/** "12.34": point, no leading zeros. */
void sm_sim__counter_reading(int64_t counts, int64_t decimals, struct sm_text *out);
/** The same text with a line for each digit: the counter that does not run. */
void sm_sim__counter_idle_text(const struct sm_sim_counter_opts *counter, struct sm_text *out);

/* ---- the wall (sim_wall.c)
 * ----------------------------------------------------------------------------------- */

/** Unrolled wall as a ring of rows along the pipe, painted when needed; a texel is Y | U << 8 | V << 16 |
 * gloss << 24. */
struct sm_sim_wall;
#define SM_SIM_WALL_COLUMNS 1024 /**< once around, column 0 at the invert, clockwise as seen with the run */
#define SM_SIM_WALL_ROWS 4096    /**< in the ring */
#define SM_SIM_WALL_FAR 8        /**< rows and columns of the fine picture in one texel of the coarse */
#define SM_SIM_ROWS_PER_DIAMETER 150
enum sm_status sm_sim__wall_new(struct sm_sim_wall **out, const struct sm_sim_opts *opts,
                                const struct sm_sim_scenario *scenario, struct sm_error *err) SM_CHECKED;
void sm_sim__wall_free(struct sm_sim_wall **wall);
/** Have rows first_row..last_row (at most SM_SIM_WALL_ROWS - 512 apart) ready. */
enum sm_status sm_sim__wall_prepare(struct sm_sim_wall *wall, int64_t first_row, int64_t last_row,
                                    struct sm_error *err) SM_CHECKED;
const uint32_t *sm_sim__wall_texels(const struct sm_sim_wall *wall); /**< [row mod ROWS][column] */
const uint32_t *sm_sim__wall_far_texels(
    const struct sm_sim_wall *wall); /**< the same, FAR times coarser both ways */

/* ---- pictures
 * ------------------------------------------------------------------------------------------------ */

/** 4:2:0 picture, video range. */
struct sm_sim_picture {
    int32_t width_px, height_px; /**< even */
    uint8_t *y, *u, *v;          /**< rows without gaps; chroma half as wide and high */
};
enum sm_status sm_sim__picture_make(struct sm_sim_picture *out, int32_t width_px, int32_t height_px,
                                    struct sm_error *err) SM_CHECKED;
void sm_sim__picture_release(struct sm_sim_picture *picture);

/** value cut to 0..255. */
static inline uint8_t sm_sim__byte(int32_t value)
{
    return (uint8_t)(value < 0 ? 0 : value > 255 ? 255 : value);
}

/** The view along the pipe (sim_scene.c). */
struct sm_sim_scene;
enum sm_status sm_sim__scene_new(struct sm_sim_scene **out, const struct sm_sim_opts *opts,
                                 const struct sm_sim_scenario *scenario, struct sm_error *err) SM_CHECKED;
void sm_sim__scene_free(struct sm_sim_scene **scene);
/** Draw the pipe seen from place_m (field 0 or 1 only when step = 2: every second row from row field). */
enum sm_status sm_sim__scene_draw(struct sm_sim_scene *scene, double place_m, double time_s, int32_t field,
                                  int32_t step, struct sm_sim_picture *picture,
                                  struct sm_error *err) SM_CHECKED;

/** What happens to a picture in camera, cable and recorder (sim_damage.c). */
struct sm_sim_damage;
enum sm_status sm_sim__damage_new(struct sm_sim_damage **out, const struct sm_sim_opts *opts,
                                  struct sm_error *err) SM_CHECKED;
void sm_sim__damage_free(struct sm_sim_damage **damage);
void sm_sim__damage_under(struct sm_sim_damage *damage,
                          struct sm_sim_picture *picture); /**< before the overlay */
void sm_sim__damage_over(struct sm_sim_damage *damage, struct sm_sim_picture *picture); /**< after it */

/** The texts in the picture (sim_overlay.c). */
struct sm_sim_overlay;
enum sm_status sm_sim__overlay_new(struct sm_sim_overlay **out, const struct sm_sim_opts *opts,
                                   const struct sm_sim_scenario *scenario, const struct sm_sim_path *path,
                                   struct sm_error *err) SM_CHECKED;
void sm_sim__overlay_free(struct sm_sim_overlay **overlay);

struct sm_sim_box {
    int32_t left_px, top_px, right_px, bottom_px; /**< empty when right <= left */
};
/** Make a box span another one, too. */
void sm_sim__box_add(struct sm_sim_box *box, const struct sm_sim_box *more);
/** What one frame shows of the counter. */
struct sm_sim_shown {
    struct sm_text text;    /**< as drawn, empty = no counter on the picture */
    struct sm_text reading; /**< empty = no number */
    struct sm_sim_box box;  /**< of the whole counter text's ink */
};
/** Draw all texts of the moment; shown's texts are cleared first. */
enum sm_status sm_sim__overlay_draw(struct sm_sim_overlay *overlay, double time_s,
                                    struct sm_sim_picture *picture, struct sm_sim_shown *shown,
                                    struct sm_error *err) SM_CHECKED;
/** How far a drawn character is found again in a finished picture. */
struct sm_sim_match {
    double likeness; /**< correlation of luma with what was drawn, 0..1 */
    double contrast; /**< of the part that agrees, grey levels from its dark to its bright */
};
/**
 * The worst match of a counter text's digits in a finished picture.
 * @param other NULL, or a text as long: only digits that differ from it count; 1 and 255 when none does.
 */
enum sm_status sm_sim__overlay_match(struct sm_sim_overlay *overlay, const char *text, const char *other,
                                     const uint8_t *luma, ptrdiff_t stride, struct sm_sim_match *out,
                                     struct sm_error *err) SM_CHECKED;

/* ---- the video file (sim_encode.c)
 * --------------------------------------------------------------------------- */

struct sm_sim_encoder;
enum sm_status sm_sim__encoder_open(struct sm_sim_encoder **out, const struct sm_sim_video_opts *video,
                                    bool is_interlaced, const char *path, struct sm_error *err) SM_CHECKED;
/** Write a picture shown from tick on: frames of the nominal rate, or milliseconds at a variable rate. Ticks
 * rise. */
enum sm_status sm_sim__encoder_write(struct sm_sim_encoder *encoder, const struct sm_sim_picture *picture,
                                     int64_t tick, struct sm_error *err) SM_CHECKED;
/** Finish the file. */
enum sm_status sm_sim__encoder_close(struct sm_sim_encoder **encoder, struct sm_error *err) SM_CHECKED;
void sm_sim__encoder_abort(struct sm_sim_encoder **encoder);
/** Called for each frame of a file in the order they are shown; luma is borrowed. */
typedef enum sm_status sm_sim_decoded_fn(void *user, size_t frame_idx, double time_s, const uint8_t *luma,
                                         ptrdiff_t stride, struct sm_error *err);
/** Decode a whole file; the first frame's time is 0, one that the file does not tell NAN. */
enum sm_status sm_sim__decode(const char *path, sm_sim_decoded_fn *fn, void *user,
                              struct sm_error *err) SM_CHECKED;

/* ---- truth and papers
 * ---------------------------------------------------------------------------------------- */

/** One frame's truth. */
struct sm_sim_frame_truth {
    double time_s;
    double true_m;
    struct sm_sim_match match; /**< of the counter's worst digit, as decoded */
    char text[48], reading[24];
    bool is_shown, is_legible;
};
struct sm_sim_truth {
    struct sm_sim_frame_truth *frame;
    size_t n_frames, capacity;
    struct sm_sim_box box; /**< union over all frames */
};
enum sm_status sm_sim__truth_write(const struct sm_sim_opts *opts, const struct sm_sim_scenario *scenario,
                                   const struct sm_sim_path *path, const struct sm_sim_truth *truth,
                                   const char *dir, struct sm_error *err) SM_CHECKED;
/** options.txt, written last: a folder that has it is whole. */
enum sm_status sm_sim__options_write(const struct sm_sim_opts *opts, const char *dir,
                                     struct sm_error *err) SM_CHECKED;
/** log.csv, sheet.ini, kits.csv, cure.csv, log_truth.csv. */
enum sm_status sm_sim__papers_write(const struct sm_sim_opts *opts, const struct sm_sim_scenario *scenario,
                                    const struct sm_sim_path *path, const char *dir,
                                    struct sm_error *err) SM_CHECKED;
/** Write text as DIR/name; a text that ran out of memory is an error. */
enum sm_status sm_sim__text_write(const struct sm_text *text, const char *dir, const char *name,
                                  struct sm_error *err) SM_CHECKED;

#endif
