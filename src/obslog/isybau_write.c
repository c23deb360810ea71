/*
 * A log as ISYBAU XML 2013-02. Elements stand in the order of the schema, texts within its lengths; what had
 * to be cut or left out is told. The offsets between timecode and film carry how log and video were brought
 * together.
 */
#include "obslog_internal.h"

#include <stdio.h>
#include <string.h>

enum { FPS_DEFAULT = 25, NAME_MAX = 30, PATH_MAX_CHARS = 255 };

struct writer {
    struct sm_text *out;
    const struct sm_obslog *log;
    const struct sm_obslog_write_opts *opts;
    struct sm_findings *findings;
    int64_t fps;
    int depth;
    enum sm_status status;
};

/* ---- elements
 * ---------------------------------------------------------------------------------------------- */

static void indent(struct writer *writer)
{
    for (int k = 0; k < writer->depth; k++) {
        sm_text_add(writer->out, "  ");
    }
}

static void open(struct writer *writer, const char *name)
{
    indent(writer);
    sm_text_addf(writer->out, "<%s>\n", name);
    writer->depth++;
}

static void close(struct writer *writer, const char *name)
{
    writer->depth--;
    indent(writer);
    sm_text_addf(writer->out, "</%s>\n", name);
}

static void add(struct writer *writer, const char *name, const char *text)
{
    indent(writer);
    sm_text_addf(writer->out, "<%s>", name);
    sm_text_add_html(writer->out, text);
    sm_text_addf(writer->out, "</%s>\n", name);
}

static void add_given(struct writer *writer, const char *name, const char *text)
{
    if (text && *text) {
        add(writer, name, text);
    }
}

static void add_int(struct writer *writer, const char *name, int64_t value)
{
    char text[32];
    snprintf(text, sizeof text, "%lld", (long long)value);
    add(writer, name, text);
}

static void add_fixed(struct writer *writer, const char *name, double value)
{
    struct sm_text text = {0};
    sm_text_add_fixed(&text, value, 2);
    add(writer, name, sm_text_str(&text));
    writer->out->failed = writer->out->failed || text.failed;
    sm_text_release(&text);
}

/* At most so many characters; the loss is told. */
static void add_cut(struct writer *writer, const char *name, const char *text, size_t chars_max)
{
    size_t n = 0, chars = 0;
    while (text[n] && chars < chars_max) {
        size_t len = sm_utf8_len(text + n);
        n += len ? len : 1;
        chars++;
    }
    if (!text[n]) {
        add(writer, name, text);
        return;
    }
    struct sm_text cut = {0};
    sm_text_add_n(&cut, text, n);
    add(writer, name, sm_text_str(&cut));
    writer->out->failed = writer->out->failed || cut.failed;
    sm_text_release(&cut);
    if (writer->findings && writer->status == SM_OK) {
        writer->status = sm_findings_add(
            writer->findings, (enum sm_flag)0, SM_SEVERITY_WARNING, writer->log->source, 0, SM_NAN, -1,
            "%s \"%.100s\" is longer than the format allows, cut to %zu characters", name, text, chars_max);
    }
}

static const char *given(const char *text)
{
    return text ? text : "";
}

/* ---- rows
 * -------------------------------------------------------------------------------------------------- */

static int64_t frames_of(const struct writer *writer, double time_s)
{
    return llround(time_s * (double)writer->fps);
}

static void add_timecode(struct writer *writer, double time_s)
{
    int64_t frames = time_s >= 0 && time_s < 99 * 3600 ? frames_of(writer, time_s) : -1;
    if (frames < 0) {
        add(writer, "Parameter", ""); /* the schema wants a video place; this is the one that can be empty */
        return;
    }
    int64_t seconds = frames / writer->fps;
    char text[32];
    snprintf(text, sizeof text, "%02d%02d%02d%02d", (int)(seconds / 3600), (int)(seconds / 60 % 60),
             (int)(seconds % 60), (int)(frames % writer->fps));
    add(writer, "Timecode", text);
}

