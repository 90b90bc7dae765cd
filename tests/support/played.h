/* Recordings of a turning shaft made by formula: its angle and speed are known exactly. */
#ifndef TESTS_SUPPORT_PLAYED_H
#define TESTS_SUPPORT_PLAYED_H

#include <layshaft/speed.h>

/* Speed in turns/s: linear from `from_hz` to `to_hz`, plus `wander` times their mean times cos(2 pi wander_hz t). */
typedef struct played_motion {
    double from_hz, to_hz, seconds, wander, wander_hz;
} played_motion;
double played_hz(const played_motion *motion, double t);
/* The integral of played_hz. */
double played_turns(const played_motion *motion, double t);

/* Orders that sound, and orders that a tracker is told of. */
enum { PLAYED_MOST = 64 };
typedef struct played_line {
    double order, amplitude; /* peak */
} played_line;
typedef struct played_box {
    played_line lines[PLAYED_MOST];
    size_t line_count;
    lay_track_order orders[PLAYED_MOST];
    size_t order_count;
} played_box;
/* A four-stroke engine of four cylinders (firing order 2, cycle order 1/2): told up to order 12, heard at 2, 4, 6 with
 * `amplitude` and less, at its half and other whole orders with a tenth. */
void played_add_engine(played_box *box, double amplitude);
/* A mesh with its second and third harmonic, the first two heard; amplitude 0: told, but not heard. */
void played_add_mesh(played_box *box, double order, double amplitude);
/* An engine and meshes at 17.25 and 23, loud enough to be followed easily under `noise` 0.1. */
void played_usual_box(played_box *box);

typedef struct played {
    double rate;
    played_motion motion;
    const played_box *box;
    double noise;           /* standard deviation, white */
    double drone, drone_hz; /* amplitude and frequency of a tone with five harmonics; 0 none */
    double gain;            /* of everything; 0 counts as 1 */
    uint64_t seed;
} played;
size_t played_frames(const played *p);
/* x[played_frames * stride], every `stride`-th sample is written; lines fade out towards the Nyquist rate. */
void played_fill(const played *p, double *x, size_t stride);
/* A new array with one channel; free() it. */
double *played_samples(const played *p);

/* Options for one gear about a box with engine: 450 to 8000 rpm, nothing stated. `gear` is filled and borrowed. */
lay_track_options played_options(double rate, const played_box *box, lay_track_gear *gear);
/* Feed in blocks as the recordings are read, and finish; the test fails on errors other than LAY_BAD_INPUT. False:
 * nothing was found. Free the result in any case. */
bool played_track(const lay_track_options *options, const double *x, size_t frames, lay_track_result *out);
/* The same in blocks of a given size. */
bool played_track_blocks(const lay_track_options *options, const double *x, size_t frames, size_t block,
                         lay_track_result *out);

/* Relative error of a shaft's speed every 0.05 s of the motion, and of its angle times 100 (in turns, the constant
 * taken off); `covered`: share of the motion that has a speed. */
typedef struct played_error {
    double median, most, worst; /* most: 95 % are below */
    double angle_rms, angle_worst, covered;
} played_error;
played_error played_compare(const lay_shaft *shaft, const played_motion *motion);

#endif
