/* A signal read at any moment, as far as it has been fed: anti-aliased for the orders that are wanted at the speed of
 * that moment. */
#ifndef LAYSHAFT_ORDER_READER_H
#define LAYSHAFT_ORDER_READER_H

#include <layshaft/order.h>

/* Angular resampling (Fyfe and Munck, MSSP 11 (1997) 187: interpolation after a proper low-pass).
 *
 * Samples are taken from the level of the pyramid that just holds the highest wanted order at the speed of the moment.
 * With level Nyquist N between max_order * hz / FLAT and twice that, and images gone above 1.2 N, a rate of PER_ORDER *
 * max_order samples per turn folds nothing below max_order: PER_ORDER > 1 + 2 * 1.2 / 0.8 would be needed in the worst
 * case for the very last image; the interpolator's own roll-off above N leaves 1 + 2 / FLAT. */

#define LAY_READER_FLAT 0.78 /* part of a level's Nyquist band that interpolates flat and clean */
#define LAY_READER_PER_ORDER 3.7
#define LAY_READER_FLAT_FINE 0.93 /* the same where the recording's own rate is the limit, with the longer kernel */
#define LAY_READER_HALF_WIDTH 16
#define LAY_READER_HALF_WIDTH_FINE 48

typedef struct lay_reader {
    double rate, max_order;
    size_t channels;
    lay_pyramid pyramid;
    lay_sinc *sinc, *fine;
    double weights[2 * LAY_READER_HALF_WIDTH_FINE];
} lay_reader;

/* `min_hz`: lowest speed at which it will be read. */
lay_status lay_reader_init(lay_reader *r, double rate, int channels, double max_order, double min_hz, lay_error *err);
void lay_reader_free(lay_reader *r);
/* Every channel at time t, at which the reference turns at `hz`, into out[channels]; false when the signal fed so far
 * does not reach that far. */
bool lay_reader_at(lay_reader *r, double t, double hz, double *out);

#endif