/* Is it a number as the schema's numeric quantification wants it: up to 4 digits, a point, up to 2? */
static bool is_plain_number(const char *text)
{
    size_t whole = strspn(text, "0123456789");
    size_t part = text[whole] == '.' ? strspn(text + whole + 1, "0123456789") : 0;
    bool has_point = text[whole] == '.';
    return whole >= 1 && whole <= 4 && part <= 2 && (!has_point || part > 0) &&
           !text[whole + (has_point ? part + 1 : 0)];
}

static void add_quantity(struct writer *writer, int number, const char *text)
{
    char name[40];
    if (!*text) {
        return;
    }
    bool is_number = is_plain_number(text);
    snprintf(name, sizeof name, "Quantifizierung%d%s", number, is_number ? "Numerisch" : "Text");
    add_cut(writer, name, text, NAME_MAX);
}

static void add_clock(struct writer *writer, const char *name, int32_t hour)
{
    char text[8];
    if (hour >= 1 && hour <= 12) {
        snprintf(text, sizeof text, "%02d", (int)hour);
        add(writer, name, text);
    }
}

static void write_row(struct writer *writer, const struct sm_log_entry *entry)
{
    open(writer, "RZustand");
    add_fixed(writer, "Station", entry->distance_m);
    add_timecode(writer, entry->time_s);
    add_cut(writer, "InspektionsKode", entry->code, 10);
    if (*entry->ch1) {
        add_cut(writer, "Charakterisierung1", entry->ch1, 10);
    }
    if (*entry->ch2) {
        add_cut(writer, "Charakterisierung2", entry->ch2, 10);
    }
    if (entry->is_at_joint) {
        add(writer, "Verbindung", "1");
    }
    add_quantity(writer, 1, entry->q1);
    add_quantity(writer, 2, entry->q2);
    add_given(writer, "Streckenschaden", sm_obslog__continuous_letter(entry->continuous));
    if (entry->continuous != SM_CONTINUOUS_NONE && entry->continuous_id >= 1 && entry->continuous_id <= 99) {
        add_int(writer, "StreckenschadenLfdNr", entry->continuous_id);
    }
    add_clock(writer, "PositionVon", entry->clock_from_h);
    add_clock(writer, "PositionBis", entry->clock_to_h);
    if (*entry->photo) {
        add_cut(writer, "Fotodatei", entry->photo, PATH_MAX_CHARS);
    }
    add_given(writer, "Kommentar", entry->remark);
    if (entry->group >= 1 && entry->group <= 99) {
        add_int(writer, "Gruppe", entry->group);
    }
    close(writer, "RZustand");
}

static enum sm_status write_rows(struct writer *writer, struct sm_error *err)
{
    enum sm_status status = SM_OK;
    size_t n_written = 0;
    for (size_t k = 0; k < writer->log->n_entries && status == SM_OK; k++) {
        const struct sm_log_entry *entry = &writer->log->entry[k];
        if (!(fabs(entry->distance_m) < 999.995)) {
            status = sm_obslog__leave_out(
                writer->log, k, isnan(entry->distance_m) ? "has no distance" : "lies 1000 m away or more",
                writer->findings, err);
            continue;
        }
        if (n_written++ == 0) {
            open(writer, "Inspektionsdaten");
        }
        write_row(writer, entry);
    }
    if (n_written) {
        close(writer, "Inspektionsdaten");
    }
    return status;
}

/* ---- the pipe
 * ---------------------------------------------------------------------------------------------- */

