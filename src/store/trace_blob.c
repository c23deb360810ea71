/*
 * A trace in few bytes. Times are whole microseconds, confidence whole 1/10000. Each reading is three
 * variable-length whole numbers (7 bits a byte, least first, high bit = more follows; signed ones folded: 0
 * -1 1 -2 ...): time since the reading before, signed; change of counts since the reading before, signed;
 *   confidence * 4 + state (0 hidden, 1 carried, 2 read).
 */
#include "store_internal.h"

#define US_PER_S 1e6
#define CONFIDENCE_STEPS 10000
/* More microseconds than 30 years: nothing a recording has, and far from overflow. */
#define MAX_US 1e15

static void put_number(struct sm_text *out, uint64_t number)
{
    char bytes[10];
    size_t n = 0;
    do {
        bytes[n++] = (char)((number & 0x7f) | (number > 0x7f ? 0x80 : 0));
        number >>= 7;
    } while (number);
    sm_text_add_n(out, bytes, n);
}

static void put_signed(struct sm_text *out, int64_t number)
{
    put_number(out, number < 0 ? ~((uint64_t)number << 1) : (uint64_t)number << 1);
}

static int64_t microseconds(double time_s)
{
    double us = round(time_s * US_PER_S);
    return us > MAX_US ? (int64_t)MAX_US : us > -MAX_US ? (int64_t)us : -(int64_t)MAX_US;
}

void sm_store__pack_readings(struct sm_text *out, const struct sm_trace *trace)
{
    int64_t time_us = 0;
    uint64_t counts = 0; /* differences wrap rather than overflow */
    for (size_t i = 0; i < trace->n_readings; i++) {
        const struct sm_reading *reading = &trace->reading[i];
        int64_t us = microseconds(reading->time_s);
        double confidence = fmin(fmax((double)reading->confidence, 0), 1);
        put_signed(out, us - time_us);
        put_signed(out, (int64_t)((uint64_t)reading->counts - counts));
        put_number(out, (uint64_t)lround(confidence * CONFIDENCE_STEPS) * 4 + (uint64_t)reading->state);
        time_us = us;
        counts = (uint64_t)reading->counts;
    }
}

void sm_store__pack_jumps(struct sm_text *out, const struct sm_trace *trace)
{
    int64_t time_us = 0;
    for (size_t i = 0; i < trace->n_jumps; i++) {
        int64_t us = microseconds(trace->jump_time_s[i]);
        put_signed(out, us - time_us);
        time_us = us;
    }
}

struct bytes {
    const unsigned char *at, *end;
};

static bool get_number(struct bytes *bytes, uint64_t *number)
{
    *number = 0;
    for (unsigned shift = 0; shift < 64 && bytes->at < bytes->end; shift += 7) {
        unsigned char byte = *bytes->at++;
        *number |= (uint64_t)(byte & 0x7f) << shift;
        if (!(byte & 0x80)) {
            return true;
        }
    }
    return false;
}

static bool get_signed(struct bytes *bytes, int64_t *number)
{
    uint64_t folded;
    if (!get_number(bytes, &folded)) {
        return false;
    }
    *number = (int64_t)(folded & 1 ? ~(folded >> 1) : folded >> 1);
    return true;
}

static bool get_time(struct bytes *bytes, int64_t *time_us)
{
    int64_t step;
    if (!get_signed(bytes, &step) || step > 2 * (int64_t)MAX_US || step < -2 * (int64_t)MAX_US) {
        return false;
    }
    *time_us += step;
    return *time_us <= (int64_t)MAX_US && *time_us >= -(int64_t)MAX_US;
}

static enum sm_status damaged(struct sm_error *err)
{
    sm_error_set(err, SM_E_FORMAT, "a stored trace is damaged");
    sm_error_remedy(err, "take the last good copy of the job file");
    return SM_E_FORMAT;
}

/* An empty blob is a null pointer, to which not even nothing may be added. */
static struct bytes bytes_of(const void *bytes, size_t n_bytes)
{
    const unsigned char *at = n_bytes ? bytes : (const unsigned char *)"";
    return (struct bytes){at, at + n_bytes};
}

enum sm_status sm_store__unpack_readings(struct sm_reading *reading, size_t n, const void *bytes,
                                         size_t n_bytes, struct sm_error *err)
{
    struct bytes in = bytes_of(bytes, n_bytes);
    int64_t time_us = 0;
    uint64_t counts = 0;
    for (size_t i = 0; i < n; i++) {
        int64_t step;
        uint64_t sure;
        if (!get_time(&in, &time_us) || !get_signed(&in, &step) || !get_number(&in, &sure) ||
            sure / 4 > CONFIDENCE_STEPS || sure % 4 > 2) {
            return damaged(err);
        }
        counts += (uint64_t)step;
        uint64_t steps = sure / 4;
        reading[i] = (struct sm_reading){(double)time_us / US_PER_S, (int64_t)counts, (float)steps / CONFIDENCE_STEPS,
                                         (enum sm_reading_state)(sure % 4)};
    }
    return in.at == in.end ? SM_OK : damaged(err);
}

enum sm_status sm_store__unpack_times(double *time_s, size_t n, const void *bytes, size_t n_bytes,
                                      struct sm_error *err)
{
    struct bytes in = bytes_of(bytes, n_bytes);
    int64_t time_us = 0;
    for (size_t i = 0; i < n; i++) {
        if (!get_time(&in, &time_us)) {
            return damaged(err);
        }
        time_s[i] = (double)time_us / US_PER_S;
    }
    return in.at == in.end ? SM_OK : damaged(err);
}
