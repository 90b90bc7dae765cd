/* A few seconds of a suspect for the ear: the recording, the part alone, the recording without it. */
#ifndef LAYSHAFT_REPORT_CLIPS_H
#define LAYSHAFT_REPORT_CLIPS_H

#include "text.h"

#define LAY_CLIPS 3

/* What the clips of one suspect hold. */
typedef struct lay_clips {
    bool made;
    char file[LAY_CLIPS][48]; /* in the folder: as recorded, the part alone, without it */
    double from_s, seconds;   /* of the recording */
    double lift_db;           /* the part alone is louder by so much */
    bool band;                /* a bearing: a band, not orders */
} lay_clips;

/* Suspects that can be heard at all. */
bool lay_clips_worth(const lay_report_view *view, size_t suspect);
/* Read the suspect's best run once more and write the seconds in which the part is loudest into `folder`. Nothing is
 * made, and that is no error, where the part cannot be told from the rest. A recording of the table is never replaced.
 */
lay_status lay_clips_write(const lay_report_view *view, size_t suspect, const char *folder, lay_strings *written,
                           lay_clips *out, lay_error *err);
/* Remove those of an earlier report. */
void lay_clips_remove(const lay_report_view *view, size_t suspect, const char *folder);

#endif
