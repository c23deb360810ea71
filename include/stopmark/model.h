/**
 * @file model.h
 * The plain data that the stages hand on: segment, sheet, log entry, reading, trace, observation, kit, repair, plan.
 * Lengths along the pipe are metres from the datum; what we decide ourselves (liner places) is whole micrometres, so
 * that equality is exact. Strings inside a result belong to that result. NAN means "not known" in every double.
 */
#ifndef STOPMARK_MODEL_H
#define STOPMARK_MODEL_H

#include "stopmark/base.h"

/* ---- findings ---------------------------------------------------------------------------------------------- */

/** Flags of the contract that an observation can carry; also kinds of findings. Bits, so that a set fits a uint32_t. */
enum sm_flag {
    SM_FLAG_LOG_DISAGREES = 1 << 0,      /**< log and picture differ by more than 0.1 m or 2 last digits */
    SM_FLAG_COUNTER_UNREAD = 1 << 1,     /**< a time was logged but the picture gives no reading there */
    SM_FLAG_TIME_OUTSIDE_VIDEO = 1 << 2, /**< logged time is before or after the video */
    SM_FLAG_COUNTER_JUMP = 1 << 3,       /**< counter re-zeroed or set mid-run near here */
    SM_FLAG_UNKNOWN_CODE = 1 << 4,
    SM_FLAG_OPEN_CONTINUOUS = 1 << 5, /**< a start with no end, closed at the pipe end */
    SM_FLAG_BEYOND_SEGMENT = 1 << 6,  /**< lies outside [0, length] */
    SM_FLAG_CLOCK_DOUBTFUL = 1 << 7,  /**< clock offset could not be settled */
    SM_FLAG_MOVED_TO_STANDSTILL = 1 << 8,
    SM_FLAG_ROW_ODD = 1 << 9,         /**< something in the log row could not be used; see the message */
    SM_FLAG_UNSURE = 1 << 10,         /**< the reading's confidence is below 0.9 */
    SM_FLAG_NO_DISTANCE = 1 << 11,    /**< neither picture nor log gives a distance */
};
/** Name of one flag as written in files ("log_disagrees"); NULL for no such flag. */
const char *sm_flag_name(enum sm_flag flag);
#define SM_N_FLAGS 12

enum sm_severity { SM_SEVERITY_NOTE, SM_SEVERITY_WARNING };

/** Something a person should know that is no error: dirty field data, a doubt, a repair made silently by nobody. */
struct sm_finding {
    enum sm_flag flag; /**< 0 = of no named kind */
    enum sm_severity severity;
    const char *source;  /**< file, may be NULL */
    uint32_t line;       /**< 1-based, 0 = none */
    double time_s;       /**< video time, NAN = none */
    int32_t entry_idx;   /**< log entry it is about, -1 = none */
    const char *message; /**< one line in words a reviewer acts on */
};
/** Growable list of findings; owns its strings. Zero-initialise. */
struct sm_findings {
    struct sm_finding *item;
    size_t n, capacity;
    struct sm_arena *arena;
};
/** Append; strings are copied. Everything but the message may be 0/NULL/NAN/-1. */
enum sm_status sm_findings_add(struct sm_findings *findings, enum sm_flag flag, enum sm_severity severity,
                               const char *source, uint32_t line, double time_s, int32_t entry_idx, const char *fmt,
                               ...) SM_CHECKED SM_PRINTF(8, 9);
void sm_findings_release(struct sm_findings *findings);

/* ---- pictures ---------------------------------------------------------------------------------------------- */

/** 8-bit planar picture, borrowed: y is full size, u and v (NULL for grey) are shifted down by chroma_shift_x/_y. */
struct sm_image {
    int32_t width_px, height_px;
    const uint8_t *y, *u, *v; /**< luma 0..255 (full range) and chroma around 128 */
    ptrdiff_t stride_y, stride_u, stride_v;
    int32_t chroma_shift_x, chroma_shift_y;
};
struct sm_box {
    int32_t x_px, y_px, width_px, height_px;
};
/** One decoded frame: on screen from time_s for duration_s. */
struct sm_frame {
    struct sm_image image;
    double time_s;      /**< seconds since the first video frame of the first file */
    double duration_s;  /**< how long it stays on screen as far as known, NAN = not known */
    bool is_key;
    bool is_damaged; /**< the decoder reported corruption */
};
typedef enum sm_status sm_frame_fn(void *user, const struct sm_frame *frame, struct sm_error *err);

