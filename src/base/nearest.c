/* The word that was probably meant. */
#include <layshaft/base.h>

#include <string.h>

#define LONGEST_WORD 63

static char lower(char c) {
    return c >= 'A' && c <= 'Z' ? (char)(c - 'A' + 'a') : c;
}

static size_t smallest(size_t a, size_t b, size_t c) {
    size_t ab = a < b ? a : b;
    return ab < c ? ab : c;
}

/* Optimal string alignment distance: insert, delete, replace and swap of neighbours cost one each
 * (Damerau 1964, Levenshtein 1966). Three rows are enough. */
static size_t edit_distance(const char *a, size_t na, const char *b, size_t nb) {
    size_t rows[3][LONGEST_WORD + 1];
    size_t *before = rows[0], *last = rows[1], *now = rows[2];
    for (size_t j = 0; j <= nb; j++) last[j] = j;
    memset(before, 0, sizeof rows[0]);
    for (size_t i = 1; i <= na; i++) {
        now[0] = i;
        for (size_t j = 1; j <= nb; j++) {
            bool same = lower(a[i - 1]) == lower(b[j - 1]);
            now[j] = smallest(last[j] + 1, now[j - 1] + 1, last[j - 1] + (same ? 0 : 1));
            bool swapped = i > 1 && j > 1 && lower(a[i - 1]) == lower(b[j - 2]) && lower(a[i - 2]) == lower(b[j - 1]);
            if (swapped && before[j - 2] + 1 < now[j]) now[j] = before[j - 2] + 1;
        }
        size_t *spare = before;
        before = last;
        last = now;
        now = spare;
    }
    return last[nb];
}

/* A third of the letters may be wrong, but never all of them. */
static size_t allowed_distance(size_t length) {
    return length < 3 ? 1 : (length + 2) / 3;
}

const char *lay_nearest(const char *word, const char *const *words, size_t count) {
    const char *best = NULL;
    size_t length = strlen(word);
    if (length == 0 || length > LONGEST_WORD) return NULL;
    size_t best_distance = allowed_distance(length) + 1;
    for (size_t i = 0; i < count; i++) {
        size_t other = strlen(words[i]);
        if (other == 0 || other > LONGEST_WORD) continue;
        size_t distance = edit_distance(word, length, words[i], other);
        bool all_wrong = distance >= (length < other ? length : other);
        if (distance < best_distance && (!all_wrong || distance == 0)) {
            best_distance = distance;
            best = words[i];
        }
    }
    return best;
}
