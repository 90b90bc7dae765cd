#include "chapter.h"

#include "build.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

void lay_chapter_free(lay_chapter *c) {
    free(c->wide);
    free(c->narrow);
    *c = (lay_chapter){0};
}

double lay_chapter_end(const lay_chapter *c) {
    return c->start_s + (double)c->wide_count / c->wide_rate;
}

static lay_status grow(float **x, size_t *capacity, size_t held, size_t channels, size_t needed, lay_error *err) {
    if (needed <= *capacity) return LAY_OK;
    size_t more = *capacity ? *capacity : 65536;
    while (more < needed) more *= 2;
    float *bigger = lay_calloc(more * channels, sizeof *bigger);
    if (!bigger) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    for (size_t c = 0; c < channels && held > 0; c++)
        memcpy(bigger + c * more, *x + c * *capacity, held * sizeof *bigger);
    free(*x);
    *x = bigger;
    *capacity = more;
    return LAY_OK;
}

static lay_status take(const lay_level *level, size_t channels, int64_t *taken, float **x, size_t *capacity,
                       size_t *held, lay_error *err) {
    int64_t end = level->first + (int64_t)level->held;
    if (end <= *taken) return LAY_OK;
    size_t more = (size_t)(end - *taken);
    lay_status status = grow(x, capacity, *held, channels, *held + more, err);
    if (status != LAY_OK) return status;
    const double *from = level->x + (size_t)(*taken - level->first) * channels;
    for (size_t c = 0; c < channels; c++)
        for (size_t i = 0; i < more; i++) (*x)[c * *capacity + *held + i] = (float)from[i * channels + c];
    *held += more;
    *taken = end;
    return LAY_OK;
}

lay_status lay_chapter_take(lay_chapter *c, const lay_pyramid *p, int level, int64_t *wide_taken, int64_t *narrow_taken,
                            lay_error *err) {
    lay_status status =
        take(&p->level[level], c->channels, wide_taken, &c->wide, &c->wide_capacity, &c->wide_count, err);
    if (status == LAY_OK)
        status = take(&p->level[level + 1], c->channels, narrow_taken, &c->narrow, &c->narrow_capacity,
                      &c->narrow_count, err);
    return status;
}

lay_status lay_chapter_copy(const lay_chapter *c, lay_chapter *out, lay_error *err) {
    *out = *c;
    out->wide = out->narrow = NULL;
    out->wide_capacity = out->narrow_capacity = 0;
    lay_status status = grow(&out->wide, &out->wide_capacity, 0, c->channels, c->wide_count, err);
    if (status == LAY_OK) status = grow(&out->narrow, &out->narrow_capacity, 0, c->channels, c->narrow_count, err);
    for (size_t ch = 0; ch < c->channels && status == LAY_OK && c->narrow_count > 0; ch++) {
        memcpy(out->wide + ch * out->wide_capacity, c->wide + ch * c->wide_capacity, c->wide_count * sizeof *c->wide);
        memcpy(out->narrow + ch * out->narrow_capacity, c->narrow + ch * c->narrow_capacity,
               c->narrow_count * sizeof *c->narrow);
    }
    return status;
}

static void keep_last(float *x, size_t capacity, size_t channels, size_t *count, size_t keep) {
    if (keep >= *count) return;
    for (size_t c = 0; c < channels; c++) memmove(x + c * capacity, x + c * capacity + *count - keep, keep * sizeof *x);
    *count = keep;
}

void lay_chapter_turn(lay_chapter *c, double keep_s) {
    size_t keep = (size_t)(keep_s * 0.5 * c->wide_rate);
    if (2 * keep >= c->wide_count || keep >= c->narrow_count) return;
    c->start_s = lay_chapter_end(c) - (double)(2 * keep) / c->wide_rate;
    keep_last(c->wide, c->wide_capacity, c->channels, &c->wide_count, 2 * keep);
    keep_last(c->narrow, c->narrow_capacity, c->channels, &c->narrow_count, keep);
}

/* Turns under a speed that rises exponentially between two knots. */
static double turns_between(double hz, double next, double seconds) {
    double growth = log(next / hz);
    return seconds * (fabs(growth) < 1e-6 ? 0.5 * (hz + next) : (next - hz) / growth);
}

lay_status lay_chapter_shaft(const lay_chapter *c, double first_s, double hop_s, const double *log_hz, size_t frames,
                             lay_shaft *out, lay_error *err) {
    lay_shaft_builder b = {0};
    double last = c->start_s, slope = frames > 1 ? (log_hz[1] - log_hz[0]) / hop_s : 0;
    double hz = exp(log_hz[0] - slope * (first_s - last)), turns = 0;
    lay_status status = lay_shaft_add(&b, last, 0, hz, err);
    for (size_t f = 0; f < frames && status == LAY_OK; f++) {
        double t = first_s + (double)f * hop_s, next = exp(log_hz[f]);
        turns += turns_between(hz, next, t - last);
        status = lay_shaft_add(&b, t, turns, next, err);
        hz = next;
        last = t;
    }
    slope = frames > 1 ? (log_hz[frames - 1] - log_hz[frames - 2]) / hop_s : 0;
    double tail = lay_chapter_end(c) - last, next = hz * exp(slope * tail);
    if (status == LAY_OK && tail > 0)
        status = lay_shaft_add(&b, last + tail, turns + turns_between(hz, next, tail), next, err);
    return lay_shaft_build(&b, status, LAY_SPEED_SIGNAL, out, err);
}