/** A picture as it is coded: its size tells travel from standstill without decoding. */
struct sm_coded_picture {
    double time_s;
    uint32_t size_bytes;
    bool is_key; /**< decodes alone */
};
/**
 * Where a stage that looks at pictures gets them, without knowing any decoder. The frame is borrowed during the call.
 * A callback that returns non-SM_OK ends the scan with that status (SM_E_CANCELLED: ends it without error for the source).
 */
struct sm_frame_source {
    void *user;
    double duration_s; /**< best estimate of the whole length */
    int32_t width_px, height_px;
    double frame_rate_hz; /**< average */
    double sample_cost_s; /**< spacing at which samples are cheap (keyframe spacing), 0 = any frame is cheap */
    /** Frames in time order from start_s to end_s, about step_s apart (0 = every frame); cheap_only: only frames that decode alone. */
    enum sm_status (*scan)(void *user, double start_s, double end_s, double step_s, bool cheap_only, sm_frame_fn *fn,
                           void *fn_user, struct sm_error *err);
    /** The frame on screen at each of n times (any order), called in rising time order, fn gets the asked time's index through *at_idx. */
    enum sm_status (*at)(void *user, const double *time_s, size_t n, size_t *at_idx, sm_frame_fn *fn, void *fn_user,
                         struct sm_error *err);
    /** Optional (NULL): the coded pictures shown in [start_s, end_s) in time order, capacity at most. Decodes nothing. @return their number. */
    size_t (*coded)(void *user, double start_s, double end_s, struct sm_coded_picture *out, size_t capacity);
};

/** A text shown with the video from start_s to end_s: a cue of a subtitle or text track. */
struct sm_timed_text {
    double start_s, end_s; /**< since the first video frame of the first file; end_s NAN = not said */
    const char *text;      /**< UTF-8, may hold line breaks and the marks of its format */
    int32_t track;         /**< which of the file's text tracks, from 0 */
    int32_t file;          /**< which of the recording's files, from 0 */
};

/* ---- counter readings and trace ---------------------------------------------------------------------------- */

enum sm_unit { SM_UNIT_UNKNOWN, SM_UNIT_M, SM_UNIT_FT };
const char *sm_unit_name(enum sm_unit unit); /**< "m", "ft", "" */
double sm_unit_to_m(enum sm_unit unit);      /**< 1, 0.3048; unknown counts as 1 */

enum sm_reading_state {
    SM_READING_HIDDEN,  /**< not seen and not inferable */
    SM_READING_CARRIED, /**< not seen on this frame; follows from the readings before and after */
    SM_READING_READ,    /**< seen on this frame */
};
const char *sm_reading_state_name(enum sm_reading_state state);

/** One counter reading. counts is the reading in units of its last digit: "12.34" is 1234 with decimals 2. */
struct sm_reading {
    double time_s;
    int64_t counts;
    float confidence; /**< 0..1, calibrated */
    enum sm_reading_state state;
};
/** How the counter is shown. */
struct sm_counter_format {
    struct sm_box box;  /**< in the picture, px; width 0 = not known */
    enum sm_unit unit;
    int32_t decimals; /**< 0..3 */
    bool has_leading_zeros, has_decimal_comma;
};
/** A clock that the picture shows beside the counter. */
struct sm_picture_clock {
    bool is_known;
    double at_zero_s; /**< what it shows at video time zero: seconds after midnight */
    double error_s;   /**< it may be this much more or less */
    size_t n_seen;    /**< pictures that it was read in and that agree */
};
/** Time in the video -> counter reading. Plain data, readings in rising time. Free with sm_trace_free() (trace.h). */
struct sm_trace {
    struct sm_counter_format format;
    size_t n_readings;
    struct sm_reading *reading;
    double duration_s;
    size_t n_jumps; /**< re-zero or set events */
    double *jump_time_s;
    struct sm_picture_clock clock;
    double frame_rate_hz; /**< of the recording, 0 = not known */
};
/** Reading as on the picture, point as decimal sign, no leading zeros ("-0.30", "12.34"). Empty for hidden. */
void sm_text_add_reading(struct sm_text *text, const struct sm_reading *reading, int32_t decimals);
/** The reading in its own display unit. */
double sm_reading_value(const struct sm_reading *reading, int32_t decimals);
/** Size of the last digit in metres. */
double sm_last_digit_m(const struct sm_counter_format *format);

