#include "compare_plots.h"

#include <math.h>
#include <string.h>

#include "plot_labels.h"
#include "plot_parts.h"
#include "utf8.h"
#include "words.h"

#define BEFORE_COLOUR "#8a8f96" /* thick and pale; after: thin and dark, so that they differ without colour too */
#define AFTER_COLOUR "#0b3d6b"

static double level_of(const lay_part_change *p) {
    double before = isnan(p->before_db) ? -INFINITY : p->before_db,
           after = isnan(p->after_db) ? -INFINITY : p->after_db;
    return fmax(before, after);
}

static bool changed(const lay_part_change *p) {
    return p->verdict == LAY_BETTER || p->verdict == LAY_WORSE;
}

size_t lay_compare_shown(const lay_comparison *x) {
    size_t best = x->part_count;
    for (size_t i = 0; i < x->part_count; i++) {
        const lay_part_change *p = &x->parts[i], *b = best < x->part_count ? &x->parts[best] : NULL;
        bool inside = p->type == LAY_PART_MESH || p->type == LAY_PART_AXLE;
        if (!inside || p->course.count == 0 || !isfinite(level_of(p))) continue;
        bool better = !b || (changed(p) && !changed(b)) || (changed(p) == changed(b) && level_of(p) > level_of(b));
        if (better) best = i;
    }
    return best;
}

/* Paths are checked, then the same plot goes to each of them. */
static lay_status both_kinds(void (*plot)(const lay_compared *, lay_text *), const lay_compared *c, int height,
                             const char *png, const char *svg, lay_text *out, lay_error *err) {
    lay_status status = lay_plot_check_path(png, err);
    if (status == LAY_OK) status = lay_plot_check_path(svg, err);
    const char *paths[] = {png, svg};
    for (int k = 0; k < 2 && status == LAY_OK; k++) {
        if (!paths[k]) continue;
        lay_plot_begin(out, k == 0 ? LAY_PICTURE_PNG : LAY_PICTURE_SVG, 1200, height, paths[k]);
        plot(c, out);
        lay_plot_end(out);
    }
    if (status == LAY_OK && out->failed) status = lay_fail(err, LAY_NO_MEMORY, "not enough memory to draw");
    return status;
}

static void title(lay_text *out, const char *words) {
    lay_text_add(out, "set title ");
    lay_plot_quoted(out, words);
    lay_text_add(out, " noenhanced font ',16'\nset decimalsign '.'\nset tics out nomirror\n");
}

/* ---- change per part ---- */

static bool has_bar(const lay_part_change *p) {
    return (p->change.before || p->change.after) && !(isnan(p->change.low_db) && isnan(p->change.high_db));
}

static size_t bars_of(const lay_comparison *x) {
    size_t n = 0;
    for (size_t i = 0; i < x->part_count; i++) n += has_bar(&x->parts[i]);
    return n;
}

/* Rows: position, change, low, high; where there is one bound only the bar ends at the border. */
static void bar_data(const lay_comparison *x, double reach, lay_text *out) {
    size_t n = bars_of(x), at = 0;
    lay_text_add(out, "$bars << END\n");
    for (size_t i = 0; i < x->part_count; i++) {
        const lay_change *c = &x->parts[i].change;
        if (!has_bar(&x->parts[i])) continue;
        double low = isnan(c->low_db) ? -reach : c->low_db, high = isnan(c->high_db) ? reach : c->high_db;
        bool bound = isnan(c->low_db) || isnan(c->high_db);
        lay_text_add(out, "%zu ", n - at++);
        lay_text_add(out, "%s ", bound ? "NaN" : lay_words_number(c->db, 2).text);
        lay_text_add(out, "%s ", lay_words_number(fmax(-reach, low), 2).text);
        lay_text_add(out, "%s\n", lay_words_number(fmin(reach, high), 2).text);
    }
    lay_text_add(out, "END\n");
}

static void bar_names(const lay_comparison *x, lay_text *out) {
    size_t n = bars_of(x), at = 0;
    lay_text_add(out, "set ytics (");
    for (size_t i = 0; i < x->part_count; i++) {
        if (!has_bar(&x->parts[i])) continue;
        lay_text name = {0};
        lay_utf8_fit(&name, x->parts[i].part, 28);
        lay_text_add(&name, ": %s", lay_words_change(x->parts[i].verdict));
        lay_text_add(out, "%s", at ? ", " : "");
        lay_plot_quoted(out, name.failed ? "" : name.text);
        lay_text_add(out, " %zu", n - at++);
        lay_text_free(&name);
    }
    lay_text_add(out, ") noenhanced\n");
}

