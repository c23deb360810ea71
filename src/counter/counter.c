/*
 * The counter stage's public face: find the counter, read it through the recording.
 */
#include "counter_internal.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define SEARCH_SAMPLES 36       /* pictures looked at to find the counter */
#define SCREEN_SAMPLES 4        /* pictures looked at to tell text from wall */
#define COLOUR_TRIAL_BELOW 3.0f /* legibility under which the colour of the text is tried */
#define MAX_TOKENS 24           /* of one line in one picture */
#define LEAST_SCORE 3.0         /* a field must be at least this much like a counter */
#define LEAST_SCORE_BARE                                                                                     \
    4.5                /* more of one without unit and decimals: anything can look like a lone digit         \
                        */
#define SURE_SCORE 6.0 /* from here on the field itself is beyond doubt */
#define SURE_CLARITY 0.8
#define RIVAL_MARGIN 1.2       /* a second field this close is named as a rival */
#define RIVAL_CERTAINTY 0.6    /* all readings share the doubt which field it is */
#define SHORT_RECORDING_S 60.0 /* up to here all pictures are read */
#define MAX_CANDIDATES_KEPT 8
#define DIGIT_BY_SMALL_LETTER 1.4f /* height of a digit by that of an x in common text faces; from memory */
#define RAISED_SHARE 0.9f
#define LEAST_DIGIT_PX 8.0f /* text lower than this has no strokes left to tell 3 from 8 */

struct sm_counter {
    struct sm_arena *arena;
    struct sm_counter__reader *reader;
    struct sm_counter__layout layout;
    struct sm_counter__faces faces;
    struct sm_counter_format format;
    struct sm_counter__watch watch; /**< of the last reading */
    double certainty; /**< that this is the counter and its form is right, 0..1; scales every confidence */
    bool has_rival;
    struct sm_counter_candidate rival;
    struct sm_picture_clock clock; /**< shown beside it */
    size_t n_candidates;
    struct sm_counter_candidate candidate[MAX_CANDIDATES_KEPT];
};

void sm_counter_free(struct sm_counter **counter)
{
    if (counter && *counter) {
        sm_counter__reader_free(&(*counter)->reader);
        sm_counter__watch_release(&(*counter)->watch);
        sm_arena_free(&(*counter)->arena);
        sm_free(*counter);
        *counter = NULL;
    }
}

const struct sm_counter_format *sm_counter_get_format(const struct sm_counter *counter)
{
    return &counter->format;
}

const struct sm_counter_candidate *sm_counter_get_rival(const struct sm_counter *counter)
{
    return counter->has_rival ? &counter->rival : NULL;
}

size_t sm_counter_candidates(const struct sm_counter *counter, const struct sm_counter_candidate **out)
{
    *out = counter->candidate;
    return counter->n_candidates;
}

/* ---- finding
 * ----------------------------------------------------------------------------------------------- */

/** Everything the search needs at once. */
struct search {
    struct sm_counter__samples samples;
    struct sm_counter__text_line
        line[4 * SM_COUNTER_MAX_LINES + 1]; /* as proposed, raised, and both refined */
    size_t n_lines;
    struct sm_counter__fields fields;
    struct sm_counter__reader *reader;
    struct sm_counter__glyph_seen *glyph; /* samples x SM_COUNTER_MAX_GLYPHS, of one line */
    size_t *n_glyphs;
};

static void search_release(struct search *search)
{
    sm_counter__samples_release(&search->samples);
    sm_counter__fields_release(&search->fields);
    sm_free(search->glyph);
    sm_free(search->n_glyphs);
}

/** How well a line reads as text at this geometry: the certainty of its characters, over a few pictures. */
static enum sm_status line_legibility(float *score, struct search *search,
                                      const struct sm_counter__text_line *line, struct sm_error *err)
{
    size_t n = search->samples.n, step = n > SCREEN_SAMPLES ? n / SCREEN_SAMPLES : 1;
    *score = 0;
    for (size_t i = step / 2; i < n; i += step) {
        struct sm_counter__glyph_seen glyph[SM_COUNTER_MAX_GLYPHS];
        size_t n_glyphs = 0;
        enum sm_status status =
            sm_counter__glyphs(glyph, &n_glyphs, search->reader, &search->samples.frame[i].image, line, err);
        if (status != SM_OK) {
            return status;
        }
        for (size_t k = 0; k < n_glyphs; k++) {
            bool is_digit = glyph[k].glyph >= SM_GLYPH_0 && glyph[k].glyph <= SM_GLYPH_9;
            *score += (is_digit ? 1.0f : 0.2f) * fmaxf(0, glyph[k].p - 0.4f);
        }
    }
    return SM_OK;
}

