/* What surrounds the train of a drawing: sources outside, names, marks. */
#include "sketch.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

#define BOX_HEIGHT 26.0
#define SMALL 13.0 /* size of the larger font */

/* ---- what is outside ---- */

static double output_y(const lay_sketch *s) {
    return lay_sketch_axis(s, s->unit->output >= 0 ? s->unit->output : s->unit->reference);
}

static void box(const lay_sketch *s, double x, double y, const char *part) {
    bool marked = lay_sketch_mark_on(s, part, NULL) != NULL;
    lay_brush brush = {marked ? "url(#marked)" : "#ffffff", marked ? LAY_SKETCH_MARKED : LAY_SKETCH_INK, marked ? 3 : 1,
                       NULL};
    lay_canvas_rect(s->out, x, y - BOX_HEIGHT / 2, LAY_SKETCH_BOX_WIDTH, BOX_HEIGHT, brush);
    if (marked)
        lay_canvas_rect(s->out, x + 4, y - 8, LAY_SKETCH_BOX_WIDTH - 8, 16, (lay_brush){"#ffffff", "none", 0, NULL});
    lay_canvas_lines(s->out, x + LAY_SKETCH_BOX_WIDTH / 2, y + 4, LAY_SKETCH_TINY, LAY_ANCHOR_MIDDLE, part, 10, 1);
}

static bool has_axle(const lay_sketch *s) {
    return s->unit->axle.present && s->unit->axle.ring > 0;
}

static double engine_x(const lay_sketch *s) {
    return lay_sketch_x(s, s->layout.bodies[s->unit->reference].left) - LAY_SKETCH_BOX_WIDTH;
}

/* The engine before the reference shaft, further rotors under it, the axle behind the output. */
static bool outside_place(const lay_sketch *s, const char *part, double *x, double *y) {
    *x = engine_x(s);
    *y = lay_sketch_axis(s, s->unit->reference);
    if (s->unit->engine.present && strcmp(part, "engine") == 0) return true;
    for (size_t i = 0; i < s->unit->rotor_count; i++) {
        *y += BOX_HEIGHT + 6;
        if (strcmp(part, s->unit->rotors[i].name) == 0) return true;
    }
    if (!has_axle(s) || strcmp(part, "axle") != 0) return false;
    *x = lay_sketch_x(s, s->layout.bodies[s->unit->output >= 0 ? s->unit->output : s->unit->reference].right) + 2;
    *y = output_y(s);
    return true;
}

void lay_sketch_outside(const lay_sketch *s) {
    double x, y;
    if (outside_place(s, "engine", &x, &y)) box(s, x, y, "engine");
    if (outside_place(s, "axle", &x, &y)) box(s, x, y, "axle");
    for (size_t i = 0; i < s->unit->rotor_count; i++)
        if (outside_place(s, s->unit->rotors[i].name, &x, &y)) box(s, x, y, s->unit->rotors[i].name);
}

/* ---- names ---- */

#define NAME_COLUMNS 13

static bool drawn_shaft(const lay_sketch *s, int body) {
    const lay_drawn_body *b = &s->layout.bodies[body];
    return b->host == LAY_NOWHERE && !b->planet && b->right > b->left;
}

static void shaft_name(const lay_sketch *s, int body) {
    const lay_drawn_body *b = &s->layout.bodies[body];
    const char *name = s->unit->bodies[body].name;
    double y = lay_sketch_axis(s, body);
    int lines = lay_canvas_line_count(name, NAME_COLUMNS, 2);
    if (!drawn_shaft(s, body)) return;
    if (body == s->unit->reference)
        lay_canvas_lines(s->out, lay_sketch_x(s, b->left), y - 24 - 13 * (lines - 1), SMALL, LAY_ANCHOR_START, name,
                         NAME_COLUMNS, 2);
    else if (body == s->unit->output) /* clear of a ring that ends where the shaft begins */
        lay_canvas_lines(s->out, lay_sketch_x(s, b->right) + (has_axle(s) ? LAY_SKETCH_BOX_WIDTH : 0),
                         y - 24 - 13 * (lines - 1), SMALL, LAY_ANCHOR_END, name, NAME_COLUMNS, 2);
    else if (b->left < 1 && s->layout.bodies[body].axis != s->layout.bodies[s->unit->reference].axis)
        lay_canvas_lines(s->out, lay_sketch_x(s, b->left) - 6, y + 4, SMALL, LAY_ANCHOR_END, name, NAME_COLUMNS, 2);
    else if (s->layout.bodies[body].axis == s->layout.bodies[s->unit->reference].axis)
        lay_canvas_lines(s->out, lay_sketch_x(s, round(b->left)), y + 26, 0.84 * LAY_SKETCH_TINY, LAY_ANCHOR_MIDDLE,
                         name, NAME_COLUMNS, 2);
    else
        lay_canvas_lines(s->out, lay_sketch_x(s, b->right) + 6, y + 4, SMALL, LAY_ANCHOR_START, name, NAME_COLUMNS, 2);
}

