/* Pipe materials as the log formats abbreviate them. */
#include "obslog_internal.h"

struct material {
    const char *name, *words;
};

static const char *find(const struct material *materials, size_t n, const char *name)
{
    for (size_t k = 0; k < n; k++) {
        if (sm_ascii_ieq(materials[k].name, name)) {
            return materials[k].words;
        }
    }
    return name;
}

static const char *find_words(const struct material *materials, size_t n, const char *words)
{
    for (size_t k = 0; words && k < n; k++) {
        if (materials[k].words && sm_ascii_ieq(materials[k].words, words)) {
            return materials[k].name;
        }
    }
    return NULL;
}

/* EN 13508-2, ACD, after a published code table. */
static const struct material en_materials[] = {
    {"AA", "asbestos cement"},
    {"AE", "vitrified clay"},
    {"AG", "concrete"},
    {"AH", "reinforced concrete"},
    {"AL", "fibre-reinforced plastic"},
    {"AM", "cast iron"},
    {"AN", "grey iron"},
    {"AO", "ductile iron"},
    {"AP", "steel"},
    {"AR", "masonry"},
    {"AS", "masonry"},
    {"AV", "polyethylene"},
    {"AW", "polypropylene"},
    {"AX", "PVC-U"},
    {"AY", "plastic"},
    {"AZ", NULL},
};

/* ISYBAU 2013-02, reference list of materials. */
static const struct material short_materials[] = {
    {"AZ", "asbestos cement"},
    {"B", "concrete"},
    {"BS", "concrete segments"},
    {"CNS", "stainless steel"},
    {"EIS", "iron or steel"},
    {"FZ", "fibre cement"},
    {"GFK", "fibre-reinforced plastic"},
    {"GG", "grey iron"},
    {"GGG", "ductile iron"},
    {"KST", "plastic"},
    {"MA", "masonry"},
    {"OB", "concrete cast in place"},
    {"PC", "polymer concrete"},
    {"PCC", "polymer-modified cement concrete"},
    {"PE", "polyethylene"},
    {"PEHD", "polyethylene"},
    {"PH", "polyester resin"},
    {"PHB", "polyester resin concrete"},
    {"PP", "polypropylene"},
    {"PVC", "PVC"},
    {"PVCU", "PVC-U"},
    {"SFB", "steel fibre concrete"},
    {"SPB", "prestressed concrete"},
    {"SB", "reinforced concrete"},
    {"ST", "steel"},
    {"STZ", "vitrified clay"},
    {"SZB", "sprayed concrete"},
    {"W", NULL},
    {"ZG", "brickwork"},
};

enum {
    N_EN_MATERIALS = sizeof en_materials / sizeof en_materials[0],
    N_SHORT_MATERIALS = sizeof short_materials / sizeof short_materials[0],
};

const char *sm_obslog__material_en(const char *letters)
{
    return find(en_materials, N_EN_MATERIALS, letters);
}

const char *sm_obslog__material_short(const char *name)
{
    return find(short_materials, N_SHORT_MATERIALS, name);
}

const char *sm_obslog__material_en_of(const char *words)
{
    return find_words(en_materials, N_EN_MATERIALS, words);
}

const char *sm_obslog__material_short_of(const char *words)
{
    return find_words(short_materials, N_SHORT_MATERIALS, words);
}
