/* The change of some lines between two measured conditions, and how well it is known; private to the stage. */
#ifndef LAYSHAFT_JUDGE_CHANGE_H
#define LAYSHAFT_JUDGE_CHANGE_H

#include <layshaft/judge.h>

/* dB of a power ratio of e. */
#define LAY_LN_DB 4.342944819032518

/* "drive", ..., "no load"; "" where it is not stated. */
static inline const char *lay_load_words(lay_load load) {
    return load == LAY_LOAD_NONE ? "no load" : lay_load_name(load);
}

/* Bands of speed that two conditions share. */
typedef struct lay_band_pair {
    size_t before, after; /* index of the band in each condition */
} lay_band_pair;

typedef struct lay_overlap {
    const lay_loud_condition *before, *after;
    lay_band_pair *pairs; /* [count] rising speed */
    size_t count;
    bool by_floor; /* powers of after are held against the noise between the lines */
} lay_overlap;
/* *out is empty when less than a second of either lies at common speeds. Free with lay_overlap_free. */
lay_status lay_overlap_find(const lay_loud_condition *before, const lay_loud_condition *after, bool by_floor,
                            lay_overlap *out, lay_error *err);
void lay_overlap_free(lay_overlap *overlap);
/* Middle of band `i` of a condition, turns/s. */
double lay_band_hz(const lay_loud_condition *condition, size_t band);
/* Change of the noise between the lines, dB; recorded seconds of each. */
double lay_overlap_ground(const lay_overlap *overlap);
void lay_overlap_seconds(const lay_overlap *overlap, double *before, double *after);

/* The same line in both conditions. */
typedef struct lay_line_pair {
    const lay_loud_line *before, *after;
} lay_line_pair;

/* What a set of lines, added by power, did: in ln of the power ratio. */
typedef struct lay_estimate {
    bool before, after;               /* they stand out of the noise */
    double ln;                        /* NaN when neither does */
    double variance, dof;             /* within the runs */
    double before_noise, after_noise; /* a set that does not stand out: share of the other one's power it may have, the
                                       * deviation of its noise */
    double before_power, after_power; /* mean over the bands */
} lay_estimate;
void lay_estimate_of(const lay_overlap *overlap, const lay_line_pair *lines, size_t count, lay_estimate *out);
/* Power of the lines in pair of bands `i`, before and after, and the variance noise leaves; false where nothing was
 * measured. */
bool lay_overlap_at(const lay_overlap *overlap, const lay_line_pair *lines, size_t count, size_t i, double power[2],
                    double variance[2]);

#endif