/* What stands in a column, one name a mesh. */
static void column_names(const lay_sketch *s, size_t column, lay_text *out) {
    for (size_t i = 0; i < s->unit->mesh_count; i++)
        if (s->layout.column[i] == column) lay_text_add(out, "%s%s", out->length ? " / " : "", s->unit->meshes[i].name);
}

static int foot_columns(const lay_sketch *s) {
    return (int)fmax(5, s->pitch / (0.5 * LAY_SKETCH_TINY));
}

void lay_sketch_names(const lay_sketch *s) {
    double y = lay_sketch_y(s, s->layout.bottom) + 26;
    for (size_t c = 0; c < s->layout.column_count; c++) {
        lay_text text = {0};
        column_names(s, c, &text);
        lay_canvas_lines(s->out, lay_sketch_x(s, (double)c + 0.5), y, LAY_SKETCH_TINY, LAY_ANCHOR_MIDDLE,
                         text.failed ? "" : text.text, foot_columns(s), LAY_SKETCH_FOOT_LINES);
        lay_text_free(&text);
    }
    for (size_t b = 1; b < s->unit->body_count; b++) shaft_name(s, (int)b);
}

/* ---- marks ---- */

#define BADGE 11.0

static void badge(const lay_sketch *s, const lay_mark *m, double x, double y) {
    char text[16];
    snprintf(text, sizeof text, "%d", m->number);
    lay_canvas_circle(s->out, x, y, BADGE,
                      (lay_brush){m->first ? LAY_SKETCH_MARKED : "#ffffff", LAY_SKETCH_MARKED, 2, NULL});
    lay_canvas_text(s->out, x, y + 5, 14, LAY_ANCHOR_MIDDLE, true, m->first ? "#ffffff" : LAY_SKETCH_MARKED, text);
}

static bool mesh_place(const lay_sketch *s, const lay_mark *m, double *x, double *y) {
    for (size_t i = 0; i < s->unit->mesh_count; i++) {
        const lay_drawn_wheel *a = &s->layout.wheels[2 * i], *b = a + 1;
        if (strcmp(s->unit->meshes[i].name, m->part) != 0) continue;
        double ya = lay_sketch_axis(s, a->body), yb = lay_sketch_axis(s, b->body), ra = a->radius * s->scale,
               rb = b->radius * s->scale;
        double way = yb > ya ? 1 : -1;
        *x = lay_sketch_x(s, (double)s->layout.column[i] + 0.5) + s->wheel_width / 2 + BADGE;
        *y = ya + way * ra;
        if (m->body != NULL && strcasecmp(m->body, s->unit->bodies[a->body].name) == 0) *y = ya - way * 0.6 * ra;
        if (m->body != NULL && strcasecmp(m->body, s->unit->bodies[b->body].name) == 0) *y = yb + way * 0.6 * rb;
        return true;
    }
    return false;
}

static bool mark_place(const lay_sketch *s, const lay_mark *m, double *x, double *y) {
    if (m->part == NULL) return false;
    if (mesh_place(s, m, x, y)) return true;
    for (size_t i = 0; i < s->unit->bearing_count; i++)
        if (strcmp(s->unit->bearings[i].name, m->part) == 0 && lay_sketch_bearing_place(s, i, x, y)) {
            *y += LAY_SKETCH_SHAFT / 2 + 16 + BADGE;
            return true;
        }
    if (!outside_place(s, m->part, x, y)) return false;
    *x += LAY_SKETCH_BOX_WIDTH / 2;
    *y += BOX_HEIGHT / 2 + BADGE;
    return true;
}

/* Later marks step aside of earlier ones. */
void lay_sketch_marks(const lay_sketch *s) {
    for (size_t i = 0; i < s->d->mark_count; i++) {
        double x, y, ox, oy;
        if (!mark_place(s, &s->d->marks[i], &x, &y)) continue;
        for (size_t k = 0; k < i; k++)
            if (mark_place(s, &s->d->marks[k], &ox, &oy) && fabs(ox - x) < 2 * BADGE && fabs(oy - y) < 2 * BADGE)
                y = oy + 2 * BADGE + 1;
        badge(s, &s->d->marks[i], x, y);
    }
}
