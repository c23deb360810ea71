/*
 * What the parts of the counter stage share. The way of the data:
 *   sample.c   a few pictures spread over the recording
 *   locate.c   pictures -> lines that look like burned-in text
 *   glyphs.c   one line of one picture -> characters with places and odds (through strip.h and net.h)
 *   field.c    characters of many pictures -> number fields, told apart from clocks, dates and the rest
 *   layout.c   the chosen field -> where its digits stand
 *   sighting.c one picture -> odds of every digit at every place
 *   loose.c    the same where digits are of different widths and keep no places
 *   approach.c which pictures are worth a look: a few first, more where what lies between does not follow
 *   eye.c      pictures -> sightings, for what the approach asks, on one thread or several
 *   path.c     sightings through time -> readings with confidence
 *   corner.c   where travel begins or ends between two readings far apart, from the sizes of coded pictures
 *   fill.c     readings -> a trace without holes
 */
#ifndef SM_COUNTER_INTERNAL_H
#define SM_COUNTER_INTERNAL_H

#include "stopmark/counter.h"

#include "net.h"
#include "strip.h"

#define SM_COUNTER_MAX_SLOTS 8    /* digits a counter can have */
#define SM_COUNTER_MAX_HELPERS 63 /* threads beside the caller's */
#define SM_COUNTER_MAX_ANCHORS 8  /* places at which its last digit was seen to stand */

/* ---- sample.c ---- */

/** Pictures kept for a while: luma and chroma copies with their times. */
struct sm_counter__samples {
    size_t n, capacity;
    struct sm_frame *frame; /**< image planes owned here */
};
enum sm_status sm_counter__samples_take(struct sm_counter__samples *samples,
                                        const struct sm_frame_source *source, size_t wanted,
                                        struct sm_error *err) SM_CHECKED;
void sm_counter__samples_release(struct sm_counter__samples *samples);

/* ---- locate.c ---- */

/** A stretch of one text line in the picture, px. top and baseline bound its digits. */
struct sm_counter__text_line {
    float x0_px, x1_px, top_px, baseline_px;
    float strength;
    float weight_y, weight_u, weight_v; /**< how the planes are mixed into the grey that is read */
};
#define SM_COUNTER_MAX_LINES 40
/** Lines that look like burned-in text, strongest first. @param box width 0 = the whole picture. @return
 * their number. */
enum sm_status sm_counter__locate(struct sm_counter__text_line lines[SM_COUNTER_MAX_LINES], size_t *n_lines,
                                  const struct sm_counter__samples *samples, struct sm_box box,
                                  struct sm_error *err) SM_CHECKED;

/* ---- glyphs.c ---- */

/** One character seen on a line. */
struct sm_counter__glyph_seen {
    float x_px;    /**< its middle */
    uint8_t glyph; /**< enum sm_counter__glyph */
    float p;       /**< the network's probability */
};
#define SM_COUNTER_MAX_GLYPHS 96
/** Work space of the network, made once and used for every line. */
struct sm_counter__reader;
enum sm_status sm_counter__reader_new(struct sm_counter__reader **out, struct sm_error *err) SM_CHECKED;
void sm_counter__reader_free(struct sm_counter__reader **reader);
/**
 * Log probabilities of the columns of a line: n_columns x SM_GLYPH_COUNT, borrowed until the next call.
 * Column c stands at x = x0_px + c * column_px.
 */
struct sm_counter__columns {
    int32_t n;
    float x0_px, column_px;
    const float *logp;
    const float *strip; /**< SM_STRIP_HEIGHT x strip_width_px, borrowed likewise */
    int32_t strip_width_px;
};
enum sm_status sm_counter__reader_columns(struct sm_counter__columns *out, struct sm_counter__reader *reader,
                                          const struct sm_image *image,
                                          const struct sm_counter__text_line *line,
                                          struct sm_error *err) SM_CHECKED;
/** Characters of a line that was read, left to right. @return their number. */
size_t sm_counter__columns_glyphs(struct sm_counter__glyph_seen glyphs[SM_COUNTER_MAX_GLYPHS],
                                  const struct sm_counter__columns *columns);
/** The same from the picture. */
enum sm_status sm_counter__glyphs(struct sm_counter__glyph_seen glyphs[SM_COUNTER_MAX_GLYPHS],
                                  size_t *n_glyphs, struct sm_counter__reader *reader,
                                  const struct sm_image *image, const struct sm_counter__text_line *line,
                                  struct sm_error *err) SM_CHECKED;

