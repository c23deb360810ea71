/* Words that people type: keys compared without regard to case and spacing, the nearest known word, column
 * heads. */
#include "stopmark/base.h"

#include <string.h>

enum { WORD_MAX = 64 };

static bool is_gap(char c)
{
    return c == ' ' || c == '\t' || c == '\r' || c == '\n' || c == '_' || c == '-';
}

/* The second byte of a two-byte UTF-8 letter U+00C0..U+00FF in lower case, written without marks where German
 * has a spelling for it. */
static const char *fold_latin1(unsigned char second, char spare[3])
{
    unsigned char lower =
        second >= 0x80 && second <= 0x9e && second != 0x97 ? (unsigned char)(second + 0x20) : second;
    switch (lower) {
    case 0xa4:
        return "ae";
    case 0xb6:
        return "oe";
    case 0xbc:
        return "ue";
    case 0x9f:
        return "ss";
    default:
        spare[0] = (char)0xc3;
        spare[1] = (char)lower;
        spare[2] = '\0';
        return spare;
    }
}

/* Folds the character at *src and steps over it. */
static const char *fold_one(const char **src, char spare[3])
{
    unsigned char c = (unsigned char)**src;
    if (c == 0xc3 && ((unsigned char)(*src)[1] & 0xc0) == 0x80) {
        const char *folded = fold_latin1((unsigned char)(*src)[1], spare);
        *src += 2;
        return folded;
    }
    (*src)++;
    spare[0] = (char)(c >= 'A' && c <= 'Z' ? c + ('a' - 'A') : c);
    spare[1] = '\0';
    return spare;
}

void sm_key_fold(char *dst, size_t size, const char *src)
{
    size_t n = 0;
    bool has_gap = false;
    if (size == 0) {
        return;
    }
    while (*src) {
        if (is_gap(*src)) {
            has_gap = n > 0;
            src++;
            continue;
        }
        char spare[3];
        const char *piece = fold_one(&src, spare);
        size_t len = strlen(piece);
        if (n + len + (has_gap ? 1 : 0) >= size) {
            break;
        }
        if (has_gap) {
            dst[n++] = ' ';
            has_gap = false;
        }
        memcpy(dst + n, piece, len);
        n += len;
    }
    dst[n] = '\0';
}

static size_t least(size_t a, size_t b)
{
    return a < b ? a : b;
}

/* Optimal string alignment distance (a swap of neighbours counts one) of two words of at most WORD_MAX bytes.
 */
static size_t edit_distance(const char *a, size_t n_a, const char *b, size_t n_b)
{
    size_t row[3][WORD_MAX + 1];
    for (size_t j = 0; j <= n_b; j++) {
        row[0][j] = j;
    }
    for (size_t i = 1; i <= n_a; i++) {
        size_t *now = row[i % 3];
        const size_t *before = row[(i + 2) % 3];
        const size_t *before2 = row[(i + 1) % 3];
        now[0] = i;
        for (size_t j = 1; j <= n_b; j++) {
            size_t cost = a[i - 1] == b[j - 1] ? 0 : 1;
            now[j] = least(least(before[j] + 1, now[j - 1] + 1), before[j - 1] + cost);
            if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1]) {
                now[j] = least(now[j], before2[j - 2] + 1);
            }
        }
    }
    return row[n_a % 3][n_b];
}

const char *sm_nearest_word(const char *word, const char *const *list, size_t n)
{
    char asked[WORD_MAX + 1];
    sm_key_fold(asked, sizeof asked, word);
    const char *best = NULL;
    size_t best_distance = strlen(asked) / 3 + 1;
    for (size_t k = 0; k < n; k++) {
        char known[WORD_MAX + 1];
        sm_key_fold(known, sizeof known, list[k]);
        size_t distance = edit_distance(asked, strlen(asked), known, strlen(known));
        if (distance < best_distance && distance < strlen(known)) {
            best = list[k];
            best_distance = distance;
        }
    }
    return best;
}

/* Units that may end a head after a gap ("length_mm"); with brackets any unit is taken. */
static bool is_head_unit(const char *word)
{
    static const char *const units[] = {"mm",  "cm",  "m", "ft", "in", "s",   "min", "h", "kpa",
                                        "bar", "psi", "l", "c",  "f",  "deg", "kg",  "um"};
    for (size_t k = 0; k < sizeof units / sizeof units[0]; k++) {
        if (sm_ascii_ieq(word, units[k])) {
            return true;
        }
    }
    return false;
}

/* Where the unit of a head starts and how long it is; *name_len becomes the length of what stands before it.
 */
static const char *find_unit(const char *head, size_t *name_len, size_t *unit_len)
{
    const char *open = strpbrk(head, "[(");
    const char *close = open ? strpbrk(open, "])") : NULL;
    if (close) {
        *name_len = (size_t)(open - head);
        *unit_len = (size_t)(close - open) - 1;
        return open + 1;
    }
    size_t n = strlen(head);
    while (n > 0 && is_gap(head[n - 1])) {
        n--;
    }
    size_t at = n;
    while (at > 0 && !is_gap(head[at - 1])) {
        at--;
    }
    char word[8];
    *name_len = n;
    *unit_len = 0;
    if (at > 0 && n - at < sizeof word) {
        memcpy(word, head + at, n - at);
        word[n - at] = '\0';
        if (is_head_unit(word)) {
            *name_len = at;
            *unit_len = n - at;
        }
    }
    return head + at;
}

void sm_column_split(const char *head, char *name, size_t name_size, char *unit, size_t unit_size)
{
    size_t name_len, unit_len;
    char part[128];
    const char *found = find_unit(head, &name_len, &unit_len);
    size_t n = name_len < sizeof part - 1 ? name_len : sizeof part - 1;
    memcpy(part, head, n);
    part[n] = '\0';
    sm_key_fold(name, name_size, part);
    n = unit_len < sizeof part - 1 ? unit_len : sizeof part - 1;
    memcpy(part, found, n);
    part[n] = '\0';
    sm_strcopy(unit, unit_size, sm_trim(part));
}