/** Try a grid of small changes of height and place; keep the best. */
static enum sm_status line_refine(struct sm_counter__text_line *line, float *best, struct search *search,
                                  struct sm_error *err)
{
    static const float scales[] = {0.84f, 1.0f, 1.18f}, shifts[] = {-0.12f, 0, 0.12f};
    struct sm_counter__text_line first = *line;
    float height = first.baseline_px - first.top_px, middle = 0.5f * (first.baseline_px + first.top_px);
    for (int s = 0; s < 3; s++) {
        for (int d = 0; d < 3; d++) {
            if (s == 1 && d == 1) {
                continue;
            }
            struct sm_counter__text_line trial = first;
            trial.top_px = middle + shifts[d] * height - 0.5f * scales[s] * height;
            trial.baseline_px = trial.top_px + scales[s] * height;
            float score;
            enum sm_status status = line_legibility(&score, search, &trial, err);
            if (status != SM_OK) {
                return status;
            }
            if (score > *best * 1.02f) {
                *best = score;
                *line = trial;
            }
        }
    }
    return SM_OK;
}

/** Text told from its ground by colour: try what mixtures of the planes make of it. */
static enum sm_status line_recolour(struct sm_counter__text_line *line, float *best, struct search *search,
                                    struct sm_error *err)
{
    static const float mixtures[][3] = {{0, 0, 1},     {0, 1, 0},    {0.6f, 0, 1},
                                        {0.6f, 0, -1}, {0.6f, 1, 0}, {0.6f, -1, 0}};
    struct sm_counter__text_line first = *line;
    for (size_t i = 0; i < sizeof mixtures / sizeof *mixtures; i++) {
        struct sm_counter__text_line trial = first;
        trial.weight_y = mixtures[i][0];
        trial.weight_u = mixtures[i][1];
        trial.weight_v = mixtures[i][2];
        float score;
        enum sm_status status = line_legibility(&score, search, &trial, err);
        if (status != SM_OK) {
            return status;
        }
        if (score > *best * 1.3f + 0.3f) {
            *best = score;
            *line = trial;
        }
    }
    return SM_OK;
}

/** Read a line in every sample and sort what it says into fields. */
static enum sm_status line_fields(struct search *search, size_t line_idx, struct sm_error *err)
{
    size_t n = search->samples.n;
    for (size_t i = 0; i < n; i++) {
        enum sm_status status =
            sm_counter__glyphs(search->glyph + i * SM_COUNTER_MAX_GLYPHS, &search->n_glyphs[i],
                               search->reader, &search->samples.frame[i].image, &search->line[line_idx], err);
        if (status != SM_OK) {
            return status;
        }
    }
    float pitch_px = sm_counter__pitch(search->glyph, search->n_glyphs, n);
    if (pitch_px <= 0) {
        return SM_OK;
    }
    for (size_t i = 0; i < n; i++) {
        struct sm_counter__token tokens[MAX_TOKENS];
        size_t n_tokens = sm_counter__tokens(tokens, MAX_TOKENS, search->glyph + i * SM_COUNTER_MAX_GLYPHS,
                                             search->n_glyphs[i], pitch_px, search->samples.frame[i].time_s);
        enum sm_status status = sm_counter__fields_add(&search->fields, line_idx, tokens, n_tokens, err);
        if (status != SM_OK) {
            return status;
        }
    }
    return SM_OK;
}

/** Read a line as it is, and refined: fields of different sizes can share a line, and what suits most of its
 * characters may not suit the counter. @param score how well it reads as it is */
static enum sm_status line_both(struct search *search, size_t line_idx, float score, struct sm_error *err)
{
    struct sm_counter__text_line refined = search->line[line_idx];
    enum sm_status status = line_refine(&refined, &score, search, err);
    if (status == SM_OK) {
        status = line_fields(search, line_idx, err);
    }
    if (status == SM_OK && refined.top_px != search->line[line_idx].top_px) {
        search->line[search->n_lines] = refined;
        status = line_fields(search, search->n_lines++, err);
    }
    return status;
}

