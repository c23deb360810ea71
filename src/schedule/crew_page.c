/*
 * The one place that talks to cairo and pango. Same input, same bytes: the font is named, hinting is off, and
 * the date in the document is the survey's, not the clock's.
 */
#include "crew_page.h"

#include <cairo-pdf.h>
#include <math.h>
#include <string.h>

#include "grid.h"

#define FAMILY "DejaVu Sans"
#define MARGIN 32.0
#define FOOT 18.0
#define WORDS_SIZE 9.4
#define MOST_LINES 12        /* of a paragraph: a name without end must not push the rest off the page */
#define LEAST_SHRINK 0.75    /* a line that is too long gets this small at most, then loses its end */
#define NO_DATE "2000-01-01" /* stands in the document's properties where the sheet has no date */

static const double grey_of[SM_N_INKS] = {
    [SM_INK_LINE] = 0,   [SM_INK_SOFT] = 0.25, [SM_INK_LINER] = 0,   [SM_INK_DEFECT] = 0,
    [SM_INK_KEEP] = 0.2, [SM_INK_TAPE] = 0.0,  [SM_INK_FILL] = 0.87, [SM_INK_PAPER] = 1,
    [SM_INK_SHADE_1] = 0.9, [SM_INK_SHADE_2] = 0.75, [SM_INK_SHADE_3] = 0.55, [SM_INK_SHADE_4] = 0.15,
};

/* ---- the pen ---- */

static void set_ink(cairo_t *cr, enum sm_ink ink)
{
    cairo_set_source_rgb(cr, grey_of[ink], grey_of[ink], grey_of[ink]);
}

static void set_stroke(cairo_t *cr, struct sm_stroke stroke)
{
    static const double dashes[2] = {3, 2.2}, centre[4] = {7, 2, 1.5, 2};
    set_ink(cr, stroke.ink);
    cairo_set_line_width(cr, stroke.width);
    cairo_set_line_join(cr, CAIRO_LINE_JOIN_ROUND);
    if (stroke.dash == SM_DASH_SHORT) {
        cairo_set_dash(cr, dashes, 2, 0);
    } else if (stroke.dash == SM_DASH_CENTRE) {
        cairo_set_dash(cr, centre, 4, 0);
    } else {
        cairo_set_dash(cr, NULL, 0, 0);
    }
}

static void paint_path(cairo_t *cr, enum sm_ink fill, struct sm_stroke stroke)
{
    if (fill != SM_INK_NONE) {
        set_ink(cr, fill);
        cairo_fill_preserve(cr);
    }
    if (stroke.ink != SM_INK_NONE) {
        set_stroke(cr, stroke);
        cairo_stroke_preserve(cr);
    }
    cairo_new_path(cr);
}

static void pdf_polygon(struct sm_pen *pen, const struct sm_point *point, size_t n, bool is_closed,
                        enum sm_ink fill, struct sm_stroke stroke)
{
    cairo_t *cr = ((struct sm_crew *)pen)->cr;
    for (size_t i = 0; i < n; i++) {
        cairo_line_to(cr, point[i].x, point[i].y);
    }
    if (is_closed) {
        cairo_close_path(cr);
    }
    paint_path(cr, fill, stroke);
}

static void pdf_circle(struct sm_pen *pen, struct sm_point centre, double radius, enum sm_ink fill,
                       struct sm_stroke stroke)
{
    cairo_t *cr = ((struct sm_crew *)pen)->cr;
    cairo_new_sub_path(cr);
    cairo_arc(cr, centre.x, centre.y, radius, 0, 2 * acos(-1));
    paint_path(cr, fill, stroke);
}

static void set_words(struct sm_crew *crew, double size, bool is_bold, const char *text)
{
    struct sm_text plain = {0};
    PangoFontDescription *font = pango_font_description_new();
    pango_font_description_set_family_static(font, FAMILY);
    pango_font_description_set_weight(font, is_bold ? PANGO_WEIGHT_BOLD : PANGO_WEIGHT_NORMAL);
    pango_font_description_set_absolute_size(font, size * PANGO_SCALE);
    pango_layout_set_font_description(crew->layout, font);
    pango_font_description_free(font);
    sm_schedule__add_plain(&plain, text, true);
    pango_layout_set_width(crew->layout, -1);
    pango_layout_set_height(crew->layout, -1); /* one line */
    pango_layout_set_attributes(crew->layout, NULL);
    pango_layout_set_ellipsize(crew->layout, PANGO_ELLIPSIZE_NONE);
    pango_layout_set_text(crew->layout, sm_text_str(&plain), -1);
    sm_schedule__drop(&plain, &crew->has_failed);
}

