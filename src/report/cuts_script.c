/* Level of a suspect's orders against speed, run by run: drive solid, coast dashed, named at their ends. */
#include "look_plot.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "plot_parts.h"
#include "utf8.h"
#include "words.h"

#define POINTS_LEAST 4 /* speeds of a cut worth a curve */
#define CURVES 6
#define HEIGHT 6.3       /* over the noise, as a ratio of powers: 8 dB */
#define ENDS_APART 0.045 /* of the height: names at the ends of curves */

typedef struct curve {
    const lay_cut *cut;
    const lay_look_order *of;
    const lay_run_evidence *run;
    double loudest; /* dB */
    double end;     /* dB, where its name stands */
} curve;

typedef struct plot {
    const lay_report_view *view;
    size_t suspect;
    curve curves[CURVES];
    size_t count;
    double low, high, low_rpm, high_rpm;
    lay_text *out;
} plot;

static double level_at(const curve *c, size_t i) {
    return lay_run_level_db(c->run, c->cut->power[i]);
}

static double loudest_of(const curve *c) {
    double most = -INFINITY;
    for (size_t i = 0; i < c->cut->count; i++) most = fmax(most, level_at(c, i));
    return most;
}

/* Somewhere at least; what stays in the noise says nothing. */
static bool stands_out(const curve *c) {
    for (size_t i = 0; i < c->cut->count; i++)
        if (c->cut->power[i] > HEIGHT * c->cut->floor[i]) return true;
    return false;
}

static bool same_reference(const plot *p, const lay_run_evidence *run) {
    return p->count == 0 || run->quantity == p->curves[0].run->quantity;
}

/* The loudest curves of the suspect, loudest first. */
static void choose(plot *p) {
    const lay_look *look = &p->view->d->look;
    for (size_t i = 0; i < look->cut_count; i++) {
        const lay_look_order *of = &look->orders[i];
        if (of->suspect != (int)p->suspect || look->cuts[i].count < POINTS_LEAST) continue;
        curve c = {.cut = &look->cuts[i], .of = of, .run = &p->view->d->runs[of->run]};
        c.loudest = loudest_of(&c);
        if (!isfinite(c.loudest) || !stands_out(&c) || !same_reference(p, c.run)) continue;
        size_t at = p->count < CURVES ? p->count : CURVES - 1;
        if (p->count == CURVES && c.loudest <= p->curves[at].loudest) continue;
        for (; at > 0 && p->curves[at - 1].loudest < c.loudest; at--) p->curves[at] = p->curves[at - 1];
        p->curves[at] = c;
        if (p->count < CURVES) p->count++;
    }
}

bool lay_cuts_worth(const lay_report_view *view, size_t suspect) {
    plot p = {.view = view, .suspect = suspect};
    choose(&p);
    return p.count > 0;
}

static void find_range(plot *p) {
    p->low = p->low_rpm = INFINITY;
    p->high = p->high_rpm = -INFINITY;
    for (size_t k = 0; k < p->count; k++) {
        const lay_cut *cut = p->curves[k].cut;
        for (size_t i = 0; i < cut->count; i++) {
            double level = level_at(&p->curves[k], i);
            if (!isfinite(level)) continue;
            p->high = fmax(p->high, level);
            p->low = fmin(p->low, level);
            p->low_rpm = fmin(p->low_rpm, 60 * cut->hz[i]);
            p->high_rpm = fmax(p->high_rpm, 60 * cut->hz[i]);
        }
    }
    p->low = fmax(p->low, p->high - 70) - 3;
    p->high += 6;
}

static void data(plot *p) {
    for (size_t k = 0; k < p->count; k++) {
        const curve *c = &p->curves[k];
        lay_text_add(p->out, "$cut%zu << END\n", k);
        for (size_t i = 0; i < c->cut->count; i++) {
            double level = level_at(c, i), floor = lay_run_level_db(c->run, c->cut->floor[i]);
            if (isfinite(level))
                lay_text_add(p->out, "%s %s %s\n", lay_words_number(60 * c->cut->hz[i], 2).text,
                             lay_words_number(level, 2).text,
                             isfinite(floor) ? lay_words_number(floor, 2).text : "NaN");
        }
        lay_text_add(p->out, "END\n");
    }
}

/* Names of curves go beside their ends, moved apart where two would touch. */
static void place_names(plot *p) {
    double apart = ENDS_APART * (p->high - p->low);
    curve *order[CURVES];
    for (size_t k = 0; k < p->count; k++) {
        curve *c = &p->curves[k];
        c->end = fmax(p->low, level_at(c, c->cut->count - 1));
        size_t at = k;
        for (; at > 0 && order[at - 1]->end > c->end; at--) order[at] = order[at - 1];
        order[at] = c;
    }
    for (size_t k = 1; k < p->count; k++) order[k]->end = fmax(order[k]->end, order[k - 1]->end + apart);
    double over = p->count ? order[p->count - 1]->end - (p->high - apart) : 0;
    for (size_t k = p->count; over > 0 && k-- > 0;) {
        double most = k + 1 < p->count ? order[k + 1]->end - apart : p->high - apart;
        order[k]->end = fmin(order[k]->end, most);
    }
}

