/**
 * @file font_list.h
 * The trainer's list of fonts (fonts.txt), split into the half that teaches and the half that is held out.
 */
#ifndef SM_TRAINER_FONT_LIST_H
#define SM_TRAINER_FONT_LIST_H

#include "rng.h"

#include "stopmark/base.h"

enum font_kind { FONT_MONO, FONT_PLAIN, FONT_PIXEL, FONT_SEGMENT, FONT_DRAWN, FONT_KINDS };

struct font {
    char name[64];
    enum font_kind kind;
    bool is_held;
};

struct font_list {
    struct font *font;
    size_t n, capacity;
};

/** Read the list; every font must be installed. Release with font_list_release(). */
enum sm_status font_list_read(struct font_list *list, const char *path, struct sm_error *err) SM_CHECKED;
void font_list_release(struct font_list *list);
/**
 * A font of one half; kinds come up as often as they matter on screens. Of drawn faces ("cells:*") another
 * number each time: even ones train, odd ones are held out.
 */
struct font font_list_pick(const struct font_list *list, bool is_held, struct sm_test_random *rng);

#endif