/* ---- the sheet --------------------------------------------------------------------------------------------- */

enum sm_flow { SM_FLOW_UNKNOWN, SM_FLOW_FROM_TO, SM_FLOW_TO_FROM };

struct sm_segment {
    const char *id, *from, *to; /**< from = access point the camera entered */
    double length_m;            /**< pipe edge to pipe edge, NAN unknown */
    double diameter_mm;         /**< NAN unknown */
    double pipe_unit_length_m;  /**< NAN unknown */
    const char *material;       /**< may be NULL */
    enum sm_flow flow;
};
enum sm_log_time { SM_LOG_TIME_VIDEO, SM_LOG_TIME_CLOCK };
enum sm_code_system { SM_CODES_EN, SM_CODES_NA, SM_CODES_FILE };
enum sm_datum { SM_DATUM_PIPE_EDGE, SM_DATUM_MANHOLE_WALL, SM_DATUM_MANHOLE_CENTRE };
enum sm_locate { SM_LOCATE_MARK, SM_LOCATE_COUNTER };
enum sm_trust { SM_TRUST_PICTURE, SM_TRUST_LOG };
enum sm_reference { SM_REFERENCE_PIPE_EDGE, SM_REFERENCE_RIM };

/** A counter reading whose true distance is known. */
struct sm_tie {
    double reading; /**< in the counter's unit, as shown */
    double true_m;
};
/** [rules]: what the owner decides; defaults in the field comments. */
struct sm_rules {
    double end_cover_m;              /**< sound pipe covered each side of a defect, 0.150 */
    enum sm_locate locate;           /**< mark */
    double placement_m;              /**< error of putting the packer at a mark, 0.050 */
    double distance_error_frac;      /**< 0.005 */
    double distance_error_m;         /**< 0.3; the larger of the two counts */
    double overlap_m;                /**< two liners that meet lap at least this much, 0.100 */
    double keep_clear_m;             /**< liners stay this far from the edge of a connection, 0.100 */
    double connection_diameter_mm;   /**< where the log does not say, 150 */
    bool may_reopen;                 /**< no */
    double set_up_cost;              /**< per repair, 0 */
    double reopen_cost;              /**< per connection covered and cut open again, 0 */
    double full_lining_rate_per_m;   /**< NAN = make no comparison */
    double full_lining_set_up_cost;  /**< once, for lining the whole length, 0 */
    double dig_rate_per_m;           /**< of pipe dug up and replaced, NAN = make no comparison */
    double dig_cost;                 /**< per place dug up, 0 */
    int32_t most_repairs;            /**< more liners than this and the owner lines the whole length; -1 = no such limit */
    double most_lined_frac;          /**< likewise for the share of the length under liners; NAN = no such limit */
    int32_t n_spares;                /**< liners loaded besides those planned, 1 */
};
/** [access] */
struct sm_access {
    bool enters_at_to;               /**< the end the crew works from; false = from */
    enum sm_reference reference;
    double rim_to_pipe_edge_m;       /**< along the rod's way, with reference = rim; 0 otherwise */
    double pipe_temperature_c;       /**< NAN unknown */
    double groundwater_head_m;       /**< above the invert, NAN unknown */
    double lateral_head_m;           /**< water that may stand in a connection, above the invert, NAN unknown */
};
/** What a crew takes for each step; the owner's own numbers come first. All defaults: common practice, no source. */
struct sm_day_rules {
    double shift_min;        /**< 480 */
    double set_up_min;       /**< once a segment: cover off, gas test, flow stopped, look with the camera; 45 */
    double prepare_min;      /**< per item of preparation, 20 */
    double rehearsal_min;    /**< run to the mark with a sleeve on, besides the way in and out; 5 */
    double wet_out_min;      /**< mix, soak, wrap, tie; 8 */
    double push_m_per_min;   /**< 6 */
    double position_min;     /**< rod to the mark, 1 */
    double inflate_min;      /**< 1 */
    double deflate_min;      /**< 3 */
    double look_min;         /**< camera after the work, besides the way; 5 */
    double hold_min;         /**< kept inflated beyond the table's cure time, 10 */
};
/** A glass mat soaked with resin; what the maker's sheet says comes first. */
struct sm_mat {
    double glass_kg_m2;            /**< of one layer, 1.05 (from memory: 1.05 to 1.4 in use) */
    double resin_per_glass;        /**< by mass, 1.5 (from memory: 1.5 to 2 in use) */
    double glass_density_kg_l;     /**< 2.55 */
    double resin_density_kg_l;     /**< 1.3 (from memory) */
    double lap_m;                  /**< of the mat's edges round the pipe, 0.025 (common practice: about an inch) */
    double waste_frac;             /**< resin left in bucket and cracks, 0.10 (from memory: 0.05 to 0.15) */
    double parts_a, parts_b;       /**< mixed by volume, 2 : 1 */
    double least_thickness_mm;     /**< never fewer layers than give this; 3 (ISO 11296-4, composite wall) */
    int32_t least_layers;          /**< 2 */
    double part_a_density_kg_l, part_b_density_kg_l; /**< NAN = as the mixed resin */
};
enum sm_paper { SM_PAPER_A4, SM_PAPER_LETTER };
/** A liner that can be bought. */
struct sm_kit {
    const char *name;
    double diameter_min_mm, diameter_max_mm;
    int64_t length_um;
    double cost;
    int32_t layers;           /**< 0 = not said */
    double resin_l;           /**< NAN = not said, like all below */
    double test_pressure_kpa, max_pressure_kpa;
    const char *cure;         /**< name of rows of the cure table, NULL = none */
};
struct sm_cure_row {
    const char *name;
    double temperature_c, working_min, cure_min;
};
enum sm_treatment {
    SM_TREATMENT_NONE,
    SM_TREATMENT_LINE,    /**< a liner repairs it */
    SM_TREATMENT_PREPARE, /**< work before a liner, then line */
    SM_TREATMENT_REFER,   /**< not for a liner: an engineer or another method */
    SM_TREATMENT_CLEAR,   /**< keep liners off, a connection for instance */
};
const char *sm_treatment_name(enum sm_treatment treatment); /**< "line", ... */