static double bar_reach(const lay_comparison *x) {
    double reach = 6;
    for (size_t i = 0; i < x->part_count; i++) {
        const lay_change *c = &x->parts[i].change;
        const double values[] = {c->db, c->low_db, c->high_db};
        for (int k = 0; k < 3 && has_bar(&x->parts[i]); k++)
            if (!isnan(values[k])) reach = fmax(reach, fmin(30, fabs(values[k]) + 1));
    }
    return reach;
}

static void plot_bars(const lay_compared *c, lay_text *out) {
    const lay_comparison *x = c->comparison;
    double reach = bar_reach(x);
    bar_data(x, reach, out);
    title(out, "Change of each part, after against before");
    bar_names(x, out);
    lay_text_add(
        out,
        "set xlabel 'quieter          change in dB, with where it lies in 95 of 100 cases          louder'\n"
        "set xrange [%s:%s]\nset yrange [0.4:%zu.6]\nset grid xtics back lt 1 lw 1 lc rgb '#dddddd'\nset border 1\n"
        "set arrow from 0, graph 0 to 0, graph 1 nohead lw 1.5 lc rgb '#1d2329' back\nunset key\n",
        lay_words_number(-reach, 1).text, lay_words_number(reach, 1).text, bars_of(x));
    lay_text_add(out,
                 "plot $bars using 3:1:($4-$3):(0) with vectors nohead lw 7 lc rgb '" BEFORE_COLOUR "', $bars using "
                 "2:1 with points pt 7 ps 1.6 lc rgb '" AFTER_COLOUR "'\n");
}

lay_status lay_compare_parts_script(const void *subject, const char *png, const char *svg, lay_text *out,
                                    lay_error *err) {
    const lay_compared *c = subject;
    size_t n = bars_of(c->comparison);
    if (n == 0) return lay_fail(err, LAY_BAD_INPUT, "no part was heard both times");
    return both_kinds(plot_bars, c, 170 + 34 * (int)n, png, svg, out, err);
}

/* ---- one part against speed ---- */

static void course_data(const lay_change_course *course, lay_text *out) {
    lay_text_add(out, "$course << END\n");
    for (size_t i = 0; i < course->count; i++) {
        lay_text_add(out, "%s ", lay_words_number(60 * course->hz[i], 1).text);
        lay_text_add(out, "%s ", isnan(course->before_db[i]) ? "NaN" : lay_words_number(course->before_db[i], 2).text);
        lay_text_add(out, "%s\n", isnan(course->after_db[i]) ? "NaN" : lay_words_number(course->after_db[i], 2).text);
    }
    lay_text_add(out, "END\n");
}

static void plot_course(const lay_compared *c, lay_text *out) {
    const lay_comparison *x = c->comparison;
    const lay_part_change *p = &x->parts[lay_compare_shown(x)];
    const lay_shared *s = &x->shared[p->course.shared];
    const lay_unit *unit = c->after->unit;
    lay_text words = {0};
    course_data(&p->course, out);
    lay_text_add(&words, "Level of '");
    lay_utf8_fit(&words, p->part, 40);
    lay_text_add(&words, "' against speed, ");
    lay_words_condition(s->gear, s->load, &words);
    title(out, words.failed ? "" : words.text);
    lay_text_free(&words);
    const char *reference = lay_words_body(unit, unit->reference);
    lay_utf8_fit(&words, reference ? reference : "reference shaft", 40);
    lay_text_add(&words, " (rpm)");
    lay_text_add(out, "set xlabel ");
    lay_plot_quoted(out, words.failed ? "" : words.text);
    lay_text_free(&words);
    lay_text_add(out,
                 " noenhanced\nset ylabel 'Level (dB re %s)' noenhanced\nset grid back lt 1 lw 1 lc rgb '#dddddd'\n"
                 "set border 3\nset key top left Left reverse samplen 3\n"
                 "plot $course using 1:2 with linespoints lw 5 pt 6 ps 1 lc rgb '" BEFORE_COLOUR "' title 'before', "
                 "$course using 1:3 with linespoints lw 1.8 pt 7 ps 0.8 lc rgb '" AFTER_COLOUR "' title 'after'\n",
                 lay_quantity_reference(c->after->loudness.conditions[s->after].quantity));
}

