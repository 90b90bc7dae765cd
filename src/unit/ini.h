/* The unit file as sections and entries that remember where they stood, so that every later check can
 * point at the very word that is wrong. Private to the unit stage. */
#ifndef LAYSHAFT_UNIT_INI_H
#define LAYSHAFT_UNIT_INI_H

#include <layshaft/base.h>

/* A piece of one line of the file; it borrows the text of its struct unit_ini. */
struct unit_slice {
    const char *at;
    size_t length;
    int line;              /* from 1 */
    const char *line_text; /* start of the line it stands on */
};

struct unit_entry {
    struct unit_slice key, value; /* both without the blanks around them; the value may be empty */
};

struct unit_section {
    struct unit_slice head;        /* "[mesh third pair]" with the brackets */
    struct unit_slice kind, label; /* "mesh", "third pair"; the label may be empty */
    const struct unit_entry *entries;
    size_t entry_count;
};

struct unit_ini {
    char *path;
    char *text; /* line ends made '\n' */
    struct unit_section *sections;
    size_t section_count;
    struct unit_entry *entries;
    size_t entry_count;
};

/* Read `length` bytes. `;` and `#` start a comment; byte order mark, LF, CR LF and CR are all accepted. */
lay_status unit_ini_read(const char *text, size_t length, const char *path, struct unit_ini *out, lay_error *err);
void unit_ini_free(struct unit_ini *ini);

/* LAY_BAD_INPUT at `where`: line, column and span in bytes, the line itself. */
lay_status unit_ini_fail(const struct unit_ini *ini, struct unit_slice where, lay_error *err, const char *fmt, ...)
    LAY_PRINTF(4, 5);

struct unit_slice unit_slice_trim(struct unit_slice s);
/* Compare with a name: case ignored, every run of blanks the same as one space. */
bool unit_slice_is(struct unit_slice s, const char *name);
bool unit_slice_same(struct unit_slice a, struct unit_slice b);
/* Copy with runs of blanks made one space; NULL without memory. */
char *unit_slice_text(struct unit_slice s);
/* Take the part before the first comma off `rest`; false when nothing is left. */
bool unit_slice_next(struct unit_slice *rest, struct unit_slice *field);

/* The two lengths printf wants for "%.*s". */
#define UNIT_SLICE(s) (int)((s).length < 80 ? (s).length : 80), (s).at

#endif