/** [decisions]: a person's word on what is done about an observation, against the code table's. */
struct sm_sheet_decision {
    char id[16];       /**< of the observation, "O3" */
    const char *code;  /**< it must have, so that the word does not fall on another row; "" = not said */
    enum sm_treatment treatment;
    const char *reason; /**< never empty */
    uint32_t line;      /**< of the sheet, 0 = given with sm_sheet_set() or sm_sheet_decide() */
    bool is_of_review;  /**< said in a review; where the observation is not (any more) nothing is told */
};
/** Everything a survey sheet says, defaults filled in. Free with sm_sheet_free() (sheet.h). */
struct sm_sheet {
    struct sm_arena *arena;
    const char *path; /**< NULL when built in memory */
    struct sm_segment segment;
    const char *date, *operator_name; /**< may be NULL */
    size_t n_videos;
    const char *const *video; /**< paths as the program opens them */
    double video_start_s, video_end_s; /**< part of the (joined) video that is this survey; NAN = whole */
    const char *log;          /**< path, NULL = none */
    enum sm_log_time log_time;
    enum sm_code_system codes;
    const char *codes_file;   /**< with SM_CODES_FILE */
    enum sm_trust trust;
    enum sm_unit counter_unit;   /**< SM_UNIT_UNKNOWN = read it off the picture */
    struct sm_box counter_box;   /**< width 0 = find it */
    enum sm_datum datum;
    double datum_offset_m;       /**< pipe edge lies this far along the run from the counter's zero, 0 */
    double view_ahead_m;         /**< 0 */
    size_t n_ties;
    const struct sm_tie *tie;    /**< sorted by reading */
    struct sm_access access;
    struct sm_rules rules;
    const char *kits_file;       /**< path, NULL = none */
    size_t n_kits;
    const struct sm_kit *kit;
    size_t n_cure_rows;
    const struct sm_cure_row *cure_row;
    struct sm_findings findings;
    const char *cure_file;       /**< path, NULL = cure.csv beside the kits file, when there is one */
    const char *cure_used;       /**< path of the cure table that was read, NULL = none */
    int32_t log_inspection;      /**< which of the log's inspections (of the segment, when the sheet has its id), from 1; 0 = not said */
    sm_read_fn *read;            /**< where the tables come from; NULL = from disk */
    void *read_user;
    size_t n_distances;
    const char *const *distances; /**< lists of distances beside the picture, paths; none = look beside the videos */
    struct sm_day_rules day;
    struct sm_mat mat;
    enum sm_paper paper;         /**< of the crew sheet, A4 */
    enum sm_unit people_unit;    /**< of what people read; SM_UNIT_UNKNOWN = the counter's */
    size_t n_decisions;
    const struct sm_sheet_decision *decision; /**< one for each observation named */
    size_t n_other_runs;
    const char *const *other_run; /**< sheets or logs of other runs through this segment, paths as opened */
};

