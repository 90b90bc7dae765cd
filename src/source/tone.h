/* Noise beside a tone in one row of the order map; private to the stage. */
#ifndef LAYSHAFT_SOURCE_TONE_H
#define LAYSHAFT_SOURCE_TONE_H

#include <layshaft/source.h>

/* Mean noise power per order around `order`, lines left out. */
double lay_row_density(const lay_order_spectrum *s, size_t row, double order);

#endif
