/* The way of the torque through a drawing. */
#include "sketch.h"

#include <math.h>
#include <stdlib.h>

typedef struct reach {
    double left, right;
} reach;

static void touch(reach *r, double x) {
    r->left = fmin(r->left, x);
    r->right = fmax(r->right, x);
}

static void flow_points(const lay_sketch *s, reach *of) {
    const lay_gear *gear = &s->unit->gears[s->d->gear];
    for (size_t i = 0; i < s->unit->mesh_count; i++) {
        const lay_mesh *m = &s->unit->meshes[i];
        double x = lay_sketch_x(s, (double)s->layout.column[i] + 0.5);
        if (!s->k.loaded[i]) continue;
        touch(&of[m->driver.body], x);
        touch(&of[m->driven.body], x);
        if (m->carrier != LAY_CASE) touch(&of[m->carrier], x);
    }
    for (size_t i = 0; i < gear->lock_count; i++) {
        const lay_lock *l = &gear->locks[i];
        if (l->a == LAY_CASE || l->b == LAY_CASE || s->layout.bodies[l->a].axis != s->layout.bodies[l->b].axis)
            continue;
        double x = lay_sketch_x(s, lay_sketch_joint(s, l->a, l->b));
        if (!isfinite(x)) continue;
        touch(&of[l->a], x);
        touch(&of[l->b], x);
    }
    touch(&of[s->unit->reference], lay_sketch_x(s, s->layout.bodies[s->unit->reference].left));
    if (s->unit->output >= 0) touch(&of[s->unit->output], lay_sketch_x(s, s->layout.bodies[s->unit->output].right));
}

void lay_sketch_flow(const lay_sketch *s) {
    const lay_brush brush = {"none", LAY_SKETCH_FLOW, 3, NULL};
    reach *of = lay_calloc(s->unit->body_count, sizeof *of);
    if (of == NULL) {
        s->out->failed = true;
        return;
    }
    for (size_t b = 0; b < s->unit->body_count; b++) of[b] = (reach){INFINITY, -INFINITY};
    flow_points(s, of);
    for (size_t b = 1; b < s->unit->body_count; b++)
        if (lay_sketch_carries(s, (int)b) && of[b].right > of[b].left)
            lay_canvas_line(s->out, of[b].left, lay_sketch_axis(s, (int)b), of[b].right, lay_sketch_axis(s, (int)b),
                            brush);
    for (size_t i = 0; i < s->unit->mesh_count; i++) {
        double x = lay_sketch_x(s, (double)s->layout.column[i] + 0.5);
        if (s->k.loaded[i])
            lay_canvas_line(s->out, x, lay_sketch_axis(s, s->unit->meshes[i].driver.body), x,
                            lay_sketch_axis(s, s->unit->meshes[i].driven.body), brush);
    }
    int in = s->unit->reference, to = s->unit->output;
    if (lay_sketch_carries(s, in))
        lay_canvas_arrow(s->out, of[in].left + 14, lay_sketch_axis(s, in), 14, LAY_SKETCH_FLOW);
    if (to >= 0 && lay_sketch_carries(s, to))
        lay_canvas_arrow(s->out, of[to].right, lay_sketch_axis(s, to), 14, LAY_SKETCH_FLOW);
    free(of);
}
