/**
 * @file distances.h
 * Distances that stand beside the picture: a list of times and distances (CSV), subtitles (SubRip), a text track of the
 * video. Read here, held against what the picture shows, and used only as far as the two agree.
 */
#ifndef STOPMARK_DISTANCES_H
#define STOPMARK_DISTANCES_H

#include "stopmark/model.h"

/** One entry of a list. */
struct sm_distance {
    double time_s;  /**< since the first video frame of the recording */
    double end_s;   /**< on until then; NAN = not said */
    int64_t counts; /**< in units of the list's last digit, see sm_distances.decimals */
    uint32_t line;  /**< in its file, 0 = in a track */
};
/** Entries of one recording in rising time. */
struct sm_distances {
    struct sm_arena *arena;
    const char *source;   /**< file or track it comes from, the first of several; "" = nothing was added yet */
    const char *format;   /**< "csv", "subrip", "track"; "" = nothing was added yet */
    enum sm_unit unit;    /**< SM_UNIT_UNKNOWN = never said */
    int32_t decimals;     /**< 0..3, the most that any entry was written with; finer ones are rounded */
    bool is_own_trace;    /**< written by this program from a picture: no witness of its own */
    size_t n, capacity;
    struct sm_distance *item;
    size_t n_files;
    const char **file;    /**< paths of the files its entries come from */
    size_t n_passed_over; /**< entries that could not be used; the first of them are findings */
    struct sm_findings findings;
};

/** An empty list. @param out [new] free with sm_distances_free(). */
enum sm_status sm_distances_new(struct sm_distances **out, struct sm_error *err) SM_CHECKED;
void sm_distances_free(struct sm_distances **list);

/**
 * Add the entries of a file, told apart by content: CSV with a header row that names a time and a distance, or SubRip
 * (WebVTT's cues are taken too). Formats: docs/formats/distances.md. Entries that cannot be used are findings.
 * @param offset_s added to the file's times: where its video starts in the recording.
 * @return SM_OK; SM_E_IO; SM_E_RANGE too large; SM_E_FORMAT neither of the two, or no entry with a distance;
 *         SM_E_UNSUPPORTED an operator's log; SM_E_CONFLICT another unit than the entries before; SM_E_NOMEM. The
 *         entries are as before then.
 */
enum sm_status sm_distances_add_file(struct sm_distances *list, const char *path, double offset_s,
                                     struct sm_error *err) SM_CHECKED;
/** As sm_distances_add_file() from memory. */
enum sm_status sm_distances_add_data(struct sm_distances *list, const char *data, size_t n, const char *source,
                                     double offset_s, struct sm_error *err) SM_CHECKED;
/** Add the texts of a track that name a distance. Most texts of a track must, else it is about something else:
 *  SM_E_FORMAT. */
enum sm_status sm_distances_add_texts(struct sm_distances *list, const struct sm_timed_text *text, size_t n,
                                      const char *source, struct sm_error *err) SM_CHECKED;

/**
 * The distance a text names: the one number with a unit of length in it, else its only number. Marks of subtitle
 * formats (angle and curly brackets with what is in them) are passed over; clocks, dates, names and numbers with other units are no distances.
 * @param decimals [out] 0..6; the value is counts / 10^decimals. @param unit [out] SM_UNIT_UNKNOWN where none stands.
 * @return false when there is no such number, or more than one.
 */
bool sm_distances_scan(const char *text, int64_t *counts, int32_t *decimals, enum sm_unit *unit);

/** How a list compares with the picture. */
struct sm_distances_match {
    size_t n_compared, n_agreed; /**< readings of the picture held against the list, and those it bears out */
    size_t n_filled;             /**< readings the list gave */
    bool is_used;
};
/**
 * Hold a list against the trace read from the picture, and use it as far as it deserves.
 *
 * Agreement: of the picture's readings, taken where it moves and otherwise every 5 s, 95 % lie within what the list
 * says within a second, give or take one last digit, and there are five at least. A list that agrees gives the
 * distance where the picture shows none, or an unsure one; bears out unsure readings that say the same; and puts in
 * doubt (confidence 0.5 at most) sure ones that differ. A list that does not agree changes nothing. Either way the
 * findings tell, with a likely reason.
 * @param trace [inout] from the picture. @param out [out] may be NULL. @param findings [inout].
 */
enum sm_status sm_distances_merge(struct sm_distances_match *out, struct sm_trace *trace, const struct sm_distances *list,
                                  struct sm_findings *findings, struct sm_error *err) SM_CHECKED;
/**
 * A trace from the list alone, for a picture without a counter: carried readings of confidence 0.6, with a jump where
 * the list steps farther than a camera drives.
 * @param start_s, end_s only this part of the recording; NAN = open. @param out [new] free with sm_trace_free().
 * @return SM_OK; SM_E_FORMAT the list contradicts itself: more than a tenth of its steps are no camera's.
 */
enum sm_status sm_distances_trace(struct sm_trace **out, const struct sm_distances *list, double start_s, double end_s,
                                  double duration_s, struct sm_error *err) SM_CHECKED;

#endif
