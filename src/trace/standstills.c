/* Standstills: runs of readings with the same counts. */
#include "stopmark/trace.h"

/* A longer stretch without any reading may hide a drive out and back. */
#define LONGEST_GAP_S 20.0
#define SURE_CONFIDENCE 0.9

/* What grows while the readings are walked. */
struct walk {
    struct sm_standstill *item;
    size_t n, capacity;
    struct sm_standstill run; /* the run that is open */
    bool is_open;
    size_t n_doubted; /* doubtful readings with other counts since the run was last seen */
};

static enum sm_status close_run(struct walk *walk, double least_s)
{
    bool is_long = walk->is_open && walk->run.end_s - walk->run.start_s >= least_s;
    walk->is_open = false;
    if (!is_long) {
        return SM_OK;
    }
    enum sm_status status = sm_grow(&walk->item, walk->n, &walk->capacity, sizeof *walk->item);
    if (status == SM_OK) {
        walk->item[walk->n++] = walk->run;
    }
    return status;
}

static bool continues(const struct walk *walk, const struct sm_trace *trace, const struct sm_reading *reading)
{
    return walk->is_open && reading->counts == walk->run.counts &&
           reading->time_s - walk->run.end_s <= LONGEST_GAP_S &&
           sm_trace_stretch_at(trace, walk->run.end_s) == sm_trace_stretch_at(trace, reading->time_s);
}

static enum sm_status take(struct walk *walk, const struct sm_trace *trace, const struct sm_reading *reading,
                           double least_s)
{
    if (continues(walk, trace, reading)) {
        walk->run.end_s = reading->time_s;
        walk->n_doubted = 0;
        return SM_OK;
    }
    if (walk->is_open && (double)reading->confidence < SURE_CONFIDENCE && walk->n_doubted == 0) {
        walk->n_doubted = 1;
        return SM_OK;
    }
    enum sm_status status = close_run(walk, least_s);
    walk->run = (struct sm_standstill){reading->time_s, reading->time_s, reading->counts};
    walk->is_open = true;
    walk->n_doubted = 0;
    return status;
}

enum sm_status sm_trace_standstills(struct sm_standstill **out, size_t *n, const struct sm_trace *trace,
                                    double least_s, struct sm_error *err)
{
    struct walk walk = {0};
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < trace->n_readings; i++) {
        if (trace->reading[i].state != SM_READING_HIDDEN) {
            status = take(&walk, trace, &trace->reading[i], least_s);
        }
    }
    if (status == SM_OK) {
        status = close_run(&walk, least_s);
    }
    if (status != SM_OK) {
        sm_free(walk.item);
        return sm_error_set(err, status, "no memory for the standstills of %zu readings", trace->n_readings);
    }
    *out = walk.item;
    *n = walk.n;
    return SM_OK;
}
