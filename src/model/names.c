/* Words for the model's enumerations, as they stand in files. */
#include "stopmark/model.h"

const char *sm_flag_name(enum sm_flag flag)
{
    static const char *const names[SM_N_FLAGS] = {
        "log_disagrees",   "counter_unread", "time_outside_video", "counter_jump",        "unknown_code",
        "open_continuous", "beyond_segment", "clock_doubtful",     "moved_to_standstill", "row_odd",
        "unsure",          "no_distance",
    };
    for (int bit = 0; bit < SM_N_FLAGS; bit++) {
        if ((unsigned)flag == 1U << bit) {
            return names[bit];
        }
    }
    return NULL;
}

const char *sm_unit_name(enum sm_unit unit)
{
    return unit == SM_UNIT_M ? "m" : unit == SM_UNIT_FT ? "ft" : "";
}

double sm_unit_to_m(enum sm_unit unit)
{
    return unit == SM_UNIT_FT ? SM_M_PER_FT : 1.0;
}

const char *sm_reading_state_name(enum sm_reading_state state)
{
    return state == SM_READING_READ ? "read" : state == SM_READING_CARRIED ? "carried" : "hidden";
}

const char *sm_treatment_name(enum sm_treatment treatment)
{
    static const char *const names[] = {"none", "line", "prepare", "refer", "clear"};
    return names[treatment];
}

const char *sm_distance_source_name(enum sm_distance_source source)
{
    return source == SM_DISTANCE_PICTURE ? "picture" : source == SM_DISTANCE_LOG ? "log" : "";
}

const char *sm_review_act_name(enum sm_review_act act)
{
    static const char *const names[SM_N_REVIEW_ACTS] = {
        "confirm", "take picture", "take log", "move", "code", "clock", "treatment", "add",
        "withdraw", "reading", "box", "tie", "rule", "undo", "redo",
    };
    return names[act];
}
