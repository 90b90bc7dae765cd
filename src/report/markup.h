/* Text inside HTML and SVG. */
#ifndef LAYSHAFT_REPORT_MARKUP_H
#define LAYSHAFT_REPORT_MARKUP_H

#include <layshaft/base.h>

/* `s`, cleaned and escaped, so that it is shown and never run; safe between tags and inside quoted attributes. NULL is
 * empty. */
void lay_markup_text(lay_text *out, const char *s);
/* A formatted text, escaped as a whole. */
void lay_markup_format(lay_text *out, const char *fmt, ...) LAY_PRINTF(2, 3);
/* Bytes as base64 (RFC 4648, section 4), without line breaks. */
void lay_markup_base64(lay_text *out, const unsigned char *bytes, size_t count);

#endif
