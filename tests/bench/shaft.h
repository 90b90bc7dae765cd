/* A shaft whose speed swings between 1500 and 3500 rpm, for the benchmarks. */
#ifndef TESTS_BENCH_SHAFT_H
#define TESTS_BENCH_SHAFT_H

#include <layshaft/speed.h>

#include <math.h>

static inline lay_status bench_shaft(double seconds, lay_shaft *s) {
    size_t n = (size_t)(seconds * 20) + 2;
    *s = (lay_shaft){.count = n, .segment_count = 1, .confidence = 1};
    s->time = lay_calloc(n, sizeof(double));
    s->turns = lay_calloc(n, sizeof(double));
    s->hz = lay_calloc(n, sizeof(double));
    s->segment_start = lay_calloc(1, sizeof(size_t));
    if (!s->time || !s->turns || !s->hz || !s->segment_start) return LAY_NO_MEMORY;
    const double mean = 41.7, swing = 16.6, period = 20; /* turns/s, s */
    for (size_t i = 0; i < n; i++) {
        double t = seconds * (double)i / (double)(n - 1), w = 2 * LAY_PI / period;
        s->time[i] = t;
        s->hz[i] = mean + swing * sin(w * t);
        s->turns[i] = mean * t + swing / w * (1 - cos(w * t));
    }
    return LAY_OK;
}

#endif
