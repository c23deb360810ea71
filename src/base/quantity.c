/*
 * Quantities: numbers with units, also in parts ("12 ft 6 3/8 in", "1 h 20 min") and clock times
 * ("0:12:07.5"). Factors are exact by definition where marked; sources: NIST SP 811 (2008) appendix B, ISO
 * 80000-1.
 */
#include "stopmark/base.h"

#include <assert.h>
#include <math.h>
#include <string.h>

#define KG_PER_LB 0.45359237       /* exact */
#define KG_PER_OZ (KG_PER_LB / 16) /* exact */
#define G_M_PER_S2 9.80665         /* standard gravity, exact */
#define M2_PER_FT2 (SM_M_PER_FT * SM_M_PER_FT)
#define M3_PER_FT3 (M2_PER_FT2 * SM_M_PER_FT)
#define L_PER_GAL 3.785411784 /* US gallon, exact */

/* value in the kind's own unit = (number + offset) * factor. A blank in a name stands for blanks or none. */
struct unit {
    enum sm_quantity kind;
    const char *name;
    double factor, offset;
};
/* A longer name wins over a shorter one, so the order is free. */
static const struct unit units[] = {
    {SM_LENGTH, "m", 1, 0},
    {SM_LENGTH, "cm", 0.01, 0},
    {SM_LENGTH, "mm", 0.001, 0},
    {SM_LENGTH, "km", 1000, 0},
    {SM_LENGTH, "um", 1e-6, 0},
    {SM_LENGTH, "\xC2\xB5m", 1e-6, 0},
    {SM_LENGTH, "\xCE\xBCm", 1e-6, 0},
    {SM_LENGTH, "ft", SM_M_PER_FT, 0},
    {SM_LENGTH, "in", 0.0254, 0},
    {SM_LENGTH, "yd", 0.9144, 0},
    {SM_LENGTH, "mil", 25.4e-6, 0},
    {SM_LENGTH, "mils", 25.4e-6, 0},
    {SM_LENGTH, "'", SM_M_PER_FT, 0},
    {SM_LENGTH, "\"", 0.0254, 0},
    {SM_LENGTH, "''", 0.0254, 0},
    {SM_LENGTH, "\xE2\x80\xB2", SM_M_PER_FT, 0}, /* prime */
    {SM_LENGTH, "\xE2\x80\xB3", 0.0254, 0},      /* double prime */
    {SM_LENGTH, "\xE2\x80\x99", SM_M_PER_FT, 0}, /* the quotes that word processors make of ' and " */
    {SM_LENGTH, "\xE2\x80\x9D", 0.0254, 0},
    {SM_LENGTH, "metre", 1, 0},
    {SM_LENGTH, "metres", 1, 0},
    {SM_LENGTH, "meter", 1, 0},
    {SM_LENGTH, "meters", 1, 0},
    {SM_LENGTH, "foot", SM_M_PER_FT, 0},
    {SM_LENGTH, "feet", SM_M_PER_FT, 0},
    {SM_LENGTH, "inch", 0.0254, 0},
    {SM_LENGTH, "inches", 0.0254, 0},
    {SM_TIME, "s", 1, 0},
    {SM_TIME, "min", 60, 0},
    {SM_TIME, "h", 3600, 0},
    {SM_TIME, "sec", 1, 0},
    {SM_TIME, "hr", 3600, 0},
    {SM_TEMPERATURE, "C", 1, 0},
    {SM_TEMPERATURE, "F", 1 / 1.8, -32},
    {SM_TEMPERATURE, "K", 1, -273.15},
    {SM_TEMPERATURE, "\xC2\xB0 C", 1, 0},
    {SM_TEMPERATURE, "\xC2\xB0 F", 1 / 1.8, -32},
    {SM_TEMPERATURE, "deg C", 1, 0},
    {SM_TEMPERATURE, "deg F", 1 / 1.8, -32},
    {SM_PRESSURE, "kPa", 1, 0},
    {SM_PRESSURE, "Pa", 0.001, 0},
    {SM_PRESSURE, "MPa", 1000, 0},
    {SM_PRESSURE, "GPa", 1e6, 0},
    {SM_PRESSURE, "bar", 100, 0},
    {SM_PRESSURE, "mbar", 0.1, 0},
    {SM_PRESSURE, "psi", SM_KPA_PER_PSI, 0},
    {SM_PRESSURE, "ksi", SM_KPA_PER_PSI * 1000, 0},
    {SM_PRESSURE, "psf", SM_KPA_PER_PSI / 144, 0},
    {SM_PRESSURE, "m water", G_M_PER_S2, 0}, /* conventional, 1000 kg/m3 */
    {SM_PRESSURE, "ft water", G_M_PER_S2 *SM_M_PER_FT, 0},
    {SM_PRESSURE, "kN/m2", 1, 0},
    {SM_PRESSURE, "N/mm2", 1000, 0},
    {SM_PRESSURE, "kN/m\xC2\xB2", 1, 0},
    {SM_PRESSURE, "N/mm\xC2\xB2", 1000, 0},
    {SM_MASS, "kg", 1, 0},
    {SM_MASS, "g", 0.001, 0},
    {SM_MASS, "lb", KG_PER_LB, 0},
    {SM_MASS, "lbs", KG_PER_LB, 0},
    {SM_MASS, "oz", KG_PER_OZ, 0},
    {SM_MASS, "t", 1000, 0},
    {SM_VOLUME, "l", 1, 0},
    {SM_VOLUME, "ml", 0.001, 0},
    {SM_VOLUME, "m3", 1000, 0},
    {SM_VOLUME, "m\xC2\xB3", 1000, 0},
    {SM_VOLUME, "gal", L_PER_GAL, 0},
    {SM_VOLUME, "qt", L_PER_GAL / 4, 0},
    {SM_VOLUME, "floz", L_PER_GAL / 128, 0},
    {SM_VOLUME, "fl oz", L_PER_GAL / 128, 0},
    {SM_DENSITY, "kg/m3", 1, 0},
    {SM_DENSITY, "pcf", KG_PER_LB / M3_PER_FT3, 0},
    {SM_DENSITY, "lb/ft3", KG_PER_LB / M3_PER_FT3, 0},
    {SM_DENSITY, "kN/m3", 1000 / G_M_PER_S2, 0},
    {SM_DENSITY, "g/cm3", 1000, 0},
    {SM_DENSITY, "kg/l", 1000, 0},
    {SM_DENSITY, "kg/m\xC2\xB3", 1, 0},
    {SM_DENSITY, "lb/ft\xC2\xB3", KG_PER_LB / M3_PER_FT3, 0},
    {SM_DENSITY, "kN/m\xC2\xB3", 1000 / G_M_PER_S2, 0},
    {SM_DENSITY, "g/cm\xC2\xB3", 1000, 0},
    {SM_AREA_MASS, "kg/m2", 1, 0},
    {SM_AREA_MASS, "g/m2", 0.001, 0},
    {SM_AREA_MASS, "oz/yd2", KG_PER_OZ / (9 * M2_PER_FT2), 0},
    {SM_AREA_MASS, "oz/ft2", KG_PER_OZ / M2_PER_FT2, 0},
    {SM_AREA_MASS, "kg/m\xC2\xB2", 1, 0},
    {SM_AREA_MASS, "g/m\xC2\xB2", 0.001, 0},
    {SM_AREA_MASS, "oz/yd\xC2\xB2", KG_PER_OZ / (9 * M2_PER_FT2), 0},
    {SM_AREA_MASS, "oz/ft\xC2\xB2", KG_PER_OZ / M2_PER_FT2, 0},
    {SM_SPEED, "m/s", 1, 0},
    {SM_SPEED, "m/min", 1.0 / 60, 0},
    {SM_SPEED, "ft/min", SM_M_PER_FT / 60, 0},
    {SM_SPEED, "ft/s", SM_M_PER_FT, 0},
    {SM_SPEED, "cm/s", 0.01, 0},
    {SM_ANGLE, "deg", 1, 0},
    {SM_ANGLE, "\xC2\xB0", 1, 0},
    {SM_FRACTION, "%", 0.01, 0},
};
static const char *const own_unit[] = {
    [SM_LENGTH] = "m",  [SM_TIME] = "s",    [SM_TEMPERATURE] = "C", [SM_PRESSURE] = "kPa",
    [SM_MASS] = "kg",   [SM_VOLUME] = "l",  [SM_DENSITY] = "kg/m3", [SM_AREA_MASS] = "kg/m2",
    [SM_SPEED] = "m/s", [SM_ANGLE] = "deg", [SM_FRACTION] = "",     [SM_PLAIN] = "",
};
static const char *const examples[] = {
    [SM_LENGTH] = "m, mm, ft, in, as in 43.80 m or 12 ft 6 in",
    [SM_TIME] = "s, min, h, or H:MM:SS",
    [SM_TEMPERATURE] = "C, F or K",
    [SM_PRESSURE] = "kPa, bar, psi, MPa, m water or ft water",
    [SM_MASS] = "kg, g, lb or oz",
    [SM_VOLUME] = "l, ml, gal or floz",
    [SM_DENSITY] = "kg/m3, pcf or kN/m3",
    [SM_AREA_MASS] = "g/m2 or oz/yd2",
    [SM_SPEED] = "m/s, m/min or ft/min",
    [SM_ANGLE] = "deg",
    [SM_FRACTION] = "%, or a plain fraction",
    [SM_PLAIN] = "a number without a unit",
};

