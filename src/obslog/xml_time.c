/* Timecodes of the XML logs. */
#include "xml_internal.h"

bool sm_obslog__split_timecode(int64_t timecode, int64_t *seconds, int64_t *frames)
{
    int64_t s = timecode / 100 % 100, m = timecode / 10000 % 100, h = timecode / 1000000;
    if (timecode < 0 || s > 59 || m > 59 || h > 99) {
        return false;
    }
    *seconds = h * 3600 + m * 60 + s;
    *frames = timecode % 100;
    return true;
}

/* Between two offsets in proportion, before the first and behind the last at their distance. */
static double file_frame(double timecode_frame, const struct sm_xml_offset *offset, size_t n)
{
    size_t k = 0;
    while (k < n && (double)offset[k].timecode_frame <= timecode_frame) {
        k++;
    }
    const struct sm_xml_offset *before = &offset[k > 0 ? k - 1 : 0];
    const struct sm_xml_offset *after = &offset[k < n ? k : n - 1];
    double span = (double)(after->timecode_frame - before->timecode_frame);
    double slope = span > 0 ? (double)(after->file_frame - before->file_frame) / span : 1;
    return (double)before->file_frame + slope * (timecode_frame - (double)before->timecode_frame);
}

double sm_obslog__timecode_s(int64_t timecode, double fps, const struct sm_xml_offset *offset,
                             size_t n_offsets)
{
    int64_t seconds, frames;
    if (!sm_obslog__split_timecode(timecode, &seconds, &frames)) {
        return SM_NAN;
    }
    if (n_offsets == 0) {
        return (double)seconds + (double)frames / fps;
    }
    return file_frame((double)seconds * fps + (double)frames, offset, n_offsets) / fps;
}
