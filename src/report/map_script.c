/* Order map of a run-up: orders across, speed upwards, level over the noise as grey, so that a print says the same.
 * Orders are upright, what is fixed in Hz (resonances) leans. */
#include "look_plot.h"

#include <math.h>
#include <stdlib.h>

#include "plot_labels.h"
#include "plot_parts.h"
#include "speed_shades.h"
#include "utf8.h"
#include "words.h"

#define SWEEP 1.15       /* highest over lowest speed of a run worth a map */
#define TEXT_COLUMNS 120 /* characters across the map */
#define TIER 0.042       /* height of a row of labels, of the picture */
#define HEAD 0.93        /* below the title, of the picture */
#define LEFT 0.085
#define RIGHT 0.86

bool lay_map_worth(const lay_run_evidence *run) {
    return run->usable && run->min_hz > 0 && run->max_hz / run->min_hz >= SWEEP && run->shaft.count >= 2;
}

double lay_map_max_order(const lay_run_evidence *run) {
    return fmin(fmax(lay_plot_max_order(run), 8), (double)(run->spectrum.bins - 1) * run->spectrum.step);
}

typedef struct plot {
    const lay_report_view *view;
    size_t number; /* of the run, from 0 */
    const lay_run_evidence *run;
    const lay_order_spectrum *map;
    lay_shades shades;
    size_t *rows; /* of the map that hold something, rising speed */
    size_t row_count;
    double max_order;
    lay_plot_label labels[LAY_PLOT_LABELS];
    size_t label_count;
    double top; /* of the map, of the picture: the labels need some room */
    lay_text *out;
} plot;

/* Rows as columns of a spectrogram, so that its shades can be used. */
static lay_status shade(plot *p, lay_error *err) {
    const lay_order_spectrum *m = p->map;
    p->rows = lay_calloc(m->classes + 1, sizeof *p->rows);
    double *power = lay_calloc(m->classes * m->bins + 1, sizeof *power);
    lay_status status = p->rows && power ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory to draw the map");
    for (size_t c = 0; status == LAY_OK && c < m->classes; c++) {
        if (m->class_segments[c] < 1) continue;
        for (size_t i = 0; i < m->bins; i++) power[p->row_count * m->bins + i] = m->map[c * m->bins + i];
        p->rows[p->row_count++] = c;
    }
    if (status == LAY_OK && p->row_count < 2)
        status = lay_fail(err, LAY_BAD_INPUT, "run %zu holds too little speed for an order map", p->number + 1);
    const lay_spectrogram s = {.power = power, .columns = p->row_count, .bins = m->bins, .step_s = 1, .step_hz = 1};
    if (status == LAY_OK) status = lay_shades_make(&s, &p->shades, err);
    free(power);
    return status;
}

static double row_rpm(const plot *p, size_t row) {
    return 60 * p->map->class_hz[p->rows[row]];
}

static double row_step(const plot *p) {
    return (row_rpm(p, p->row_count - 1) - row_rpm(p, 0)) / (double)(p->row_count - 1);
}

/* Each row is drawn between the middles to its neighbours: speeds of rows are not quite even. */
static void data(const plot *p) {
    size_t bins = (size_t)(p->max_order / p->map->step) + 1;
    if (bins > p->map->bins) bins = p->map->bins;
    double first = row_rpm(p, 0), step = row_step(p);
    lay_text_add(p->out, "$map << END\n%zu", bins);
    for (size_t i = 0; i < bins; i++) lay_text_add(p->out, " %s", lay_words_number((double)i * p->map->step, 4).text);
    lay_text_add(p->out, "\n");
    for (size_t r = 0; r < p->row_count; r++) {
        lay_text_add(p->out, "%s", lay_words_number(first + (double)r * step, 3).text);
        for (size_t i = 0; i < bins; i++) lay_text_add(p->out, " %d", p->shades.shade[r * p->map->bins + i]);
        lay_text_add(p->out, "\n");
    }
    lay_text_add(p->out, "END\n");
}

static void title(const plot *p) {
    const lay_run_spec *spec = &p->view->table->runs[p->number];
    const char *gear = lay_words_gear(p->view->unit, spec, p->run);
    lay_text words = {0};
    lay_text_add(&words, "Run %zu  ", p->number + 1);
    lay_utf8_fit(&words, spec->file, 40);
    lay_text_add(&words, "   gear ");
    lay_utf8_fit(&words, gear[0] ? gear : "unknown", 20);
    lay_text_add(&words, ", %s: orders against speed", lay_words_load(p->run->load));
    lay_text_add(p->out, "set label ");
    lay_plot_quoted(p->out, words.failed ? "" : words.text);
    lay_text_add(p->out, " at screen 0.4725,0.965 center noenhanced font ',16'\n");
    lay_text_free(&words);
}

static void labels(const plot *p) {
    for (size_t i = 0; i < p->label_count; i++) {
        const lay_plot_label *l = &p->labels[i];
        if (l->tier < 0) continue;
        double y = p->top + TIER * (0.7 + l->tier), span = RIGHT - LEFT;
        lay_text_add(p->out,
                     "set arrow from first %s, graph 1 to first %s, screen %.4f nohead lc rgb '#999999' lw 1 dt 3\n",
                     lay_words_number(l->x, 4).text, lay_words_number(l->x, 4).text, y - 0.014);
        lay_text_add(p->out, "set label ");
        lay_plot_quoted(p->out, l->text);
        lay_text_add(p->out, " at screen %.4f,%.4f center noenhanced font ',11'\n", LEFT + span * l->at / p->max_order,
                     y);
    }
}

