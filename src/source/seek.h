/* What the tracker is told of one run, and what is made of its answer; private to the stage. */
#ifndef LAYSHAFT_SOURCE_SEEK_H
#define LAYSHAFT_SOURCE_SEEK_H

#include "reading.h"

/* A tracker for the run's gear, or for all gears when the row gives none. */
typedef struct lay_seek {
    lay_track *track;
    int *gears; /* [gear_count] of the unit */
    size_t gear_count;
    bool stated;         /* the row states a speed, in rpm or as a road speed */
    bool exact;          /* as one number */
    double stated_hz;    /* its middle */
    lay_rpm_log log;     /* of the row */
    double *log_hz;      /* [log.count] */
    lay_speed_log guide; /* the same, borrowed from `log` and `log_hz`; count 0: none */
} lay_seek;

/* `known`: the speed, when only the gear is sought; else NULL. It is borrowed until lay_seek_finish. */
lay_status lay_seek_open(const lay_reading *r, const lay_shaft *known, lay_seek *seek, lay_error *err);
/* Analysed channels, interleaved. */
lay_status lay_seek_feed(lay_seek *seek, const double *frames, size_t count, lay_error *err);
/* Gear and speed into the reading (the shaft only where none was known); *found is false, with a warning, when there is
 * no speed. */
lay_status lay_seek_finish(lay_seek *seek, lay_reading *r, bool *found, lay_error *err);
void lay_seek_free(lay_seek *seek);

#endif