/* ---- token.c ---- */

enum sm_counter__token_kind { SM_TOKEN_NUMBER, SM_TOKEN_CLOCK, SM_TOKEN_DATE, SM_TOKEN_PLACEHOLDER };
enum sm_counter__suffix {
    SM_SUFFIX_NONE,
    SM_SUFFIX_M,
    SM_SUFFIX_FT,
    SM_SUFFIX_MM,
    SM_SUFFIX_PERCENT,
    SM_SUFFIX_DEGREE,
    SM_SUFFIX_RING, /**< a small mark high up and nothing behind it: degrees, or a poor sign for feet */
    SM_SUFFIX_LETTER,
    SM_N_SUFFIXES
};
/** A run of digits and signs as it stood in one picture. */
struct sm_counter__token {
    double time_s;
    enum sm_counter__token_kind kind;
    enum sm_counter__suffix suffix;
    bool is_negative, is_glued_left, has_comma;
    bool has_hole; /**< one of its digits was taken for a letter: its place is known, its value is not */
    int32_t n_digits, decimals;
    int64_t counts;
    float digit_px[SM_COUNTER_MAX_SLOTS]; /**< middles, [0] = last digit */
    float separator_px, x0_px, x1_px;     /**< x1 takes in the suffix */
    float p_least;
    char text[24];
};
/** Cut a line's characters into tokens. @return their number. */
size_t sm_counter__tokens(struct sm_counter__token *tokens, size_t capacity,
                          const struct sm_counter__glyph_seen *seen, size_t n_glyphs, float pitch_px,
                          double time_s);
/** Usual distance between neighbouring digits of a line, 0 when fewer than two were seen. */
float sm_counter__pitch(const struct sm_counter__glyph_seen *glyphs, const size_t *n_glyphs,
                        size_t n_pictures);

/* ---- field.c ---- */

/** The same place of the picture through all samples. */
struct sm_counter__field {
    size_t line_idx;
    float x0_px, x1_px;
    size_t n_tokens, capacity;
    struct sm_counter__token *token; /**< in rising time, one a picture at most */
    enum sm_counter__token_kind kind;
    enum sm_counter__suffix suffix;
    int32_t decimals;
    double score;
    double agreement; /**< share of its numbers that have the usual form and were seen */
    double clarity;   /**< share of them that were seen clearly */
    const char *verdict;
};
struct sm_counter__fields {
    size_t n, capacity;
    struct sm_counter__field *item;
};
/** Sort the tokens of one line into fields (appended). */
enum sm_status sm_counter__fields_add(struct sm_counter__fields *fields, size_t line_idx,
                                      const struct sm_counter__token *tokens, size_t n_tokens,
                                      struct sm_error *err) SM_CHECKED;
/** Judge every field: score and verdict; then best first. n_pictures: how many were looked at. */
void sm_counter__fields_judge(struct sm_counter__fields *fields, size_t n_pictures);
void sm_counter__fields_release(struct sm_counter__fields *fields);

/* ---- clock_text.c ---- */

/** The time of day among the fields, if there is one: what it is at the video's start. */
struct sm_picture_clock sm_counter__clock_text(const struct sm_counter__fields *fields);

/* ---- layout.c ---- */

/** Where the digits of the counter stand. Slot 0 is the last digit; slots grow to the left. */
struct sm_counter__layout {
    struct sm_counter__text_line line;      /**< with x0, x1 tight around all that belongs to the number */
    struct sm_counter__text_line read_line; /**< with room for every slot of every anchor */
    int32_t decimals, n_slots;
    float slot_offset_px[SM_COUNTER_MAX_SLOTS]; /**< of each slot's middle from that of slot 0, <= 0 */
    float
        one_shift_px; /**< middle of a 1 from that of its cell: segment displays have it at the right edge */
    float separator_offset_px; /**< of the decimal sign; meaningless without decimals */
    float pitch_px;            /**< usual distance of neighbouring digits */
    /** Digits of different widths: they stand elsewhere in every number, so each picture tells where. There
     * is one anchor then. */
    bool is_loose;
    int32_t n_anchors;
    float anchor_px[SM_COUNTER_MAX_ANCHORS]; /**< middle of slot 0 */
    float anchor_logprior[SM_COUNTER_MAX_ANCHORS];
    int32_t fixed_digits; /**< leading zeros fill up to this many digits; 0 = no leading zeros */
    bool has_decimal_comma;
    enum sm_unit unit;
};

