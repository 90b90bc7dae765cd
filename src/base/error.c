/* Building and showing errors. */
#include <layshaft/base.h>

#include <stdio.h>
#include <string.h>

static const struct {
    int exit_code;
    const char *sentence;
} statuses[LAY_STATUS_COUNT] = {
#define LAY_X(code, exit_code, sentence) [code] = {exit_code, sentence},
    LAY_STATUS_LIST(LAY_X)
#undef LAY_X
};

static bool is_known(lay_status status) {
    return (unsigned)status < (unsigned)LAY_STATUS_COUNT;
}

int lay_status_exit(lay_status status) {
    return is_known(status) ? statuses[status].exit_code : 3;
}

const char *lay_status_text(lay_status status) {
    return is_known(status) ? statuses[status].sentence : "unknown status";
}

/* Length of at most `size - 1` bytes of `text` that does not cut a UTF-8 character in two. */
static size_t whole_characters(const char *text, size_t length, size_t size) {
    if (length < size) return length;
    size_t cut = size - 1;
    while (cut > 0 && ((unsigned char)text[cut] & 0xC0U) == 0x80U) cut--;
    return cut;
}

static void copy_text(char *out, size_t size, const char *text, size_t length) {
    size_t kept = whole_characters(text, length, size);
    memcpy(out, text, kept);
    out[kept] = '\0';
}

/* Formats into a buffer of its own first: the arguments may point into the error being replaced. */
static void fill(lay_error *err, lay_status code, const char *file, const char *fmt, va_list args) LAY_PRINTF(4, 0);
static void fill(lay_error *err, lay_status code, const char *file, const char *fmt, va_list args) {
    lay_error fresh = {.code = code};
    char message[2 * sizeof fresh.message];
    int written = vsnprintf(message, sizeof message, fmt, args);
    if (written < 0) message[0] = '\0';
    copy_text(fresh.message, sizeof fresh.message, message, strlen(message));
    if (file) copy_text(fresh.file, sizeof fresh.file, file, strlen(file));
    *err = fresh;
}

lay_status lay_fail(lay_error *err, lay_status code, const char *fmt, ...) {
    if (!err) return code;
    va_list args;
    va_start(args, fmt);
    fill(err, code, NULL, fmt, args);
    va_end(args);
    return code;
}

lay_status lay_fail_file(lay_error *err, lay_status code, const char *file, const char *fmt, ...) {
    if (!err) return code;
    va_list args;
    va_start(args, fmt);
    fill(err, code, file, fmt, args);
    va_end(args);
    return code;
}

lay_status lay_fail_at(lay_error *err, lay_status code, const char *file, int line, int column, int span,
                       const char *excerpt, const char *fmt, ...) {
    if (!err) return code;
    char kept[sizeof err->excerpt] = "";
    if (excerpt) copy_text(kept, sizeof kept, excerpt, strcspn(excerpt, "\r\n"));
    va_list args;
    va_start(args, fmt);
    fill(err, code, file, fmt, args);
    va_end(args);
    err->line = line;
    err->column = column;
    err->span = span;
    memcpy(err->excerpt, kept, sizeof kept);
    return code;
}

/* ---- showing ---- */

typedef struct output {
    char *text;
    size_t size, used;
} output;

static void put_char(output *o, char c) {
    if (o->used + 1 < o->size) o->text[o->used++] = c;
}

static void put(output *o, const char *text) {
    while (*text) put_char(o, *text++);
}

static void put_place(output *o, const lay_error *err) {
    if (!err->file[0] && err->line <= 0) return;
    char number[48];
    put(o, err->file[0] ? err->file : "line");
    if (err->line > 0) {
        snprintf(number, sizeof number, err->file[0] ? ":%d" : " %d", err->line);
        put(o, number);
    }
    if (err->line > 0 && err->column > 0) {
        snprintf(number, sizeof number, ":%d", err->column);
        put(o, number);
    }
    put(o, ": ");
}

static bool continues_character(char c) {
    return ((unsigned char)c & 0xC0U) == 0x80U;
}

/* Columns count bytes, so the caret line leaves out the bytes that continue a character and repeats
 * tabs: the caret then stands under its column whatever the terminal's tab width. */
static void put_caret(output *o, const lay_error *err) {
    int at = 1;
    int end = err->column + (err->span > 0 ? err->span : 1);
    const char *c = err->excerpt;
    for (; *c && at < err->column; c++, at++)
        if (!continues_character(*c)) put_char(o, *c == '\t' ? '\t' : ' ');
    put_char(o, '^');
    if (*c) c++;
    for (at++; *c && at < end; c++, at++)
        if (!continues_character(*c)) put_char(o, '~');
    put_char(o, '\n');
}

/* A hostile file must not drive the terminal: control characters are shown as '?'. */
static void make_printable(char *text) {
    for (; *text; text++)
        if (((unsigned char)*text < 0x20 && *text != '\t' && *text != '\n') || *text == 0x7F) *text = '?';
}

void lay_error_format(const lay_error *err, char *out, size_t size) {
    if (size == 0) return;
    output o = {.text = out, .size = size};
    put_place(&o, err);
    put(&o, err->message[0] ? err->message : lay_status_text(err->code));
    put_char(&o, '\n');
    if (err->excerpt[0]) {
        put(&o, "    ");
        put(&o, err->excerpt);
        put(&o, "\n");
        if (err->column > 0) {
            put(&o, "    ");
            put_caret(&o, err);
        }
    }
    out[o.used] = '\0';
    make_printable(out);
}