static const char *skip_blanks(const char *s)
{
    while (*s == ' ' || *s == '\t' ||
           strncmp(s, "\xC2\xA0", 2) == 0) { /* also the no-break space between number and unit */
        s += *s == '\xC2' ? 2 : 1;
    }
    return s;
}

static bool is_word(char c)
{
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '/' || c == '%' || c == '\'' ||
           (unsigned char)c >= 0x80;
}

static char lower(char c)
{
    return c >= 'A' && c <= 'Z' ? (char)(c - 'A' + 'a') : c;
}

/* End of name at s, NULL when it does not stand there whole. */
static const char *match_name(const char *s, const char *name)
{
    for (; *name; name++) {
        if (*name == ' ') {
            s = skip_blanks(s);
        } else if (lower(*s) == lower(*name)) {
            s++;
        } else {
            return NULL;
        }
    }
    return s;
}

/* The longest unit of this kind at s. */
static const struct unit *match_unit(const char *s, enum sm_quantity kind, const char **end)
{
    const struct unit *best = NULL;
    for (size_t i = 0; i < sizeof units / sizeof *units; i++) {
        const char *after = units[i].kind == kind ? match_name(s, units[i].name) : NULL;
        if (after && (!best || after > *end)) {
            best = &units[i];
            *end = after;
        }
    }
    const char *name = best ? best->name : "";
    bool is_spelled =
        *name && is_word(name[strlen(name) - 1]) && lower(name[0]) >= 'a' && lower(name[0]) <= 'z';
    return best && is_spelled && is_word(**end) ? NULL : best;
}

