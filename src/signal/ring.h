/* Samples on their way from the thread that captures to the one that writes; neither ever waits for the other.
 * Private to the stage. */
#ifndef LAYSHAFT_SIGNAL_RING_H
#define LAYSHAFT_SIGNAL_RING_H

#include <layshaft/base.h>
#include <stdatomic.h>

typedef struct lay_ring {
    int32_t *data;
    size_t room, channels;         /* room: frames, a power of two */
    _Atomic uint64_t filled, used; /* frames since the start */
} lay_ring;

/* Room for at least `frames` frames. Free in every case. */
lay_status lay_ring_init(lay_ring *ring, size_t frames, size_t channels, lay_error *err);
void lay_ring_free(lay_ring *ring);
/* By the capturing thread alone: put frames in, zeros where `frames` is NULL; returns how many had room. */
size_t lay_ring_put(lay_ring *ring, const int32_t *frames, size_t count);
/* By the writing thread alone: the oldest frames that lie in one piece, 0 when there are none; they stay until taken.
 */
size_t lay_ring_peek(lay_ring *ring, const int32_t **frames);
void lay_ring_take(lay_ring *ring, size_t count);

#endif