static void write_basics(struct writer *writer)
{
    const struct sm_segment *segment = &writer->log->segment;
    bool is_up = writer->log->is_against_flow;
    const char *material = sm_obslog__material_short_of(segment->material);
    open(writer, "RGrunddaten");
    add_cut(writer, "KnotenZulauf", given(is_up ? segment->to : segment->from), NAME_MAX);
    add(writer, "KnotenZulaufTyp", "0");
    add_cut(writer, "KnotenAblauf", given(is_up ? segment->from : segment->to), NAME_MAX);
    add(writer, "KnotenAblaufTyp", "0");
    if (segment->diameter_mm >= 1 && segment->diameter_mm < 9999.5) {
        add_int(writer, "Profilhoehe", llround(segment->diameter_mm));
        add_int(writer, "Profilbreite", llround(segment->diameter_mm));
    }
    add_given(writer, "Material", material);
    if (segment->pipe_unit_length_m > 0 && segment->pipe_unit_length_m < 99.995) {
        add_fixed(writer, "Regeleinzelrohrlaenge", segment->pipe_unit_length_m);
    }
    close(writer, "RGrunddaten");
}

static enum sm_status write_inspection(struct writer *writer, const char *date, struct sm_error *err)
{
    const struct sm_obslog *log = writer->log;
    static const char *const references[] = {"3", "2", "1"}; /* by enum sm_datum */
    open(writer, "OptischeInspektion");
    add(writer, "Auftragskennung", "1");
    add(writer, "Inspektionsdatum", date);
    add(writer, "Inspektionsverfahren", "0");
    if (log->video) {
        add(writer, "Videoablagereferenz", "1");
    }
    open(writer, "Rohrleitung");
    add(writer, "Rohrleitungstyp", "0");
    add(writer, "Inspektionsrichtung", log->is_against_flow ? "U" : "O");
    add_given(writer, "BezugspunktLage", log->has_datum ? references[log->datum] : NULL);
    if (log->inspection_length_m >= 0 && log->inspection_length_m < 999.995) {
        add_fixed(writer, "Inspektionslaenge", log->inspection_length_m);
    }
    add(writer, "ArtVideoreferenz", "1");
    write_basics(writer);
    enum sm_status status = write_rows(writer, err);
    close(writer, "Rohrleitung");
    close(writer, "OptischeInspektion");
    return status;
}

/* ---- film
 * -------------------------------------------------------------------------------------------------- */

static double last_time_s(const struct writer *writer)
{
    double last_s = writer->opts->video_length_s;
    for (size_t k = 0; !(last_s > 0) && k < writer->log->n_entries; k++) {
        last_s = fmax(last_s, writer->log->entry[k].time_s);
    }
    return last_s > 0 && last_s < 1e6 ? last_s : 0;
}

static void write_offsets(struct writer *writer)
{
    if (writer->opts->n_offsets == 0) {
        return;
    }
    open(writer, "Offsets");
    for (size_t k = 0; k < writer->opts->n_offsets; k++) {
        open(writer, "Offset");
        add_int(writer, "TcFrameNr", frames_of(writer, writer->opts->offset[k].log_time_s));
        add_int(writer, "MPEGFrameNr", frames_of(writer, writer->opts->offset[k].video_time_s));
        close(writer, "Offset");
    }
    close(writer, "Offsets");
}

static void write_film(struct writer *writer)
{
    const struct sm_obslog *log = writer->log;
    const char *slash = log->video ? strrchr(log->video, '/') : NULL;
    if (!log->video) {
        return;
    }
    open(writer, "Filme");
    open(writer, "Film");
    add_cut(writer, "Filmname", slash ? slash + 1 : log->video, PATH_MAX_CHARS);
    add(writer, "Auftragskennung", "1");
    add(writer, "Videoablagereferenz", "1");
    open(writer, "Frame");
    add_int(writer, "fps", writer->fps);
    add(writer, "Start", "0");
    add_int(writer, "Ende", frames_of(writer, last_time_s(writer)));
    close(writer, "Frame");
    write_offsets(writer);
    open(writer, "FilmObjekte");
    open(writer, "FilmObjekt");
    add_cut(writer, "Objektbezeichnung", log->segment.id ? log->segment.id : "?", NAME_MAX);
    add(writer, "Typ", "1");
    add(writer, "Inspektionsrichtung", log->is_against_flow ? "U" : "O");
    close(writer, "FilmObjekt");
    close(writer, "FilmObjekte");
    close(writer, "Film");
    close(writer, "Filme");
}