static double layout_width(struct sm_crew *crew)
{
    PangoRectangle logical;
    pango_layout_get_extents(crew->layout, NULL, &logical);
    return (double)logical.width / PANGO_SCALE;
}

static double pdf_text_width(struct sm_pen *pen, struct sm_type type, const char *text)
{
    struct sm_crew *crew = (struct sm_crew *)pen;
    set_words(crew, type.size, type.is_bold, text);
    return layout_width(crew);
}

static void show_layout(struct sm_crew *crew, struct sm_point baseline, struct sm_type type)
{
    double shift =
        type.anchor == SM_ANCHOR_START ? 0 : layout_width(crew) / (type.anchor == SM_ANCHOR_MIDDLE ? 2 : 1);
    double rise = (double)pango_layout_get_baseline(crew->layout) / PANGO_SCALE;
    set_ink(crew->cr, type.ink);
    cairo_move_to(crew->cr, baseline.x - shift, baseline.y - rise);
    pango_cairo_show_layout(crew->cr, crew->layout);
    cairo_new_path(crew->cr);
}

static void pdf_text(struct sm_pen *pen, struct sm_point at, struct sm_type type, const char *text)
{
    struct sm_crew *crew = (struct sm_crew *)pen;
    set_words(crew, type.size, type.is_bold, text);
    show_layout(crew, at, type);
}

static void no_begin_group(struct sm_pen *pen, const char *id, const char *title)
{
    (void)pen;
    (void)id;
    (void)title;
}

static void no_end_group(struct sm_pen *pen)
{
    (void)pen;
}

/* ---- document ---- */

/* Never refuses: cairo 1.16 follows a null pointer when its stream fails while a document is finished. What had no
 * room is found out when the document is closed. */
static cairo_status_t take_bytes(void *user, const unsigned char *data, unsigned n)
{
    struct sm_text *out = user;
    sm_text_add_n(out, (const char *)data, n);
    return CAIRO_STATUS_SUCCESS;
}

static bool is_iso_date(const char *date)
{
    static const char shape[] = "dddd-dd-dd";
    for (size_t i = 0; i < sizeof shape; i++) {
        bool is_digit = date[i] >= '0' && date[i] <= '9';
        if (shape[i] == 'd' ? !is_digit : date[i] != shape[i]) {
            return false;
        }
    }
    return true;
}

static void set_properties(struct sm_crew *crew, const struct sm_crew_names *names)
{
    struct sm_text words = {0};
    sm_text_addf(&words, "%s ", names->kind);
    sm_schedule__add_plain(&words, names->name ? names->name : "", true);
    cairo_pdf_surface_set_metadata(crew->surface, CAIRO_PDF_METADATA_TITLE, sm_text_str(&words));
    sm_schedule__clear(&words, &crew->has_failed);
    sm_text_addf(&words, "%sT00:00:00Z",
                 names->date && is_iso_date(names->date) ? names->date : NO_DATE);
    cairo_pdf_surface_set_metadata(crew->surface, CAIRO_PDF_METADATA_CREATE_DATE, sm_text_str(&words));
    cairo_pdf_surface_set_metadata(crew->surface, CAIRO_PDF_METADATA_CREATOR, "stopmark");
    sm_schedule__drop(&words, &crew->has_failed);
}

static void open_words(struct sm_crew *crew)
{
    cairo_font_options_t *options = cairo_font_options_create();
    cairo_font_options_set_hint_style(options, CAIRO_HINT_STYLE_NONE);
    cairo_font_options_set_hint_metrics(options, CAIRO_HINT_METRICS_OFF);
    crew->fonts = pango_cairo_font_map_new();
    crew->context = pango_font_map_create_context(crew->fonts);
    pango_cairo_context_set_font_options(crew->context, options);
    pango_cairo_context_set_resolution(crew->context, 72);
    pango_context_set_language(crew->context, pango_language_from_string("en"));
    cairo_font_options_destroy(options);
    crew->layout = pango_layout_new(crew->context);
}

