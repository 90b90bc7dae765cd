/* How much faster than real time orders are followed: one minute of one channel between 1500 and 3500 rpm.
 * Usage: bench_vk [seconds]. Not a test: prints figures. */
#include "shaft.h"

#include <layshaft/order.h>

#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#define RATE 48000.0
#define CHUNK 8192

static lay_status nothing(const lay_vk_block *block, void *user, lay_error *err) {
    (void)block;
    (void)user;
    (void)err;
    return LAY_OK;
}

/* Seconds of processor time; negative when it failed. */
static double follow(const lay_vk_options *o, const lay_shaft *shaft, double seconds, lay_error *err) {
    static double frames[CHUNK];
    lay_random r;
    lay_vk *vk = NULL;
    lay_random_seed(&r, 1);
    for (size_t i = 0; i < CHUNK; i++) frames[i] = lay_random_normal(&r);
    clock_t start = clock();
    lay_status status = lay_vk_new(o, shaft, nothing, NULL, &vk, err);
    for (double at = 0; status == LAY_OK && at < seconds * RATE; at += CHUNK)
        status = lay_vk_feed(vk, frames, CHUNK, err);
    if (status == LAY_OK) status = lay_vk_finish(vk, err);
    lay_vk_free(vk);
    return status == LAY_OK ? (double)(clock() - start) / CLOCKS_PER_SEC : -1;
}

int main(int argc, char **argv) {
    double seconds = argc > 1 ? atof(argv[1]) : 60;
    lay_error err = {0};
    lay_shaft shaft;
    if (bench_shaft(seconds, &shaft) != LAY_OK) return 1;
    const lay_vk_track tracks[] = {{17.25, 0}, {34.5, 0}, {51.75, 0}, {23, 0}, {46, 0},   {6, 0},
                                   {8, 0},     {10.7, 0}, {29.1, 0},  {40, 0}, {27.3, 0}, {13.9, 0}};
    for (size_t count = 1; count <= 12; count = count == 1 ? 4 : 3 * count) {
        lay_vk_options o = {.rate = RATE,
                            .channels = 1,
                            .tracks = tracks,
                            .track_count = count,
                            .poles = 2,
                            .bandwidth = 0.25,
                            .width = LAY_VK_ORDERS,
                            .envelopes_only = count > 1};
        double used = follow(&o, &shaft, seconds, &err);
        if (used < 0) {
            fprintf(stderr, "bench_vk: %s\n", err.message);
            return 1;
        }
        printf("%2zu orders, %.0f s of one channel in %.2f s: %.0f times real time%s\n", count, seconds, used,
               seconds / used, o.envelopes_only ? ", envelopes only" : "");
    }
    lay_shaft_free(&shaft);
    return 0;
}
