/* Signals made by hand for the envelope: noise, tones and decaying rings over a shaft that runs up. */
#ifndef TESTS_SUPPORT_STRUCK_H
#define TESTS_SUPPORT_STRUCK_H

#include <layshaft/order.h>

/* Zero it, fill in the first part, then make it. */
typedef struct struck {
    double rate, seconds, low_hz, high_hz; /* speed of the reference, linear over time */
    int channels;
    lay_shaft shaft; /* made */
    double *x;       /* [frames * channels] */
    size_t frames;
    lay_random random;
} struck;

/* Gaussian noise of deviation `noise` in every channel, no two alike. Release with struck_free. */
void struck_make(struck *s, double noise, uint64_t seed);
void struck_free(struck *s);

/* Turns of the reference at time t. */
double struck_turns(const struck *s, double t);

/* A steady tone in all channels. */
void struck_tone(struck *s, double hz, double amplitude);

/* A train of blows, `order` per turn, the first at `first` / order turns, each of which sets a resonance of `hz`
 * ringing that dies away with the time constant `decay_s`. Into one channel, or all (-1). `swing` per turn the blows
 * die down to nothing and come back as a cosine, as a defect that passes a load zone; 0: all are alike. */
typedef struct struck_train {
    double order, first, hz, decay_s, amplitude;
    int channel;
    double swing;
} struck_train;
void struck_rings(struck *s, const struck_train *train);

/* Analyse it, fed in chunks of `chunk` frames (0: all at once). Rate and channels of `options` are filled in. */
lay_status struck_analyse(const struck *s, lay_envelope_options options, size_t chunk, lay_envelope_spectrum *out,
                          lay_error *err);
/* The same with no wish but for the default, or the test fails. */
lay_envelope_spectrum struck_spectrum(const struck *s);

/* Highest ratio within `within` bins of an order; *at receives its bin (NULL allowed). */
double struck_ratio(const lay_envelope_spectrum *e, size_t band, double order, size_t within, size_t *at);
/* The elementary band that holds `hz`. */
size_t struck_band(const lay_envelope_spectrum *e, double hz);

#endif
