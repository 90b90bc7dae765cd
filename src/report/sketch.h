/* What the parts of a drawing share while it is made. */
#ifndef LAYSHAFT_REPORT_SKETCH_H
#define LAYSHAFT_REPORT_SKETCH_H

#include "canvas.h"
#include "drawing.h"
#include "layout.h"

#define LAY_SKETCH_SHAFT 9.0      /* thickness, pixels */
#define LAY_SKETCH_BOX_WIDTH 66.0 /* of what is outside the transmission */
#define LAY_SKETCH_TINY 12.5      /* size of the smaller font */
#define LAY_SKETCH_FOOT_LINES 4   /* of the names below */
#define LAY_SKETCH_INK "#222222"
#define LAY_SKETCH_FLOW "#0b4f8a"
#define LAY_SKETCH_MARKED "#a3170f"

typedef struct lay_sketch {
    const lay_drawing *d;
    const lay_unit *unit;
    lay_layout layout;
    lay_kinematics k;
    bool solved;                                             /* the gear's flow is known */
    double pitch, scale, margin, width, height, wheel_width; /* margin: left and right, for names, engine, axle */
    lay_text *out;
} lay_sketch;

/* Places in pixels: of a column, of a height in teeth, of the axis of a body. */
double lay_sketch_x(const lay_sketch *s, double column);
double lay_sketch_y(const lay_sketch *s, double y);
double lay_sketch_axis(const lay_sketch *s, int body);
/* Whether torque passes through the body in the gear shown. */
bool lay_sketch_carries(const lay_sketch *s, int body);
/* The mark on a part (`body` NULL) or on a wheel of it; NULL: none. */
const lay_mark *lay_sketch_mark_on(const lay_sketch *s, const char *part, const char *body);

/* sketch_train.c: shafts, wheels and bearings; what the gear locks. */
void lay_sketch_train(const lay_sketch *s);
void lay_sketch_couplings(const lay_sketch *s);
/* The column at which two bodies on one axis are joined; where a bearing is drawn, false: nowhere. */
double lay_sketch_joint(const lay_sketch *s, int a, int b);
bool lay_sketch_bearing_place(const lay_sketch *s, size_t index, double *x, double *y);

/* sketch_flow.c: the way of the torque. */
void lay_sketch_flow(const lay_sketch *s);

/* sketch_names.c: engine, axle and other rotors; names; marks. */
void lay_sketch_outside(const lay_sketch *s);
void lay_sketch_names(const lay_sketch *s);
void lay_sketch_marks(const lay_sketch *s);

#endif
