/* Orders against speed, parted into excitation and answer: what its steps share; private to the stage. */
#ifndef LAYSHAFT_JUDGE_RESPONSE_H
#define LAYSHAFT_JUDGE_RESPONSE_H

#include <layshaft/judge.h>

/* One measured level. */
typedef struct lay_level_point {
    size_t cut;
    double db;     /* noise taken off */
    double log_f;  /* natural logarithm of its frequency, Hz */
    double speed;  /* 10 lg of the speed over the mean speed */
    double weight; /* robust, 0..1 */
    double rest;   /* db less what the model says */
} lay_level_point;

typedef struct lay_level_points {
    lay_level_point *items;
    size_t count;
    size_t cuts;
    double mean_hz; /* of the reference: geometric mean over the points */
    double scatter; /* of the levels themselves, dB: by how much each differs from its neighbours in its cut */
} lay_level_points;

/* Frequencies at which the answer peaks and several orders agree that it does, into out->resonances. */
lay_status lay_response_peaks(const lay_level_points *points, const lay_cut *cuts, lay_response *out, lay_error *err);

#endif
