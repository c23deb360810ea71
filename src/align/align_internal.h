/*
 * What the parts of the align stage share. The data's way through it:
 *
 *   log times --clock--> video times --place--> readings and logged distances, compared
 *     --stretches--> one even count over re-zeroed counters --axis--> distance from the datum
 *     --extents--> observations --decide, flags, position error--> sm_alignment
 */
#ifndef STOPMARK_ALIGN_INTERNAL_H
#define STOPMARK_ALIGN_INTERNAL_H

#include "stopmark/align.h"

/* Confidence from which a reading on the frame itself is taken without asking the log. */
#define SM_ALIGN__SURE_CONFIDENCE 0.9
/* A time this little outside the video is its first or last frame: times are written to a tenth at best. */
#define SM_ALIGN__VIDEO_EDGE_S 0.1

/* ---- clock: log time -> video time
 * -------------------------------------------------------------------------- */

/* Another answer, not the same one, lies this far away, with times to the second. */
#define SM_ALIGN__RIVAL_AWAY_S 5.0

enum sm_align__clock_method {
    SM_ALIGN__CLOCK_NONE,        /* no times, or nothing to settle them with */
    SM_ALIGN__CLOCK_AS_LOGGED,   /* the log is in video time */
    SM_ALIGN__CLOCK_DISTANCES,   /* offset at which the picture shows the logged distances */
    SM_ALIGN__CLOCK_STANDSTILLS, /* offset at which the entries fall on standstills */
    SM_ALIGN__CLOCK_FIRST_ROW,   /* times of a log volume, counted from its first row */
    SM_ALIGN__CLOCK_PICTURE,     /* the picture shows the time of day */
    SM_ALIGN__CLOCK_DOUBTFUL,    /* no offset stands out: none is used */
};
/* What the log's times turned out to be; a field that is zero: as the reader took them. */
struct sm_align__time_form {
    bool is_hours;    /* HH:MM, not MM:SS: times of day, to the minute */
    bool is_hmmss;    /* running numbers (H)MMSS, not seconds */
    bool is_open;     /* both would do */
    double rounding_s; /* a written time stands for this much on either side */
};
/* video time = (log time - offset_s) * rate */
struct sm_align__clock {
    enum sm_align__clock_method method;
    double offset_s;                  /* log time at video time zero */
    double rate;                      /* 1 = log clock and video run alike */
    double residual_s;                /* mean distance in time from where the agreeing entries should be */
    double halfwidth_s;               /* offsets within this of offset_s fit as well */
    double rival_s;                   /* best offset clearly elsewhere, NAN = none */
    size_t n_agree, n_rival, n_asked; /* places that fit, that fit at rival_s, that were asked */
    bool is_volume;                   /* log said video time, but of a volume that starts elsewhere */
    double picture_away_s;            /* the log's clock shows this much more than the picture's; 0 = as much, or none seen */
    struct sm_align__time_form form;
};

/* A claim that the offset lies in [low_s, high_s]; claims of one place do not add up. */
struct sm_align__claim {
    double low_s, high_s;
    int32_t place_idx;
};
/* What a set of claims says. */
struct sm_align__verdict {
    double offset_s, halfwidth_s, residual_s;
    double cost_s;  /* sum of the misses, one that does not agree counting the slack */
    size_t n_agree; /* places with a claim near offset_s */
    size_t n_rival; /* as n_agree, at the best offset clearly elsewhere */
    double rival_s;
};
/*
 * The offset that most places claim, give or take slack_s, and within that the one with the least sum of
 * misses. Offsets nearer than away_s to the best stretch are the same answer, not a rival. claim is sorted by place on entry and is changed. n_agree 0 = no claim at all.
 */
enum sm_status sm_align__vote(struct sm_align__verdict *out, struct sm_align__claim *claim, size_t n_claims,
                              double slack_s, double away_s, struct sm_error *err) SM_CHECKED;

/* Log times in seconds, their form settled by what the picture and the distances leave possible. trace may be NULL. */
enum sm_status sm_align__log_times(double *time_s, struct sm_align__time_form *form, const struct sm_obslog *log,
                                   const struct sm_trace *trace, struct sm_error *err) SM_CHECKED;
/* Midnight taken out: times rise by a day where they fall by more than half of one. */
void sm_align__unwrap(double *time_s, size_t n);

enum sm_status sm_align__clock_find(struct sm_align__clock *out, const double *log_time_s,
                                    const struct sm_align__time_form *form, const struct sm_obslog *log, const struct sm_trace *trace,
                                    const struct sm_sheet *sheet, struct sm_error *err) SM_CHECKED;
