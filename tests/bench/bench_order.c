/* How much faster than real time the order analysis runs: ten minutes of two channels between 1500 and 3500 rpm.
 * Usage: bench_order [seconds]. Not a test: prints a figure. */
#include "shaft.h"

#include <layshaft/order.h>

#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#define RATE 48000.0
#define CHUNK 8192

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
    lay_status status = bench_shaft(seconds, &shaft);
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
