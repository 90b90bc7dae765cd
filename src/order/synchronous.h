/* Energy of every band averaged over the turn of bodies. */
#ifndef LAYSHAFT_ORDER_SYNCHRONOUS_H
#define LAYSHAFT_ORDER_SYNCHRONOUS_H

#include <layshaft/order.h>

#define LAY_SYNCHRONOUS_MOST 24  /* bodies */
#define LAY_SYNCHRONOUS_STEPS 64 /* of one turn */

typedef struct lay_synchronous {
    size_t count, bands;
    double order[LAY_SYNCHRONOUS_MOST];
    size_t stretch; /* of the shaft, the only one that counts: from one to the next the angle is lost */
    double turns;   /* of the reference, averaged so far */
    double *sum;    /* [count][LAY_SYNCHRONOUS_STEPS][bands] */
    double *weight; /* [count][LAY_SYNCHRONOUS_STEPS] */
} lay_synchronous;

lay_status lay_synchronous_init(lay_synchronous *s, const lay_envelope_options *options, size_t bands, size_t stretch,
                                lay_error *err);
void lay_synchronous_free(lay_synchronous *s);
/* Energy of each band over a piece of angle of length `span` around `turns`, both of the reference. */
void lay_synchronous_put(lay_synchronous *s, size_t stretch, double turns, double span, const double *energy);
double lay_synchronous_turns(const lay_synchronous *s);
/* Amplitude (re, im) of the lines of body `which`, summed over the bands [from, to) whose energies are each brought to
 * the mean 1; their ratios are left alone. */
void lay_synchronous_lines(const lay_synchronous *s, size_t which, size_t from, size_t to,
                           lay_locked_line lines[LAY_LOCKED_LINES]);

#endif