/** Learn the layout from the tokens of the chosen field. line: geometry of its text line. */
enum sm_status sm_counter__layout_learn(struct sm_counter__layout *layout,
                                        const struct sm_counter__field *field,
                                        const struct sm_counter__text_line *line,
                                        struct sm_error *err) SM_CHECKED;

/* ---- faces.c ---- */

#define SM_COUNTER_FACE_HALF_WIDTH 9
#define SM_COUNTER_FACE_SIZE ((SM_STRIP_DIGIT_HEIGHT + 4) * (2 * SM_COUNTER_FACE_HALF_WIDTH + 1))
#define SM_COUNTER_FACES_KEPT 400

/** How the ten digits look in this video. */
struct sm_counter__faces {
    bool is_ready;
    int32_t half_width;
    float kappa; /**< how much a difference in likeness tells */
    int32_t n[10];
    float sum[10][SM_COUNTER_FACE_SIZE]; /**< sums while shown, unit length after the end */
    int32_t n_kept;
    uint8_t kept_digit[SM_COUNTER_FACES_KEPT];
    float kept[SM_COUNTER_FACES_KEPT][SM_COUNTER_FACE_SIZE];
};
void sm_counter__faces_begin(struct sm_counter__faces *faces, float pitch_strip_px);
/** Show one cell whose digit is known. */
void sm_counter__faces_show(struct sm_counter__faces *faces, const struct sm_counter__columns *columns,
                            float x_px, int32_t digit);
/** All shown: ready when enough of the digits were. */
void sm_counter__faces_end(struct sm_counter__faces *faces);
/** Mix the network's log probabilities of the ten digits at x with what the faces say. */
void sm_counter__faces_judge(float logp[10], const struct sm_counter__faces *faces,
                             const struct sm_counter__columns *columns, float x_px);

/* ---- sighting.c ---- */

enum { SM_COUNTER_NO_DIGIT = 10, SM_COUNTER_MINUS = 11, SM_COUNTER_N_MARKS = 12 };

/** Odds of what stands in every slot, for every anchor: 16 x -ln(probability), 255 at most. */
struct sm_counter__sighting {
    double time_s;
    uint8_t cost[SM_COUNTER_MAX_ANCHORS][SM_COUNTER_MAX_SLOTS][SM_COUNTER_N_MARKS];
    uint8_t separator_cost[SM_COUNTER_MAX_ANCHORS];    /**< that the decimal sign is there */
    uint8_t no_separator_cost[SM_COUNTER_MAX_ANCHORS]; /**< that nothing is */
};
#define SM_COUNTER_COST_SCALE 16.0f

/** A slot to look at. */
struct sm_counter__slot {
    float x_px;
    float one_shift_px; /**< of a 1 from there */
    float pitch_px; /**< a sign is narrower than a digit and stands up to 0.4 of it nearer to the number */
    float reach_px; /**< how far on either side a digit may stand as well */
    bool has_digit; /**< one of the number's digits stands there for certain */
};
/** Odds of what stands in a slot. */
void sm_counter__slot_sight(uint8_t cost[SM_COUNTER_N_MARKS], const struct sm_counter__columns *columns,
                            const struct sm_counter__faces *faces, const struct sm_counter__slot *slot);
/** Slots from n_required on hold digits only as far as no slot before is empty. */
void sm_counter__end_at_blank(uint8_t cost[][SM_COUNTER_N_MARKS], int32_t n_required, int32_t n_slots);
/** Odds of a decimal sign at x_px, at this anchor. */
void sm_counter__separator_sight(struct sm_counter__sighting *s, int32_t anchor,
                                 const struct sm_counter__columns *columns, float x_px);
/** loose.c: a picture of a layout that is loose; shows no counter where no number of its form stands. */
void sm_counter__sight_loose(struct sm_counter__sighting *sighting, const struct sm_counter__columns *columns,
                             const struct sm_counter__layout *layout);
/** Look at one picture. @param faces NULL = the network alone. */
enum sm_status sm_counter__sight(struct sm_counter__sighting *sighting, struct sm_counter__reader *reader,
                                 const struct sm_image *image, const struct sm_counter__layout *layout,
                                 const struct sm_counter__faces *faces, double time_s,
                                 struct sm_error *err) SM_CHECKED;