static enum sm_status bad(struct sm_error *err, enum sm_status status, enum sm_quantity kind, const char *s,
                          const char *what)
{
    sm_error_set(err, status, "\"%s\" %s", s, what);
    sm_error_remedy(err, "give it in %s", examples[kind]);
    return status;
}

/* A number, also "6 3/8", "6-3/8" and "3/8" as tapes are read. */
static bool scan_mixed(const char *s, double *value, const char **end)
{
    double whole;
    if (!sm_scan_number(s, true, false, &whole, end)) {
        return false;
    }
    const char *at = **end == '-' ? *end + 1 : skip_blanks(*end);
    double top = whole;
    double bottom;
    const char *slash = *end;
    if (*slash != '/' &&
        (*at < '0' || *at > '9' || !sm_scan_number(at, false, false, &top, &slash) || *slash != '/')) {
        *value = whole;
        return true;
    }
    const char *after;
    if (slash[1] < '1' || slash[1] > '9' || !sm_scan_number(slash + 1, false, false, &bottom, &after)) {
        *value = whole; /* "12 m/s": the slash belongs to a unit */
        return true;
    }
    double part = top / bottom;
    *value = slash == *end ? part : signbit(whole) ? whole - part : whole + part;
    *end = after;
    return true;
}

/* H:MM:SS[.s] or MM:SS[.s]; only the first part may pass 59. @return false when no colon stands after the
 * first number. */
static bool scan_clock(const char *s, double *seconds, bool *is_clock)
{
    double total = 0;
    int n_parts = 0;
    *is_clock = false;
    for (;; s++) {
        double part;
        const char *end;
        if (*s < '0' || *s > '9' || !sm_scan_number(s, true, false, &part, &end)) {
            return false;
        }
        bool is_whole = !memchr(s, '.', (size_t)(end - s)) && !memchr(s, ',', (size_t)(end - s));
        bool is_last = *end != ':';
        n_parts++;
        *is_clock = *is_clock || !is_last;
        if (n_parts > 3 || (n_parts > 1 && part >= 60) || (!is_last && !is_whole)) {
            return false;
        }
        total = total * 60 + part;
        s = end;
        if (is_last) {
            *seconds = total;
            return n_parts > 1 && !*skip_blanks(end);
        }
    }
}

