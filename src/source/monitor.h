/* What the files of the live monitor share; private to the stage. */
#ifndef LAYSHAFT_SOURCE_MONITOR_H
#define LAYSHAFT_SOURCE_MONITOR_H

#include "plan.h"

#include <layshaft/dsp.h>
#include <layshaft/source.h>

#define LAY_MONITOR_WINDOW 0.5  /* s */
#define LAY_MONITOR_TURNS 6.0   /* at the least */
#define LAY_MONITOR_LONGEST 2.0 /* s */
#define LAY_MONITOR_SOUGHT 6.0  /* s of sound in which the speed is sought */

/* The last seconds of the analysed channels. */
typedef struct lay_monitor_ring {
    double *x;                       /* [room * channels] */
    size_t room, at, held, channels; /* frames */
} lay_monitor_ring;

#define LAY_MONITOR_PAST 64

/* A speed that was found. */
typedef struct lay_monitor_past {
    double at_s, hz;
} lay_monitor_past;

struct lay_monitor {
    lay_monitor_options options;
    int tach_channel; /* 0-based, -1 none */
    int *channels;    /* 0-based, analysed */
    double *gains;
    lay_monitor_ring ring;
    int64_t fed;
    lay_tach_live *tach;
    lay_kinematics kinematics;
    lay_expected *expected;
    size_t expected_count;
    lay_track_order comb[LAY_PLAN_ORDERS]; /* by which the speed is found */
    size_t comb_count;
    double firing;
    /* speed */
    double hz;             /* found last; 0 none */
    double slope, found_s; /* turns/s per second; when hz was found, s since the start */
    double confidence;
    int misses;             /* looks without tones in a row */
    double sought_s;        /* when it was sought last */
    lay_shaft shaft;        /* of the tach, over its window */
    const lay_shaft *track; /* that one or the known one; NULL: hz and slope tell */
    double track_now;       /* its time at the newest sample */
    size_t segment;         /* of it, that is looked at */
    char trouble[160];
    /* spectrum */
    lay_sinc *sinc;
    lay_fft *fft;
    double *window, *frames, *warped, *input, *pairs, *power, *floor;
    size_t points, room, bins;
    double step, enbw;
    double start_s, end_s; /* of what is looked at, s before the end of what was fed: both >= 0, start larger */
    double min_hz, max_hz;
    lay_monitor_row *rows;
    size_t row_count, bearing_count;
    lay_monitor_past past[LAY_MONITOR_PAST]; /* the last speeds, without a gap */
    size_t past_at, past_count;
    double blows_s; /* when bearings were looked at last */
};

/* Copies the frames from `start` to `end` (counted back from the newest) into out[(start - end) * channels]. */
void lay_monitor_copy(const lay_monitor *m, size_t start, size_t end, double *out);

/* The order spectrum of the last moments at constant speed m->hz, or along m->shaft when the tach gives it.
 * LAY_BAD_INPUT while too little came. */
lay_status lay_monitor_spectrum(lay_monitor *m, lay_error *err);
/* Sum of the power about `order`, as the mean square of a tone, and the same of the noise around; 0 above the top. */
double lay_monitor_power(const lay_monitor *m, double order, double *floor);

/* Keeps the speed of this look. */
void lay_monitor_remember(lay_monitor *m);
/* Looks at the bearings' rows when it is time to and the speed of the last seconds is known. */
lay_status lay_monitor_blows(lay_monitor *m, lay_error *err);

/* The speed now, in m->hz or m->shaft; *known false with m->trouble when there is none. May compute the spectrum. */
lay_status lay_monitor_speed(lay_monitor *m, bool *known, lay_error *err);

#endif
