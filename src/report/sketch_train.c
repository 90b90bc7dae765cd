/* Shafts, wheels and bearings of a drawing. */
#include "sketch.h"

#include <math.h>
#include <stdio.h>

#include "markup.h"

static const lay_brush outline = {"#f3f4f6", LAY_SKETCH_INK, 1, NULL};
static const lay_brush loaded_wheel = {"#c6d6e8", LAY_SKETCH_INK, 2, NULL};
static const lay_brush marked_wheel = {"url(#marked)", LAY_SKETCH_MARKED, 3, NULL};
static const lay_brush ink_line = {"none", LAY_SKETCH_INK, 1, NULL};

/* ---- shafts ---- */

static void shaft(const lay_sketch *s, int body) {
    const lay_drawn_body *b = &s->layout.bodies[body];
    if (b->host != LAY_NOWHERE || b->planet || !(b->right > b->left)) return;
    lay_brush brush = {lay_sketch_carries(s, body) ? "#8fa9c6" : "#dfe3e8", LAY_SKETCH_INK, 1, NULL};
    lay_canvas_rect(s->out, lay_sketch_x(s, b->left), lay_sketch_axis(s, body) - LAY_SKETCH_SHAFT / 2,
                    (b->right - b->left) * s->pitch, LAY_SKETCH_SHAFT, brush);
}

/* Of the planets one is drawn above the axis and one below; a mesh of a planet that names the case as its carrier shows
 * it once. */
static double mirrored(const lay_sketch *s, size_t mesh, double y) {
    int carrier = s->unit->meshes[mesh].carrier;
    return carrier != LAY_CASE ? 2 * lay_sketch_axis(s, carrier) - y : y;
}

static void carrier_arm(const lay_sketch *s, size_t mesh) {
    const lay_mesh *m = &s->unit->meshes[mesh];
    if (m->carrier == LAY_CASE) return;
    int planet = s->layout.bodies[m->driver.body].planet ? m->driver.body : m->driven.body;
    double x = lay_sketch_x(s, (double)s->layout.column[mesh] + 0.5) + s->wheel_width / 2 + 3,
           y = lay_sketch_axis(s, planet);
    lay_brush brush = {lay_sketch_carries(s, m->carrier) ? "#8fa9c6" : "#dfe3e8", LAY_SKETCH_INK, 1, NULL};
    double low = fmin(y, mirrored(s, mesh, y)), high = fmax(y, mirrored(s, mesh, y));
    lay_canvas_rect(s->out, x, low, 5, high - low, brush);
    lay_canvas_rect(s->out, x - s->wheel_width / 2 - 3, low - 2, s->wheel_width / 2 + 3, 4, brush);
    lay_canvas_rect(s->out, x - s->wheel_width / 2 - 3, high - 2, s->wheel_width / 2 + 3, 4, brush);
}

/* ---- wheels ---- */

static lay_brush wheel_brush(const lay_sketch *s, size_t wheel) {
    const lay_mesh *m = &s->unit->meshes[wheel / 2];
    if (lay_sketch_mark_on(s, m->name, s->unit->bodies[s->layout.wheels[wheel].body].name) != NULL) return marked_wheel;
    return s->solved && s->k.loaded[wheel / 2] ? loaded_wheel : outline;
}

static void teeth(const lay_sketch *s, double x, double y, int count) {
    char text[16];
    snprintf(text, sizeof text, "%d", count);
    lay_canvas_rect(s->out, x - 9.5, y - 11, 19, 14, (lay_brush){"#ffffff", "none", 0, NULL});
    lay_canvas_text(s->out, x, y, LAY_SKETCH_TINY, LAY_ANCHOR_MIDDLE, false, LAY_SKETCH_INK, text);
}

#define RIM 9.0 /* of a ring, over its pitch line */

