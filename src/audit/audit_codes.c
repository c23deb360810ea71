/*
 * The few codes the audit itself must know, whatever table decided the treatments: a localised lining, its defects, the
 * camera out of sight, and which codes can speak of one and the same defect.
 * Source: EN 13508-2 codes BCB B, BAK, BAL, BDG, BDC; North American condition codes RPL, LF, RP?D, MCU, MSA (from memory).
 */
#include "audit_internal.h"

#include <string.h>

static bool starts(const char *code, const char *with)
{
    return strncmp(code, with, strlen(with)) == 0;
}

bool sm_audit__is_lining(const struct sm_observation *o)
{
    return (strcmp(o->code, "BCB") == 0 && strcmp(o->ch1, "B") == 0) || strcmp(o->code, "RPL") == 0;
}

bool sm_audit__is_lining_defect(const struct sm_observation *o)
{
    return starts(o->code, "BAK") || starts(o->code, "BAL") || starts(o->code, "LF") || strcmp(o->code, "RPLD") == 0;
}

bool sm_audit__is_out_of_sight(const struct sm_observation *o)
{
    return starts(o->code, "BDG") || strcmp(o->code, "MCU") == 0;
}

static bool is_en(const char *code)
{
    return strlen(code) == 3 && code[0] == 'B' && code[1] >= 'A' && code[1] <= 'D';
}

/* A crack may have grown into a break between two surveys, and two operators draw the line between them differently. */
static const char *family(const char *code, char own[3])
{
    if (is_en(code)) {
        return strcmp(code, "BAB") == 0 || strcmp(code, "BAC") == 0 ? "break" : code;
    }
    bool is_repair = starts(code, "RP") || starts(code, "LF");
    if (!is_repair && *code && strchr("CFBHX", *code)) {
        return "break";
    }
    own[0] = code[0];
    own[1] = code[0] ? code[1] : '\0';
    own[2] = '\0';
    return own;
}

bool sm_audit__may_be_same(const char *a, const char *b)
{
    char own_a[3];
    char own_b[3];
    return strcmp(family(a, own_a), family(b, own_b)) == 0;
}

static bool is_at_hour(int32_t hour, int32_t from_h, int32_t to_h)
{
    for (int32_t h = from_h;; h = h % 12 + 1) {
        if (h == hour) {
            return true;
        }
        if (h == to_h) {
            return false;
        }
    }
}

/* One hour apart is still the same place for two operators. */
bool sm_audit__clocks_meet(int32_t a_from_h, int32_t a_to_h, int32_t b_from_h, int32_t b_to_h)
{
    bool is_known = a_from_h >= 1 && a_from_h <= 12 && b_from_h >= 1 && b_from_h <= 12;
    if (!is_known) {
        return true;
    }
    a_to_h = a_to_h >= 1 && a_to_h <= 12 ? a_to_h : a_from_h;
    b_to_h = b_to_h >= 1 && b_to_h <= 12 ? b_to_h : b_from_h;
    if ((a_from_h == 12 && a_to_h == 12) || (b_from_h == 12 && b_to_h == 12)) {
        return true; /* all round, or the crown: told apart by nobody */
    }
    for (int32_t h = 1; h <= 12; h++) {
        bool is_near_a = is_at_hour(h, a_from_h, a_to_h) || is_at_hour(h % 12 + 1, a_from_h, a_to_h) ||
                         is_at_hour((h + 10) % 12 + 1, a_from_h, a_to_h);
        if (is_near_a && is_at_hour(h, b_from_h, b_to_h)) {
            return true;
        }
    }
    return false;
}
