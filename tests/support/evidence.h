/* One run's evidence made by hand: a spectrum with known tones in known noise. */
#ifndef TESTS_SUPPORT_EVIDENCE_H
#define TESTS_SUPPORT_EVIDENCE_H

#include <layshaft/source.h>

typedef struct made_tone {
    double order;
    double db; /* power of the tone over the noise in one bin */
} made_tone;

/* A run of `gear` on drive with tach, 30 turns per second, orders 0..120 in steps of 1/64, noise of 1 per bin with the
 * scatter of 200 averages, and `count` tones in the shape a Hann window gives them. Lines are found and explained.
 * Release with lay_run_evidence_free. */
void evidence_make(lay_run_evidence *run, const lay_unit *unit, const char *gear, const made_tone *tones, size_t count);

/* The explained line nearest to `order`; fails the test when none is within 0.02. */
const lay_explained_line *evidence_line(const lay_run_evidence *run, double order);

#endif
