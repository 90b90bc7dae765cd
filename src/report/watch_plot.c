/* The window that `layshaft watch` keeps open where there is a display: the order spectrum of the last moment. */
#include <layshaft/report.h>

#include <math.h>
#include <string.h>

#include "utf8.h"
#include "words.h"

#define POINTS 1500
#define LABELS 12
#define RANGE_DB 80

static double level_at(const lay_watch_screen *s, double power) {
    return lay_level_db(power, s->watch->spec);
}

/* Of every group of bins the strongest, so that no peak is lost. */
static double add_curve(const lay_watch_screen *s, const lay_monitor_view *v, lay_text *out) {
    size_t group = v->bins / POINTS + 1;
    double highest = -INFINITY;
    lay_text_add(out, "$now << END\n");
    for (size_t i = 2; i < v->bins; i += group) {
        size_t best = i;
        for (size_t k = i; k < i + group && k < v->bins; k++)
            if (v->power[k] > v->power[best]) best = k;
        double level = level_at(s, v->power[best]);
        if (!isfinite(level)) continue;
        highest = fmax(highest, level);
        lay_text_add(out, "%s %s\n", lay_words_number((double)best * v->step, 3).text, lay_words_number(level, 1).text);
    }
    lay_text_add(out, "END\n");
    return highest;
}

static void add_name(const char *name, lay_text *out) {
    lay_text clean = {0};
    lay_utf8_fit(&clean, name, 24);
    for (const char *c = clean.text; c && !clean.failed && *c; c++) /* what gnuplot would read as its own */
        lay_text_add(out, "%c", strchr("\"\\`$", *c) ? '\'' : *c);
    lay_text_free(&clean);
}

static void add_labels(const lay_watch_screen *s, const lay_monitor_view *v, lay_text *out) {
    size_t count = 0;
    lay_text_add(out, "unset label\nunset arrow\n");
    for (size_t i = 0; i < s->watch->count && count < LABELS; i++) {
        const lay_watch_row *row = &s->watch->rows[i];
        if (!(row->above_db > 6) || row->order >= (double)v->bins * v->step) continue;
        count++;
        lay_text_add(out, "set label \"");
        add_name(row->part->name, out);
        lay_text_add(out, "%s\" at first %s, graph %s rotate by 0 left noenhanced point pt 7 offset 0.5,0\n",
                     row->alarm ? " ALARM" : "", lay_words_number(row->order, 3).text,
                     lay_words_number(0.97 - 0.05 * (double)(count % 6), 2).text);
    }
}

lay_status lay_report_watch_plot(const lay_watch_screen *s, const lay_monitor_view *v, lay_text *out) {
    double highest = add_curve(s, v, out);
    double top = isfinite(highest) ? 10 * ceil((highest + 15) / 10) : 0;
    add_labels(s, v, out);
    lay_text_add(out, "set title \"");
    add_name(s->unit->name, out);
    lay_text_add(out, ": %s rpm, %s s\" noenhanced\n", lay_words_number(60 * v->hz, 0).text,
                 lay_words_number(v->at_s, 1).text);
    lay_text_add(out,
                 "set xlabel \"order of the reference shaft\"\nset ylabel \"dB re %s\"\nset grid\nunset key\n"
                 "set yrange [%s:%s]\nset xrange [0:%s]\nplot $now with lines\nset print \"-\"\nprint \"drawn\"\n",
                 lay_quantity_reference(s->watch->spec->quantity), lay_words_number(top - RANGE_DB, 0).text,
                 lay_words_number(top, 0).text, lay_words_number((double)v->bins * v->step, 0).text);
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}