/**
 * In a line with words in small letters before the number, what stands out is as high as these: tried as high
 * as its digits, too, on the same baseline, where it reads about as well.
 */
static enum sm_status line_raised(struct search *search, size_t line_idx, float score, struct sm_error *err)
{
    struct sm_counter__text_line raised = search->line[line_idx];
    raised.top_px = raised.baseline_px - DIGIT_BY_SMALL_LETTER * (raised.baseline_px - raised.top_px);
    float raised_score;
    enum sm_status status = line_legibility(&raised_score, search, &raised, err);
    if (status != SM_OK || raised_score < RAISED_SHARE * score) {
        return status;
    }
    search->line[search->n_lines] = raised;
    return line_both(search, search->n_lines++, raised_score, err);
}

static enum sm_status search_line(struct search *search, size_t line_idx, struct sm_error *err)
{
    struct sm_counter__text_line *line = &search->line[line_idx];
    float score = 0;
    enum sm_status status = line_legibility(&score, search, line, err);
    if (status == SM_OK && score < COLOUR_TRIAL_BELOW && search->samples.frame[0].image.u) {
        status = line_recolour(line, &score, search, err);
    }
    if (status != SM_OK || score < 0.5f) {
        return status;
    }
    status = line_both(search, line_idx, score, err);
    return status == SM_OK ? line_raised(search, line_idx, score, err) : status;
}

static enum sm_status search_lines(struct search *search, struct sm_error *err)
{
    enum sm_status status = SM_OK;
    size_t n_proposed = search->n_lines;
    for (size_t i = 0; status == SM_OK && i < n_proposed; i++) {
        status = search_line(search, i, err);
    }
    return status;
}

/** The best field by itself: its own stretch of line, refined for its characters alone, takes its place when
 * it reads better. */
static enum sm_status search_closer(struct search *search, struct sm_error *err)
{
    sm_counter__fields_judge(&search->fields, search->samples.n);
    if (search->fields.n == 0) {
        return SM_OK;
    }
    const struct sm_counter__field *best = &search->fields.item[0];
    struct sm_counter__text_line line = search->line[best->line_idx];
    float height = line.baseline_px - line.top_px, before = 0;
    line.x0_px = fmaxf(line.x0_px, best->x0_px - 1.5f * height);
    line.x1_px = fminf(line.x1_px, best->x1_px + 2.5f * height); /* room for the unit */
    enum sm_status status = line_legibility(&before, search, &line, err);
    if (status == SM_OK) {
        status = line_refine(&line, &before, search, err);
    }
    if (status == SM_OK) {
        search->line[search->n_lines] = line;
        status = line_fields(search, search->n_lines++, err);
    }
    return status;
}

static struct sm_box box_of(const struct sm_counter__text_line *line, float x0_px, float x1_px)
{
    float pad = 0.25f * (line->baseline_px - line->top_px);
    float x0 = floorf(x0_px), y0 = floorf(line->top_px - pad);
    return (struct sm_box){(int32_t)fmaxf(0, x0), (int32_t)fmaxf(0, y0), (int32_t)ceilf(x1_px - x0),
                           (int32_t)ceilf(line->baseline_px + pad - y0)};
}

static struct sm_counter_candidate candidate_of(struct sm_counter *counter, const struct search *search,
                                                const struct sm_counter__field *field)
{
    const char *example = sm_arena_strdup(counter->arena, field->token[field->n_tokens - 1].text);
    return (struct sm_counter_candidate){
        .box = box_of(&search->line[field->line_idx], field->x0_px, field->x1_px),
        .example = example ? example : "",
        .verdict = field->verdict,
        .score = field->score,
    };
}

/** Keep what the search looked at, so that people can be shown it. */
static void candidates_keep(struct sm_counter *counter, const struct search *search)
{
    for (size_t i = 0; i < search->fields.n && counter->n_candidates < MAX_CANDIDATES_KEPT; i++) {
        if (search->fields.item[i].n_tokens >= 2) {
            counter->candidate[counter->n_candidates++] =
                candidate_of(counter, search, &search->fields.item[i]);
        }
    }
}