/* The same from distances alone and from standstills alone; CLOCK_NONE when there is too little to ask. A written
 * time stands for rounding_s on either side. */
enum sm_status sm_align__clock_by_distances(struct sm_align__clock *out, const double *log_time_s, double rounding_s,
                                            const struct sm_obslog *log, const struct sm_trace *trace,
                                            struct sm_error *err) SM_CHECKED;
enum sm_status sm_align__clock_by_standstills(struct sm_align__clock *out, const double *log_time_s,
                                              const struct sm_obslog *log, const struct sm_trace *trace,
                                              struct sm_error *err) SM_CHECKED;
/* Video times of all entries, moved to where the picture shows the logged distance as far as the clock is
 * unsure. */
enum sm_status sm_align__find_times(double *time_s, struct sm_align__clock *clock,
                                    const struct sm_obslog *log, const struct sm_trace *trace,
                                    const struct sm_sheet *sheet, struct sm_error *err) SM_CHECKED;
/* When, between two readings, an even drive is within tol_m of goal_m. @return false: never, or a jump lies
 * between. */
bool sm_align__shown_between(double *low_s, double *high_s, const struct sm_trace *trace,
                             const struct sm_reading *a, const struct sm_reading *b, double goal_m,
                             double tol_m);
/* How many places have the logged distance in the picture at their time when the log's times count as video
 * times. */
enum sm_status sm_align__clock_fit_at(size_t *n_agree, size_t *n_asked, double offset_s,
                                      const double *log_time_s, const struct sm_obslog *log,
                                      const struct sm_trace *trace, struct sm_error *err) SM_CHECKED;
/* Were the times brought to the video by an estimated offset? */
bool sm_align__is_estimated(const struct sm_align__clock *clock);
/* Time of day at video time zero, within one day; NAN where none was needed or found. */
double sm_align__reported_offset(const struct sm_align__clock *clock);
double sm_align__video_time(const struct sm_align__clock *clock, double log_time_s);

/* ---- places: what picture and log say about each entry
 * -------------------------------------------------------- */

/* Finest digit any distance of the log is written with; spreadsheets drop trailing zeros. NAN without
 * distances. */
double sm_align__log_digit_m(const struct sm_obslog *log);
/* Difference up to which log and picture agree: the larger of 0.1 m and two last digits, of the coarser of
 * the two. */
double sm_align__agree_m(const struct sm_obslog *log, const struct sm_counter_format *format);

/* Length of the video, as far as known. */
double sm_align__video_end_s(const struct sm_trace *trace);

struct sm_align__place {
    double time_s;             /* video time, NAN = none */
    struct sm_reading reading; /* there; hidden = none */
    double reading_m;          /* the reading in metres as shown, NAN = none */
    double low_m, high_m; /* the sure readings around it leave this range; equal = seen, NAN = no bounds */
    double logged_m;      /* as logged */
    double count_m;       /* chosen, on one even count over all stretches; NAN = none */
    size_t stretch;       /* of the counter */
    enum sm_distance_source source;
    uint32_t flags;
};

/* ---- stretches: re-zeroed counters
 * -------------------------------------------------------------------------- */

struct sm_align__stretch {
    double shift_m;       /* count = reading + shift */
    double log_shift_m;   /* count = logged + log shift: what the operator wrote down after the jump */
    double low_m, high_m; /* readings shown in it; NAN = none */
    double start_s;       /* the jump that begins it; 0 for the first */
    bool is_main;         /* the one the others are brought to */
    bool is_settled;      /* by ties or logged distances, not by continuity alone */
};

/* ---- the axis: even count -> distance from the datum
 * ----------------------------------------------------------- */

struct sm_align__knot {
    double count_m, true_m;
};
struct sm_align__axis {
    size_t n_knots;
    struct sm_align__knot *knot; /* rising in both */
    double datum_m;              /* without knots: distance = count - datum */
};
double sm_align__axis_at(const struct sm_align__axis *axis, double count_m);
/* The count at which a distance lies: the inverse. */
double sm_align__axis_count(const struct sm_align__axis *axis, double true_m);
bool sm_align__axis_is_between(const struct sm_align__axis *axis, double count_m);
/* Worst of the gaps between neighbouring knots: how far count and truth disagree about its length. */
double sm_align__axis_misfit(const struct sm_align__axis *axis);

/* ---- all of it
 * ----------------------------------------------------------------------------------------------- */