enum sm_status sm_schedule__crew_open(struct sm_crew *crew, struct sm_text *out, const struct sm_schedule *s,
                                      const struct sm_crew_names *names, struct sm_error *err)
{
    bool is_letter = names->paper == SM_PAPER_LETTER;
    double narrow = is_letter ? 612 : 595.276, wide = is_letter ? 792 : 841.89;
    *crew = (struct sm_crew){
        .pen = {pdf_polygon, pdf_circle, pdf_text, pdf_text_width, no_begin_group, no_end_group},
        .s = s,
        .out = out,
        .width = names->is_landscape ? wide : narrow,
        .height = names->is_landscape ? narrow : wide,
        .margin = MARGIN,
    };
    crew->surface = cairo_pdf_surface_create_for_stream(take_bytes, out, crew->width, crew->height);
    crew->cr = cairo_create(crew->surface);
    if (cairo_status(crew->cr) != CAIRO_STATUS_SUCCESS) {
        cairo_destroy(crew->cr);
        cairo_surface_destroy(crew->surface);
        return sm_error_set(err, SM_E_NOMEM, "no memory for the crew sheet");
    }
    set_properties(crew, names);
    open_words(crew);
    return SM_OK;
}

static void finish_page(struct sm_crew *crew)
{
    if (crew->n_pages == 0) {
        return;
    }
    double y = crew->height - FOOT;
    struct sm_text words = {0};
    struct sm_type type = {8, false, SM_ANCHOR_END, SM_INK_SOFT};
    sm_text_addf(&words, "page %d", crew->n_pages);
    pdf_text(&crew->pen, (struct sm_point){sm_schedule__crew_right(crew), y}, type, sm_text_str(&words));
    type.anchor = SM_ANCHOR_START;
    sm_schedule__crew_line(crew, (struct sm_point){crew->margin, y}, type,
                           crew->width - 2 * crew->margin - 60, sm_text_str(&crew->head));
    sm_schedule__drop(&words, &crew->has_failed);
    cairo_show_page(crew->cr);
}

enum sm_status sm_schedule__crew_close(struct sm_crew *crew, struct sm_error *err)
{
    finish_page(crew);
    cairo_surface_finish(crew->surface);
    cairo_status_t status = cairo_status(crew->cr);
    status = status == CAIRO_STATUS_SUCCESS ? cairo_surface_status(crew->surface) : status;
    bool has_failed = crew->has_failed || crew->head.failed || crew->out->failed;
    g_object_unref(crew->layout);
    g_object_unref(crew->context);
    g_object_unref(crew->fonts);
    cairo_destroy(crew->cr);
    cairo_surface_destroy(crew->surface);
    sm_text_release(&crew->head);
    if (status != CAIRO_STATUS_SUCCESS) {
        return sm_error_set(err, SM_E_NOMEM, "the crew sheet could not be drawn: %s",
                            cairo_status_to_string(status));
    }
    return has_failed ? sm_error_set(err, SM_E_NOMEM, "no memory for the crew sheet") : SM_OK;
}

void sm_schedule__crew_new_page(struct sm_crew *crew, const char *outline)
{
    finish_page(crew);
    crew->n_pages++;
    crew->y = crew->margin;
    if (outline) {
        struct sm_text where = {0}, name = {0};
        sm_text_addf(&where, "page=%d", crew->n_pages);
        sm_schedule__add_plain(&name, outline, true);
        cairo_pdf_surface_add_outline(crew->surface, CAIRO_PDF_OUTLINE_ROOT, sm_text_str(&name),
                                      sm_text_str(&where), 0);
        sm_schedule__drop(&where, &crew->has_failed);
        sm_schedule__drop(&name, &crew->has_failed);
    }
}

double sm_schedule__crew_room(const struct sm_crew *crew)
{
    return crew->height - FOOT - 12 - crew->y;
}

