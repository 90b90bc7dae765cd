/* One recording on its way to evidence; private to the stage. */
#ifndef LAYSHAFT_SOURCE_READING_H
#define LAYSHAFT_SOURCE_READING_H

#include <layshaft/source.h>

#define LAY_BLOCK 8192 /* frames read at a time */

/* What the steps below share while a run is analysed. */
typedef struct lay_reading {
    const lay_unit *unit;
    const lay_run_spec *spec;
    const char *table_path;
    lay_recording *recording;
    const lay_recording_info *info;
    int *channels; /* 0-based, analysed */
    size_t channel_count;
    double tach_order; /* |turns| of the tach's body per reference turn */
    double *block;     /* LAY_BLOCK frames as read */
    double *picked;    /* LAY_BLOCK frames of the analysed channels */
    lay_shaft shaft;
    double *gear_probability; /* [unit->gear_count] where the gear was sought, else NULL */
    lay_run_evidence *out;
} lay_reading;

/* Open the recording of r->spec into r->out (both set by the caller): gear, kinematics, channels, buffers. Close in any
 * case; r->out stays the caller's. */
lay_status lay_reading_open(lay_reading *r, lay_error *err);
void lay_reading_close(lay_reading *r);

/* The row of the table against the unit and the recording: gear, channels, tach. LAY_BAD_INPUT at the table's line. */
lay_status lay_reading_gear(lay_reading *r, lay_error *err);
/* Kinematics and expected parts of a gear of the unit. */
lay_status lay_reading_use_gear(lay_reading *r, int gear, lay_error *err);
lay_status lay_reading_channels(lay_reading *r, lay_error *err);
lay_status lay_reading_tach(lay_reading *r, lay_error *err);

/* First reading: checks of the recording and the shaft's angle; *found is false when there is no speed (warnings say
 * why). */
lay_status lay_reading_first(lay_reading *r, bool *found, lay_error *err);
/* Takes the shaft's speed over into the evidence and compares it with what the table states. */
void lay_reading_take_speed(lay_reading *r);

/* The analysed channels of `frames` frames from r->block into r->picked. */
void lay_reading_pick(const lay_reading *r, size_t frames);

/* One sentence into the run's warnings. */
void lay_reading_warn(lay_run_evidence *out, const char *text);

#endif
