/* Fields and numbers of one line of sample CSV.
 *
 * [Clinger1990] W. D. Clinger, How to read floating point numbers accurately, PLDI 1990: a decimal mantissa below
 * 2^53 times or divided by a power of ten up to 10^22 is correctly rounded by one double operation. Nearly every
 * sample takes this short way; the rest goes to lay_parse_number. Value from memory of the paper. */
#include "csv_number.h"

#include <math.h>
#include <string.h>
#include <strings.h>

char lay_csv_separator(const char *line) {
    static const char candidates[] = {';', '\t', ','};
    for (size_t i = 0; i < sizeof candidates; i++)
        if (strchr(line, candidates[i]) != NULL) return candidates[i];
    return ' ';
}

static bool is_blank(char c) {
    return c == ' ' || c == '\t';
}

static void trim(lay_slice *s) {
    while (s->length > 0 && is_blank(s->text[0])) s->text++, s->length--;
    while (s->length > 0 && is_blank(s->text[s->length - 1])) s->length--;
    if (s->length >= 2 && s->text[0] == '"' && s->text[s->length - 1] == '"') {
        s->text++;
        s->length -= 2;
    }
}

bool lay_csv_field_next(const char **cursor, char separator, lay_slice *out) {
    const char *at = *cursor;
    bool quoted = false;
    if (at == NULL) return false;
    if (separator == ' ') {
        while (is_blank(*at)) at++;
        if (*at == 0) return false;
    }
    out->text = at;
    for (; *at != 0; at++) {
        if (*at == '"') quoted = !quoted;
        if (!quoted && (*at == separator || (separator == ' ' && *at == '\t'))) break;
    }
    out->length = (size_t)(at - out->text);
    *cursor = *at == 0 ? NULL : at + 1;
    trim(out);
    return true;
}

/* ---- numbers ---- */

typedef struct decimal {
    uint64_t mantissa;
    int digits;   /* significant ones in the mantissa */
    int exponent; /* of ten, of the last digit */
    bool negative;
} decimal;

static bool is_digit(char c) {
    return c >= '0' && c <= '9';
}

static const char *scan_digits(const char *at, const char *end, decimal *d, int step) {
    for (; at < end && is_digit(*at); at++) {
        if (d->digits >= 19) return NULL;
        d->mantissa = d->mantissa * 10 + (uint64_t)(*at - '0');
        d->digits += d->mantissa != 0;
        d->exponent += step;
    }
    return at;
}

static bool scan_exponent(const char *at, const char *end, int *exponent) {
    bool negative = at < end && *at == '-';
    int value = 0;
    if (at < end && (*at == '-' || *at == '+')) at++;
    if (at == end || end - at > 4) return false;
    for (; at < end; at++) {
        if (!is_digit(*at)) return false;
        value = value * 10 + (*at - '0');
    }
    *exponent += negative ? -value : value;
    return true;
}

/* False when it is no plain decimal number or too long for the short way. */
static bool scan_decimal(lay_slice s, bool decimal_comma, decimal *d) {
    const char *at = s.text, *end = s.text + s.length;
    *d = (decimal){0};
    if (at < end && (*at == '-' || *at == '+')) d->negative = *at++ == '-';
    const char *whole = at;
    if ((at = scan_digits(at, end, d, 0)) == NULL) return false;
    int64_t count = at - whole;
    if (at < end && (*at == '.' || (decimal_comma && *at == ','))) {
        const char *fraction = ++at;
        if ((at = scan_digits(at, end, d, -1)) == NULL) return false;
        count += at - fraction;
    }
    if (count == 0) return false;
    if (at < end && (*at == 'e' || *at == 'E')) return scan_exponent(at + 1, end, &d->exponent);
    return at == end;
}

static bool short_way(const decimal *d, double *out) {
    static const double tens[] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,  1e8,  1e9,  1e10, 1e11,
                                  1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};
    if (d->mantissa >> 53 != 0 || d->exponent < -22 || d->exponent > 22) return false;
    double value = (double)d->mantissa;
    value = d->exponent < 0 ? value / tens[-d->exponent] : value * tens[d->exponent];
    *out = d->negative ? -value : value;
    return true;
}

static bool long_way(lay_slice s, bool decimal_comma, double *out) {
    char copy[400];
    if (s.length == 0 || s.length >= sizeof copy) return false;
    memcpy(copy, s.text, s.length);
    copy[s.length] = 0;
    char *comma = decimal_comma ? strchr(copy, ',') : NULL;
    if (comma != NULL) *comma = '.';
    if (lay_parse_number(copy, out)) return true;
    double sign = copy[0] == '-' ? -1 : 1;
    const char *word = copy + (copy[0] == '-' || copy[0] == '+');
    if (strcasecmp(word, "nan") == 0)
        *out = NAN;
    else if (strcasecmp(word, "inf") == 0 || strcasecmp(word, "infinity") == 0)
        *out = sign * INFINITY;
    else
        return false;
    return true;
}

bool lay_csv_number(lay_slice field, bool decimal_comma, double *out, double *resolution) {
    decimal d;
    bool plain = scan_decimal(field, decimal_comma, &d);
    if (resolution != NULL) *resolution = plain ? pow(10, d.exponent) : 0;
    return (plain && short_way(&d, out)) || long_way(field, decimal_comma, out);
}