bool sm_schedule__crew_need(struct sm_crew *crew, double height)
{
    if (height <= sm_schedule__crew_room(crew)) {
        return false;
    }
    sm_schedule__crew_new_page(crew, NULL);
    struct sm_type type = {9, true, SM_ANCHOR_START, SM_INK_LINE};
    struct sm_text words = {0};
    sm_text_addf(&words, "%s, continued", sm_text_str(&crew->head));
    sm_schedule__crew_line(crew, (struct sm_point){crew->margin, crew->y + 9}, type,
                           crew->width - 2 * crew->margin, sm_text_str(&words));
    sm_schedule__drop(&words, &crew->has_failed);
    crew->y += 22;
    return true;
}

double sm_schedule__crew_left(const struct sm_crew *crew)
{
    return crew->margin;
}

double sm_schedule__crew_right(const struct sm_crew *crew)
{
    return crew->width - crew->margin;
}

/* ---- words and pieces ---- */

void sm_schedule__crew_line(struct sm_crew *crew, struct sm_point at, struct sm_type type, double room,
                            const char *text)
{
    set_words(crew, type.size, type.is_bold, text);
    double width = layout_width(crew);
    if (room > 0 && width > room) {
        double size = fmax(type.size * room / width * 0.995, type.size * LEAST_SHRINK);
        set_words(crew, size, type.is_bold, text);
        if (layout_width(crew) > room) {
            pango_layout_set_width(crew->layout, (int)(room * PANGO_SCALE));
            pango_layout_set_ellipsize(crew->layout, PANGO_ELLIPSIZE_END);
        }
    }
    show_layout(crew, at, type);
}

/* Is the blank at i within a length or quantity: 5 3/4", 12.34 m, +- 0.06? */
static bool is_blank_in_number(const char *text, size_t i)
{
    if (i == 0 || text[i] != ' ') {
        return false;
    }
    unsigned char before = (unsigned char)text[i - 1];
    char after = text[i + 1];
    bool is_digit_before = before >= '0' && before <= '9';
    bool is_digit_after = after >= '0' && after <= '9';
    bool starts_unit = after && strchr("mlbpi", after) != NULL;
    return (is_digit_after && (is_digit_before || before == '\'' || before == 0xb1)) ||
           (is_digit_before && starts_unit);
}

/* A length is never torn at the end of a line. */
static void keep_numbers_whole(PangoLayout *layout)
{
    const char *text = pango_layout_get_text(layout);
    PangoAttrList *list = pango_attr_list_new();
    for (size_t i = 0; text[i]; i++) {
        if (is_blank_in_number(text, i)) {
            PangoAttribute *whole = pango_attr_allow_breaks_new(FALSE);
            whole->start_index = (guint)i - 1;
            whole->end_index = (guint)i + 2;
            pango_attr_list_insert(list, whole);
        }
    }
    pango_layout_set_attributes(layout, list);
    pango_attr_list_unref(list);
}

double sm_schedule__crew_paragraph(struct sm_crew *crew, struct sm_rect at, double size,
                                   enum sm_weight weight, bool is_drawn, const char *text)
{
    PangoRectangle logical;
    set_words(crew, size, weight == SM_WEIGHT_BOLD, text);
    pango_layout_set_width(crew->layout, (int)(at.width * PANGO_SCALE));
    pango_layout_set_wrap(crew->layout, PANGO_WRAP_WORD_CHAR);
    pango_layout_set_height(crew->layout, -MOST_LINES); /* negative: lines of a paragraph */
    pango_layout_set_ellipsize(crew->layout, PANGO_ELLIPSIZE_END);
    keep_numbers_whole(crew->layout);
    pango_layout_get_extents(crew->layout, NULL, &logical);
    if (is_drawn) {
        set_ink(crew->cr, SM_INK_LINE);
        cairo_move_to(crew->cr, at.x, at.y);
        pango_cairo_show_layout(crew->cr, crew->layout);
        cairo_new_path(crew->cr);
    }
    return (double)logical.height / PANGO_SCALE;
}

void sm_schedule__crew_words(struct sm_crew *crew, const char *words)
{
    double left = sm_schedule__crew_left(crew);
    struct sm_rect at = {left, 0, sm_schedule__crew_right(crew) - left, 0};
    double height = sm_schedule__crew_paragraph(crew, at, WORDS_SIZE, SM_WEIGHT_PLAIN, false, words);
    sm_schedule__crew_need(crew, height);
    at.y = crew->y;
    crew->y += sm_schedule__crew_paragraph(crew, at, WORDS_SIZE, SM_WEIGHT_PLAIN, true, words) + 2;
}

