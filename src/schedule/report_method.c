/* How the report's numbers were made: which clock, which ties, which rules; what the errors are made of. */
#include "report.h"

#include <math.h>

static void add_item(struct sm_text *out, const char *name, struct sm_text *words)
{
    if (words->length) {
        sm_text_addf(out, "<dt>%s</dt><dd>", name);
        sm_schedule__html_words(out, words);
        sm_text_add(out, "</dd>\n");
    }
}

static void add_length_item(struct sm_text *out, const struct sm_schedule *s, const char *name,
                            double length_m)
{
    struct sm_text words = {0};
    if (isfinite(length_m)) {
        sm_schedule__add_length(&words, s, length_m);
    }
    add_item(out, name, &words);
    sm_schedule__drop(&words, &out->failed);
}

static void add_alignment(struct sm_text *out, const struct sm_schedule *s)
{
    const struct sm_alignment *alignment = s->alignment;
    struct sm_text words = {0};
    sm_text_add(&words, alignment->method ? alignment->method : "");
    add_item(out, "Time and distance brought together by", &words);
    if (isfinite(alignment->clock_offset_s)) {
        sm_text_add_fixed(&words, alignment->clock_offset_s, 1);
        sm_text_add(&words, " s (time of day minus video time)");
        if (isfinite(alignment->clock_residual_s)) {
            sm_text_add(&words, ", spread left ");
            sm_text_add_fixed(&words, alignment->clock_residual_s, 1);
            sm_text_add(&words, " s");
        }
        add_item(out, "Clock offset", &words);
    }
    for (size_t i = 0; i < alignment->n_ties; i++) {
        sm_text_addf(&words, "%s", i ? "; " : "");
        sm_text_add_number(&words, alignment->tie[i].reading, 2, 3);
        sm_text_add(&words, " reads as ");
        sm_schedule__add_length(&words, s, alignment->tie[i].true_m);
    }
    add_item(out, "Ties (counter and true distance)", &words);
    add_length_item(out, s, "Misclosure at the far end", alignment->misclosure_m);
    sm_schedule__drop(&words, &out->failed);
}

static void add_rules(struct sm_text *out, const struct sm_schedule *s)
{
    const struct sm_rules *rules = &s->sheet->rules;
    struct sm_text words = {0};
    sm_text_add(&words, rules->locate == SM_LOCATE_MARK
                            ? "mark: the crew finds each place with the camera and tapes the rod"
                            : "counter: placed by the distance alone");
    add_item(out, "Packers are placed by", &words);
    add_length_item(out, s, "Sound pipe covered each side", rules->end_cover_m);
    add_length_item(out, s, "Error of placing the packer", rules->placement_m);
    if (rules->locate == SM_LOCATE_COUNTER) {
        sm_text_add_number(&words, rules->distance_error_frac * 100, 0, 3);
        sm_text_add(&words, " % or ");
        sm_schedule__add_length(&words, s, rules->distance_error_m);
        sm_text_add(&words, ", the larger; between ties half the last digit and half the worst misfit");
        add_item(out, "Error of the counter", &words);
    }
    add_length_item(out, s, "Lap of two liners that meet", rules->overlap_m);
    add_length_item(out, s, "Kept clear beside a connection", rules->keep_clear_m);
    sm_text_add(&words, rules->may_reopen ? "may be covered and cut open again" : "are not covered");
    add_item(out, "Connections", &words);
    sm_schedule__drop(&words, &out->failed);
}

void sm_schedule__add_report_method(struct sm_text *out, const struct sm_schedule *s)
{
    sm_text_add(out, "<section id=\"method\" aria-labelledby=\"h-method\"><h2 id=\"h-method\">How these "
                     "numbers were made</h2>\n"
                     "<dl class=\"list\">\n");
    add_alignment(out, s);
    add_rules(out, s);
    sm_text_add(out, "</dl>\n<p>The error of a place adds the error of placing the packer, half the last "
                     "digit of the reading "
                     "and, where packers are placed by the counter, the counter's own error. What has to be "
                     "covered is the "
                     "defect, the sound pipe beside it and this error on both sides, cut at the pipe "
                     "ends.</p></section>\n");
}
