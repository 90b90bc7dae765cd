/* A side view of the unit as SVG: shafts, wheels to scale by their teeth, bearings, how the torque goes in one gear,
 * and marks on parts. */
#ifndef LAYSHAFT_REPORT_DRAWING_H
#define LAYSHAFT_REPORT_DRAWING_H

#include <layshaft/unit.h>

/* A part that is pointed at. */
typedef struct lay_mark {
    const char *part; /* as the unit file names it, or "engine", "axle" */
    const char *body; /* the wheel of a mesh; NULL: both */
    int number;       /* in the badge */
    bool first;       /* filled; else an outline */
} lay_mark;

typedef struct lay_drawing {
    const lay_unit *unit;
    int gear; /* whose flow of torque is shown; -1 none */
    const lay_mark *marks;
    size_t mark_count;
    const char *title, *description; /* for those who cannot see it */
} lay_drawing;

/* Appends one <svg> element, without anything outside it needed. *drawn is false, and nothing is appended, for a unit
 * that cannot be laid out. */
lay_status lay_drawing_write(const lay_drawing *d, bool *drawn, lay_text *out, lay_error *err);

#endif