void sm_schedule__crew_box(struct sm_crew *crew, double x, double baseline, double side)
{
    sm_schedule__rect(&crew->pen, (struct sm_rect){x, baseline - side + 1, side, side}, SM_INK_PAPER,
                      (struct sm_stroke){SM_INK_LINE, 1.1, SM_DASH_NONE});
}

void sm_schedule__crew_field(struct sm_crew *crew, double x, double x2, double baseline, double size,
                             const char *label)
{
    struct sm_type type = {size, false, SM_ANCHOR_START, SM_INK_LINE};
    double width = fmin(pdf_text_width(&crew->pen, type, label), (x2 - x) * 0.75);
    sm_schedule__crew_line(crew, (struct sm_point){x, baseline}, type, width, label);
    sm_schedule__line(&crew->pen, x + width + 4, baseline + 1, x2, baseline + 1,
                      (struct sm_stroke){SM_INK_LINE, 0.8, SM_DASH_NONE});
}

void sm_schedule__crew_heading(struct sm_crew *crew, const char *text, double room_after)
{
    sm_schedule__crew_need(crew, 23 + room_after);
    crew->y += 5;
    sm_schedule__line(&crew->pen, crew->margin, crew->y, sm_schedule__crew_right(crew), crew->y,
                      (struct sm_stroke){SM_INK_LINE, 1.2, SM_DASH_NONE});
    struct sm_type type = {11, true, SM_ANCHOR_START, SM_INK_LINE};
    sm_schedule__crew_line(crew, (struct sm_point){crew->margin, crew->y + 13}, type, 0, text);
    crew->y += 18;
}

static void drop_bytes(void *bytes)
{
    sm_free(bytes);
}

/* A pixel surface of the picture's size carries the JPEG itself, which is what goes into the PDF. */
struct sm_rect sm_schedule__crew_still(struct sm_crew *crew, struct sm_rect into, struct sm_still *still)
{
    double scale = fmin(into.width / still->width_px, into.height / still->height_px);
    struct sm_rect taken = {into.x, into.y, still->width_px * scale, still->height_px * scale};
    cairo_surface_t *image =
        cairo_image_surface_create(CAIRO_FORMAT_RGB24, still->width_px, still->height_px);
    cairo_status_t status = cairo_surface_set_mime_data(
        image, CAIRO_MIME_TYPE_JPEG, (unsigned char *)still->data, still->n, drop_bytes, still->data);
    if (status == CAIRO_STATUS_SUCCESS) {
        still->data = NULL; /* now the surface's */
        cairo_save(crew->cr);
        cairo_translate(crew->cr, into.x, into.y);
        cairo_scale(crew->cr, scale, scale);
        cairo_set_source_surface(crew->cr, image, 0, 0);
        cairo_paint(crew->cr);
        cairo_restore(crew->cr);
    }
    cairo_surface_destroy(image);
    sm_schedule__rect(&crew->pen, taken, SM_INK_NONE, (struct sm_stroke){SM_INK_LINE, 0.8, SM_DASH_NONE});
    return taken;
}

void sm_schedule__crew_move(struct sm_crew *crew, double x, double y)
{
    cairo_save(crew->cr);
    cairo_translate(crew->cr, x, y);
}

void sm_schedule__crew_move_back(struct sm_crew *crew)
{
    cairo_restore(crew->cr);
}

/*
 * The font library keeps patterns for the life of the process (4 kB, once, however many documents): not ours
 * to free, so the leak checker is told not to count them.
 */
#if defined(__has_feature)
#if __has_feature(address_sanitizer)
#define SM_HAS_LEAK_CHECKER 1
#endif
#endif
#if defined(__SANITIZE_ADDRESS__) || defined(SM_HAS_LEAK_CHECKER)
const char *__lsan_default_suppressions(
    void); /* NOLINT(bugprone-reserved-identifier): the checker's own name */
const char *__lsan_default_suppressions(void)
{
    return "leak:libfontconfig\n";
}
#endif