/** Sightings in any order until sorted. */
struct sm_counter__sightings {
    struct sm_counter__sighting *item;
    size_t n, capacity;
};
enum sm_status sm_counter__sightings_add(struct sm_counter__sightings *list,
                                         const struct sm_counter__sighting *sighting) SM_CHECKED;
/** Move all of more to the end of list. */
enum sm_status sm_counter__sightings_take(struct sm_counter__sightings *list,
                                          struct sm_counter__sightings *more) SM_CHECKED;
/** Rising time, one a time; the outcome does not depend on the order before. */
void sm_counter__sightings_sort(struct sm_counter__sightings *list);
void sm_counter__sightings_release(struct sm_counter__sightings *list);

/* ---- change.c ---- */

/** The stretch of picture the digits stand in, as it was when last looked at: tells cheaply whether a digit
 * has turned. */
struct sm_counter__change {
    uint8_t *cell;
    int32_t width_px, height_px, block_px;
    bool is_set;
};
/** Has something the size of a digit changed since the last picture that was kept? True for the first one. */
bool sm_counter__has_changed(const struct sm_counter__change *change, const struct sm_image *image,
                             const struct sm_counter__layout *layout);
/** Keep this picture's stretch. */
enum sm_status sm_counter__change_keep(struct sm_counter__change *change, const struct sm_image *image,
                                       const struct sm_counter__layout *layout) SM_CHECKED;
void sm_counter__change_release(struct sm_counter__change *change);

/* ---- path.c ---- */

/**
 * The likeliest readings of a row of sightings, in rising time, under a counter's laws.
 * @param readings n_sightings of them, filled. @param jump_s [new] times of re-zero events, free with
 * sm_free().
 */
enum sm_status sm_counter__path(struct sm_reading *readings, double **jump_s, size_t *n_jumps,
                                const struct sm_counter__sighting *sightings, size_t n_sightings,
                                const struct sm_counter__layout *layout, struct sm_error *err) SM_CHECKED;

/** The anchor at which a sighting shows counts best. */
int32_t sm_counter__best_anchor(const struct sm_counter__sighting *sighting, int64_t counts,
                                const struct sm_counter__layout *layout);
/** Digits that counts is shown with. */
int32_t sm_counter__n_digits(int64_t counts, const struct sm_counter__layout *layout);

/**
 * What one sighting says by itself.
 * @param margin_nats how much worse the second best is. @return false when it shows no counter.
 */
bool sm_counter__alone(int64_t *counts, double *margin_nats, const struct sm_counter__sighting *sighting,
                       const struct sm_counter__layout *layout);
/** Counts in a metre. */
double sm_counter__per_m(const struct sm_counter__layout *layout);

/* ---- approach.c ---- */

enum sm_counter__look_kind {
    SM_LOOK_SAMPLE,  /**< pictures that decode alone, step_s apart */
    SM_LOOK_MIDDLE,  /**< the first of these */
    SM_LOOK_AT,      /**< the picture on screen at start_s */
    SM_LOOK_THROUGH, /**< one picture after the other, step_s apart, until the rest follows */
    SM_LOOK_ALL,     /**< every picture in which a digit turned, and one every step_s */
};
/** A reading that is known beforehand. */
struct sm_counter__known {
    bool is_known;
    double time_s;
    int64_t counts;
};
struct sm_counter__span {
    double start_s, end_s;
};
/** A wish: pictures from start_s to end_s. */
struct sm_counter__look {
    enum sm_counter__look_kind kind;
    double start_s, end_s, step_s;
    struct sm_counter__span stretch;     /**< between two sightings, for the sake of which one looks */
    struct sm_counter__known end, after; /**< what is read at end_s and some time after it */
    bool is_line_enough; /**< going on in a line up to both, the rest is taken to do so, too */
    bool has_seen;       /**< out: there was a picture */
};
/** Fulfils n wishes. Sightings are added in any order. */
typedef enum sm_status sm_counter__look_fn(void *user, struct sm_counter__look *look, size_t n,
                                           struct sm_counter__sightings *seen, struct sm_error *err);

