/* The ring between two threads: all that went in comes out, in order, whatever the pace of either side. */
#include "signal/ring.h"

#include "support/cmocka_all.h"

#include <pthread.h>
#include <stdlib.h>

enum { CHANNELS = 3, ROOM = 64, TOTAL = 200000, MOST = 90 };

static int32_t value(uint64_t frame, size_t channel) {
    return (int32_t)(frame * CHANNELS + channel);
}

static void *put_all(void *user) {
    lay_ring *ring = user;
    lay_random random;
    lay_random_seed(&random, 3);
    int32_t x[MOST * CHANNELS];
    for (uint64_t n = 0; n < TOTAL;) {
        size_t count = 1 + (size_t)(lay_random_unit(&random) * (MOST - 1));
        if (count > TOTAL - n) count = (size_t)(TOTAL - n);
        for (size_t i = 0; i < count; i++)
            for (size_t c = 0; c < CHANNELS; c++) x[i * CHANNELS + c] = value(n + i, c);
        n += lay_ring_put(ring, x, count);
    }
    return NULL;
}

static void all_comes_out_in_order(void **state) {
    (void)state;
    lay_ring ring;
    lay_random random;
    pthread_t thread;
    const int32_t *x;
    lay_random_seed(&random, 4);
    assert_int_equal(lay_ring_init(&ring, ROOM - 1, CHANNELS, NULL), LAY_OK);
    assert_int_equal(ring.room, ROOM);
    assert_int_equal(pthread_create(&thread, NULL, put_all, &ring), 0);
    for (uint64_t n = 0; n < TOTAL;) {
        size_t count = lay_ring_peek(&ring, &x), some = (size_t)((double)count * lay_random_unit(&random));
        if (count == 1) some = 1;
        for (size_t i = 0; i < some; i++)
            for (size_t c = 0; c < CHANNELS; c++)
                if (x[i * CHANNELS + c] != value(n + i, c)) fail_msg("frame %llu", (unsigned long long)(n + i));
        lay_ring_take(&ring, some);
        n += some;
    }
    pthread_join(thread, NULL);
    assert_int_equal(lay_ring_peek(&ring, &x), 0);
    lay_ring_free(&ring);
}

static void a_full_ring_says_how_much_had_room(void **state) {
    (void)state;
    lay_ring ring;
    int32_t x[2 * ROOM * CHANNELS];
    const int32_t *out;
    for (size_t i = 0; i < sizeof x / sizeof x[0]; i++) x[i] = 7;
    assert_int_equal(lay_ring_init(&ring, ROOM, CHANNELS, NULL), LAY_OK);
    assert_int_equal(lay_ring_put(&ring, x, 2 * ROOM), ROOM);
    assert_int_equal(lay_ring_put(&ring, x, 1), 0);
    assert_int_equal(lay_ring_peek(&ring, &out), ROOM);
    lay_ring_take(&ring, 10);
    assert_int_equal(lay_ring_put(&ring, NULL, 5), 5); /* silence, round the corner */
    lay_ring_take(&ring, ROOM - 10);
    assert_int_equal(lay_ring_peek(&ring, &out), 5);
    for (size_t i = 0; i < 5 * CHANNELS; i++) assert_int_equal(out[i], 0);
    lay_ring_free(&ring);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(all_comes_out_in_order),
        cmocka_unit_test(a_full_ring_says_how_much_had_room),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