static void ring(const lay_sketch *s, size_t wheel, lay_brush brush) {
    const lay_drawn_wheel *w = &s->layout.wheels[wheel];
    double x = lay_sketch_x(s, (double)s->layout.column[wheel / 2] + 0.5), y = lay_sketch_axis(s, w->body),
           r = w->radius * s->scale;
    double plate = x + s->wheel_width / 2 + 11;
    for (int side = -1; side <= 1; side += 2) {
        double from = side < 0 ? y - r - RIM : y + r;
        lay_canvas_rect(s->out, x - s->wheel_width / 2, from, s->wheel_width, RIM, brush);
        lay_canvas_line(s->out, x + s->wheel_width / 2, from + RIM / 2, plate, from + RIM / 2, ink_line);
    }
    lay_canvas_line(s->out, plate, y - r - RIM / 2, plate, y + r + RIM / 2, ink_line);
    teeth(s, x, y - r - RIM - 4, w->teeth);
}

/* Teeth are told where the mate is not. */
static double label_y(const lay_sketch *s, size_t wheel) {
    const lay_drawn_wheel *w = &s->layout.wheels[wheel];
    double y = lay_sketch_axis(s, w->body), mate = lay_sketch_axis(s, s->layout.wheels[wheel ^ 1].body),
           r = w->radius * s->scale;
    if (s->layout.bodies[w->body].planet) return y + 4;
    return mate > y ? y - r + 13 : y + r - 5;
}

static void one_wheel(const lay_sketch *s, size_t wheel) {
    const lay_drawn_wheel *w = &s->layout.wheels[wheel];
    lay_brush brush = wheel_brush(s, wheel);
    bool planet = s->layout.bodies[w->body].planet, free_wheel = s->layout.bodies[w->body].host != LAY_NOWHERE;
    if (w->again && brush.fill != marked_wheel.fill) return;
    if (w->ring) {
        ring(s, wheel, brush);
        return;
    }
    double x = lay_sketch_x(s, (double)s->layout.column[wheel / 2] + 0.5) - s->wheel_width / 2,
           r = w->radius * s->scale;
    double y = lay_sketch_axis(s, w->body);
    lay_canvas_rect(s->out, x, y - r, s->wheel_width, 2 * r, brush);
    if (planet) lay_canvas_rect(s->out, x, mirrored(s, wheel / 2, y) - r, s->wheel_width, 2 * r, brush);
    if (free_wheel) /* it turns on its shaft: a gap shows it */
        for (int side = -1; side <= 1; side += 2)
            lay_canvas_line(s->out, x - 2, y + side * (LAY_SKETCH_SHAFT / 2 + 1.5), x + s->wheel_width + 2,
                            y + side * (LAY_SKETCH_SHAFT / 2 + 1.5), (lay_brush){"none", "#ffffff", 2.2, NULL});
    teeth(s, x + s->wheel_width / 2, label_y(s, wheel), w->teeth);
}

/* Where the plane keeps two wheels apart that mesh in space. */
static void link(const lay_sketch *s, size_t mesh) {
    const lay_drawn_wheel *a = &s->layout.wheels[2 * mesh], *b = a + 1;
    double x = lay_sketch_x(s, (double)s->layout.column[mesh] + 0.5) + s->wheel_width / 2 + 5;
    double ya = lay_sketch_axis(s, a->body), yb = lay_sketch_axis(s, b->body), way = yb > ya ? 1 : -1;
    if (s->layout.touching[mesh] || b->ring || a->ring) return;
    double from = ya + way * 0.7 * a->radius * s->scale, to = yb - way * 0.7 * b->radius * s->scale;
    lay_canvas_line(s->out, x, from, x, to, (lay_brush){"none", LAY_SKETCH_INK, 1.2, "3 3"});
    lay_canvas_line(s->out, x - 5, from, x, from, ink_line);
    lay_canvas_line(s->out, x - 5, to, x, to, ink_line);
}

/* ---- what is locked in the gear ---- */

