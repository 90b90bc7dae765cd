/* Text of unknown origin made safe for a terminal and measured in columns. Needs no locale. */
#ifndef LAYSHAFT_REPORT_UTF8_H
#define LAYSHAFT_REPORT_UTF8_H

#include <layshaft/base.h>

/* Decode one character of the 0-terminated `s`: its code point in *code (U+FFFD for bytes that are no UTF-8), its
 * length in bytes (0 at the end) returned. */
size_t lay_utf8_next(const char *s, uint32_t *code);
/* Columns a terminal gives the character: 0 (combining), 1 or 2 (wide East Asian). */
int lay_utf8_columns_of(uint32_t code);
/* Columns of a whole text. */
int lay_utf8_columns(const char *s);

/* Append `s` so that it is valid UTF-8 and cannot steer a terminal: blanks of any kind become one space each, control
 * and direction characters and broken bytes become U+FFFD. NULL counts as empty. */
void lay_utf8_clean(lay_text *out, const char *s);
/* Append the cleaned `s` cut in the middle to at most `columns` (>= 5) columns: "countershaft fr...ing". Both ends
 * stay, because names differ in their ends and files in their extensions. */
void lay_utf8_fit(lay_text *out, const char *s, int columns);
/* The same, then filled with spaces to exactly `columns`. */
void lay_utf8_cell(lay_text *out, const char *s, int columns);

#endif
