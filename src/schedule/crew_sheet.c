/* crew-sheet.pdf: the first page says where, in what order and with what; then a page for each repair. */
#include "crew_page.h"
#include "report.h"
#include "strip.h"

#include <math.h>

#define STRIP_TEXT 7.6 /* a little less on the shorter Letter page */
#define STRIP_TEXT_LETTER 7.0
#define CAUTION_SIZE 8.6
#define FIRST_PAGE_ROWS 3
#define FULL_STRIP_ROWS 400

static const char *or_unknown(const char *text)
{
    return text && *text ? text : "not said";
}

/* A tape along the head: what all this is about. */
static void draw_tape(struct sm_crew *crew, double y)
{
    double left = sm_schedule__crew_left(crew), right = sm_schedule__crew_right(crew);
    struct sm_stroke line = {SM_INK_LINE, 0.7, SM_DASH_NONE};
    sm_schedule__line(&crew->pen, left, y, right, y, (struct sm_stroke){SM_INK_LINE, 2, SM_DASH_NONE});
    for (int i = 0; left + i * 4.0 <= right; i++) {
        sm_schedule__line(&crew->pen, left + i * 4.0, y, left + i * 4.0,
                          y + (i % 10 == 0  ? 9
                               : i % 5 == 0 ? 6.5
                                            : 4),
                          line);
    }
}

static void add_title(struct sm_crew *crew)
{
    const struct sm_schedule *s = crew->s;
    double left = sm_schedule__crew_left(crew), right = sm_schedule__crew_right(crew);
    struct sm_text words = {0};
    sm_schedule__crew_line(crew, (struct sm_point){left, crew->y + 26},
                           (struct sm_type){30, true, SM_ANCHOR_START, SM_INK_LINE}, right - left - 130,
                           or_unknown(s->segment->id));
    sm_schedule__crew_line(crew, (struct sm_point){right, crew->y + 12},
                           (struct sm_type){12, true, SM_ANCHOR_END, SM_INK_LINE}, 125, "Crew sheet");
    sm_text_addf(&words, "survey %s", or_unknown(s->sheet->date));
    sm_schedule__crew_line(crew, (struct sm_point){right, crew->y + 26},
                           (struct sm_type){9, false, SM_ANCHOR_END, SM_INK_LINE}, 125, sm_text_str(&words));
    crew->y += 34;
    draw_tape(crew, crew->y);
    crew->y += 12;
    sm_schedule__drop(&words, &crew->has_failed);
}

static void add_fact(struct sm_crew *crew, int column, const char *name, struct sm_text *words)
{
    double width = (sm_schedule__crew_right(crew) - sm_schedule__crew_left(crew)) / 4;
    double x = sm_schedule__crew_left(crew) + width * column;
    sm_schedule__crew_line(crew, (struct sm_point){x, crew->y + 8},
                           (struct sm_type){8, false, SM_ANCHOR_START, SM_INK_SOFT}, width - 8, name);
    sm_schedule__crew_line(crew, (struct sm_point){x, crew->y + 21},
                           (struct sm_type){12, true, SM_ANCHOR_START, SM_INK_LINE}, width - 8,
                           sm_text_str(words));
    sm_schedule__clear(words, &crew->has_failed);
}

static void add_facts(struct sm_crew *crew)
{
    const struct sm_schedule *s = crew->s;
    const struct sm_segment *segment = s->segment;
    struct sm_text words = {0};
    sm_text_add(&words, sm_schedule__crew_end(s));
    add_fact(crew, 0, "Work from", &words);
    sm_text_add(&words, s->sheet->access.reference == SM_REFERENCE_RIM ? "manhole rim" : "pipe edge");
    add_fact(crew, 1, "Tape mark meets the", &words);
    sm_schedule__add_length(&words, s, s->alignment->length_m);
    sm_text_add(&words, s->alignment->is_length_assumed ? " (assumed)" : "");
    add_fact(crew, 2, "Length", &words);
    sm_schedule__add_diameter(&words, s, segment->diameter_mm);
    add_fact(crew, 3, "Diameter", &words);
    crew->y += 25;
    sm_schedule__add_run(&words, s);
    sm_text_add(&words, words.length ? "" : "ends not named");
    add_fact(crew, 0, "Surveyed", &words);
    bool is_with = segment->flow == SM_FLOW_FROM_TO;
    sm_text_add(&words, segment->flow == SM_FLOW_UNKNOWN ? "not said" : "");
    if (segment->flow != SM_FLOW_UNKNOWN) {
        sm_text_addf(&words, "towards %s", sm_schedule__end_name(s, is_with));
    }
    add_fact(crew, 1, "Water flows", &words);
    sm_text_add(&words, or_unknown(segment->material));
    add_fact(crew, 2, "Material", &words);
    if (isfinite(s->sheet->access.groundwater_head_m)) {
        sm_schedule__add_length(&words, s, s->sheet->access.groundwater_head_m);
    } else {
        sm_text_add(&words, "not said");
    }
    add_fact(crew, 3, "Groundwater above invert", &words);
    crew->y += 27;
    sm_schedule__drop(&words, &crew->has_failed);
}

