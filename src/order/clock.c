#include "clock.h"

#include <math.h>

/* Inverting the angle for each of millions of samples would cost more than interpolating them, so time is inverted
 * every PIECE samples and taken as the cubic that has the right time and slope at both ends. Over a sixteenth of a turn
 * its error is far below the tach's (fourth derivative of t over h^4/384). */

#define PIECE 32

static void begin(lay_clock *clock) {
    const lay_shaft *s = clock->shaft;
    size_t first = s->segment_start[clock->segment];
    clock->start_turns = s->turns[first];
    if (clock->body_order > 0) clock->start_turns = ceil(s->turns[first] * clock->body_order) / clock->body_order;
    clock->index = 0;
    clock->piece_first = clock->piece_count = 0;
    clock->hint = first;
}

void lay_clock_init(lay_clock *clock, const lay_shaft *shaft, double per_turn) {
    *clock = (lay_clock){.shaft = shaft, .per_turn = per_turn};
    clock->ended = shaft->segment_count == 0 || shaft->count < 2;
    if (!clock->ended) begin(clock);
}

void lay_clock_init_body(lay_clock *clock, const lay_shaft *shaft, size_t segment, double order, size_t per_turn) {
    *clock = (lay_clock){.shaft = shaft, .segment = segment, .per_turn = order * (double)per_turn, .body_order = order};
    begin(clock);
}

bool lay_clock_next_segment(lay_clock *clock) {
    if (clock->ended || clock->segment + 1 >= clock->shaft->segment_count) {
        clock->ended = true;
        return false;
    }
    clock->segment++;
    begin(clock);
    return true;
}

static bool time_of(lay_clock *clock, int64_t index, double *t, double *hz) {
    double turns = clock->start_turns + (double)index / clock->per_turn, back;
    if (!lay_shaft_time(clock->shaft, clock->segment, turns, &clock->hint, t)) return false;
    size_t hint = clock->hint;
    return lay_shaft_at(clock->shaft, *t, &hint, &back, hz);
}

static bool next_piece(lay_clock *clock) {
    double t0, t1 = 0, hz0, hz1 = 0;
    int64_t count = PIECE;
    if (!time_of(clock, clock->index, &t0, &hz0)) return false;
    while (count > 0 && !time_of(clock, clock->index + count, &t1, &hz1)) count /= 2;
    if (count == 0 || hz0 <= 0 || hz1 <= 0) return false;
    double n = (double)count, d0 = 1 / (hz0 * clock->per_turn), d1 = 1 / (hz1 * clock->per_turn);
    double rise = (t1 - t0) / n;
    clock->c[0] = t0;
    clock->c[1] = d0;
    clock->c[2] = (3 * rise - 2 * d0 - d1) / n;
    clock->c[3] = (d0 + d1 - 2 * rise) / (n * n);
    clock->hz = 0.5 * (hz0 + hz1);
    clock->piece_first = clock->index;
    clock->piece_count = count;
    return true;
}

bool lay_clock_peek(lay_clock *clock, double *t, double *hz) {
    if (clock->ended) return false;
    if (clock->index >= clock->piece_first + clock->piece_count && !next_piece(clock)) return false;
    double u = (double)(clock->index - clock->piece_first);
    *t = clock->c[0] + u * (clock->c[1] + u * (clock->c[2] + u * clock->c[3]));
    *hz = clock->hz;
    return true;
}

void lay_clock_advance(lay_clock *clock) {
    clock->index++;
}