static bool do_overlap(struct sm_box a, struct sm_box b)
{
    return a.x_px < b.x_px + b.width_px && b.x_px < a.x_px + a.width_px && a.y_px < b.y_px + b.height_px &&
           b.y_px < a.y_px + a.height_px;
}

static void see(struct sm_counter_seen *seen, struct sm_box box, const char *example, const char *verdict)
{
    for (size_t i = 0; i < seen->n; i++) {
        if (do_overlap(seen->text[i].box, box)) {
            return; /* the same text, proposed twice */
        }
    }
    if (seen->n < SM_COUNTER_MOST_SEEN) {
        struct sm_counter_seen_text *text = &seen->text[seen->n++];
        *text = (struct sm_counter_seen_text){.box = box, .verdict = verdict};
        sm_strcopy(text->example, sizeof text->example, example);
    }
}

/** Fields best first; where none is the counter, also lines no number was made out in. */
static void tell_seen(struct sm_counter_seen *seen, const struct search *search, bool is_found)
{
    seen->n = 0;
    for (size_t i = 0; i < search->fields.n; i++) {
        const struct sm_counter__field *field = &search->fields.item[i];
        if (i == 0 || field->n_tokens >= 2) {
            see(seen, box_of(&search->line[field->line_idx], field->x0_px, field->x1_px),
                field->n_tokens ? field->token[field->n_tokens - 1].text : "", field->verdict);
        }
    }
    if (seen->n) {
        seen->text[0].is_counter = is_found;
    }
    for (size_t i = 0; !is_found && i < search->n_lines; i++) {
        const struct sm_counter__text_line *line = &search->line[i];
        see(seen, box_of(line, line->x0_px, line->x1_px), "", "tried as text, but no number was made out");
    }
}

/** The tallest line that reads as nothing: text that is there, but too small? 0 = none is. */
static float tallest_line_px(const struct search *search)
{
    float tallest = 0;
    for (size_t i = 0; i < search->n_lines; i++) {
        tallest = fmaxf(tallest, search->line[i].baseline_px - search->line[i].top_px);
    }
    return tallest;
}

static bool is_bare(const struct sm_counter__field *field)
{
    return field->decimals == 0 && field->suffix != SM_SUFFIX_M && field->suffix != SM_SUFFIX_FT;
}

static double least_score(const struct sm_counter__field *field)
{
    return is_bare(field) ? LEAST_SCORE_BARE : LEAST_SCORE;
}

static enum sm_status nothing_found(const struct search *search, struct sm_error *err)
{
    float tallest_px = tallest_line_px(search);
    if (search->n_lines == 0) {
        sm_error_set(err, SM_E_NOTFOUND, "no steady text found in the picture");
    } else if (search->fields.n == 0 && tallest_px < LEAST_DIGIT_PX) {
        sm_error_set(err, SM_E_NOTFOUND,
                     "the text in the picture is too small to be read: %d pixels high, %d are needed",
                     (int)lroundf(tallest_px), (int)LEAST_DIGIT_PX);
    } else if (search->fields.n == 0) {
        sm_error_set(err, SM_E_NOTFOUND, "no legible number found in the picture");
    } else {
        const struct sm_counter__field *best = &search->fields.item[0];
        sm_error_set(err, SM_E_NOTFOUND, "no distance counter found; the nearest is \"%s\" at x=%d, y=%d: %s",
                     best->n_tokens ? best->token[best->n_tokens - 1].text : "", (int)best->x0_px,
                     (int)search->line[best->line_idx].top_px,
                     is_bare(best) && best->score > 0 ? "a number with neither unit nor decimals"
                                                      : best->verdict);
    }
    sm_error_remedy(err, "give its place with --box X,Y,W,H");
    return SM_E_NOTFOUND;
}

/** Do two fields of different lines lie over each other: one text, proposed twice? */
static bool is_same_stretch(const struct sm_counter__text_line *line_a, const struct sm_counter__field *a,
                            const struct sm_counter__text_line *line_b, const struct sm_counter__field *b)
{
    float along = fminf(a->x1_px, b->x1_px) - fmaxf(a->x0_px, b->x0_px);
    float across = fminf(line_a->baseline_px, line_b->baseline_px) - fmaxf(line_a->top_px, line_b->top_px);
    return along > 0 && across > 0;
}