/* The column at which two bodies on one axis are joined. */
double lay_sketch_joint(const lay_sketch *s, int a, int b) {
    const lay_drawn_body *ba = &s->layout.bodies[a], *bb = &s->layout.bodies[b];
    double half = 0.5 * s->wheel_width / s->pitch + 0.09;
    if (ba->host != LAY_NOWHERE) return 0.5 * (ba->left + ba->right) - half;
    if (bb->host != LAY_NOWHERE) return 0.5 * (bb->left + bb->right) - half;
    return 0.5 * (fmax(ba->left, bb->left) + fmin(ba->right, bb->right));
}

static void coupling(const lay_sketch *s, const lay_lock *lock) {
    int a = lock->a, b = lock->b;
    if (a == LAY_CASE || b == LAY_CASE || s->layout.bodies[a].axis != s->layout.bodies[b].axis) return;
    double x = lay_sketch_x(s, lay_sketch_joint(s, a, b)), y = lay_sketch_axis(s, a);
    if (isfinite(x)) lay_canvas_rect(s->out, x - 4, y - 13, 8, 26, (lay_brush){LAY_SKETCH_FLOW, "#ffffff", 1, NULL});
}

/* ---- bearings: a square with its diagonals on either side of the shaft, ISO 8826-1 ---- */

static void race(const lay_sketch *s, double x, double y, double size, lay_brush brush) {
    lay_canvas_rect(s->out, x - size / 2, y - size / 2, size, size, brush);
    brush.fill = "none";
    lay_canvas_line(s->out, x - size / 2, y - size / 2, x + size / 2, y + size / 2, brush);
    lay_canvas_line(s->out, x - size / 2, y + size / 2, x + size / 2, y - size / 2, brush);
}

static int ring_on_axis(const lay_sketch *s, const lay_bearing *b) {
    return b->inner != LAY_CASE && !s->layout.bodies[b->inner].planet ? b->inner : b->outer;
}

bool lay_sketch_bearing_place(const lay_sketch *s, size_t index, double *x, double *y) {
    const lay_bearing *b = &s->unit->bearings[index];
    int body = ring_on_axis(s, b);
    *x = lay_sketch_x(s, s->layout.bearing_at[index]);
    if (body == LAY_CASE || !isfinite(*x)) return false;
    if (b->inner != LAY_CASE && s->layout.bodies[b->inner].planet) body = b->inner;
    *y = lay_sketch_axis(s, body);
    return true;
}

static void bearing(const lay_sketch *s, size_t index) {
    const lay_bearing *b = &s->unit->bearings[index];
    double x, y;
    if (!lay_sketch_bearing_place(s, index, &x, &y)) return;
    bool small = b->inner != LAY_CASE && b->outer != LAY_CASE;
    double size = small ? 8 : 13;
    bool marked = lay_sketch_mark_on(s, b->name, NULL) != NULL;
    lay_brush brush = {marked ? "#f7d7d4" : "#ffffff", marked ? LAY_SKETCH_MARKED : LAY_SKETCH_INK, marked ? 2.2 : 1,
                       NULL};
    lay_text_add(s->out, "<g><title>");
    lay_markup_format(s->out, "bearing %s", b->name);
    lay_text_add(s->out, "</title>\n");
    race(s, x, y - LAY_SKETCH_SHAFT / 2 - size / 2 - 1, size, brush);
    race(s, x, y + LAY_SKETCH_SHAFT / 2 + size / 2 + 1, size, brush);
    lay_text_add(s->out, "</g>\n");
}

void lay_sketch_couplings(const lay_sketch *s) {
    const lay_gear *gear = &s->unit->gears[s->d->gear];
    for (size_t i = 0; i < gear->lock_count; i++) coupling(s, &gear->locks[i]);
}

void lay_sketch_train(const lay_sketch *s) {
    for (size_t b = 1; b < s->unit->body_count; b++) shaft(s, (int)b);
    for (size_t i = 0; i < s->unit->mesh_count; i++) carrier_arm(s, i);
    for (size_t i = 0; i < 2 * s->unit->mesh_count; i++) one_wheel(s, i);
    for (size_t i = 0; i < s->unit->mesh_count; i++) link(s, i);
    for (size_t i = 0; i < s->unit->bearing_count; i++) bearing(s, i);
}
