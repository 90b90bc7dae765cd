#include "drawing.h"

#include <layshaft/report.h>

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "canvas.h"
#include "layout.h"
#include "markup.h"
#include "words.h"

#define HEAD 40.0      /* above: names of the shafts on top */
#define SHAFT 9.0      /* thickness */
#define BOX_WIDTH 66.0 /* of what is outside the transmission */
#define BOX_HEIGHT 26.0
#define SMALL 13.0 /* font sizes */
#define TINY 12.5
#define INK "#222222"
#define FLOW "#0b4f8a"
#define MARKED "#a3170f"

static const lay_brush outline = {"#f3f4f6", INK, 1, NULL};
static const lay_brush loaded_wheel = {"#c6d6e8", INK, 2, NULL};
static const lay_brush marked_wheel = {"url(#marked)", MARKED, 3, NULL};
static const lay_brush ink_line = {"none", INK, 1, NULL};

typedef struct sheet {
    const lay_drawing *d;
    const lay_unit *unit;
    lay_layout layout;
    lay_kinematics k;
    bool solved;                                             /* the gear's flow is known */
    double pitch, scale, margin, width, height, wheel_width; /* margin: left and right, for names, engine, axle */
    lay_text *out;
} sheet;

static double x_of(const sheet *s, double column) {
    return s->margin + column * s->pitch;
}

static double y_at(const sheet *s, double y) {
    return HEAD + (y - s->layout.top) * s->scale;
}

static double axis_y(const sheet *s, int body) {
    return y_at(s, s->layout.axis_y[s->layout.bodies[body].axis]);
}

static bool carries(const sheet *s, int body) {
    return s->solved && body != LAY_CASE && s->k.carries[body];
}

static const lay_mark *mark_on(const sheet *s, const char *part, const char *body) {
    for (size_t i = 0; i < s->d->mark_count; i++) {
        const lay_mark *m = &s->d->marks[i];
        if (m->part == NULL || strcmp(m->part, part) != 0) continue;
        if (body == NULL || m->body == NULL || strcasecmp(m->body, body) == 0) return m;
    }
    return NULL;
}

/* ---- shafts ---- */

static void shaft(const sheet *s, int body) {
    const lay_drawn_body *b = &s->layout.bodies[body];
    if (b->host != LAY_NOWHERE || b->planet || !(b->right > b->left)) return;
    lay_brush brush = {carries(s, body) ? "#8fa9c6" : "#dfe3e8", INK, 1, NULL};
    lay_canvas_rect(s->out, x_of(s, b->left), axis_y(s, body) - SHAFT / 2, (b->right - b->left) * s->pitch, SHAFT,
                    brush);
}

/* Of the planets one is drawn above the axis and one below; a mesh of a planet that names the case as its carrier shows
 * it once. */
static double mirrored(const sheet *s, size_t mesh, double y) {
    int carrier = s->unit->meshes[mesh].carrier;
    return carrier != LAY_CASE ? 2 * axis_y(s, carrier) - y : y;
}

static void carrier_arm(const sheet *s, size_t mesh) {
    const lay_mesh *m = &s->unit->meshes[mesh];
    if (m->carrier == LAY_CASE) return;
    int planet = s->layout.bodies[m->driver.body].planet ? m->driver.body : m->driven.body;
    double x = x_of(s, (double)s->layout.column[mesh] + 0.5) + s->wheel_width / 2 + 3, y = axis_y(s, planet);
    lay_brush brush = {carries(s, m->carrier) ? "#8fa9c6" : "#dfe3e8", INK, 1, NULL};
    double low = fmin(y, mirrored(s, mesh, y)), high = fmax(y, mirrored(s, mesh, y));
    lay_canvas_rect(s->out, x, low, 5, high - low, brush);
    lay_canvas_rect(s->out, x - s->wheel_width / 2 - 3, low - 2, s->wheel_width / 2 + 3, 4, brush);
    lay_canvas_rect(s->out, x - s->wheel_width / 2 - 3, high - 2, s->wheel_width / 2 + 3, 4, brush);
}

/* ---- wheels ---- */

static lay_brush wheel_brush(const sheet *s, size_t wheel) {
    const lay_mesh *m = &s->unit->meshes[wheel / 2];
    if (mark_on(s, m->name, s->unit->bodies[s->layout.wheels[wheel].body].name) != NULL) return marked_wheel;
    return s->solved && s->k.loaded[wheel / 2] ? loaded_wheel : outline;
}

