/* When the angle samples fall: evenly spaced in turns, read off the shaft's angle over time. */
#ifndef LAYSHAFT_ORDER_CLOCK_H
#define LAYSHAFT_ORDER_CLOCK_H

#include <layshaft/speed.h>

typedef struct lay_clock {
    const lay_shaft *shaft;
    size_t segment; /* of the shaft */
    size_t hint;
    double per_turn;    /* angle samples per turn of the reference */
    double body_order;  /* 0: samples start where the segment does */
    double start_turns; /* of the segment's first sample */
    int64_t index;      /* next sample in this segment */
    /* one piece of PIECE samples: time as a cubic in the sample number */
    int64_t piece_first, piece_count;
    double c[4];
    double hz;  /* mean speed over the piece */
    bool ended; /* no further segment */
} lay_clock;

void lay_clock_init(lay_clock *clock, const lay_shaft *shaft, double per_turn);
/* In one segment only, `per_turn` samples per turn of a body that turns `order` times per turn of the reference, from
 * where it has made a whole number of turns. */
void lay_clock_init_body(lay_clock *clock, const lay_shaft *shaft, size_t segment, double order, size_t per_turn);
/* Time and speed of the next sample; false at the end of the segment (call lay_clock_next_segment). */
bool lay_clock_peek(lay_clock *clock, double *t, double *hz);
void lay_clock_advance(lay_clock *clock);
/* Go on in the shaft's next usable stretch; false when there is none. */
bool lay_clock_next_segment(lay_clock *clock);

#endif