struct sm_align__work {
    const struct sm_obslog *log;
    const struct sm_trace *trace; /* NULL = log alone */
    const struct sm_sheet *sheet;
    const struct sm_codes *codes;
    struct sm_alignment *out;
    struct sm_counter_format format; /* of the counter; without a picture that of the sheet */
    double agree_m;
    struct sm_align__clock clock;
    struct sm_align__place *place; /* per log entry */
    size_t n_stretches;
    struct sm_align__stretch *stretch;
    size_t n_standstills;
    struct sm_standstill *standstill;
    struct sm_align__axis axis;
    int32_t *owner;        /* per log entry: the start row it belongs to, itself otherwise */
    int32_t *end_idx;      /* per log entry: the row that ends it, -1 = none */
    int32_t finish_idx;    /* observation of the finish node, -1 = none with a place */
    double farthest_m;     /* distance the camera or the log got to, NAN = none */
    bool is_finish_either; /* its code could be the start as well */
    bool is_abandoned;
};

/* A finding about an entry (-1: about the survey); message built with sm_text, released here. */
enum sm_status sm_align__report(struct sm_align__work *work, enum sm_flag flag, enum sm_severity severity,
                                int32_t entry_idx, struct sm_text *message, struct sm_error *err) SM_CHECKED;
/* "12.34 m" with the counter's unit and decimals (at least one). */
void sm_align__add_length(struct sm_text *text, const struct sm_align__work *work, double length_m);
/* Ascending. */
void sm_align__sort(double *value, size_t n);
/* "00:07:12" */
void sm_align__add_time(struct sm_text *text, double time_s);

enum sm_status sm_align__report_clock(struct sm_align__work *work, struct sm_error *err) SM_CHECKED;
enum sm_status sm_align__read_places(struct sm_align__work *work, struct sm_error *err) SM_CHECKED;
enum sm_status sm_align__find_stretches(struct sm_align__work *work, struct sm_error *err) SM_CHECKED;
enum sm_status sm_align__move_to_standstills(struct sm_align__work *work, struct sm_error *err) SM_CHECKED;
enum sm_status sm_align__compare(struct sm_align__work *work, struct sm_error *err) SM_CHECKED;
enum sm_status sm_align__choose(struct sm_align__work *work, struct sm_error *err) SM_CHECKED;
enum sm_status sm_align__build_axis(struct sm_align__work *work, struct sm_error *err) SM_CHECKED;
enum sm_status sm_align__pair_extents(struct sm_align__work *work, struct sm_error *err) SM_CHECKED;
enum sm_status sm_align__observe(struct sm_align__work *work, struct sm_error *err) SM_CHECKED;
enum sm_status sm_align__settle_length(struct sm_align__work *work, struct sm_error *err) SM_CHECKED;
/* Distance up to which the pipe was seen: its end, or the last place before. */
double sm_align__seen_end_m(const struct sm_align__work *work);
enum sm_status sm_align__close_extents(struct sm_align__work *work, struct sm_error *err) SM_CHECKED;
/* What is done about each observation: by its own rows, then by what else was seen at the same place. */
enum sm_status sm_align__decide(struct sm_align__work *work, struct sm_error *err) SM_CHECKED;
/* A person's word in the sheet on what is done about an observation, against the code table's. */
enum sm_status sm_align__overrule(struct sm_align__work *work, struct sm_error *err) SM_CHECKED;
enum sm_status sm_align__judge(struct sm_align__work *work, struct sm_error *err) SM_CHECKED;
void sm_align__position_error(struct sm_observation *observation, const struct sm_align__work *work);

/* ---- what a wrong number looks like
 * --------------------------------------------------------------------------- */

enum sm_align__slip {
    SM_ALIGN__SLIP_NONE,
    SM_ALIGN__SLIP_UNIT,
    SM_ALIGN__SLIP_DECIMAL,
    SM_ALIGN__SLIP_SIGN,
    SM_ALIGN__SLIP_SWAPPED_DIGITS,
    SM_ALIGN__SLIP_ONE_DIGIT,
};
enum sm_align__slip sm_align__slip_of(double log_m, double log_digit_m, double picture_m,
                                      double picture_digit_m);
const char *sm_align__slip_words(enum sm_align__slip slip); /* a question, "" for none */

/* Difference between the logged distance and the picture's; the smaller of both ways to log after a jump. */
double sm_align__difference_m(const struct sm_align__work *work, const struct sm_align__place *place);

#endif
