/* Lines -> sections and entries with their places. */
#include "ini.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define TEXT_LIMIT ((size_t)1 << 20) /* a unit file of a megabyte is no unit file */

struct reader {
    struct unit_ini *ini;
    size_t section_capacity, entry_capacity;
    lay_error *err;
};

lay_status unit_ini_fail(const struct unit_ini *ini, struct unit_slice where, lay_error *err, const char *fmt, ...) {
    char message[sizeof err->message];
    va_list args;
    va_start(args, fmt);
    vsnprintf(message, sizeof message, fmt, args);
    va_end(args);
    int column = 1 + (int)(where.at - where.line_text);
    int span = where.length > 0 ? (int)where.length : 1;
    return lay_fail_at(err, LAY_BAD_INPUT, ini->path, where.line, column, span, where.line_text, "%s", message);
}

/* One line without its comment and the blanks around it. */
static struct unit_slice line_content(const char *line, size_t length, int number) {
    struct unit_slice s = {.at = line, .length = length, .line = number, .line_text = line};
    s = unit_slice_trim(s);
    if (s.length > 0 && s.at[0] == '[') return s; /* names of sections may hold ; and # */
    for (size_t i = 0; i < s.length; i++)
        if (s.at[i] == ';' || s.at[i] == '#') s.length = i;
    return unit_slice_trim(s);
}

static struct unit_slice part_of(struct unit_slice s, size_t from, size_t length) {
    s.at += from;
    s.length = length;
    return unit_slice_trim(s);
}

static lay_status read_head(struct reader *r, struct unit_slice line) {
    struct unit_ini *ini = r->ini;
    const char *close = memchr(line.at, ']', line.length);
    if (!close) return unit_ini_fail(ini, line, r->err, "the section name is not closed: put a ']' at its end");
    size_t inner = (size_t)(close - line.at) - 1;
    struct unit_slice rest = part_of(line, inner + 2, line.length - inner - 2);
    if (rest.length > 0 && rest.at[0] != ';' && rest.at[0] != '#')
        return unit_ini_fail(ini, rest, r->err, "nothing but a comment may follow a section name on its line");
    struct unit_section s = {.head = line};
    s.head.length = inner + 2;
    struct unit_slice name = part_of(line, 1, inner);
    if (name.length == 0)
        return unit_ini_fail(ini, s.head, r->err, "the section has no name: write for example [unit]");
    size_t kind = 0;
    while (kind < name.length && name.at[kind] != ' ' && name.at[kind] != '\t') kind++;
    s.kind = part_of(name, 0, kind);
    s.label = part_of(name, kind, name.length - kind);
    lay_status status = lay_grow((void **)&ini->sections, &r->section_capacity, ini->section_count, sizeof s, r->err);
    if (status == LAY_OK) ini->sections[ini->section_count++] = s;
    return status;
}

static lay_status read_entry(struct reader *r, struct unit_slice line) {
    struct unit_ini *ini = r->ini;
    const char *equals = memchr(line.at, '=', line.length);
    if (!equals)
        return unit_ini_fail(ini, line, r->err, "this is neither a [section] nor 'key = value': an '=' is missing");
    size_t at = (size_t)(equals - line.at);
    struct unit_entry e = {.key = part_of(line, 0, at), .value = part_of(line, at + 1, line.length - at - 1)};
    if (e.key.length == 0) return unit_ini_fail(ini, line, r->err, "there is no key before the '='");
    if (ini->section_count == 0)
        return unit_ini_fail(ini, e.key, r->err, "'%.*s' stands before the first section: begin with [unit]",
                             UNIT_SLICE(e.key));
    lay_status status = lay_grow((void **)&ini->entries, &r->entry_capacity, ini->entry_count, sizeof e, r->err);
    if (status != LAY_OK) return status;
    ini->entries[ini->entry_count++] = e;
    ini->sections[ini->section_count - 1].entry_count++;
    return LAY_OK;
}

static lay_status read_lines(struct reader *r) {
    int number = 0;
    for (const char *line = r->ini->text, *end; *line; line = *end ? end + 1 : end) {
        end = strchr(line, '\n');
        if (!end) end = line + strlen(line);
        struct unit_slice s = line_content(line, (size_t)(end - line), ++number);
        if (s.length == 0) continue;
        lay_status status = s.at[0] == '[' ? read_head(r, s) : read_entry(r, s);
        if (status != LAY_OK) return status;
    }
    const struct unit_entry *next = r->ini->entries; /* entries no longer move: give each section its own */
    for (size_t i = 0; i < r->ini->section_count; i++) {
        r->ini->sections[i].entries = next;
        if (next) next += r->ini->sections[i].entry_count;
    }
    return LAY_OK;
}

static lay_status check_bytes(const char *text, size_t length, const char *path, lay_error *err) {
    if (length > TEXT_LIMIT)
        return lay_fail_file(err, LAY_BAD_INPUT, path, "the file is larger than 1 MB: this cannot be a unit file");
    if (length >= 2 && (memcmp(text, "\xFF\xFE", 2) == 0 || memcmp(text, "\xFE\xFF", 2) == 0))
        return lay_fail_file(err, LAY_BAD_INPUT, path, "the file is saved as UTF-16: save it as UTF-8 or plain text");
    int line = 1;
    for (size_t i = 0; i < length; i++) {
        unsigned char c = (unsigned char)text[i];
        if (c == '\n') line++;
        if (c < 32 && c != '\n' && c != '\r' && c != '\t')
            return lay_fail_at(err, LAY_BAD_INPUT, path, line, 0, 0, "",
                               "there is a control character (code %d): a unit file is plain text", c);
    }
    return LAY_OK;
}

/* Copy without the byte order mark and with every line end made '\n'. */
static char *clean_copy(const char *text, size_t length) {
    char *out = lay_calloc(length + 1, 1);
    if (!out) return NULL;
    size_t n = 0, i = length >= 3 && memcmp(text, "\xEF\xBB\xBF", 3) == 0 ? 3 : 0;
    for (; i < length; i++) {
        if (text[i] == '\r' && i + 1 < length && text[i + 1] == '\n') continue;
        out[n++] = text[i] == '\r' ? '\n' : text[i];
    }
    return out;
}

lay_status unit_ini_read(const char *text, size_t length, const char *path, struct unit_ini *out, lay_error *err) {
    *out = (struct unit_ini){0};
    lay_status status = check_bytes(text, length, path, err);
    if (status != LAY_OK) return status;
    out->path = lay_strdup(path);
    out->text = clean_copy(text, length);
    struct reader r = {.ini = out, .err = err};
    if (!out->path || !out->text)
        status = lay_fail(err, LAY_NO_MEMORY, "not enough memory to read the unit file");
    else
        status = read_lines(&r);
    if (status != LAY_OK) unit_ini_free(out);
    return status;
}

void unit_ini_free(struct unit_ini *ini) {
    free(ini->path);
    free(ini->text);
    free(ini->sections);
    free(ini->entries);
    *ini = (struct unit_ini){0};
}