/* ---- the operator's log ------------------------------------------------------------------------------------ */

/** Where an observation's distance comes from. */
enum sm_distance_source {
    SM_DISTANCE_UNKNOWN, /**< has none, or it was not said */
    SM_DISTANCE_PICTURE, /**< the counter in the picture at the logged time */
    SM_DISTANCE_LOG,     /**< the logged distance */
};
const char *sm_distance_source_name(enum sm_distance_source source); /**< "picture", "log", "" */

enum sm_continuous { SM_CONTINUOUS_NONE, SM_CONTINUOUS_START, SM_CONTINUOUS_CHANGE, SM_CONTINUOUS_END };

/** One row of the operator's log, as written; nothing corrected. */
struct sm_log_entry {
    uint32_t line;       /**< in the file */
    double time_s;       /**< as logged (video time or time of day, see the sheet), NAN = none */
    int32_t time_frames; /**< frames of a timecode beyond time_s, at the film's rate */
    double distance_m;   /**< as logged, turned to metres, NAN = none */
    double distance_digit_m; /**< size of the last digit the logged distance was written with, in metres */
    const char *code;    /**< upper case, never NULL */
    const char *ch1, *ch2, *q1, *q2; /**< as written, "" = none */
    double q1_value, q2_value;       /**< as numbers, NAN = none */
    int32_t clock_from_h, clock_to_h; /**< 1..12, 0 = none; 12 to 12 = whole circumference */
    enum sm_continuous continuous;
    int32_t continuous_id;  /**< number that pairs start and end */
    bool is_at_joint;
    double diameter_mm;     /**< of a connection, NAN = none */
    const char *remark;     /**< remark and extra columns, "" = none */
    const char *photo;      /**< "" = none */
    int32_t group;          /**< rows with the same number belong to one defect, as the log says; 0 = it does not say */
    enum sm_distance_source prefer; /**< the distance a reviewer decided on; SM_DISTANCE_UNKNOWN = as the rules say */
};
/** A log file read. Free with sm_obslog_free() (obslog.h). */
struct sm_obslog {
    struct sm_arena *arena;
    const char *source;     /**< path */
    const char *format;     /**< "csv", "en13508", "isybau", "m150" */
    struct sm_segment segment; /**< what a standard log says; ids NULL and sizes NAN where it does not */
    const char *date;       /**< NULL = not said */
    const char *video;      /**< path as opened, NULL = not said */
    double inspection_length_m; /**< NAN = not said */
    bool is_against_flow;
    size_t n_entries;
    struct sm_log_entry *entry; /**< in file order */
    struct sm_findings findings; /**< rows that could not be used are here, never dropped silently */
    bool has_datum;              /**< the file says where the counter was zeroed */
    enum sm_datum datum;
    enum sm_unit unit;           /**< most of its distances were written in; SM_UNIT_UNKNOWN = it has none */
    bool may_be_hours;           /**< its times have two parts and are taken as MM:SS: HH:MM is as likely */
    bool may_be_hmmss;           /**< its times are whole numbers taken as seconds: (H)MMSS is as likely */
};

