#include "drawing.h"

#include <layshaft/report.h>

#include <math.h>
#include <string.h>
#include <strings.h>

#include "markup.h"
#include "sketch.h"
#include "words.h"

#define HEAD 40.0 /* above: names of the shafts on top */

double lay_sketch_x(const lay_sketch *s, double column) {
    return s->margin + column * s->pitch;
}

double lay_sketch_y(const lay_sketch *s, double y) {
    return HEAD + (y - s->layout.top) * s->scale;
}

double lay_sketch_axis(const lay_sketch *s, int body) {
    return lay_sketch_y(s, s->layout.axis_y[s->layout.bodies[body].axis]);
}

bool lay_sketch_carries(const lay_sketch *s, int body) {
    return s->solved && body != LAY_CASE && s->k.carries[body];
}

const lay_mark *lay_sketch_mark_on(const lay_sketch *s, const char *part, const char *body) {
    for (size_t i = 0; i < s->d->mark_count; i++) {
        const lay_mark *m = &s->d->marks[i];
        if (m->part == NULL || strcmp(m->part, part) != 0) continue;
        if (body == NULL || m->body == NULL || strcasecmp(m->body, body) == 0) return m;
    }
    return NULL;
}
/* ---- the whole ---- */

#define DRAWING_HEIGHT 260.0 /* about, of the wheels */
#define DRAWING_WIDTH 480.0

static void measure(lay_sketch *s) {
    double columns = (double)s->layout.column_count, tall = s->layout.bottom - s->layout.top;
    s->pitch = fmin(84, fmax(52, DRAWING_WIDTH / columns));
    s->scale = fmin(4.5, DRAWING_HEIGHT / fmax(tall, 1));
    s->margin = fmax(0.62 * s->pitch + LAY_SKETCH_BOX_WIDTH, 100) + 6;
    s->wheel_width = 0.4 * s->pitch;
    s->width = 2 * s->margin + columns * s->pitch;
    s->height = lay_sketch_y(s, s->layout.bottom) + 30 + LAY_SKETCH_FOOT_LINES * 1.15 * LAY_SKETCH_TINY;
}

static void begin(const lay_sketch *s) {
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
                 LAY_SKETCH_MARKED);
}

static void draw(const lay_sketch *s) {
    begin(s);
    lay_sketch_train(s);
    lay_sketch_outside(s);
    if (s->solved) {
        lay_sketch_flow(s);
        lay_sketch_couplings(s);
    }
    lay_sketch_names(s);
    lay_sketch_marks(s);
    lay_text_add(s->out, "</svg>\n");
}

lay_status lay_drawing_write(const lay_drawing *d, bool *drawn, lay_text *out, lay_error *err) {
    lay_sketch s = {.d = d, .unit = d->unit, .out = out};
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
