/* How much faster than real time the order analysis runs: ten minutes of two channels between 1500 and 3500 rpm.
 * Usage: bench_order [seconds]. Not a test: prints a figure. */
#include <layshaft/order.h>

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#define RATE 48000.0
#define CHUNK 8192

static lay_status make_shaft(double seconds, lay_shaft *s) {
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

int main(int argc, char **argv) {
    double seconds = argc > 1 ? atof(argv[1]) : 600;
    lay_error err = {0};
    lay_shaft shaft;
    lay_order *order = NULL;
    lay_order_spectrum s = {0};
    static double frames[2 * CHUNK];
    lay_random r;
    lay_random_seed(&r, 1);
    for (size_t i = 0; i < 2 * CHUNK; i++) frames[i] = lay_random_normal(&r);
    lay_order_options o = {.rate = RATE,
                           .channels = 2,
                           .max_order = 200,
                           .resolution = 1.0 / 64,
                           .window = LAY_WINDOW_HANN,
                           .overlap = 0.5,
                           .speed_classes = 12};
    lay_status status = make_shaft(seconds, &shaft);
    clock_t start = clock();
    if (status == LAY_OK) status = lay_order_new(&o, &shaft, &order, &err);
    for (double at = 0; status == LAY_OK && at < seconds * RATE; at += CHUNK)
        status = lay_order_feed(order, frames, CHUNK, &err);
    if (status == LAY_OK) status = lay_order_finish(order, &s, &err);
    double used = (double)(clock() - start) / CLOCKS_PER_SEC;
    if (status != LAY_OK)
        fprintf(stderr, "bench_order: %s\n", err.message);
    else
        printf("%.0f s of 2 channels in %.2f s: %.0f times real time, %zu segments\n", seconds, used, seconds / used,
               s.segments);
    lay_order_spectrum_free(&s);
    lay_order_free(order);
    lay_shaft_free(&shaft);
    return status == LAY_OK ? 0 : 1;
}
