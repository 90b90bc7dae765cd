/* Speed over time below the spectra over time, as gnuplot commands with the data inline. Greys and dashes, so that a
 * print in black and white says the same. */
#include <layshaft/report.h>

#include <math.h>
#include <stdlib.h>

#include "plot_parts.h"
#include "speed_plot.h"
#include "speed_words.h"
#include "utf8.h"
#include "words.h"

#define KNOTS_SHOWN 1500   /* of each curve */
#define SHORTEST_AXIS 0.05 /* s */

/* ---- what is drawn ---- */

/* Engine firing and the lowest mesh under load, where the gear has them. */
static lay_status find_guides(lay_speed_plot *p, lay_error *err) {
    lay_kinematics k = {0};
    lay_expected *expected = NULL;
    size_t count = 0;
    lay_speed_guide engine = {"engine firing", 0, "#0b7a4b", "#20c482", "(10,8)"};
    lay_speed_guide mesh = {"", INFINITY, "#c0392b", "#ff6a55", "(4,6)"};
    if (p->row->speed->gear < 0 || !p->row->speed->found) return LAY_OK;
    lay_status status = lay_unit_solve(p->unit, p->row->speed->gear, &k, err);
    if (status == LAY_OK) status = lay_unit_expect(p->unit, &k, &expected, &count, err);
    for (size_t i = 0; status == LAY_OK && i < count; i++) {
        const lay_expected *e = &expected[i];
        if (e->type == LAY_PART_ENGINE && e->turning) engine.order = e->order;
        if (e->type == LAY_PART_MESH && e->loaded && e->turning && e->order < mesh.order) {
            mesh.order = e->order;
            mesh.name = e->name; /* the unit's */
        }
    }
    if (engine.order > 0) p->guides[p->guide_count++] = engine;
    if (isfinite(mesh.order)) p->guides[p->guide_count++] = mesh;
    free(expected);
    lay_kinematics_free(&k);
    return status;
}

/* Both ends of the rpm axis: the band, and never less than 4 % of the speed, else a steady run looks restless. */
static void find_range(lay_speed_plot *p) {
    const lay_shaft *s = &p->row->speed->shaft;
    double low = INFINITY, high = -INFINITY;
    for (size_t i = 0; i < s->count; i++) {
        double wide = s->sd != NULL ? 2 * s->sd[i] : 0;
        low = fmin(low, 60 * s->hz[i] * (1 - wide));
        high = fmax(high, 60 * s->hz[i] * (1 + wide));
    }
    if (!(high > 0)) low = 0, high = 1; /* no speed: an empty panel */
    double margin = fmax(0.08 * (high - low), 0.02 * high);
    p->low_rpm = fmax(0, low - margin);
    p->high_rpm = high + margin;
    p->top_hz = p->map->step_hz * (double)(p->map->bins > 1 ? p->map->bins - 1 : 1);
}

/* ---- data ---- */

/* With times and frequencies at the edges: gnuplot would take twice as long to compute them cell by cell. */
static void map_data(const lay_speed_plot *p) {
    const lay_spectrogram *m = p->map;
    lay_text_add(p->out, "$map << END\n%zu", m->columns);
    for (size_t c = 0; c < m->columns; c++)
        lay_text_add(p->out, " %s", lay_words_number(m->start_s + (double)c * m->step_s, 4).text);
    lay_text_add(p->out, "\n");
    for (size_t b = 0; b < m->bins; b++) {
        lay_text_add(p->out, "%s", lay_words_number((double)b * m->step_hz, 3).text);
        for (size_t c = 0; c < m->columns; c++) lay_text_add(p->out, " %d", p->shades.shade[c * m->bins + b]);
        lay_text_add(p->out, "\n");
    }
    lay_text_add(p->out, "END\n");
}

/* time, rpm, lower and upper edge of the band. */
static void knot(const lay_speed_plot *p, size_t i) {
    const lay_shaft *s = &p->row->speed->shaft;
    double rpm = 60 * s->hz[i], wide = s->sd != NULL ? 2 * s->sd[i] * rpm : 0;
    lay_text_add(p->out, "%s %s %s %s\n", lay_words_number(s->time[i], 3).text, lay_words_number(rpm, 2).text,
                 lay_words_number(rpm - wide, 2).text, lay_words_number(rpm + wide, 2).text);
}

/* A blank line between segments leaves the gap open; both ends of a segment are always there. */
static void speed_data(const lay_speed_plot *p) {
    const lay_shaft *s = &p->row->speed->shaft;
    size_t every = s->count / KNOTS_SHOWN + 1;
    lay_text_add(p->out, "$speed << END\n");
    for (size_t k = 0; k < s->segment_count; k++) {
        size_t first = s->segment_start[k], end = k + 1 < s->segment_count ? s->segment_start[k + 1] : s->count;
        if (k > 0) lay_text_add(p->out, "\n");
        for (size_t i = first; i < end; i++)
            if ((i - first) % every == 0 || i + 1 == end) knot(p, i);
    }
    lay_text_add(p->out, "END\n");
}

/* ---- the two panels ---- */