/* Claimed resonances: order = Hz / turns per second, a hyperbola, named where it leaves the map. */
static void resonances(const plot *p) {
    const lay_look *look = &p->view->d->look;
    double low = row_rpm(p, 0), high = row_rpm(p, p->row_count - 1);
    for (size_t i = 0; look->answered && i < look->response.resonance_count && i < 4; i++) {
        double hz = look->response.resonances[i].hz, order = 60 * hz / high;
        if (order > p->max_order) continue;
        lay_text_add(p->out, "$hz%zu << END\n", i);
        for (int k = 0; k <= 40; k++) {
            double rpm = low + (high - low) * k / 40;
            if (60 * hz / rpm <= p->max_order)
                lay_text_add(p->out, "%s %s\n", lay_words_number(60 * hz / rpm, 3).text, lay_words_number(rpm, 1).text);
        }
        lay_text_add(p->out, "END\nset label '%s Hz' at first %s, first %s left offset 0.4,-0.6 front font ',11'\n",
                     lay_words_number(hz, 0).text, lay_words_number(order, 3).text, lay_words_number(high, 1).text);
    }
}

static void frame(const plot *p) {
    const char *reference = lay_words_body(p->view->unit, p->view->unit->reference);
    double first = row_rpm(p, 0), last = row_rpm(p, p->row_count - 1);
    double half = 0.5 * (last - first) / (double)(p->row_count - 1);
    lay_text words = {0};
    lay_text_add(&words, "Order (events per turn of the ");
    lay_utf8_fit(&words, reference != NULL ? reference : "reference shaft", 40);
    lay_text_add(&words, ")");
    lay_text_add(p->out, "set xlabel ");
    lay_plot_quoted(p->out, words.failed ? "" : words.text);
    lay_text_free(&words);
    lay_utf8_fit(&words, reference != NULL ? reference : "reference shaft", 30);
    lay_text_add(&words, " (rpm)");
    lay_text_add(p->out, " noenhanced\nset ylabel ");
    lay_plot_quoted(p->out, words.failed ? "" : words.text);
    lay_text_free(&words);
    lay_text_add(
        p->out,
        " noenhanced\nset decimalsign '.'\nset xrange [0:%s]\nset yrange [%s:%s]\nset tics out nomirror\nset border 3\n"
        "unset key\nset lmargin at screen %.3f\nset rmargin at screen %.3f\nset tmargin at screen %.3f\n"
        "set bmargin at screen 0.11\nset cbrange [0:100]\nset palette defined (0 '#ffffff', 100 '#000000')\n"
        "set colorbox horizontal user origin screen 0.875,0.60 size screen 0.11,0.016\n"
        "set cbtics ('%s' 0, '%s' 100) scale 0 offset 0,0.4 font ',10'\n"
        "set cblabel 'dB over the noise' offset 0,1.1 font ',10'\n",
        lay_words_number(p->max_order, 3).text, lay_words_number(first - half, 1).text,
        lay_words_number(last + half, 1).text, LEFT, RIGHT, p->top, lay_words_number(p->shades.white_db, 0).text,
        lay_words_number(p->shades.black_db, 0).text);
}

static void picture(const plot *p, lay_picture_kind kind, const char *path) {
    if (path == NULL) return;
    const lay_look *look = &p->view->d->look;
    lay_plot_begin(p->out, kind, 1200, 700, path);
    lay_text_add(p->out, "plot $map nonuniform matrix using 1:2:3 with image");
    for (size_t i = 0; look->answered && i < look->response.resonance_count && i < 4; i++)
        if (60 * look->response.resonances[i].hz / row_rpm(p, p->row_count - 1) <= p->max_order)
            lay_text_add(p->out, ", $hz%zu with lines lw 1.6 dt (12,8) lc rgb '#e08a00'", i);
    lay_text_add(p->out, "\n");
    lay_plot_end(p->out);
}

lay_status lay_map_script(const lay_report_view *view, size_t run, const lay_order_spectrum *map, const char *png,
                          const char *svg, lay_text *out, lay_error *err) {
    plot p = {.view = view, .number = run, .run = &view->d->runs[run], .map = map, .out = out};
    p.max_order = fmin(lay_map_max_order(p.run), (double)(map->bins - 1) * map->step);
    lay_status status = lay_plot_check_path(png, err);
    if (status == LAY_OK) status = lay_plot_check_path(svg, err);
    if (status == LAY_OK) status = shade(&p, err);
    if (status == LAY_OK) {
        p.label_count = lay_plot_labels_choose(view->unit, p.run, p.max_order, TEXT_COLUMNS, p.labels);
        int tiers = 0;
        for (size_t i = 0; i < p.label_count; i++)
            if (p.labels[i].tier >= tiers) tiers = p.labels[i].tier + 1;
        p.top = HEAD - TIER * (tiers + 0.3);
        data(&p);
        title(&p);
        frame(&p);
        labels(&p);
        resonances(&p);
        picture(&p, LAY_PICTURE_PNG, png);
        picture(&p, LAY_PICTURE_SVG, svg);
        if (out->failed) status = lay_fail(err, LAY_NO_MEMORY, "not enough memory to draw run %zu", run + 1);
    }
    free(p.rows);
    lay_shades_free(&p.shades);
    return status;
}