/* ---- the file
 * ---------------------------------------------------------------------------------------------- */

static void write_preamble(struct writer *writer, const char *date)
{
    sm_text_add(writer->out, "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n"
                             "<Identifikation xmlns=\"http://www.ofd-hannover.la/Identifikation\">\n");
    writer->depth = 1;
    add(writer, "Version", "2013-02");
    open(writer, "Admindaten");
    open(writer, "Liegenschaft");
    add(writer, "Liegenschaftsnummer", "0");
    add(writer, "Liegenschaftsbezeichnung", "-");
    close(writer, "Liegenschaft");
    close(writer, "Admindaten");
    open(writer, "Datenkollektive");
    add(writer, "Datenstatus", "2");
    add(writer, "Erstellungsdatum", date);
    open(writer, "Kennungen");
    open(writer, "Kollektiv");
    add(writer, "Kennung", "ZUS01");
    add(writer, "Kollektivart", "2");
    open(writer, "Kollektiveigenschaft");
    open(writer, "Zustandsdaten");
    add(writer, "Inspektion", "1");
    add(writer, "Dichtheit", "0");
    add(writer, "Film", writer->log->video ? "1" : "0");
    close(writer, "Zustandsdaten");
    close(writer, "Kollektiveigenschaft");
    add(writer, "Regelwerk", "5");
    add(writer, "Bearbeitungsstand", date);
    close(writer, "Kollektiv");
    close(writer, "Kennungen");
}

static enum sm_status write_collective(struct writer *writer, const char *date, struct sm_error *err)
{
    open(writer, "Zustandsdatenkollektiv");
    add(writer, "Kennung", "ZUS01");
    open(writer, "Auftraege");
    open(writer, "Auftrag");
    add(writer, "Auftragsbezeichnung", "-");
    add(writer, "Auftragskennung", "1");
    add(writer, "Auftragsart", "1");
    add(writer, "Kodiersystem", "8");
    close(writer, "Auftrag");
    close(writer, "Auftraege");
    open(writer, "InspizierteAbwassertechnischeAnlage");
    add_cut(writer, "Objektbezeichnung", writer->log->segment.id ? writer->log->segment.id : "?", NAME_MAX);
    add(writer, "Anlagentyp", "1");
    enum sm_status status = write_inspection(writer, date, err);
    close(writer, "InspizierteAbwassertechnischeAnlage");
    write_film(writer);
    close(writer, "Zustandsdatenkollektiv");
    return status;
}

static bool is_iso_date(const char *date)
{
    char tidy[16];
    sm_obslog__tidy_date(tidy, sizeof tidy, date);
    return strlen(date) == 10 && date[4] == '-' && date[7] == '-' && strcmp(tidy, date) == 0;
}

enum sm_status sm_obslog_write_isybau(struct sm_text *out, const struct sm_obslog *log,
                                      const struct sm_obslog_write_opts *opts, struct sm_findings *findings,
                                      struct sm_error *err)
{
    static const struct sm_obslog_write_opts defaults = {NULL, 0, 0, NULL, 0};
    struct writer writer = {
        .out = out, .log = log, .opts = opts ? opts : &defaults, .findings = findings, .fps = FPS_DEFAULT};
    const char *date = log->date && is_iso_date(log->date) ? log->date : given(writer.opts->date);
    if (!is_iso_date(date)) {
        sm_error_set(err, SM_E_NOTFOUND, "the survey has no date, and the format wants one");
        return sm_error_remedy(err, "write date = YYYY-MM-DD in [survey]");
    }
    if (writer.opts->fps >= 1 && writer.opts->fps <= 240) {
        writer.fps = llround(writer.opts->fps);
    }
    write_preamble(&writer, date);
    enum sm_status status = write_collective(&writer, date, err);
    close(&writer, "Datenkollektive");
    sm_text_add(out, "</Identifikation>\n");
    status = status == SM_OK ? writer.status : status;
    return status == SM_E_NOMEM || (status == SM_OK && out->failed) ? sm_obslog__no_memory(err) : status;
}