static void frame(const lay_speed_plot *p) {
    double duration = fmax(p->row->speed->duration_s, SHORTEST_AXIS);
    lay_text_add(p->out,
                 "set decimalsign '.'\nset xrange [0:%s]\nset tics out nomirror\nset border 3\nunset key\n"
                 "set lmargin at screen 0.085\nset rmargin at screen 0.855\n",
                 lay_words_number(duration, 3).text);
}

static void map_panel(const lay_speed_plot *p) {
    lay_text_add(p->out,
                 "set tmargin at screen 0.915\nset bmargin at screen 0.40\n"
                 "set label 'Frequency (Hz)' at screen 0.012,0.6575 center rotate by 90\n"
                 "set format x ''\nset yrange [0:%s]\nset cbrange [0:100]\n"
                 "set palette defined (0 '#ffffff', 100 '#000000')\n",
                 lay_words_number(p->top_hz, 1).text);
    lay_text_add(p->out,
                 "set colorbox horizontal user origin screen 0.872,0.875 size screen 0.11,0.016\n"
                 "set cbtics ('%s' 0, '%s' 100) scale 0 offset 0,0.4 font ',10'\n"
                 "set cblabel 'dB over the noise' offset 0,1.1 font ',10'\n",
                 lay_words_number(p->shades.white_db, 0).text, lay_words_number(p->shades.black_db, 0).text);
    if (p->guide_count > 0) lay_speed_plot_guides(p);
    lay_text_add(p->out, "plot $map nonuniform matrix using 1:2:3 with image");
    for (size_t i = 0; i < p->guide_count; i++)
        lay_text_add(p->out, ", $speed using 1:(%s * $2) with lines lw 1.5 dt %s lc rgb '%s'",
                     lay_words_number(p->guides[i].order / 60, 6).text, p->guides[i].dash, p->guides[i].line);
    lay_text_add(p->out, "\n");
}

static void speed_panel(const lay_speed_plot *p) {
    const char *reference = lay_words_body(p->unit, p->unit->reference);
    const lay_run_speed *speed = p->row->speed;
    lay_text words = {0};
    lay_text_add(p->out,
                 "unset label\nunset colorbox\nset format x '%%g'\nset tmargin at screen 0.375\n"
                 "set bmargin at screen 0.075\nset xlabel 'Time (s)' offset 0,0.4\n"
                 "set grid xtics ytics back lt 1 lw 1 lc rgb '#dddddd'\nset yrange [%s:%s]\n",
                 lay_words_number(p->low_rpm, 2).text, lay_words_number(p->high_rpm, 2).text);
    lay_utf8_fit(&words, reference != NULL ? reference : "reference shaft", 24);
    lay_text_add(&words, " (rpm)");
    lay_text_add(p->out, "set label ");
    lay_plot_quoted(p->out, words.failed ? "" : words.text);
    lay_text_add(p->out, " at screen 0.012,0.225 center rotate by 90 noenhanced\n");
    lay_text_free(&words);
    if (!speed->found) lay_text_add(p->out, "unset ytics\n");
    if (speed->found && !lay_speed_confirmed(speed)) lay_speed_plot_doubt(p);
    if (speed->found && speed->shaft.sd != NULL)
        lay_text_add(p->out, "set label \"grey: 95 %% sure\\nto lie within\" at graph 1.008,0.9 left font ',11'\n");
    lay_speed_plot_gaps(p);
    if (!speed->found)
        lay_text_add(p->out, "plot NaN\n");
    else
        lay_text_add(p->out,
                     "plot $speed using 1:3:4 with filledcurves fs solid noborder lc rgb '#b8b8b8', "
                     "$speed using 1:2 with lines lw 1.6 dt %s lc rgb '#000000'\n",
                     lay_speed_confirmed(speed) ? "1" : "2");
}

static void picture(const lay_speed_plot *p, lay_picture_kind kind, const char *path) {
    if (path == NULL) return;
    lay_text_add(p->out, "reset\nset encoding utf8\n");
    lay_plot_begin(p->out, kind, 1200, 800, path);
    lay_text_add(p->out, "set multiplot\n");
    frame(p);
    lay_speed_plot_title(p);
    map_panel(p);
    speed_panel(p);
    lay_text_add(p->out, "unset multiplot\n");
    lay_plot_end(p->out);
}

lay_status lay_report_speed_script(const lay_unit *unit, const lay_speed_row *row, const lay_spectrogram *map,
                                   const char *png, const char *svg, lay_text *out, lay_error *err) {
    lay_speed_plot p = {.unit = unit, .row = row, .map = map, .out = out};
    if (map->columns < 1 || map->bins < 2 || map->power == NULL)
        return lay_fail(err, LAY_BAD_INPUT, "run %zu has no spectra to draw", row->number);
    lay_status status = lay_plot_check_path(png, err);
    if (status == LAY_OK) status = lay_plot_check_path(svg, err);
    if (status == LAY_OK) status = find_guides(&p, err);
    if (status == LAY_OK) status = lay_shades_make(map, &p.shades, err);
    if (status != LAY_OK) return status;
    find_range(&p);
    map_data(&p);
    speed_data(&p);
    picture(&p, LAY_PICTURE_PNG, png);
    picture(&p, LAY_PICTURE_SVG, svg);
    lay_shades_free(&p.shades);
    return out->failed ? lay_fail(err, LAY_NO_MEMORY, "not enough memory to draw run %zu", row->number) : LAY_OK;
}