static void teeth(const sheet *s, double x, double y, int count) {
    char text[16];
    snprintf(text, sizeof text, "%d", count);
    lay_canvas_rect(s->out, x - 9.5, y - 11, 19, 14, (lay_brush){"#ffffff", "none", 0, NULL});
    lay_canvas_text(s->out, x, y, TINY, LAY_ANCHOR_MIDDLE, false, INK, text);
}

#define RIM 9.0 /* of a ring, over its pitch line */

static void ring(const sheet *s, size_t wheel, lay_brush brush) {
    const lay_drawn_wheel *w = &s->layout.wheels[wheel];
    double x = x_of(s, (double)s->layout.column[wheel / 2] + 0.5), y = axis_y(s, w->body), r = w->radius * s->scale;
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
static double label_y(const sheet *s, size_t wheel) {
    const lay_drawn_wheel *w = &s->layout.wheels[wheel];
    double y = axis_y(s, w->body), mate = axis_y(s, s->layout.wheels[wheel ^ 1].body), r = w->radius * s->scale;
    if (s->layout.bodies[w->body].planet) return y + 4;
    return mate > y ? y - r + 13 : y + r - 5;
}

static void one_wheel(const sheet *s, size_t wheel) {
    const lay_drawn_wheel *w = &s->layout.wheels[wheel];
    lay_brush brush = wheel_brush(s, wheel);
    bool planet = s->layout.bodies[w->body].planet, free_wheel = s->layout.bodies[w->body].host != LAY_NOWHERE;
    if (w->again && brush.fill != marked_wheel.fill) return;
    if (w->ring) {
        ring(s, wheel, brush);
        return;
    }
    double x = x_of(s, (double)s->layout.column[wheel / 2] + 0.5) - s->wheel_width / 2, r = w->radius * s->scale;
    double y = axis_y(s, w->body);
    lay_canvas_rect(s->out, x, y - r, s->wheel_width, 2 * r, brush);
    if (planet) lay_canvas_rect(s->out, x, mirrored(s, wheel / 2, y) - r, s->wheel_width, 2 * r, brush);
    if (free_wheel) /* it turns on its shaft: a gap shows it */
        for (int side = -1; side <= 1; side += 2)
            lay_canvas_line(s->out, x - 2, y + side * (SHAFT / 2 + 1.5), x + s->wheel_width + 2,
                            y + side * (SHAFT / 2 + 1.5), (lay_brush){"none", "#ffffff", 2.2, NULL});
    teeth(s, x + s->wheel_width / 2, label_y(s, wheel), w->teeth);
}

/* Where the plane keeps two wheels apart that mesh in space. */
static void link(const sheet *s, size_t mesh) {
    const lay_drawn_wheel *a = &s->layout.wheels[2 * mesh], *b = a + 1;
    double x = x_of(s, (double)s->layout.column[mesh] + 0.5) + s->wheel_width / 2 + 5;
    double ya = axis_y(s, a->body), yb = axis_y(s, b->body), way = yb > ya ? 1 : -1;
    if (s->layout.touching[mesh] || b->ring || a->ring) return;
    double from = ya + way * 0.7 * a->radius * s->scale, to = yb - way * 0.7 * b->radius * s->scale;
    lay_canvas_line(s->out, x, from, x, to, (lay_brush){"none", INK, 1.2, "3 3"});
    lay_canvas_line(s->out, x - 5, from, x, from, ink_line);
    lay_canvas_line(s->out, x - 5, to, x, to, ink_line);
}

/* ---- what is locked in the gear ---- */

/* The column at which two bodies on one axis are joined. */
static double joint(const sheet *s, int a, int b) {
    const lay_drawn_body *ba = &s->layout.bodies[a], *bb = &s->layout.bodies[b];
    double half = 0.5 * s->wheel_width / s->pitch + 0.09;
    if (ba->host != LAY_NOWHERE) return 0.5 * (ba->left + ba->right) - half;
    if (bb->host != LAY_NOWHERE) return 0.5 * (bb->left + bb->right) - half;
    return 0.5 * (fmax(ba->left, bb->left) + fmin(ba->right, bb->right));
}

static void coupling(const sheet *s, const lay_lock *lock) {
    int a = lock->a, b = lock->b;
    if (a == LAY_CASE || b == LAY_CASE || s->layout.bodies[a].axis != s->layout.bodies[b].axis) return;
    double x = x_of(s, joint(s, a, b)), y = axis_y(s, a);
    if (isfinite(x)) lay_canvas_rect(s->out, x - 4, y - 13, 8, 26, (lay_brush){FLOW, "#ffffff", 1, NULL});
}

/* ---- bearings: a square with its diagonals on either side of the shaft, ISO 8826-1 ---- */

static void race(const sheet *s, double x, double y, double size, lay_brush brush) {
    lay_canvas_rect(s->out, x - size / 2, y - size / 2, size, size, brush);
    brush.fill = "none";
    lay_canvas_line(s->out, x - size / 2, y - size / 2, x + size / 2, y + size / 2, brush);
    lay_canvas_line(s->out, x - size / 2, y + size / 2, x + size / 2, y - size / 2, brush);
}

static int ring_on_axis(const sheet *s, const lay_bearing *b) {
    return b->inner != LAY_CASE && !s->layout.bodies[b->inner].planet ? b->inner : b->outer;
}

static bool bearing_place(const sheet *s, size_t index, double *x, double *y) {
    const lay_bearing *b = &s->unit->bearings[index];
    int body = ring_on_axis(s, b);
    *x = x_of(s, s->layout.bearing_at[index]);
    if (body == LAY_CASE || !isfinite(*x)) return false;
    if (b->inner != LAY_CASE && s->layout.bodies[b->inner].planet) body = b->inner;
    *y = axis_y(s, body);
    return true;
}

static void bearing(const sheet *s, size_t index) {
    const lay_bearing *b = &s->unit->bearings[index];
    double x, y;
    if (!bearing_place(s, index, &x, &y)) return;
    bool small = b->inner != LAY_CASE && b->outer != LAY_CASE;
    double size = small ? 8 : 13;
    bool marked = mark_on(s, b->name, NULL) != NULL;
    lay_brush brush = {marked ? "#f7d7d4" : "#ffffff", marked ? MARKED : INK, marked ? 2.2 : 1, NULL};
    lay_text_add(s->out, "<g><title>");
    lay_markup_format(s->out, "bearing %s", b->name);
    lay_text_add(s->out, "</title>\n");
    race(s, x, y - SHAFT / 2 - size / 2 - 1, size, brush);
    race(s, x, y + SHAFT / 2 + size / 2 + 1, size, brush);
    lay_text_add(s->out, "</g>\n");
}

/* ---- the way of the torque ---- */

typedef struct reach {
    double left, right;
} reach;

static void touch(reach *r, double x) {
    r->left = fmin(r->left, x);
    r->right = fmax(r->right, x);
}

static void flow_points(const sheet *s, reach *of) {
    const lay_gear *gear = &s->unit->gears[s->d->gear];
    for (size_t i = 0; i < s->unit->mesh_count; i++) {
        const lay_mesh *m = &s->unit->meshes[i];
        double x = x_of(s, (double)s->layout.column[i] + 0.5);
        if (!s->k.loaded[i]) continue;
        touch(&of[m->driver.body], x);
        touch(&of[m->driven.body], x);
        if (m->carrier != LAY_CASE) touch(&of[m->carrier], x);
    }
    for (size_t i = 0; i < gear->lock_count; i++) {
        const lay_lock *l = &gear->locks[i];
        if (l->a == LAY_CASE || l->b == LAY_CASE || s->layout.bodies[l->a].axis != s->layout.bodies[l->b].axis)
            continue;
        double x = x_of(s, joint(s, l->a, l->b));
        if (!isfinite(x)) continue;
        touch(&of[l->a], x);
        touch(&of[l->b], x);
    }
    touch(&of[s->unit->reference], x_of(s, s->layout.bodies[s->unit->reference].left));
    if (s->unit->output >= 0) touch(&of[s->unit->output], x_of(s, s->layout.bodies[s->unit->output].right));
}

static void flow(const sheet *s) {
    const lay_brush brush = {"none", FLOW, 3, NULL};
    reach *of = lay_calloc(s->unit->body_count, sizeof *of);
    if (of == NULL) {
        s->out->failed = true;
        return;
    }
    for (size_t b = 0; b < s->unit->body_count; b++) of[b] = (reach){INFINITY, -INFINITY};
    flow_points(s, of);
    for (size_t b = 1; b < s->unit->body_count; b++)
        if (carries(s, (int)b) && of[b].right > of[b].left)
            lay_canvas_line(s->out, of[b].left, axis_y(s, (int)b), of[b].right, axis_y(s, (int)b), brush);
    for (size_t i = 0; i < s->unit->mesh_count; i++) {
        double x = x_of(s, (double)s->layout.column[i] + 0.5);
        if (s->k.loaded[i])
            lay_canvas_line(s->out, x, axis_y(s, s->unit->meshes[i].driver.body), x,
                            axis_y(s, s->unit->meshes[i].driven.body), brush);
    }
    int in = s->unit->reference, to = s->unit->output;
    if (carries(s, in)) lay_canvas_arrow(s->out, of[in].left + 14, axis_y(s, in), 14, FLOW);
    if (to >= 0 && carries(s, to)) lay_canvas_arrow(s->out, of[to].right, axis_y(s, to), 14, FLOW);
    free(of);
}

/* ---- what is outside ---- */

static double output_y(const sheet *s) {
    return axis_y(s, s->unit->output >= 0 ? s->unit->output : s->unit->reference);
}

static void box(const sheet *s, double x, double y, const char *part) {
    bool marked = mark_on(s, part, NULL) != NULL;
    lay_brush brush = {marked ? "url(#marked)" : "#ffffff", marked ? MARKED : INK, marked ? 3 : 1, NULL};
    lay_canvas_rect(s->out, x, y - BOX_HEIGHT / 2, BOX_WIDTH, BOX_HEIGHT, brush);
    if (marked) lay_canvas_rect(s->out, x + 4, y - 8, BOX_WIDTH - 8, 16, (lay_brush){"#ffffff", "none", 0, NULL});
    lay_canvas_lines(s->out, x + BOX_WIDTH / 2, y + 4, TINY, LAY_ANCHOR_MIDDLE, part, 10, 1);
}

static bool has_axle(const sheet *s) {
    return s->unit->axle.present && s->unit->axle.ring > 0;
}

static double engine_x(const sheet *s) {
    return x_of(s, s->layout.bodies[s->unit->reference].left) - BOX_WIDTH;
}

/* The engine before the reference shaft, further rotors under it, the axle behind the output. */
static bool outside_place(const sheet *s, const char *part, double *x, double *y) {
    *x = engine_x(s);
    *y = axis_y(s, s->unit->reference);
    if (s->unit->engine.present && strcmp(part, "engine") == 0) return true;
    for (size_t i = 0; i < s->unit->rotor_count; i++) {
        *y += BOX_HEIGHT + 6;
        if (strcmp(part, s->unit->rotors[i].name) == 0) return true;
    }
    if (!has_axle(s) || strcmp(part, "axle") != 0) return false;
    *x = x_of(s, s->layout.bodies[s->unit->output >= 0 ? s->unit->output : s->unit->reference].right) + 2;
    *y = output_y(s);
    return true;
}

static void outside(const sheet *s) {
    double x, y;
    if (outside_place(s, "engine", &x, &y)) box(s, x, y, "engine");
    if (outside_place(s, "axle", &x, &y)) box(s, x, y, "axle");
    for (size_t i = 0; i < s->unit->rotor_count; i++)
        if (outside_place(s, s->unit->rotors[i].name, &x, &y)) box(s, x, y, s->unit->rotors[i].name);
}

/* ---- names ---- */

#define NAME_COLUMNS 13

static bool drawn_shaft(const sheet *s, int body) {
    const lay_drawn_body *b = &s->layout.bodies[body];
    return b->host == LAY_NOWHERE && !b->planet && b->right > b->left;
}

static void shaft_name(const sheet *s, int body) {
    const lay_drawn_body *b = &s->layout.bodies[body];
    const char *name = s->unit->bodies[body].name;
    double y = axis_y(s, body);
    int lines = lay_canvas_line_count(name, NAME_COLUMNS, 2);
    if (!drawn_shaft(s, body)) return;
    if (body == s->unit->reference)
        lay_canvas_lines(s->out, x_of(s, b->left), y - 24 - 13 * (lines - 1), SMALL, LAY_ANCHOR_START, name,
                         NAME_COLUMNS, 2);
    else if (body == s->unit->output) /* clear of a ring that ends where the shaft begins */
        lay_canvas_lines(s->out, x_of(s, b->right) + (has_axle(s) ? BOX_WIDTH : 0), y - 24 - 13 * (lines - 1), SMALL,
                         LAY_ANCHOR_END, name, NAME_COLUMNS, 2);
    else if (b->left < 1 && s->layout.bodies[body].axis != s->layout.bodies[s->unit->reference].axis)
        lay_canvas_lines(s->out, x_of(s, b->left) - 6, y + 4, SMALL, LAY_ANCHOR_END, name, NAME_COLUMNS, 2);
    else if (s->layout.bodies[body].axis == s->layout.bodies[s->unit->reference].axis)
        lay_canvas_lines(s->out, x_of(s, round(b->left)), y + 26, 0.84 * TINY, LAY_ANCHOR_MIDDLE, name, NAME_COLUMNS,
                         2);
    else
        lay_canvas_lines(s->out, x_of(s, b->right) + 6, y + 4, SMALL, LAY_ANCHOR_START, name, NAME_COLUMNS, 2);
}

/* What stands in a column, one name a mesh. */
static void column_names(const sheet *s, size_t column, lay_text *out) {
    for (size_t i = 0; i < s->unit->mesh_count; i++)
        if (s->layout.column[i] == column) lay_text_add(out, "%s%s", out->length ? " / " : "", s->unit->meshes[i].name);
}

#define FOOT_LINES 4

static int foot_columns(const sheet *s) {
    return (int)fmax(5, s->pitch / (0.5 * TINY));
}

static void names(const sheet *s) {
    double y = y_at(s, s->layout.bottom) + 26;
    for (size_t c = 0; c < s->layout.column_count; c++) {
        lay_text text = {0};
        column_names(s, c, &text);
        lay_canvas_lines(s->out, x_of(s, (double)c + 0.5), y, TINY, LAY_ANCHOR_MIDDLE, text.failed ? "" : text.text,
                         foot_columns(s), FOOT_LINES);
        lay_text_free(&text);
    }
    for (size_t b = 1; b < s->unit->body_count; b++) shaft_name(s, (int)b);
}

/* ---- marks ---- */

#define BADGE 11.0

static void badge(const sheet *s, const lay_mark *m, double x, double y) {
    char text[16];
    snprintf(text, sizeof text, "%d", m->number);
    lay_canvas_circle(s->out, x, y, BADGE, (lay_brush){m->first ? MARKED : "#ffffff", MARKED, 2, NULL});
    lay_canvas_text(s->out, x, y + 5, 14, LAY_ANCHOR_MIDDLE, true, m->first ? "#ffffff" : MARKED, text);
}

static bool mesh_place(const sheet *s, const lay_mark *m, double *x, double *y) {
    for (size_t i = 0; i < s->unit->mesh_count; i++) {
        const lay_drawn_wheel *a = &s->layout.wheels[2 * i], *b = a + 1;
        if (strcmp(s->unit->meshes[i].name, m->part) != 0) continue;
        double ya = axis_y(s, a->body), yb = axis_y(s, b->body), ra = a->radius * s->scale, rb = b->radius * s->scale;
        double way = yb > ya ? 1 : -1;
        *x = x_of(s, (double)s->layout.column[i] + 0.5) + s->wheel_width / 2 + BADGE;
        *y = ya + way * ra;
        if (m->body != NULL && strcasecmp(m->body, s->unit->bodies[a->body].name) == 0) *y = ya - way * 0.6 * ra;
        if (m->body != NULL && strcasecmp(m->body, s->unit->bodies[b->body].name) == 0) *y = yb + way * 0.6 * rb;
        return true;
    }
    return false;
}

static bool mark_place(const sheet *s, const lay_mark *m, double *x, double *y) {
    if (m->part == NULL) return false;
    if (mesh_place(s, m, x, y)) return true;
    for (size_t i = 0; i < s->unit->bearing_count; i++)
        if (strcmp(s->unit->bearings[i].name, m->part) == 0 && bearing_place(s, i, x, y)) {
            *y += SHAFT / 2 + 16 + BADGE;
            return true;
        }
    if (!outside_place(s, m->part, x, y)) return false;
    *x += BOX_WIDTH / 2;
    *y += BOX_HEIGHT / 2 + BADGE;
    return true;
}

/* Later marks step aside of earlier ones. */
static void marks(const sheet *s) {
    for (size_t i = 0; i < s->d->mark_count; i++) {
        double x, y, ox, oy;
        if (!mark_place(s, &s->d->marks[i], &x, &y)) continue;
        for (size_t k = 0; k < i; k++)
            if (mark_place(s, &s->d->marks[k], &ox, &oy) && fabs(ox - x) < 2 * BADGE && fabs(oy - y) < 2 * BADGE)
                y = oy + 2 * BADGE + 1;
        badge(s, &s->d->marks[i], x, y);
    }
}

/* ---- the whole ---- */

#define DRAWING_HEIGHT 260.0 /* about, of the wheels */
#define DRAWING_WIDTH 480.0

static void measure(sheet *s) {
    double columns = (double)s->layout.column_count, tall = s->layout.bottom - s->layout.top;
    s->pitch = fmin(84, fmax(52, DRAWING_WIDTH / columns));
    s->scale = fmin(4.5, DRAWING_HEIGHT / fmax(tall, 1));
    s->margin = fmax(0.62 * s->pitch + BOX_WIDTH, 100) + 6;
    s->wheel_width = 0.4 * s->pitch;
    s->width = 2 * s->margin + columns * s->pitch;
    s->height = y_at(s, s->layout.bottom) + 30 + FOOT_LINES * 1.15 * TINY;
}

static void begin(const sheet *s) {
    lay_text_add(s->out,
                 "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 %s %s\" role=\"img\" "
                 "font-family=\"sans-serif\">\n<title>",
                 lay_words_number(s->width, 0).text, lay_words_number(s->height, 0).text);
    lay_markup_text(s->out, s->d->title);
    lay_text_add(s->out, "</title>\n<desc>");
    lay_markup_text(s->out, s->d->description);
    lay_text_add(s->out,
                 "</desc>\n<defs><pattern id=\"marked\" width=\"7\" height=\"7\" patternUnits=\"userSpaceOnUse\" "
                 "patternTransform=\"rotate(45)\"><rect width=\"7\" height=\"7\" fill=\"#f7d7d4\"/><rect width=\"3\" "
                 "height=\"7\" fill=\"%s\"/></pattern></defs>\n",
                 MARKED);
}

static void draw(const sheet *s) {
    begin(s);
    for (size_t b = 1; b < s->unit->body_count; b++) shaft(s, (int)b);
    for (size_t i = 0; i < s->unit->mesh_count; i++) carrier_arm(s, i);
    for (size_t i = 0; i < 2 * s->unit->mesh_count; i++) one_wheel(s, i);
    for (size_t i = 0; i < s->unit->mesh_count; i++) link(s, i);
    for (size_t i = 0; i < s->unit->bearing_count; i++) bearing(s, i);
    outside(s);
    if (s->solved) {
        flow(s);
        for (size_t i = 0; i < s->unit->gears[s->d->gear].lock_count; i++)
            coupling(s, &s->unit->gears[s->d->gear].locks[i]);
    }
    names(s);
    marks(s);
    lay_text_add(s->out, "</svg>\n");
}

lay_status lay_drawing_write(const lay_drawing *d, bool *drawn, lay_text *out, lay_error *err) {
    sheet s = {.d = d, .unit = d->unit, .out = out};
    lay_error ignored;
    lay_status status = lay_layout_make(d->unit, &s.layout, drawn, err);
    if (status == LAY_OK && *drawn) {
        s.solved = d->gear >= 0 && lay_unit_solve(d->unit, d->gear, &s.k, &ignored) == LAY_OK;
        measure(&s);
        draw(&s);
        if (out->failed) status = lay_fail(err, LAY_NO_MEMORY, "not enough memory for the drawing");
        if (s.solved) lay_kinematics_free(&s.k);
    }
    lay_layout_free(&s.layout);
    return status;
}

lay_status lay_report_drawing(const lay_unit *unit, int gear, bool *drawn, lay_text *out, lay_error *err) {
    const lay_drawing d = {.unit = unit, .gear = gear, .title = unit->name, .description = "The unit from the side."};
    return lay_drawing_write(&d, drawn, out, err);
}
