/* What the program asks its surroundings: the clock, the user, the terminal. Nothing else in the project
 * does. */
#include <langinfo.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <time.h>
#include <unistd.h>

#include "cli.h"

void sm_cli_now(char text[32])
{
    const char *given = getenv("SM_NOW");
    if (given && *given) {
        sm_strcopy(text, 32, given);
        return;
    }
    time_t now = time(NULL);
    struct tm utc;
    if (!gmtime_r(&now, &utc) || strftime(text, 32, "%Y-%m-%dT%H:%M:%SZ", &utc) == 0) {
        sm_strcopy(text, 32, "");
    }
}

const char *sm_cli_who(void)
{
    const char *user = getenv("USER");
    return user && sm_utf8_valid(user, strlen(user)) ? user : "";
}

uint32_t sm_cli_processors(void)
{
    long n = sysconf(_SC_NPROCESSORS_ONLN);
    return n > 0 && n < 1024 ? (uint32_t)n : 1;
}

int sm_cli_columns(void)
{
    struct winsize size;
    return isatty(STDOUT_FILENO) && ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) == 0 ? size.ws_col : 0;
}

bool sm_cli_is_utf8(void)
{
    return strcmp(nl_langinfo(CODESET), "UTF-8") == 0;
}
