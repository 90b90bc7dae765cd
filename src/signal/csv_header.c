/* The names above the columns of sample CSV. */
#include "csv_header.h"

#include <ctype.h>
#include <string.h>

/* `Time [ms]` -> "time ms": lower case, every run of other characters one blank, none at the ends. */
static void normalise(lay_slice name, char *out, size_t size) {
    size_t n = 0;
    for (size_t i = 0; i < name.length && n + 2 < size; i++) {
        unsigned char c = (unsigned char)name.text[i];
        if (isalnum(c) || c >= 0x80)
            out[n++] = (char)tolower(c);
        else if (n > 0 && out[n - 1] != ' ')
            out[n++] = ' ';
    }
    while (n > 0 && out[n - 1] == ' ') n--;
    out[n] = 0;
}

static bool unit_of(const char *word, double *unit) {
    static const struct {
        const char *word;
        double seconds;
    } units[] = {{"", 1},      {"s", 1},       {"sec", 1},   {"secs", 1},         {"second", 1},       {"seconds", 1},
                 {"ms", 1e-3}, {"msec", 1e-3}, {"us", 1e-6}, {"\xC2\xB5s", 1e-6}, {"\xCE\xBCs", 1e-6}, {"usec", 1e-6},
                 {"ns", 1e-9}};
    for (size_t i = 0; i < sizeof units / sizeof units[0]; i++)
        if (strcmp(word, units[i].word) == 0) {
            *unit = units[i].seconds;
            return true;
        }
    return false;
}

bool lay_csv_is_time(lay_slice name, double *unit) {
    static const char *const names[] = {"timestamp", "time", "t"};
    char word[48];
    if (name.length + 3 > sizeof word) return false;
    normalise(name, word, sizeof word);
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        size_t length = strlen(names[i]);
        if (strncmp(word, names[i], length) != 0 || (word[length] != 0 && word[length] != ' ')) continue;
        const char *rest = word + length + (word[length] == ' ');
        if (strncmp(rest, "in ", 3) == 0) rest += 3;
        return unit_of(rest, unit);
    }
    return word[0] != 0 && strcmp(word, "ns") != 0 && unit_of(word, unit);
}