/* ---- located observations ---------------------------------------------------------------------------------- */


/** An observation with its place along the pipe. A continuous one stands once, with start < end. */
struct sm_observation {
    char id[16];               /**< "O1", ... in file order of its first row */
    int32_t entry_idx;         /**< its (first) log entry */
    int32_t end_entry_idx;     /**< the entry that ends it, -1 = none */
    const char *code, *ch1, *ch2, *q1, *q2, *remark;
    double q1_value, q2_value;
    int32_t clock_from_h, clock_to_h;
    bool is_at_joint;
    double diameter_mm;        /**< connections */
    double time_s;             /**< video time, NAN = none */
    struct sm_reading reading; /**< at time_s; state hidden = none */
    double logged_m;           /**< logged distance in metres, NAN = none */
    double distance_m;         /**< after correction, from the datum; NAN = not known */
    double start_m, end_m;     /**< extent along the pipe, start <= end, NAN like distance_m */
    double error_m;            /**< u: position error each side */
    double error_placement_m, error_reading_m, error_distance_m; /**< the parts of error_m */
    enum sm_treatment treatment;
    const char *reason;        /**< why this treatment, in words */
    const char *prepare;       /**< work before the liner, ';' between items, "" = none */
    uint32_t flags;            /**< set of enum sm_flag */
    bool is_node;              /**< start or finish node */
    bool is_connection;
    enum sm_distance_source source; /**< what distance_m was made from */
    int32_t group; /**< 1 + index of the first observation of the same physical defect; 0 = stands alone */
};
/** All observations of a survey on one axis. Free with sm_alignment_free() (align.h). */
struct sm_alignment {
    struct sm_arena *arena;
    const char *method;       /**< how time and distance were brought together, a few words */
    double clock_offset_s;    /**< time of day minus video time; NAN = not needed or not found */
    double clock_residual_s;  /**< spread left after the offset, NAN */
    double misclosure_m;      /**< corrected last reading against the known length; NAN = not known */
    double length_m;          /**< the segment's length used */
    bool is_length_assumed;   /**< no length given: taken from the finish node or the last distance */
    size_t n_ties;
    struct sm_tie *tie;
    double tie_misfit_m;      /**< worst, 0 with fewer than two */
    size_t n_observations;
    struct sm_observation *observation;
    struct sm_findings findings;
    double clock_error_s;     /**< offsets within this of clock_offset_s fit alike; NAN = no offset */
    double clock_drift_s_per_h; /**< how much the log's clock gains on the video in an hour, 0 = none found */
    size_t n_entries;
    const double *entry_m; /**< of each log entry, also those that change or end a continuous defect: its distance,
                              NAN = not known */
};

/* ---- several runs of one segment ---------------------------------------------------------------------------- */

