/* The two wheels of a mesh over one turn each: the averaged signal around a ring, teeth counted in the sense of
 * turning, and a bar inwards for what each tooth has that its neighbours have not. */
#include "look_plot.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "plot_parts.h"
#include "utf8.h"
#include "words.h"

#define RING 0.78  /* radius of the ring */
#define SWING 0.16 /* of the signal around it */
#define TEETH_RING 1.0
#define BARS_OUT 0.58 /* bars grow inwards from here */
#define BARS_IN 0.12
#define FULL 6.0
#define SHOWN 1440 /* points of a ring */

static const lay_look_wheel *wheel_of(const lay_report_view *view, size_t suspect, int wheel) {
    const lay_look *look = &view->d->look;
    for (size_t i = 0; i < look->wheel_count; i++)
        if (look->wheels[i].suspect == (int)suspect && look->wheels[i].wheel == wheel) return &look->wheels[i];
    return NULL;
}

bool lay_turn_worth(const lay_report_view *view, size_t suspect) {
    return wheel_of(view, suspect, 0) != NULL && wheel_of(view, suspect, 1) != NULL;
}

/* Angle of a share of a turn: 0 at the top, clockwise. */
static double x_of(double turn, double radius) {
    return radius * sin(2 * LAY_PI * turn);
}
static double y_of(double turn, double radius) {
    return radius * cos(2 * LAY_PI * turn);
}

static void point(lay_text *out, double turn, double radius) {
    lay_text_add(out, "%s %s\n", lay_words_number(x_of(turn, radius), 4).text,
                 lay_words_number(y_of(turn, radius), 4).text);
}

/* The band around the mesh and what is left of everything else: without the low orders of an engine on the same shaft.
 */
static double ring_at(const lay_look_wheel *w, size_t i) {
    return w->signals.band[i] + w->signals.difference[i];
}

static void ring_data(const lay_look_wheel *w, lay_text *out) {
    size_t points = w->signals.points, every = points / SHOWN + 1;
    double most = 1e-300;
    for (size_t i = 0; i < points; i++) most = fmax(most, fabs(ring_at(w, i)));
    lay_text_add(out, "$ring%d << END\n", w->wheel);
    for (size_t i = 0; i <= points; i += every)
        point(out, (double)i / (double)points, RING + SWING * ring_at(w, i % points) / most);
    lay_text_add(out, "END\n");
}

static double tooth_energy(const lay_look_wheel *w, int tooth) {
    size_t n = w->signals.points, from = (size_t)tooth * n / (size_t)w->teeth[0],
           to = (size_t)(tooth + 1) * n / (size_t)w->teeth[0];
    double sum = 0;
    for (size_t i = from; i < to; i++) sum += w->signals.difference[i] * w->signals.difference[i];
    return to > from ? sum / (double)(to - from) : 0;
}

/* As long as can be: FULL times the mean of all teeth. In plain noise all bars are short. */
static void bar_data(const lay_look_wheel *w, lay_text *out) {
    double mean = 1e-300;
    int teeth = w->teeth[0];
    for (int k = 0; k < teeth; k++) mean += tooth_energy(w, k) / teeth;
    lay_text_add(out, "$bars%d << END\n", w->wheel);
    for (int k = 0; k < teeth; k++) {
        double turn = (k + 0.5) / teeth, depth = (BARS_OUT - BARS_IN) * fmin(1, tooth_energy(w, k) / (FULL * mean));
        lay_text_add(out, "%s %s %s %s\n", lay_words_number(x_of(turn, BARS_OUT), 4).text,
                     lay_words_number(y_of(turn, BARS_OUT), 4).text, lay_words_number(x_of(turn, -depth), 4).text,
                     lay_words_number(y_of(turn, -depth), 4).text);
    }
    lay_text_add(out, "END\n");
}

static int numbered_every(int teeth) {
    return teeth <= 24 ? 1 : teeth <= 48 ? 2 : 5;
}

static void tooth_numbers(const lay_look_wheel *w, lay_text *out) {
    int teeth = w->teeth[0], every = numbered_every(teeth);
    for (int k = 0; k < teeth; k++) {
        double turn = (k + 0.5) / teeth;
        if (k % every && every > 1) continue;
        lay_text_add(out, "set label '%d' at %s,%s center font ',9' textcolor rgb '#555555'\n", k + 1,
                     lay_words_number(x_of(turn, TEETH_RING + 0.05), 4).text,
                     lay_words_number(y_of(turn, TEETH_RING + 0.05), 4).text);
    }
    lay_text_add(out, "$teeth%d << END\n", w->wheel);
    for (int k = 0; k < teeth; k++) {
        point(out, (double)k / teeth, TEETH_RING - 0.03);
        point(out, (double)k / teeth, TEETH_RING);
        lay_text_add(out, "\n");
    }
    lay_text_add(out, "END\n");
}

