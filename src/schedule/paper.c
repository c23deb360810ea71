/* Documents on paper other than the crew sheet, on its pages: words, tables that go over pages, tracks, pictures. */
#include <assert.h>

#include "crew_page.h"
#include "tracks.h"

#define MAX_COLUMNS 12
#define SIZE 9.0
#define CELL_PAD 5.0
#define ROW_PAD 3.0
#define MAX_PICTURE_HEIGHT 190.0

struct sm_paper_doc {
    struct sm_crew crew;
};

enum sm_status sm_paper_open(struct sm_paper_doc **out, struct sm_text *pdf, const struct sm_paper_names *names,
                             struct sm_error *err)
{
    struct sm_paper_doc *doc = sm_calloc(1, sizeof *doc);
    if (!doc) {
        return sm_error_set(err, SM_E_NOMEM, "out of memory");
    }
    struct sm_crew_names inner = {names->kind, names->name, names->date, names->paper, false};
    enum sm_status status = sm_schedule__crew_open(&doc->crew, pdf, NULL, &inner, err);
    if (status != SM_OK) {
        sm_free(doc);
        return status;
    }
    sm_text_addf(&doc->crew.head, "%s ", names->kind);
    sm_text_add(&doc->crew.head, names->name);
    sm_schedule__crew_new_page(&doc->crew, NULL);
    *out = doc;
    return SM_OK;
}

static double room_width(const struct sm_crew *crew)
{
    return sm_schedule__crew_right(crew) - sm_schedule__crew_left(crew);
}

void sm_paper_title(struct sm_paper_doc *doc, const char *words)
{
    struct sm_crew *crew = &doc->crew;
    struct sm_type type = {20, true, SM_ANCHOR_START, SM_INK_LINE};
    sm_schedule__crew_line(crew, (struct sm_point){sm_schedule__crew_left(crew), crew->y + 18}, type, room_width(crew), words);
    crew->y += 28;
}

void sm_paper_heading(struct sm_paper_doc *doc, const char *words)
{
    doc->crew.y += 4;
    sm_schedule__crew_heading(&doc->crew, words, 130); /* a heading never stands alone */
}

void sm_paper_words(struct sm_paper_doc *doc, const char *words)
{
    struct sm_crew *crew = &doc->crew;
    struct sm_rect at = {sm_schedule__crew_left(crew), crew->y, room_width(crew), 0};
    double height = sm_schedule__crew_paragraph(crew, at, SIZE, SM_WEIGHT_PLAIN, false, words);
    if (sm_schedule__crew_need(crew, height + 3)) {
        at.y = crew->y;
    }
    sm_schedule__crew_paragraph(crew, at, SIZE, SM_WEIGHT_PLAIN, true, words);
    crew->y += height + 3;
}

/* ---- tables ---- */

static struct sm_rect cell_place(const struct sm_crew *crew, const double *share, size_t column)
{
    struct sm_rect r = {sm_schedule__crew_left(crew), crew->y + ROW_PAD, 0, 0};
    for (size_t i = 0; i < column; i++) {
        r.x += share[i] * room_width(crew);
    }
    r.width = share[column] * room_width(crew) - CELL_PAD;
    return r;
}

static double row_height(struct sm_crew *crew, const struct sm_table *table, const double *share, const char *const *cell)
{
    double height = 0;
    for (size_t i = 0; i < table->n_columns; i++) {
        height = fmax(height, sm_schedule__crew_paragraph(crew, cell_place(crew, share, i), SIZE, SM_WEIGHT_PLAIN, false, cell[i]));
    }
    return height + 2 * ROW_PAD;
}

