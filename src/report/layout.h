/* Where the shafts, wheels and bearings of a unit lie in its drawing: a side view in which wheels that mesh touch, as
 * far as a plane allows it. Lengths in teeth: half a wheel's tooth count is its radius. */
#ifndef LAYSHAFT_REPORT_LAYOUT_H
#define LAYSHAFT_REPORT_LAYOUT_H

#include <layshaft/unit.h>

#define LAY_NOWHERE (-1)

/* A wheel of a mesh; the two meshes of an idler show the same wheel twice. */
typedef struct lay_drawn_wheel {
    int body, teeth;
    double radius;
    bool ring;  /* internal teeth */
    bool again; /* another mesh has drawn it already */
} lay_drawn_wheel;

/* Where a body lies along its axis, in columns: the middle of column i is i + 0.5. */
typedef struct lay_drawn_body {
    int axis;           /* LAY_NOWHERE: the case */
    int host;           /* shaft that it rides on, LAY_NOWHERE none */
    bool planet;        /* its axis goes round with a carrier */
    double left, right; /* end of its shaft, or of its wheels */
} lay_drawn_body;

typedef struct lay_layout {
    size_t axis_count, column_count;
    double *axis_y;          /* [axis_count] downwards from the reference's axis */
    lay_drawn_body *bodies;  /* [unit->body_count] */
    lay_drawn_wheel *wheels; /* [2 * unit->mesh_count]: driver, driven of each mesh */
    size_t *column;          /* [unit->mesh_count] */
    bool *touching;          /* [unit->mesh_count]: drawn in contact; else the plane does not allow it */
    double *bearing_at;      /* [unit->bearing_count] along the axis of its rings, NAN: nowhere */
    double top, bottom;      /* of everything */
} lay_layout;

/* *possible is false for a unit that has no wheels or whose axes cannot be told apart. */
lay_status lay_layout_make(const lay_unit *unit, lay_layout *out, bool *possible, lay_error *err);
void lay_layout_free(lay_layout *layout);

/* layout_axes.c: which bodies share an axis, which are planets; fills bodies[].axis and planet, axis_count. */
bool lay_layout_axes(const lay_unit *unit, lay_layout *l, int *root);
/* layout_columns.c: columns of the meshes, hosts and ends of the bodies, places of the bearings. */
void lay_layout_columns(const lay_unit *unit, lay_layout *l, int *root);

/* A forest of joined things: root[i] leads to the one that stands for i. */
int lay_root(int *root, int i);
void lay_join(int *root, int a, int b);

#endif
