/* What the parts of the as-built reader share. */
#ifndef SM_ASBUILT_INTERNAL_H
#define SM_ASBUILT_INTERNAL_H

#include "stopmark/asbuilt.h"

enum { SM_ASBUILT__TIME_SIZE = 32 };

/* "2031-03-20" or "20.03.2031" as YYYY-MM-DD; false for anything else, and for a day no calendar has. */
bool sm_asbuilt__date(char out[SM_ASBUILT__TIME_SIZE], const char *text);
/* ISO 8601 or HH:MM[:SS] as a row keeps it. date ("" = none) gives the day to a time without one. An offset from
 * UTC is dropped: a crew's clock shows local time. */
bool sm_asbuilt__time(char out[SM_ASBUILT__TIME_SIZE], const char *text, const char *date);

#endif
