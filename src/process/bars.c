/* Which bars this system grants: one process is confined for the answer and ends. */
#include "stopmark/process.h"

enum { PATIENCE_MS = 5000 };

static int tell_bars(void *user, int channel)
{
    (void)user;
    unsigned bars = sm_process_confine(&channel, 1, channel);
    return sm_process_send(channel, &bars, sizeof bars) ? 0 : 1;
}

bool sm_process_bars_here(unsigned *bars)
{
    struct sm_process process = {.channel = -1};
    if (sm_process_start(&process, tell_bars, NULL, NULL) != SM_OK) {
        return false;
    }
    unsigned told = 0;
    bool is_told = sm_process_receive(process.channel, &told, sizeof told, PATIENCE_MS) == SM_PROCESS_GOT;
    sm_process_close(&process);
    *bars = is_told ? told : *bars;
    return is_told;
}