/* The place that the closer look points at on this wheel; NULL: none. */
static const lay_symptom *pointed_at(const lay_report_view *view, const lay_look_wheel *w) {
    const lay_suspect *s = &view->d->verdict.suspects[w->suspect];
    const char *body = lay_words_body(view->unit, w->body);
    for (size_t i = 0; i < s->symptom_count; i++)
        if (s->symptoms[i].kind == LAY_SYMPTOM_LOCAL && s->symptoms[i].body && body &&
            strcmp(s->symptoms[i].body, body) == 0)
            return &s->symptoms[i];
    return NULL;
}

static void words(const lay_report_view *view, const lay_look_wheel *w, lay_text *out) {
    const char *body = lay_words_body(view->unit, w->body);
    lay_text title = {0};
    lay_utf8_fit(&title, body ? body : "?", 30);
    lay_text_add(&title, ", %d teeth, mean of %.0f turns", w->teeth[0], w->average.turns);
    lay_text_add(out, "set title ");
    lay_plot_quoted(out, title.failed ? "" : title.text);
    lay_text_add(out, " noenhanced font ',14' offset 0,-0.5\n");
    lay_text_free(&title);
    lay_text_add(out, "set label '%s' at 0,-1.24 center font ',11'\n",
                 w->from_tach ? "tooth 1 meshes at the tach''s pulse; counted as it turns"
                              : "tooth 1 is where the counting began; only distances mean something");
    lay_text_add(out,
                 "set label 'bars: what one tooth has and its neighbours have not' at 0,-1.35 center font ',11'\n");
    const lay_symptom *local = pointed_at(view, w);
    if (!local) return;
    int tooth = (int)(local->value * w->teeth[0]) % w->teeth[0] + 1;
    lay_text_add(out,
                 "set arrow from 0,0 to %s,%s lw 2 lc rgb '#c0392b' front\n"
                 "set label 'tooth %d' at 0,-0.06 center front font ',12'\n",
                 lay_words_number(x_of(local->value, BARS_OUT - 0.03), 4).text,
                 lay_words_number(y_of(local->value, BARS_OUT - 0.03), 4).text, tooth);
}

static void panel(const lay_report_view *view, const lay_look_wheel *w, lay_text *out) {
    lay_text_add(out, "unset label\nunset arrow\nset origin %s,0\nset size 0.5,0.93\n", w->wheel ? "0.5" : "0");
    words(view, w, out);
    tooth_numbers(w, out);
    lay_text_add(out,
                 "plot $teeth%d with lines lw 1.4 lc rgb '#555555', $ring%d with lines lw 1.2 lc rgb '#34506b', "
                 "$bars%d using 1:2:3:4 with vectors nohead lw 3 lc rgb '#c0392b'\n",
                 w->wheel, w->wheel, w->wheel);
}

static void picture(const lay_report_view *view, size_t suspect, lay_picture_kind kind, const char *path,
                    lay_text *out) {
    if (path == NULL) return;
    lay_text title = {0};
    lay_utf8_fit(&title, view->d->verdict.suspects[suspect].part, 40);
    lay_text_add(&title, ": one turn of each wheel, run %d", wheel_of(view, suspect, 0)->run + 1);
    lay_text_add(out, "reset\nset encoding utf8\n");
    lay_plot_begin(out, kind, 1200, 680, path);
    lay_text_add(out, "set multiplot title ");
    lay_plot_quoted(out, title.failed ? "" : title.text);
    lay_text_add(out, " noenhanced font ',16'\nunset border\nunset tics\nunset key\nset size ratio -1\n"
                      "set xrange [-1.3:1.3]\nset yrange [-1.42:1.2]\nset lmargin 1\nset rmargin 1\nset bmargin 1\n");
    for (int w = 0; w < 2; w++) panel(view, wheel_of(view, suspect, w), out);
    lay_text_add(out, "unset multiplot\n");
    lay_plot_end(out);
    lay_text_free(&title);
}

lay_status lay_turn_script(const lay_report_view *view, size_t suspect, const char *png, const char *svg, lay_text *out,
                           lay_error *err) {
    lay_status status = lay_plot_check_path(png, err);
    if (status == LAY_OK) status = lay_plot_check_path(svg, err);
    if (status == LAY_OK && !lay_turn_worth(view, suspect))
        status = lay_fail(err, LAY_BAD_INPUT, "no turn of a wheel was averaged");
    if (status != LAY_OK) return status;
    for (int w = 0; w < 2; w++) {
        ring_data(wheel_of(view, suspect, w), out);
        bar_data(wheel_of(view, suspect, w), out);
    }
    picture(view, suspect, LAY_PICTURE_PNG, png, out);
    picture(view, suspect, LAY_PICTURE_SVG, svg, out);
    return out->failed ? lay_fail(err, LAY_NO_MEMORY, "not enough memory to draw the wheels") : LAY_OK;
}