/** A run as it is called, beside others. */
struct sm_joined_run {
    const char *name; /**< its sheet or log; "" = not said */
    const char *from, *date; /**< access point it was entered at, day; NULL = not said */
    bool is_reverse;  /**< entered at the other end than the first run */
};
/** One observation of one run, on the segment's axis. */
struct sm_sighting {
    size_t run_idx;
    int32_t observation_idx;
    const char *id;   /**< of the observation, in its own run */
    double distance_m, start_m, end_m;
    int32_t clock_from_h, clock_to_h;
};
/** What one or more runs saw at one place. */
struct sm_joined_defect {
    const char *code;
    size_t n_sightings; /**< at most one a run */
    const struct sm_sighting *sighting;
    double distance_m;  /**< mean of the sightings, the surer ones counting more */
    double start_m, end_m; /**< from the first start to the last end of all sightings */
    double difference_m;   /**< between the farthest two sightings; NAN = seen once */
};
/** Runs of one segment on one axis. Free with sm_joined_free() (align.h). */
struct sm_joined {
    struct sm_arena *arena;
    double length_m;
    double tolerance_m; /**< sightings this near can be one defect */
    size_t n_runs;
    struct sm_joined_run *run;
    size_t n_defects;
    const struct sm_joined_defect *defect; /**< by rising distance; nodes are left out */
    size_t n_shared; /**< defects seen more than once */
    double shift_m;  /**< median of later run less first run over the shared ones: what is constant; NAN = none */
    double spread_m; /**< median of what differs beyond that: what is not; NAN = none */
    struct sm_findings findings;
};

/* ---- the plan ---------------------------------------------------------------------------------------------- */

/** One liner placed once; lengths in micrometres from the datum. */
struct sm_repair {
    char id[16];            /**< "R1", ... in order of work: farthest from the crew's end first */
    int32_t kit_idx;        /**< into the sheet's kits */
    int64_t start_um, length_um; /**< stop = start + length / 2 */
    double mark_m;          /**< rod length from packer middle to the tape mark; NAN when the far end's place is unknown */
    double slack_m;         /**< how far the liner may sit off its stop, the smaller way, before a target shows */
    double cost;            /**< kit + set-up + reopenings */
    size_t n_covers;
    const int32_t *covers;  /**< observation indices whose target it covers wholly or in part */
    size_t n_reopens;
    const int32_t *reopens; /**< observation indices of connections it covers */
    size_t n_prepare;
    const char *const *prepare;
};
struct sm_target {
    int32_t observation_idx;
    int64_t start_um, end_um; /**< cut at the pipe ends, rounded outward */
};
struct sm_unrepaired {
    int32_t observation_idx;
    const char *reason;
};
/** Free with sm_plan_free() (plan.h). */
struct sm_plan {
    struct sm_arena *arena;
    size_t n_targets;
    const struct sm_target *target; /**< of every line or prepare observation with a place */
    size_t n_repairs;
    const struct sm_repair *repair;
    size_t n_unrepaired;
    const struct sm_unrepaired *unrepaired;
    double cost;             /**< of the repairs */
    double full_lining_cost; /**< NAN = no comparison asked */
    const char *advice;      /**< one line, "" = none */
    struct sm_findings findings;
};

/* ---- what the crew did ------------------------------------------------------------------------------------- */

/** One as-built row: a liner set, or tried, at a repair. Strings are never NULL, "" = not said; NAN likewise. */
struct sm_as_built {
    uint32_t line;       /**< in the file */
    const char *segment; /**< "" = the file does not say */
    const char *repair;  /**< "R1"; "" = the crew gave it no name */
    const char *date;    /**< YYYY-MM-DD */
    const char *crew, *kit, *lot, *result, *remark; /**< as written; what could not be read stands in remark */
    bool is_in_place;    /**< there is a liner in the pipe: the result does not say otherwise */
    bool is_correction;  /**< the row says that it corrects an earlier one */
    double liner_length_m, stop_m, mark_m;
    double stop_digit_m; /**< size of the last digit the stop was written with, NAN with it */
    double test_pressure_kpa, pressure_kpa, pipe_temperature_c;
    const char *mixed, *inflated, *deflated; /**< local time: YYYY-MM-DDTHH:MM[:SS], HH:MM[:SS] where no day is known */
    int32_t occurrence;  /**< 1, 2 ...: liners at one repair on one day, in the file's order */
};
/** An as-built file. Free with sm_asbuilt_free() (asbuilt.h). */
struct sm_as_built_file {
    struct sm_arena *arena;
    const char *source;  /**< path */
    size_t n_rows;
    struct sm_as_built *row; /**< in file order */
    struct sm_findings findings;
};

