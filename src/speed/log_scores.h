/* Evidence for speeds over time, made comparable, and the logged speed as a path through it. Private to the stage. */
#ifndef LAYSHAFT_SPEED_LOG_SCORES_H
#define LAYSHAFT_SPEED_LOG_SCORES_H

#include <layshaft/speed.h>

/* Some of the frames, each on one scale. Zero it to start. */
typedef struct lay_log_scores {
    float *value; /* [frames * candidates] */
    size_t frames, candidates;
    double first_s, hop_s;
} lay_log_scores;

/* The logged speed on an even grid of log time, as candidate numbers; NaN where nothing is logged. */
typedef struct lay_log_path {
    double *candidate;
    size_t count;
    double first_s, step_s;
} lay_log_path;

/* At most `most_frames`, evenly taken. `wide`: each value becomes the largest of its neighbourhood, for a search in
 * coarse steps; else a smooth hill rises about each ridge. */
lay_status lay_log_scores_make(const lay_speed_scores *scores, size_t most_frames, bool wide, lay_log_scores *out,
                               lay_error *err);
void lay_log_scores_free(lay_log_scores *s);

/* Log times up to `last_s` only. */
lay_status lay_log_path_make(const lay_speed_log *log, const lay_speed_scores *scores, double last_s, lay_log_path *out,
                             lay_error *err);
void lay_log_path_free(lay_log_path *p);

/* Candidate at log time `t`; NaN where there is none. */
double lay_log_path_at(const lay_log_path *p, double t);
/* Evidence along the path when recording time = log time * (1 + drift) + offset; *met gets the number of frames that it
 * was read from (NULL allowed). */
double lay_log_scores_along(const lay_log_scores *s, const lay_log_path *p, double offset_s, double drift, size_t *met);

#endif
