/**
 * How a general reader of texts does on the same frames: tesseract, handed the exact box of the counter. For
 * comparison only; nothing is compared where the program is not installed.
 */
#ifndef READ_REFERENCE_H
#define READ_REFERENCE_H

#include "stopmark/model.h"

/** A frame with what it shows. */
struct read_reference_frame {
    double time_s;
    int64_t counts;
};

/** Is the program there? Asked once. */
bool read_reference_exists(void);
/**
 * Have frames read. @param n_right [out] of the n frames those in whose text the number stands with all its
 * decimals.
 * @return SM_OK; SM_E_IO no room for the cut-out; what the source returns.
 */
enum sm_status read_reference_read(size_t *n_right, const struct sm_frame_source *source, struct sm_box box,
                                   int32_t decimals, const struct read_reference_frame *frame, size_t n,
                                   struct sm_error *err);

#endif