lay_status lay_compare_speed_script(const void *subject, const char *png, const char *svg, lay_text *out,
                                    lay_error *err) {
    const lay_compared *c = subject;
    size_t shown = lay_compare_shown(c->comparison);
    if (shown == c->comparison->part_count || c->comparison->parts[shown].course.count < 4)
        return lay_fail(err, LAY_BAD_INPUT, "no part was recorded over a range of speeds both times");
    return both_kinds(plot_course, c, 560, png, svg, out, err);
}

/* ---- both spectra ---- */

static const lay_run_evidence *run_of(const lay_compared *c, bool after) {
    const lay_comparison *x = c->comparison;
    const lay_shared *s = &x->shared[x->parts[lay_compare_shown(x)].course.shared];
    const lay_measured *m = after ? c->after : c->before;
    return &m->runs[m->loudness.conditions[after ? s->after : s->before].first_run];
}

#define BINS_MOST 4000 /* more are no more on paper: the highest of neighbours is kept */

static void spectrum_data(const lay_run_evidence *run, double top, const char *name, lay_text *out) {
    const lay_order_spectrum *s = &run->spectrum;
    size_t bins = (size_t)(top / s->step);
    if (bins > s->bins) bins = s->bins;
    size_t together = bins / BINS_MOST + 1;
    lay_text_add(out, "$%s << END\n", name);
    for (size_t i = 1; i < bins; i += together) {
        size_t best = i;
        for (size_t k = i; k < i + together && k < bins; k++)
            if (s->power[k] > s->power[best]) best = k;
        double level = lay_run_level_db(run, s->power[best]);
        if (!isfinite(level)) continue;
        lay_text_add(out, "%s ", lay_words_number((double)best * s->step, 4).text);
        lay_text_add(out, "%s\n", lay_words_number(level, 2).text);
    }
    lay_text_add(out, "END\n");
}

/* Lines of the part shown, where they stand after. */
static void marks(const lay_part_change *p, double top, lay_text *out) {
    for (size_t i = 0, n = 0; i < p->line_count && n < 4; i++) {
        const lay_line_change *l = &p->lines[i];
        if (l->sideband != 0 || l->order_after > top) continue;
        lay_text_add(out, "set label %zu '", ++n);
        lay_text_add(out, "%d x: %s dB' at %s, graph 0.97 center rotate by 0 font ',11'\n", l->harmonic,
                     lay_words_change_db(&l->change).text, lay_words_number(l->order_after, 3).text);
        lay_text_add(out,
                     "set arrow %zu from %s, graph 0 to %s, graph 0.94 nohead lw 1 dt (4,6) lc rgb '#8a5a00' back\n", n,
                     lay_words_number(l->order_after, 3).text, lay_words_number(l->order_after, 3).text);
    }
}

static void plot_spectra(const lay_compared *c, lay_text *out) {
    const lay_comparison *x = c->comparison;
    const lay_part_change *p = &x->parts[lay_compare_shown(x)];
    const lay_shared *s = &x->shared[p->course.shared];
    double top = fmin(lay_plot_max_order(run_of(c, true)), lay_plot_max_order(run_of(c, false)));
    lay_text words = {0};
    spectrum_data(run_of(c, false), top, "before", out);
    spectrum_data(run_of(c, true), top, "after", out);
    lay_text_add(&words, "Order spectra before and after, ");
    lay_words_condition(s->gear, s->load, &words);
    title(out, words.failed ? "" : words.text);
    lay_text_free(&words);
    lay_text_add(out,
                 "set xlabel 'Order'\nset ylabel 'Level (dB re %s)' noenhanced\nset xrange [0:%s]\n"
                 "set grid back lt 1 lw 1 lc rgb '#dddddd'\nset border 3\nset offsets 0, 0, 8, 0\n"
                 "set key outside bottom center horizontal Left reverse samplen 3\n",
                 lay_quantity_reference(c->after->loudness.conditions[s->after].quantity),
                 lay_words_number(top, 2).text);
    marks(p, top, out);
    lay_text_add(out, "plot $before using 1:2 with lines lw 4 lc rgb '" BEFORE_COLOUR "' title 'before', "
                      "$after using 1:2 with lines lw 1.2 lc rgb '" AFTER_COLOUR "' title 'after'\n");
}

lay_status lay_compare_spectrum_script(const void *subject, const char *png, const char *svg, lay_text *out,
                                       lay_error *err) {
    const lay_compared *c = subject;
    if (lay_compare_shown(c->comparison) == c->comparison->part_count)
        return lay_fail(err, LAY_BAD_INPUT, "no mesh was heard");
    return both_kinds(plot_spectra, c, 600, png, svg, out, err);
}