struct sm_counter__spans {
    struct sm_counter__span *item;
    size_t n, capacity;
};
/** Sizes of coded pictures, as in struct sm_frame_source; get NULL = not known. */
struct sm_counter__sizes {
    size_t (*get)(void *user, double start_s, double end_s, struct sm_coded_picture *out, size_t capacity);
    void *user;
};
/** All that was seen of a recording so far, and what is known about where looking is of no more use. */
struct sm_counter__watch {
    const struct sm_counter__layout *layout;
    double start_s, end_s; /**< of the recording, to its last frame */
    double key_interval_s; /**< spacing of pictures that decode alone, 0 = each does */
    double frame_s;        /**< usual time from frame to frame */
    bool is_dense;         /**< look at all pictures from the start */
    struct sm_counter__sightings seen;
    struct sm_counter__spans settled, /**< gone through: nothing more to be had */
        no_middle;                    /**< no picture inside decodes alone */
    bool is_probed, is_steady, is_stepping;
    struct sm_reading *reading; /**< of seen, one each */
    double *jump_s;
    size_t n_jumps;
    bool *is_straight; /**< from seen i to i + 1 the counter goes in a straight line, as far as can be told */
    struct sm_counter__span *moving; /**< during this part of it; before and after it stands */
    struct sm_counter__sizes sizes;
};
void sm_counter__watch_release(struct sm_counter__watch *watch);
/**
 * Look until every stretch between two sightings is straight, short or settled.
 * @param at_s n_at times that must be looked at.
 */
enum sm_status sm_counter__approach(struct sm_counter__watch *watch, const double *at_s, size_t n_at,
                                    sm_counter__look_fn *look, void *user, struct sm_error *err) SM_CHECKED;
/* ---- corner.c ---- */

/** Counts between two readings that stands before and after a part of steady travel. */
int64_t sm_counter__between(const struct sm_reading *a, const struct sm_reading *b,
                            const struct sm_counter__span *moving, double time_s);

/**
 * Does the counter stand at one of a and b and move at the other, with one corner between them?
 * @param beyond a reading before a or after b, on the moving side: tells the pace there.
 * @param moving [out] from when to when it moves; left alone when false is returned.
 */
bool sm_counter__corner(struct sm_counter__span *moving, const struct sm_counter__sizes *sizes,
                        const struct sm_reading *a, const struct sm_reading *b,
                        const struct sm_reading *beyond);

/* ---- approach.c ---- */

/** The last readings of a look that goes through. */
struct sm_counter__rest {
    size_t n;
    struct sm_counter__known last[64]; /**< ring, n counts all that were put in */
};
/** Take in one more sighting: does what comes up to the end of the look now follow? */
bool sm_counter__rest_follows(struct sm_counter__rest *rest, const struct sm_counter__look *look,
                              const struct sm_counter__sighting *sighting,
                              const struct sm_counter__layout *layout);

/* ---- eye.c ---- */

/** How pictures are turned into sightings. */
struct sm_counter__view {
    const struct sm_counter__layout *layout;
    const struct sm_counter__faces *faces;
    struct sm_counter__reader *reader;
};
struct sm_counter__eye;
/** @param opts [borrow] for its progress and helpers; may be NULL. */
enum sm_status sm_counter__eye_new(struct sm_counter__eye **out, struct sm_counter__view view,
                                   const struct sm_frame_source *source, const struct sm_counter_opts *opts,
                                   struct sm_error *err) SM_CHECKED;
void sm_counter__eye_free(struct sm_counter__eye **eye);
sm_counter__look_fn sm_counter__eye_look; /**< user = struct sm_counter__eye */

/* ---- fill.c ---- */

/** Readings with carried ones between them, so that the nearest row of a table is never far off. */
enum sm_status sm_counter__fill(struct sm_trace *trace, const struct sm_counter__watch *watch,
                                struct sm_error *err) SM_CHECKED;

/* ---- teach.c ---- */

/** Learn the faces from the sample pictures: read them, trust what is sure. Faces that do not get ready are
 * not used. */
enum sm_status sm_counter__teach(struct sm_counter__faces *faces, const struct sm_counter__samples *samples,
                                 struct sm_counter__reader *reader, const struct sm_counter__layout *layout,
                                 struct sm_error *err) SM_CHECKED;

/* ---- carry.c ---- */

/** Fill in hidden readings that lie between two read ones, unless a jump lies between them. */
void sm_counter__carry(struct sm_reading *readings, size_t n, const double *jump_s, size_t n_jumps);

#endif
