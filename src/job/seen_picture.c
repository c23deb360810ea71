/* What the search for the counter looked at, drawn into a frame: for the person who has to say which it is.
 */
#include <string.h>

#include "job_internal.h"

struct drawing {
    struct sm_text *png;
    struct sm_picture_mark mark[SM_COUNTER_MOST_SEEN];
    char words[SM_COUNTER_MOST_SEEN][160];
    size_t n_marks;
    const char *title;
};

static void describe(struct drawing *drawing, const struct sm_counter_seen *seen)
{
    for (size_t i = 0; i < seen->n; i++) {
        const struct sm_counter_seen_text *text = &seen->text[i];
        struct sm_text words = {0};
        sm_text_addf(&words, "--box %d,%d,%d,%d", (int)text->box.x_px, (int)text->box.y_px,
                     (int)text->box.width_px, (int)text->box.height_px);
        if (text->example[0]) {
            sm_text_addf(&words, "   \"%s\"", text->example);
        }
        sm_text_addf(&words, "   %s%s", text->is_counter ? "taken as the counter: " : "", text->verdict);
        sm_strcopy(drawing->words[i], sizeof drawing->words[i], sm_text_str(&words));
        sm_text_release(&words);
        drawing->mark[i] = (struct sm_picture_mark){text->box, drawing->words[i], text->is_counter};
    }
    drawing->n_marks = seen->n;
    drawing->title = seen->n == 0               ? "No steady text was found in the picture."
                     : seen->text[0].is_counter ? "Texts looked at; the first was read."
                                                : "Texts looked at; none was taken as the counter.";
}

static enum sm_status draw_frame(void *user, const struct sm_frame *frame, struct sm_error *err)
{
    const struct drawing *drawing = user;
    return sm_schedule_write_marked_picture(drawing->png, &frame->image, drawing->mark, drawing->n_marks,
                                            drawing->title, err);
}

enum sm_status sm_job__draw_seen(const struct sm_job__reading *reading, const struct sm_counter_seen *seen,
                                 struct sm_error *err)
{
    struct drawing drawing = {.png = reading->picture};
    double start_s = fmax(0, reading->start_s); /* fmax and fmin pass over NaN */
    double end_s = fmin(sm_media_get_info(reading->media)->duration_s, reading->end_s);
    double middle_s = 0.5 * (start_s + end_s);
    describe(&drawing, seen);
    return sm_media_at(reading->media, &middle_s, 1, NULL, draw_frame, &drawing, err);
}