static bool may_have_parts(enum sm_quantity kind)
{
    return kind == SM_LENGTH || kind == SM_TIME || kind == SM_MASS;
}

/* Further parts ("6 in" after "-12 ft" or "-0 ft"): never signed, each in a smaller unit than the one before.
 */
static enum sm_status add_parts(const char *s, const char *at, enum sm_quantity kind, const struct unit *unit,
                                bool is_negative, double *value, struct sm_error *err)
{
    double total = fabs(*value);
    while (*(at = skip_blanks(*at == '-' ? at + 1 : at))) {
        double number;
        const char *end;
        if (!may_have_parts(kind) || *at < '0' || *at > '9' || !scan_mixed(at, &number, &end)) {
            return bad(err, SM_E_FORMAT, kind, s, "has something after its unit");
        }
        const struct unit *next = match_unit(skip_blanks(end), kind, &at);
        if (!next || next->factor >= unit->factor) {
            return bad(err, SM_E_UNSUPPORTED, kind, s, "has a second part without a smaller unit");
        }
        total += number * next->factor;
        unit = next;
    }
    *value = is_negative ? -total : total;
    return SM_OK;
}

static enum sm_status parse_with_unit(const char *s, const char *from, enum sm_quantity kind,
                                      const char *default_unit, double *value, struct sm_error *err)
{
    double number;
    const char *at;
    if (!scan_mixed(from, &number, &at)) {
        return bad(err, SM_E_FORMAT, kind, s, *from ? "is not a number" : "is empty");
    }
    at = skip_blanks(at);
    const struct unit *unit = NULL;
    if (*at) {
        unit = match_unit(at, kind, &at);
        if (!unit) {
            return bad(err, SM_E_UNSUPPORTED, kind, s, "has a unit that is not known here");
        }
    } else if (!default_unit) {
        return bad(err, SM_E_UNSUPPORTED, kind, s, "has no unit");
    } else {
        const char *name = *default_unit ? default_unit : own_unit[kind];
        const char *end;
        unit = *name ? match_unit(name, kind, &end) : NULL;
        assert((unit || !*name) && "default_unit must be a unit of its kind");
    }
    *value = unit ? (number + unit->offset) * unit->factor : number;
    return unit && *at ? add_parts(s, at, kind, unit, signbit(number), value, err) : SM_OK;
}

enum sm_status sm_parse_quantity(const char *s, enum sm_quantity kind, const char *default_unit,
                                 double *value, struct sm_error *err)
{
    const char *from = s;
    while (*from == '\r' || *from == '\n' || skip_blanks(from) != from) {
        from = *from == '\r' || *from == '\n' ? from + 1 : skip_blanks(from);
    }
    double number;
    bool is_clock = false;
    if (kind == SM_TIME && scan_clock(from, &number, &is_clock)) {
        *value = number;
        return SM_OK;
    }
    if (is_clock) {
        return bad(err, SM_E_FORMAT, kind, s, "is no time of the form H:MM:SS or MM:SS");
    }
    enum sm_status status = parse_with_unit(s, from, kind, default_unit, &number, err);
    if (status == SM_OK && !isfinite(number)) {
        status = bad(err, SM_E_RANGE, kind, s, "is too large");
    }
    if (status == SM_OK) {
        *value = number;
    }
    return status;
}

void sm_text_add_feet_inches(struct sm_text *text, double length_m, int denominator)
{
    assert(denominator == 1 || denominator == 2 || denominator == 4 || denominator == 8 || denominator == 16);
    double steps = floor(fabs(length_m) / 0.0254 * denominator + 0.5);
    if (!(steps < 1e15)) {
        return; /* not finite, or no length of this world */
    }
    int64_t n = (int64_t)steps;
    int64_t feet = n / (12 * denominator);
    int64_t inches = n / denominator % 12;
    int64_t top = n % denominator;
    int64_t bottom = denominator;
    for (; top && top % 2 == 0; top /= 2) {
        bottom /= 2;
    }
    sm_text_addf(text, "%s%lld' %lld", length_m < 0 && n ? "-" : "", (long long)feet, (long long)inches);
    if (top) {
        sm_text_addf(text, " %lld/%lld", (long long)top, (long long)bottom);
    }
    sm_text_add(text, "\"");
}
