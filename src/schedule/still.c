/* Reading stills back for embedding: only what is a JPEG with sizes we trust gets into a document. */
#include "still.h"

#include <string.h>

#define LIMIT_BYTES ((size_t)8 << 20)
#define LIMIT_PX 4096 /* a document may hold all its pixels for a moment */

static unsigned byte_at(const char *data, size_t i)
{
    return (unsigned char)data[i];
}

/* Frame headers SOF0 to SOF15, without the tables that share their numbers (ITU-T T.81 table B.1). */
static bool is_frame_header(unsigned marker)
{
    return marker >= 0xc0 && marker <= 0xcf && marker != 0xc4 && marker != 0xc8 && marker != 0xcc;
}

/* Walk the marker segments to the frame header and take the size from it (ITU-T T.81 B.1.1.4, B.2.2). */
static bool find_size(struct sm_still *still)
{
    const char *data = still->data;
    size_t n = still->n, i = 2;
    if (n < 4 || byte_at(data, 0) != 0xff || byte_at(data, 1) != 0xd8) {
        return false;
    }
    while (i + 9 < n && byte_at(data, i) == 0xff) {
        unsigned marker = byte_at(data, i + 1);
        if (marker == 0xff) { /* fill byte */
            i++;
            continue;
        }
        if (is_frame_header(marker)) {
            still->height_px = (int)(byte_at(data, i + 5) << 8 | byte_at(data, i + 6));
            still->width_px = (int)(byte_at(data, i + 7) << 8 | byte_at(data, i + 8));
            return still->width_px > 0 && still->height_px > 0 && still->width_px <= LIMIT_PX &&
                   still->height_px <= LIMIT_PX;
        }
        i += 2 + (byte_at(data, i + 2) << 8 | byte_at(data, i + 3));
    }
    return false;
}

bool sm_schedule__still_open(struct sm_still *still, const char *folder, const char *name, bool *has_failed)
{
    struct sm_text path = {0};
    *still = (struct sm_still){0};
    sm_text_addf(&path, "%s/%s", folder, name);
    enum sm_status status = sm_file_read(&still->data, &still->n, sm_text_str(&path), LIMIT_BYTES, NULL);
    *has_failed |= status == SM_E_NOMEM;
    sm_schedule__drop(&path, has_failed);
    bool is_good = status == SM_OK;
    if (is_good && !find_size(still)) {
        sm_schedule__still_release(still);
        return false;
    }
    return is_good;
}

bool sm_schedule__still_read(struct sm_still *still, const struct sm_schedule *s, size_t observation_idx,
                             bool *has_failed)
{
    const char *name = s->still ? s->still[observation_idx] : NULL;
    *still = (struct sm_still){0};
    return name && s->out_dir && sm_schedule__still_open(still, s->out_dir, name, has_failed);
}

void sm_schedule__still_release(struct sm_still *still)
{
    sm_free(still->data);
    *still = (struct sm_still){0};
}

void sm_schedule__add_base64(struct sm_text *out, const char *data, size_t n)
{
    static const char digits[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    for (size_t i = 0; i < n; i += 3) {
        size_t left = n - i;
        unsigned bits = byte_at(data, i) << 16 | (left > 1 ? byte_at(data, i + 1) << 8 : 0) |
                        (left > 2 ? byte_at(data, i + 2) : 0);
        const char four[] = {digits[bits >> 18], digits[bits >> 12 & 63],
                             left > 1 ? digits[bits >> 6 & 63] : '=', left > 2 ? digits[bits & 63] : '='};
        sm_text_add_n(out, four, 4);
    }
}
