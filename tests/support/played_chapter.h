/* Chapters made by hand. For tests only, which may look behind the public interface. */
#ifndef TESTS_SUPPORT_PLAYED_CHAPTER_H
#define TESTS_SUPPORT_PLAYED_CHAPTER_H

#include "cmocka_all.h"
#include "played.h"

#include "speed/chapter.h"

#include <stdlib.h>

/* Both rates of a chapter from one signal; what it holds must lie below the narrow one's Nyquist rate. */
static inline lay_chapter chapter_of(const double *x, size_t count, double rate) {
    lay_chapter c = {.channels = 1, .wide_rate = rate};
    c.wide_count = c.wide_capacity = count;
    c.narrow_count = c.narrow_capacity = count / 2;
    c.wide = lay_calloc(count, sizeof *c.wide);
    c.narrow = lay_calloc(count / 2, sizeof *c.narrow);
    assert_true(c.wide && c.narrow);
    for (size_t i = 0; i < count; i++) c.wide[i] = (float)x[i];
    for (size_t i = 0; i < count / 2; i++) c.narrow[i] = (float)x[2 * i];
    return c;
}

static inline lay_chapter chapter_played(const played *p) {
    double *x = played_samples(p);
    lay_chapter c = chapter_of(x, played_frames(p), p->rate);
    free(x);
    return c;
}

static inline void fine(lay_status status, const lay_error *err) {
    if (status != LAY_OK) fail_msg("%s", err->message);
}

#endif