/* @return marks that found no room for their name. */
static size_t add_strip(struct sm_crew *crew)
{
    double left = sm_schedule__crew_left(crew);
    struct sm_strip_opts opts = {.width = sm_schedule__crew_right(crew) - left,
                                 .text_size =
                                     crew->s->paper == SM_PAPER_LETTER ? STRIP_TEXT_LETTER : STRIP_TEXT,
                                 .max_rows = FIRST_PAGE_ROWS,
                                 .has_legend = true,
                                 .is_work_only = true};
    sm_schedule__crew_move(crew, left, crew->y);
    struct sm_strip strip = sm_schedule__strip_draw(&crew->pen, crew->s, &opts);
    sm_schedule__crew_move_back(crew);
    crew->y += strip.height;
    crew->has_failed |= strip.has_failed;
    return strip.n_unnamed;
}

static double room_on_paper(void *user, double y, double height)
{
    struct sm_crew *crew = user;
    if (height <= sm_schedule__crew_room(crew) - y) {
        return y;
    }
    sm_schedule__crew_move_back(crew);
    sm_schedule__crew_need(crew, crew->height);
    sm_schedule__crew_move(crew, sm_schedule__crew_left(crew), crew->y);
    return 0;
}

/* Again in full where the first page has no room for all names, over as many pages as it takes. */
static void add_full_strip(struct sm_crew *crew)
{
    double left = sm_schedule__crew_left(crew);
    sm_schedule__crew_new_page(crew, "Strip in full");
    sm_schedule__crew_heading(crew, "Strip in full", 0);
    crew->y += 6;
    struct sm_strip_opts opts = {.width = sm_schedule__crew_right(crew) - left,
                                 .text_size = STRIP_TEXT,
                                 .max_rows = FULL_STRIP_ROWS,
                                 .make_room = room_on_paper,
                                 .user = crew};
    sm_schedule__crew_move(crew, left, crew->y);
    struct sm_strip strip = sm_schedule__strip_draw(&crew->pen, crew->s, &opts);
    sm_schedule__crew_move_back(crew);
    crew->y += strip.height;
    crew->has_failed |= strip.has_failed;
}

/* ---- repairs in order ---- */

static const struct {
    const char *head;
    double x; /* of the width */
    enum sm_anchor anchor;
} columns[] = {
    {"", 0, SM_ANCHOR_START},         {"Mark", 0.31, SM_ANCHOR_END},  {"Stop", 0.52, SM_ANCHOR_END},
    {"Liner", 0.55, SM_ANCHOR_START}, {"For", 0.80, SM_ANCHOR_START}, {"Sure to", 1, SM_ANCHOR_END},
};

static void add_column(struct sm_crew *crew, int column, double size, bool is_bold, double room,
                       const char *text)
{
    double left = sm_schedule__crew_left(crew), width = sm_schedule__crew_right(crew) - left;
    struct sm_point at = {left + columns[column].x * width, crew->y + 14};
    sm_schedule__crew_line(crew, at, (struct sm_type){size, is_bold, columns[column].anchor, SM_INK_LINE},
                           room * width, text);
}

static void add_repair_heads(struct sm_crew *crew)
{
    for (int i = 0; i < 6; i++) {
        add_column(crew, i, 8.5, false, 0.2, columns[i].head);
    }
    crew->y += 18;
}

static void add_words_column(struct sm_crew *crew, int column, double size, bool is_bold, double room,
                             struct sm_text *words)
{
    add_column(crew, column, size, is_bold, room, sm_text_str(words));
    sm_schedule__clear(words, &crew->has_failed);
}

static void add_repair_row(struct sm_crew *crew, const struct sm_repair *repair)
{
    const struct sm_schedule *s = crew->s;
    const struct sm_kit *kit = sm_schedule__kit(s, repair);
    struct sm_text words = {0};
    double left = sm_schedule__crew_left(crew), right = sm_schedule__crew_right(crew);
    if (sm_schedule__crew_need(crew, 22)) {
        add_repair_heads(crew);
    }
    sm_schedule__line(&crew->pen, left, crew->y - 1, right, crew->y - 1,
                      (struct sm_stroke){SM_INK_LINE, 0.5, SM_DASH_NONE});
    sm_schedule__crew_box(crew, left, crew->y + 14, 11);
    sm_text_addf(&words, "     %s%s", repair->id, sm_schedule__repair_is_doubtful(s, repair) ? " !" : "");
    add_words_column(crew, 0, 13, true, 0.13, &words);
    sm_schedule__add_length(&words, s, repair->mark_m);
    add_words_column(crew, 1, 15, true, 0.19, &words);
    sm_schedule__add_length(&words, s, sm_schedule__repair_stop_m(repair));
    add_words_column(crew, 2, 15, true, 0.2, &words);
    sm_text_addf(&words, "%s, ", kit ? kit->name : "kit not known");
    sm_schedule__add_liner_length(&words, s, repair->length_um);
    add_words_column(crew, 3, 10, false, 0.24, &words);
    sm_schedule__add_ids(&words, s, repair->covers, repair->n_covers, ", ");
    add_words_column(crew, 4, 10, false, 0.09, &words);
    sm_text_add(&words, "\u00b1 ");
    sm_schedule__add_error(&words, s, sm_schedule__repair_error_m(s, repair));
    add_words_column(crew, 5, 10, false, 0.11, &words);
    crew->y += 21;
    sm_schedule__drop(&words, &crew->has_failed);
}

