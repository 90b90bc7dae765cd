/* One writer, one reader, no locks: each side moves its own counter only after it has done with the samples. */
#include "ring.h"

#include <stdlib.h>
#include <string.h>

lay_status lay_ring_init(lay_ring *r, size_t frames, size_t channels, lay_error *err) {
    size_t room = 1;
    while (room < frames) room *= 2;
    r->room = room;
    r->channels = channels;
    atomic_init(&r->filled, 0);
    atomic_init(&r->used, 0);
    r->data = lay_calloc(room * channels, sizeof *r->data);
    return r->data ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory to record");
}

void lay_ring_free(lay_ring *r) {
    free(r->data);
    r->data = NULL;
}

static size_t least(size_t a, size_t b) {
    return a < b ? a : b;
}

static void place(lay_ring *r, size_t at, const int32_t *frames, size_t count) {
    size_t bytes = count * r->channels * sizeof *r->data;
    if (frames)
        memcpy(r->data + at * r->channels, frames, bytes);
    else
        memset(r->data + at * r->channels, 0, bytes);
}

size_t lay_ring_put(lay_ring *r, const int32_t *frames, size_t count) {
    uint64_t filled = atomic_load_explicit(&r->filled, memory_order_relaxed),
             used = atomic_load_explicit(&r->used, memory_order_acquire);
    size_t n = least(count, r->room - (size_t)(filled - used)), at = (size_t)(filled % r->room);
    size_t first = least(n, r->room - at);
    place(r, at, frames, first);
    place(r, 0, frames ? frames + first * r->channels : NULL, n - first);
    atomic_store_explicit(&r->filled, filled + n, memory_order_release);
    return n;
}

size_t lay_ring_peek(lay_ring *r, const int32_t **frames) {
    uint64_t used = atomic_load_explicit(&r->used, memory_order_relaxed),
             filled = atomic_load_explicit(&r->filled, memory_order_acquire);
    size_t at = (size_t)(used % r->room);
    *frames = r->data + at * r->channels;
    return least((size_t)(filled - used), r->room - at);
}

void lay_ring_take(lay_ring *r, size_t count) {
    uint64_t used = atomic_load_explicit(&r->used, memory_order_relaxed);
    atomic_store_explicit(&r->used, used + count, memory_order_release);
}