/** Another field elsewhere that is nearly as much like a counter as the best; NULL when there is none. */
static const struct sm_counter__field *rival_of(const struct sm_counter__fields *fields,
                                                const struct sm_counter__text_line *lines)
{
    const struct sm_counter__field *best = &fields->item[0];
    double least = fmax(LEAST_SCORE, best->score - RIVAL_MARGIN);
    for (size_t i = 1; i < fields->n && fields->item[i].score > least; i++) {
        const struct sm_counter__field *other = &fields->item[i];
        if (!is_same_stretch(&lines[best->line_idx], best, &lines[other->line_idx], other)) {
            return other;
        }
    }
    return NULL;
}

/** How sure it is that the best field is the counter and its form is right. */
static double certainty(const struct sm_counter__field *best, bool is_told, bool has_rival)
{
    double sure = fmin(1, best->clarity / SURE_CLARITY);
    if (is_told) {
        return sure;
    }
    sure *= best->score >= SURE_SCORE ? 1 : fmax(0.3, best->score / SURE_SCORE);
    return has_rival ? RIVAL_CERTAINTY * sure : sure;
}

static enum sm_status choose(struct sm_counter *counter, struct search *search,
                             const struct sm_counter_opts *opts, struct sm_error *err)
{
    sm_counter__fields_judge(&search->fields, search->samples.n);
    candidates_keep(counter, search);
    counter->clock = sm_counter__clock_text(&search->fields);
    bool is_told = opts && opts->box.width_px > 0;
    const struct sm_counter__field *field = search->fields.item;
    bool is_found = field && field->score >= (is_told ? 0.5 : least_score(field));
    if (opts && opts->seen) {
        tell_seen(opts->seen, search, is_found);
    }
    if (!is_found) {
        return nothing_found(search, err);
    }
    const struct sm_counter__field *rival = is_told ? NULL : rival_of(&search->fields, search->line);
    counter->has_rival = rival != NULL;
    if (rival) {
        counter->rival = candidate_of(counter, search, rival);
    }
    counter->certainty = certainty(field, is_told, counter->has_rival);
    enum sm_status status =
        sm_counter__layout_learn(&counter->layout, field, &search->line[field->line_idx], err);
    if (status != SM_OK) {
        return status;
    }
    struct sm_counter__layout *layout = &counter->layout;
    if (opts && opts->unit != SM_UNIT_UNKNOWN) {
        layout->unit = opts->unit;
    }
    counter->format = (struct sm_counter_format){
        .box = box_of(&layout->line, layout->line.x0_px, layout->line.x1_px),
        .unit = layout->unit,
        .decimals = layout->decimals,
        .has_leading_zeros = layout->fixed_digits > 0,
        .has_decimal_comma = layout->has_decimal_comma,
    };
    return SM_OK;
}

static enum sm_status search_run(struct sm_counter *counter, struct search *search,
                                 const struct sm_frame_source *source, const struct sm_counter_opts *opts,
                                 struct sm_error *err)
{
    enum sm_status status = sm_counter__samples_take(&search->samples, source, SEARCH_SAMPLES, err);
    if (status != SM_OK) {
        return status;
    }
    if (search->samples.n == 0) {
        return sm_error_set(err, SM_E_NOTFOUND, "no picture of usable size in the video");
    }
    search->reader = counter->reader;
    search->glyph = sm_calloc(search->samples.n * SM_COUNTER_MAX_GLYPHS, sizeof *search->glyph);
    search->n_glyphs = sm_calloc(search->samples.n, sizeof *search->n_glyphs);
    if (!search->glyph || !search->n_glyphs) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for the counter search");
    }
    struct sm_box box = opts ? opts->box : (struct sm_box){0};
    status = sm_counter__locate(search->line, &search->n_lines, &search->samples, box, err);
    if (status == SM_OK) {
        status = search_lines(search, err);
    }
    if (status == SM_OK) {
        status = search_closer(search, err);
    }
    if (status == SM_OK) {
        status = choose(counter, search, opts, err);
    }
    if (status == SM_OK) {
        status = sm_counter__teach(&counter->faces, &search->samples, counter->reader, &counter->layout, err);
    }
    return status;
}

