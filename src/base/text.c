/* A growing text. */
#include <layshaft/base.h>

#include <stdio.h>
#include <stdlib.h>

static bool reserve(lay_text *t, size_t extra) {
    if (extra >= PTRDIFF_MAX - t->length) return false;
    size_t needed = t->length + extra + 1;
    if (needed <= t->capacity) return true;
    size_t wanted = t->capacity ? t->capacity : 64;
    while (wanted < needed) wanted = wanted > PTRDIFF_MAX / 2 ? needed : wanted * 2;
    char *grown = realloc(t->text, wanted);
    if (!grown) return false;
    t->text = grown;
    t->capacity = wanted;
    return true;
}

void lay_text_addv(lay_text *t, const char *fmt, va_list args) {
    if (t->failed) return;
    va_list measure;
    va_copy(measure, args);
    int length = vsnprintf(NULL, 0, fmt, measure);
    va_end(measure);
    if (length < 0 || !reserve(t, (size_t)length)) {
        t->failed = true;
        return;
    }
    vsnprintf(t->text + t->length, t->capacity - t->length, fmt, args);
    t->length += (size_t)length;
}

void lay_text_add(lay_text *t, const char *fmt, ...) {
    va_list args;
    va_start(args, fmt);
    lay_text_addv(t, fmt, args);
    va_end(args);
}

void lay_text_free(lay_text *t) {
    if (!t) return;
    free(t->text);
    *t = (lay_text){0};
}
