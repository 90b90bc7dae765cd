/* Decimal numbers, independent of the locale. */
#include <layshaft/base.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>

static bool is_digit(char c) {
    return c >= '0' && c <= '9';
}

static const char *skip_blanks(const char *c) {
    return c + strspn(c, " \t\r\n\v\f");
}

static const char *skip_digits(const char *c, size_t *count) {
    const char *start = c;
    while (is_digit(*c)) c++;
    *count += (size_t)(c - start);
    return c;
}

/* End of [+-] digits [. digits] [e [+-] digits], NULL when `c` does not start so. */
static const char *number_end(const char *c, const char **point) {
    size_t digits = 0, exponent = 0;
    if (*c == '+' || *c == '-') c++;
    c = skip_digits(c, &digits);
    if (*c == '.') {
        *point = c;
        c = skip_digits(c + 1, &digits);
    }
    if (digits == 0) return NULL;
    if (*c == 'e' || *c == 'E') {
        c++;
        if (*c == '+' || *c == '-') c++;
        c = skip_digits(c, &exponent);
        if (exponent == 0) return NULL;
    }
    return c;
}

/* strtod wants the point of the locale in force; printing 0.5 through it would do, but a library must
 * not depend on who changed the locale meanwhile, so both spellings are tried. */
static bool convert(char *text, char *point, const char *end, double *out) {
    static const char points[] = ".,";
    for (const char *p = points; *p; p++) {
        char *stop = NULL;
        if (point) *point = *p;
        double value = strtod(text, &stop);
        if (stop == end && isfinite(value)) {
            *out = value;
            return true;
        }
    }
    return false;
}

bool lay_parse_number(const char *text, double *out) {
    char copy[400];
    const char *start = skip_blanks(text);
    const char *point = NULL;
    const char *end = number_end(start, &point);
    if (!end || *skip_blanks(end) != '\0') return false;
    size_t length = (size_t)(end - start);
    if (length >= sizeof copy) return false;
    memcpy(copy, start, length);
    copy[length] = '\0';
    return convert(copy, point ? copy + (point - start) : NULL, copy + length, out);
}