static void add_repairs(struct sm_crew *crew)
{
    const struct sm_schedule *s = crew->s;
    sm_schedule__crew_heading(crew,
                              s->plan->n_repairs ? "Repairs in the order of work, farthest first"
                                                 : "No repairs in this segment",
                              40);
    if (s->plan->n_repairs) {
        add_repair_heads(crew);
    }
    for (size_t i = 0; i < s->plan->n_repairs; i++) {
        add_repair_row(crew, &s->plan->repair[i]);
    }
}

/* ---- what is not done, cautions ---- */

static void add_unrepaired(struct sm_crew *crew)
{
    const struct sm_schedule *s = crew->s;
    struct sm_text words = {0};
    for (size_t i = 0; i < s->plan->n_unrepaired; i++) {
        const struct sm_observation *observation =
            sm_schedule__observation(s, (size_t)s->plan->unrepaired[i].observation_idx);
        if (observation) {
            sm_text_addf(&words, "%s%s at ",
                         words.length ? "; " : "Seen, but not for a liner of this plan: ", observation->id);
            sm_schedule__add_length(&words, s, observation->distance_m);
        }
    }
    if (words.length) {
        crew->y += 3;
        sm_schedule__crew_words(crew, sm_text_str(&words));
    }
    sm_schedule__drop(&words, &crew->has_failed);
}

/* The caution of this number, drawn or only measured. @return its height; 0 = there is none. */
static double add_caution(struct sm_crew *crew, size_t idx, bool is_drawn)
{
    double left = sm_schedule__crew_left(crew), height = 0;
    struct sm_rect at = {left + 10, crew->y, sm_schedule__crew_right(crew) - left - 10, 0};
    struct sm_text words = {0};
    if (sm_schedule__add_caution(&words, crew->s, idx)) {
        height = sm_schedule__crew_paragraph(crew, at, CAUTION_SIZE, SM_WEIGHT_PLAIN, is_drawn, sm_text_str(&words)) + 2;
    }
    sm_schedule__drop(&words, &crew->has_failed);
    return height;
}

/* Kept together on one page. */
static void add_cautions(struct sm_crew *crew)
{
    double height = 0, one;
    size_t n = 0;
    for (; (one = add_caution(crew, n, false)) > 0; n++) {
        height += one;
    }
    sm_schedule__crew_heading(crew, "Cautions", height);
    for (size_t i = 0; i < n; i++) {
        struct sm_rect bullet = {sm_schedule__crew_left(crew), crew->y + 3.5, 4.5, 4.5};
        sm_schedule__rect(&crew->pen, bullet, SM_INK_LINE, (struct sm_stroke){SM_INK_NONE, 0, SM_DASH_NONE});
        crew->y += add_caution(crew, i, true);
    }
}

enum sm_status sm_schedule_write_pdf(struct sm_text *out, const struct sm_schedule *schedule,
                                     struct sm_error *err)
{
    struct sm_crew crew;
    struct sm_crew_names names = {"Crew sheet", schedule->segment->id, schedule->sheet->date, schedule->paper,
                                  false};
    enum sm_status status = sm_schedule__crew_open(&crew, out, schedule, &names, err);
    if (status != SM_OK) {
        return status;
    }
    sm_text_addf(&crew.head, "Crew sheet %s", schedule->segment->id ? schedule->segment->id : "");
    sm_schedule__crew_new_page(&crew, "Segment");
    add_title(&crew);
    add_facts(&crew);
    size_t n_unnamed = add_strip(&crew);
    add_repairs(&crew);
    add_unrepaired(&crew);
    sm_schedule__crew_day(&crew);
    sm_schedule__crew_load(&crew);
    add_cautions(&crew);
    if (n_unnamed) {
        add_full_strip(&crew);
    }
    for (size_t i = 0; i < schedule->plan->n_repairs; i++) {
        sm_schedule__crew_repair_page(&crew, i);
    }
    status = sm_schedule__crew_close(&crew, err);
    return status == SM_OK ? sm_schedule__finish(out, err) : status;
}
