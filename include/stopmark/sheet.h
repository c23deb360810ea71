/**
 * @file sheet.h
 * The survey sheet (INI) with its kits and cure tables: what a survey is, where its files lie, the owner's
 * rules.
 */
#ifndef STOPMARK_SHEET_H
#define STOPMARK_SHEET_H

#include "stopmark/model.h"

/**
 * Read a sheet and the kits and cure files it names (paths as seen from the sheet).
 * Unknown sections and keys are findings; a value that makes no sense is an error with file, line and remedy.
 * @param out [new] free with sm_sheet_free().
 */
enum sm_status sm_sheet_read(struct sm_sheet **out, const char *path, struct sm_error *err) SM_CHECKED;
/** As sm_sheet_read() from memory; base_path (may be NULL) is the sheet's own path: relative names start in
 * its folder. */
enum sm_status sm_sheet_parse(struct sm_sheet **out, const char *text, size_t n, const char *base_path,
                              struct sm_error *err) SM_CHECKED;
/** As sm_sheet_parse(), with the tables it names coming from read (SM_E_IO = not there), then and whenever sm_sheet_set() names another. */
enum sm_status sm_sheet_parse_with(struct sm_sheet **out, const char *text, size_t n, const char *base_path, sm_read_fn *read,
                                   void *read_user, struct sm_error *err) SM_CHECKED;
/**
 * Change one value as the sheet would ("rules.overlap", "120 mm"): section.key, or the key alone where it is
 * unique, or ties.READING, or decisions.OBSERVATION. An empty value means "left out". Files named are read again. Values that only
 * contradict each other are not seen here but by sm_sheet_check(), so that several can be changed one after
 * the other.
 * @return SM_OK; SM_E_NOTFOUND no such key (remedy names the nearest); what sm_sheet_read() returns. The
 * sheet is unchanged then.
 */
enum sm_status sm_sheet_set(struct sm_sheet *sheet, const char *key, const char *value,
                            struct sm_error *err) SM_CHECKED;
/**
 * Take a person's word on what is done about an observation as if it stood in the sheet's [decisions], in the place of
 * one about the same observation. @param decision [borrow] reason not empty, code NULL or "" = any.
 */
enum sm_status sm_sheet_decide(struct sm_sheet *sheet, const struct sm_sheet_decision *decision,
                               struct sm_error *err) SM_CHECKED;
/** Values that contradict each other: a rim without its way to the pipe edge, ties out of order. */
enum sm_status sm_sheet_check(const struct sm_sheet *sheet, struct sm_error *err) SM_CHECKED;
/** A sheet with every default and nothing else. */
enum sm_status sm_sheet_new(struct sm_sheet **out, struct sm_error *err) SM_CHECKED;
void sm_sheet_free(struct sm_sheet **sheet);

/** One key a sheet can have, as shown to people. fallback is the default as it would be written, "" = none.
 */
struct sm_sheet_key_info {
    const char *section, *key, *fallback, *help;
};
/** The keys one after the other, in the order of docs/formats/sheet.md. @return false past the last. */
bool sm_sheet_key_info(size_t key_idx, struct sm_sheet_key_info *info);

#endif