static void draw_row(struct sm_crew *crew, const struct sm_table *table, const double *share, const char *const *cell,
                     enum sm_weight weight)
{
    for (size_t i = 0; i < table->n_columns; i++) {
        struct sm_rect r = cell_place(crew, share, i);
        if (table->column[i].is_right) {
            struct sm_type type = {SIZE, weight == SM_WEIGHT_BOLD, SM_ANCHOR_END, SM_INK_LINE};
            sm_schedule__crew_line(crew, (struct sm_point){r.x + r.width, r.y + SIZE - 0.7}, type, r.width, cell[i]);
        } else {
            sm_schedule__crew_paragraph(crew, r, SIZE, weight, true, cell[i]);
        }
    }
}

static void draw_head(struct sm_crew *crew, const struct sm_table *table, const double *share)
{
    const char *head[MAX_COLUMNS];
    for (size_t i = 0; i < table->n_columns; i++) {
        head[i] = table->column[i].head;
    }
    double height = row_height(crew, table, share, head);
    draw_row(crew, table, share, head, SM_WEIGHT_BOLD);
    crew->y += height;
    sm_schedule__line(&crew->pen, sm_schedule__crew_left(crew), crew->y, sm_schedule__crew_right(crew), crew->y,
                      (struct sm_stroke){SM_INK_LINE, 1, SM_DASH_NONE});
}

void sm_paper_table(struct sm_paper_doc *doc, const struct sm_table *table, const double *share)
{
    struct sm_crew *crew = &doc->crew;
    assert(table->n_columns >= 1 && table->n_columns <= MAX_COLUMNS);
    sm_schedule__crew_need(crew, 50);
    draw_head(crew, table, share);
    for (size_t i = 0; i + table->n_columns <= table->n_cells; i += table->n_columns) {
        double height = row_height(crew, table, share, &table->cell[i]);
        if (sm_schedule__crew_need(crew, height)) {
            draw_head(crew, table, share);
        }
        draw_row(crew, table, share, &table->cell[i], SM_WEIGHT_PLAIN);
        crew->y += height;
        sm_schedule__line(&crew->pen, sm_schedule__crew_left(crew), crew->y, sm_schedule__crew_right(crew), crew->y,
                          (struct sm_stroke){SM_INK_SOFT, 0.4, SM_DASH_NONE});
    }
    crew->y += 6;
}

/* ---- drawings and pictures ---- */

void sm_paper_tracks(struct sm_paper_doc *doc, const struct sm_tracks *tracks)
{
    struct sm_crew *crew = &doc->crew;
    double height = sm_schedule__tracks_height(tracks);
    sm_schedule__crew_need(crew, height + 6);
    sm_schedule__crew_move(crew, sm_schedule__crew_left(crew), crew->y);
    sm_schedule__tracks_draw(&crew->pen, tracks, room_width(crew));
    sm_schedule__crew_move_back(crew);
    crew->y += height + 6;
}

void sm_paper_pictures(struct sm_paper_doc *doc, const char *folder, const char *const name[2], const char *const caption[2])
{
    struct sm_crew *crew = &doc->crew;
    double width = (room_width(crew) - 12) / 2;
    double taken = 0;
    sm_schedule__crew_need(crew, MAX_PICTURE_HEIGHT + 20);
    for (int i = 0; i < 2; i++) {
        struct sm_still still;
        double x = sm_schedule__crew_left(crew) + i * (width + 12);
        struct sm_rect into = {x, crew->y + 14, width, MAX_PICTURE_HEIGHT};
        struct sm_type type = {SIZE, true, SM_ANCHOR_START, SM_INK_LINE};
        sm_schedule__crew_line(crew, (struct sm_point){x, crew->y + 9}, type, width, caption[i]);
        if (name[i] && sm_schedule__still_open(&still, folder, name[i], &crew->has_failed)) {
            taken = fmax(taken, sm_schedule__crew_still(crew, into, &still).height);
            sm_schedule__still_release(&still);
        }
    }
    crew->y += 14 + taken + 8;
}

enum sm_status sm_paper_close(struct sm_paper_doc **doc, struct sm_error *err)
{
    enum sm_status status = sm_schedule__crew_close(&(*doc)->crew, err);
    sm_free(*doc);
    *doc = NULL;
    return status;
}