/* ---- a reviewer's decisions --------------------------------------------------------------------------------- */

/** What a person decided after looking. Decisions are rows that are only ever added: taking one back is one more. */
enum sm_review_act {
    SM_REVIEW_CONFIRM,      /**< looked at it: it is right as it stands */
    SM_REVIEW_TAKE_PICTURE, /**< the picture's distance counts for this observation */
    SM_REVIEW_TAKE_LOG,     /**< the logged distance counts */
    SM_REVIEW_MOVE,         /**< it lies from start_m to end_m */
    SM_REVIEW_CODE,         /**< it is code, ch1, ch2, q1, q2 */
    SM_REVIEW_CLOCK,        /**< it lies from clock_from_h to clock_to_h */
    SM_REVIEW_TREATMENT,    /**< treatment, whatever the code table says */
    SM_REVIEW_ADD,          /**< one that the log lacks: code ... seen at time_s, at distance_m where the picture does not say */
    SM_REVIEW_WITHDRAW,     /**< it is none */
    SM_REVIEW_READING,      /**< the counter shows reading at time_s */
    SM_REVIEW_BOX,          /**< the counter stands in box: the recording is read again there */
    SM_REVIEW_TIE,          /**< reading is distance_m from the datum; NAN takes the tie away */
    SM_REVIEW_RULE,         /**< key of the sheet's rules has value */
    SM_REVIEW_UNDO,         /**< decision of_key does not count */
    SM_REVIEW_REDO,         /**< decision of_key counts again */
};
#define SM_N_REVIEW_ACTS 15
const char *sm_review_act_name(enum sm_review_act act); /**< "take picture", ... */

/** One decision. Only what its act speaks of is filled; strings may be NULL = not said. */
struct sm_review_decision {
    char key[65];             /**< SHA-256 of its content, the same in every job file; "" = not stored yet */
    const char *at, *who;     /**< ISO 8601 with Z; "" = not said */
    enum sm_review_act act;
    const char *observation;  /**< "O3" */
    const char *of_key;       /**< undo, redo: the decision's key */
    double time_s;            /**< video time; NAN = none, as every double here */
    double distance_m;
    double start_m, end_m;
    const char *code, *ch1, *ch2, *q1, *q2;
    int32_t clock_from_h, clock_to_h; /**< 0 = none */
    enum sm_treatment treatment;
    const char *reading;      /**< as on the picture, "12.34" */
    struct sm_box box;
    const char *rule, *value; /**< "overlap", "120 mm" */
    const char *reason;       /**< in the reviewer's words */
};

/** What was off about an as-built row, with its consequence. */
struct sm_remark {
    const char *concerns; /**< "repair", "length", "kit", "stop", "mark", "pressure", "cure" ... */
    enum sm_severity severity;
    const char *message;
};
/** An as-built row as the job keeps it. Strings never NULL. */
struct sm_recorded {
    struct sm_as_built row;     /**< segment always said */
    const char *survey_key;     /**< of the survey whose plan has the repair; "" = none is known */
    bool is_planned;            /**< that plan has a repair of this name */
    const char *source, *source_sha256; /**< the file */
    const char *recorded_at, *who;
    size_t n_remarks;
    const struct sm_remark *remark;
    /* Of listed rows only: */
    const char *key, *content;  /**< SHA-256: of the row; of what was said */
    const char *corrects;       /**< key of the row it takes the place of, "" = none */
    bool counts;                /**< not corrected, and the last word where two say they are */
    bool is_disputed;           /**< counts, but another row recorded apart says otherwise */
};
/** The reviewer's word on a repair after the recheck. Strings never NULL. */
struct sm_verdict {
    const char *segment, *survey_key; /**< survey_key: of the recheck */
    const char *repair;
    const char *word; /**< "seen", "not seen", "defective" */
    const char *remark, *said_at, *who;
};

#endif
