/* A counter reading as text and as a number of its display unit. */
#include "stopmark/model.h"

#include <assert.h>

static int64_t power_of_ten(int32_t decimals)
{
    assert(decimals >= 0 && decimals <= 9);
    int64_t power = 1;
    for (int32_t i = 0; i < decimals; i++) {
        power *= 10;
    }
    return power;
}

void sm_text_add_reading(struct sm_text *text, const struct sm_reading *reading, int32_t decimals)
{
    if (reading->state == SM_READING_HIDDEN) {
        return;
    }
    int64_t power = power_of_ten(decimals);
    uint64_t size = reading->counts < 0 ? 0 - (uint64_t)reading->counts : (uint64_t)reading->counts;
    sm_text_addf(text, "%s%llu", reading->counts < 0 ? "-" : "",
                 (unsigned long long)(size / (uint64_t)power));
    if (decimals > 0) {
        sm_text_addf(text, ".%0*llu", (int)decimals, (unsigned long long)(size % (uint64_t)power));
    }
}

double sm_reading_value(const struct sm_reading *reading, int32_t decimals)
{
    return (double)reading->counts / (double)power_of_ten(decimals);
}

double sm_last_digit_m(const struct sm_counter_format *format)
{
    return sm_unit_to_m(format->unit) / (double)power_of_ten(format->decimals);
}
