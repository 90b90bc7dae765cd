/* The search for the offset of an rpm log. Private to the stage. */
#ifndef LAYSHAFT_SPEED_LOG_SEARCH_H
#define LAYSHAFT_SPEED_LOG_SEARCH_H

#include "log_scores.h"

typedef struct lay_log_search {
    lay_log_scores coarse, fine;
    lay_log_path path;
    double low_s, high_s; /* offsets */
    double max_drift;
    double different; /* candidates, rms, from which on two courses of speed are not the same */
    double lobe_s;    /* offsets nearer than this make nearly the same course of speed */
    size_t least_met; /* frames of the coarse table that must be met */
    double *curve;    /* [offsets] evidence from low_s on, evenly; -INFINITY where too little is met */
    size_t offsets;
} lay_log_search;

typedef struct lay_log_peak {
    double offset_s, drift, sum;
    size_t met;      /* frames of the fine table */
    double middle_s; /* of the overlap, on the log's clock */
} lay_log_peak;

/* LAY_BAD_INPUT when no logged speed lies within the candidates. Close it in every case. */
lay_status lay_log_search_open(lay_log_search *s, const lay_speed_log *log, const lay_speed_scores *scores,
                               const lay_log_limits *limits, lay_error *err);
void lay_log_search_close(lay_log_search *s);
/* The offset of most evidence outside the lobes of the first `count` peaks; false when none is left. */
bool lay_log_next_peak(const lay_log_search *s, const lay_log_peak *peaks, size_t count, lay_log_peak *out);
/* Offset and, where the overlap is long enough, drift on the fine table. */
void lay_log_refine(const lay_log_search *s, lay_log_peak *p);
/* Length of the overlap in recording time; *middle_s: its middle on the log's clock. */
double lay_log_overlap(const lay_log_search *s, const lay_log_peak *p, double *middle_s);

#endif