enum sm_status sm_counter_find(struct sm_counter **out, const struct sm_frame_source *source,
                               const struct sm_counter_opts *opts, struct sm_error *err)
{
    struct search search = {0};
    struct sm_counter *counter = sm_calloc(1, sizeof *counter);
    if (!counter) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for the counter");
    }
    enum sm_status status = sm_arena_new(&counter->arena);
    if (status == SM_OK) {
        status = sm_counter__reader_new(&counter->reader, err);
    }
    if (status == SM_OK) {
        status = search_run(counter, &search, source, opts, err);
    }
    search_release(&search);
    if (status != SM_OK) {
        sm_counter_free(&counter);
        return status;
    }
    *out = counter;
    return SM_OK;
}

/* ---- reading
 * ----------------------------------------------------------------------------------------------- */

/** What is to be watched; seen before is kept. */
static void watch_begin(struct sm_counter *counter, const struct sm_frame_source *source,
                        const struct sm_counter_opts *opts)
{
    struct sm_counter__watch *watch = &counter->watch;
    enum sm_counter_effort effort = opts ? opts->effort : SM_COUNTER_EFFORT_AUTO;
    watch->layout = &counter->layout;
    watch->frame_s = source->frame_rate_hz > 0 ? 1 / source->frame_rate_hz : 0.04;
    watch->end_s = fmax(0, source->duration_s - 0.5 * watch->frame_s);
    watch->key_interval_s = source->sample_cost_s;
    watch->sizes = (struct sm_counter__sizes){source->coded, source->user};
    watch->is_dense = effort == SM_COUNTER_EFFORT_FULL ||
                      (effort == SM_COUNTER_EFFORT_AUTO && source->duration_s <= SHORT_RECORDING_S);
}

static enum sm_status trace_of(struct sm_trace *trace, const struct sm_counter *counter, double duration_s,
                               struct sm_error *err)
{
    const struct sm_counter__watch *watch = &counter->watch;
    size_t n = watch->seen.n;
    trace->format = counter->format;
    trace->clock = counter->clock;
    trace->duration_s = duration_s;
    trace->reading = sm_calloc(n + 1, sizeof *trace->reading);
    trace->jump_time_s = sm_calloc(watch->n_jumps + 1, sizeof *trace->jump_time_s);
    if (!trace->reading || !trace->jump_time_s) {
        return sm_error_set(err, SM_E_NOMEM, "no memory for the trace");
    }
    trace->n_readings = n;
    trace->n_jumps = watch->n_jumps;
    memcpy(trace->reading, watch->reading, n * sizeof *trace->reading);
    if (watch->n_jumps) {
        memcpy(trace->jump_time_s, watch->jump_s, watch->n_jumps * sizeof *trace->jump_time_s);
    }
    sm_counter__carry(trace->reading, n, trace->jump_time_s, trace->n_jumps);
    for (size_t i = 0; i < n; i++) {
        trace->reading[i].confidence *= (float)counter->certainty;
    }
    return sm_counter__fill(trace, watch, err);
}

enum sm_status sm_counter_read_more(struct sm_trace **out, struct sm_counter *counter,
                                    const struct sm_frame_source *source, const double *at_s, size_t n_at,
                                    const struct sm_counter_opts *opts, struct sm_error *err)
{
    struct sm_counter__eye *eye = NULL;
    struct sm_counter__view view = {&counter->layout, &counter->faces, counter->reader};
    struct sm_trace *trace = sm_calloc(1, sizeof *trace);
    enum sm_status status = trace ? sm_counter__eye_new(&eye, view, source, opts, err)
                                  : sm_error_set(err, SM_E_NOMEM, "no memory for the trace");
    if (status == SM_OK) {
        watch_begin(counter, source, opts);
        status = sm_counter__approach(&counter->watch, at_s, n_at, sm_counter__eye_look, eye, err);
    }
    if (status == SM_OK) {
        status = trace_of(trace, counter, source->duration_s, err);
    }
    sm_counter__eye_free(&eye);
    if (status != SM_OK) {
        if (trace) {
            sm_free(trace->reading);
            sm_free(trace->jump_time_s);
            sm_free(trace);
        }
        return status;
    }
    *out = trace;
    return SM_OK;
}

enum sm_status sm_counter_read(struct sm_trace **out, struct sm_counter *counter,
                               const struct sm_frame_source *source, const double *at_s, size_t n_at,
                               const struct sm_counter_opts *opts, struct sm_error *err)
{
    sm_counter__watch_release(&counter->watch);
    return sm_counter_read_more(out, counter, source, at_s, n_at, opts, err);
}