static void names(const plot *p) {
    for (size_t k = 0; k < p->count; k++) {
        const curve *c = &p->curves[k];
        lay_text words = {0};
        lay_text_add(&words, "run %d, %s, order %s", c->of->run + 1, lay_words_load(c->run->load),
                     lay_words_number(c->cut->order, 2).text);
        lay_text_add(p->out, "set label ");
        lay_plot_quoted(p->out, words.failed ? "" : words.text);
        lay_text_add(p->out, " at graph 1.012, first %s left noenhanced font ',11'\n",
                     lay_words_number(c->end, 2).text);
        lay_text_free(&words);
    }
}

/* A mark where the loudest curve passes a claimed resonance. */
static void resonances(const plot *p) {
    const lay_look *look = &p->view->d->look;
    const curve *c = &p->curves[0];
    for (size_t i = 0; look->answered && i < look->response.resonance_count && i < 4; i++) {
        double hz = look->response.resonances[i].hz, rpm = 60 * hz / c->cut->order;
        if (rpm < p->low_rpm || rpm > p->high_rpm) continue;
        lay_text_add(p->out,
                     "set arrow from %s, graph 0 to %s, graph 0.93 nohead lw 1.4 dt (12,8) lc rgb '#e08a00'\n"
                     "set label '%s Hz answers' at %s, graph 0.965 center font ',11'\n",
                     lay_words_number(rpm, 1).text, lay_words_number(rpm, 1).text, lay_words_number(hz, 0).text,
                     lay_words_number(rpm, 1).text);
    }
}

static void axes(const plot *p) {
    const lay_suspect *s = &p->view->d->verdict.suspects[p->suspect];
    const char *reference = lay_words_body(p->view->unit, p->view->unit->reference);
    double margin = fmax(0.02 * (p->high_rpm - p->low_rpm), 5);
    lay_text words = {0};
    lay_text_add(&words, "Level of '");
    lay_utf8_fit(&words, s->part, 40);
    lay_text_add(&words, "' against speed");
    lay_text_add(p->out, "set title ");
    lay_plot_quoted(p->out, words.failed ? "" : words.text);
    lay_text_free(&words);
    lay_utf8_fit(&words, reference != NULL ? reference : "reference shaft", 40);
    lay_text_add(&words, " (rpm)");
    lay_text_add(p->out, " noenhanced font ',16'\nset xlabel ");
    lay_plot_quoted(p->out, words.failed ? "" : words.text);
    lay_text_free(&words);
    lay_text_add(p->out, " noenhanced\nset ylabel 'Level (dB re %s)' noenhanced\n",
                 lay_quantity_reference(p->curves[0].run->quantity));
    lay_text_add(p->out, "set xrange [%s:%s]\nset yrange [%s:%s]\n", lay_words_number(p->low_rpm - margin, 1).text,
                 lay_words_number(p->high_rpm + margin, 1).text, lay_words_number(p->low, 1).text,
                 lay_words_number(p->high, 1).text);
    lay_text_add(p->out,
                 "set decimalsign '.'\nset grid xtics ytics back lt 1 lw 1 lc rgb '#dddddd'\nset tics out nomirror\n"
                 "set border 3\nset rmargin at screen 0.80\n"
                 "set bmargin at screen 0.18\nset key at screen 0.78,0.045 horizontal Left reverse samplen 3\n");
}

static const char *dashes(lay_load load) {
    return load == LAY_LOAD_DRIVE ? "1" : load == LAY_LOAD_COAST ? "2" : "4";
}

static void picture(const plot *p, lay_picture_kind kind, const char *path) {
    static const char *const colours[CURVES] = {"#c0392b", "#1f4e8c", "#0b7a4b", "#7b3fa0", "#8a5a00", "#00838f"};
    static const int shapes[CURVES] = {7, 5, 9, 11, 13, 6};
    if (path == NULL) return;
    lay_plot_begin(p->out, kind, 1200, 600, path);
    lay_text_add(p->out, "plot ");
    for (size_t k = 0; k < p->count; k++)
        lay_text_add(p->out, "%s$cut%zu using 1:3 with lines lw 1 lc rgb '#bbbbbb' %s", k ? ", " : "", k,
                     k ? "notitle" : "title 'noise in the same filter'");
    for (size_t k = 0; k < p->count; k++)
        lay_text_add(p->out, ", $cut%zu using 1:2 with linespoints lw 1.8 dt %s pt %d ps 0.7 pi 4 lc rgb '%s' notitle",
                     k, dashes(p->curves[k].run->load), shapes[k], colours[k]);
    lay_text_add(p->out, "\n");
    lay_plot_end(p->out);
}

lay_status lay_cuts_script(const lay_report_view *view, size_t suspect, const char *png, const char *svg, lay_text *out,
                           lay_error *err) {
    plot p = {.view = view, .suspect = suspect, .out = out};
    lay_status status = lay_plot_check_path(png, err);
    if (status == LAY_OK) status = lay_plot_check_path(svg, err);
    if (status != LAY_OK) return status;
    choose(&p);
    if (p.count == 0) return lay_fail(err, LAY_BAD_INPUT, "no level against speed was measured");
    find_range(&p);
    place_names(&p);
    data(&p);
    axes(&p);
    names(&p);
    resonances(&p);
    picture(&p, LAY_PICTURE_PNG, png);
    picture(&p, LAY_PICTURE_SVG, svg);
    if (png == NULL && svg == NULL) picture(&p, LAY_PICTURE_WINDOW, "");
    return out->failed ? lay_fail(err, LAY_NO_MEMORY, "not enough memory to draw the levels") : LAY_OK;
}
