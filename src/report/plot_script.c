/* One run's order spectrum as gnuplot commands with the data inline. */
#include <layshaft/report.h>

#include <math.h>
#include <string.h>

#include "pick.h"
#include "plot_labels.h"
#include "plot_parts.h"
#include "utf8.h"
#include "words.h"

#define PLOT_COLUMNS 2000 /* points of a curve: no more than a screen can show */
#define TEXT_COLUMNS 140  /* characters across the plot at the font size set below */

/* How each class is drawn: shape first, colour only repeats it. Point types are those of the cairo and svg terminals;
 * the colours stay apart under the common colour-vision deficiencies. */
static const struct {
    const char *legend;
    int shape;
    const char *colour;
} looks[] = {
    [LAY_LINE_UNKNOWN] = {"unclear", 1, "#777777"},      [LAY_LINE_MESH] = {"mesh", 7, "#c0392b"},
    [LAY_LINE_SHAFT] = {"shaft turning", 5, "#1f4e8c"},  [LAY_LINE_ENGINE] = {"engine", 9, "#0b7a4b"},
    [LAY_LINE_AXLE] = {"axle", 11, "#8a5a00"},           [LAY_LINE_ROTOR] = {"other rotor", 13, "#7b3fa0"},
    [LAY_LINE_BEARING] = {"bearing", 3, "#00838f"},      [LAY_LINE_GHOST] = {"ghost", 2, "#b0006d"},
    [LAY_LINE_FIXED_HZ] = {"fixed in Hz", 6, "#444444"},
};
_Static_assert(sizeof looks / sizeof looks[0] == LAY_LINE_CLASS_COUNT, "one look per class of line");

/* What the pieces of a script share. */
typedef struct plot {
    const lay_unit *unit;
    const lay_run_spec *spec;
    const lay_run_evidence *run;
    int number;
    double max_order;      /* end of the order axis */
    double low, high, top; /* dB: start of the axis, highest point of the curve, end of the axis */
    lay_plot_label labels[LAY_PLOT_LABELS];
    size_t label_count;
    lay_text *out;
} plot;

static double level_at(const plot *p, double power) {
    return lay_level_db(power, p->spec);
}

static size_t shown_bins(const plot *p) {
    size_t last = (size_t)(p->max_order / p->run->spectrum.step) + 1;
    return last < p->run->spectrum.bins ? last : p->run->spectrum.bins;
}

/* A curve thinned so that no peak is lost: of every group of bins the strongest, at its own order. */
static void curve(const plot *p, const char *name, const double *power) {
    size_t bins = shown_bins(p), group = (bins + PLOT_COLUMNS - 1) / PLOT_COLUMNS;
    if (group == 0) group = 1;
    lay_text_add(p->out, "$%s << END\n", name);
    for (size_t i = 1; i < bins; i += group) {
        size_t best = i;
        for (size_t k = i; k < i + group && k < bins; k++)
            if (power[k] > power[best]) best = k;
        double level = level_at(p, power[best]);
        if (!isfinite(level)) continue;
        lay_text_add(p->out, "%s %s\n", lay_words_number((double)best * p->run->spectrum.step, 4).text,
                     lay_words_number(level, 2).text);
    }
    lay_text_add(p->out, "END\n");
}

/* The dB axis: from a little under the floor to the highest peak, then room for the label tiers. */
static void find_range(plot *p) {
    double low = INFINITY, high = -INFINITY;
    size_t bins = shown_bins(p);
    for (size_t i = 1; i < bins; i++) {
        double floor = p->run->spectrum.floor != NULL ? level_at(p, p->run->spectrum.floor[i]) : NAN;
        double level = level_at(p, p->run->spectrum.power[i]);
        if (floor < low) low = floor;
        if (level > high) high = level;
    }
    if (!isfinite(high)) high = 0.0;
    if (!isfinite(low) || low > high - 20.0) low = high - 20.0;
    if (low < high - 120.0) low = high - 120.0;
    p->low = floor(low - 6.0);
    p->high = ceil(high + 1.0);
}

static double tier_level(const plot *p, int tier) {
    return p->high + (p->high - p->low) * (0.04 + 0.055 * tier);
}

/* The axis ends above the tiers in use and two rows of legend. */
static void find_top(plot *p) {
    int highest = -1;
    for (size_t i = 0; i < p->label_count; i++)
        if (p->labels[i].tier > highest) highest = p->labels[i].tier;
    p->top = tier_level(p, highest + 1) + (p->high - p->low) * 0.13;
}

static lay_line_class class_of(const lay_explained_line *l) {
    bool known = lay_line_named(l) && (unsigned)l->claims[0].class_ < LAY_LINE_CLASS_COUNT;
    return known ? l->claims[0].class_ : LAY_LINE_UNKNOWN;
}

/* Marked lines per class; returns how many there are. */
static int markers(const plot *p, lay_line_class class_) {
    int count = 0;
    for (size_t i = 0; i < p->run->line_count; i++) {
        const lay_explained_line *l = &p->run->lines[i];
        double level = level_at(p, l->line.power);
        if (class_of(l) != class_ || l->line.order > p->max_order || !isfinite(level)) continue;
        if (count++ == 0) lay_text_add(p->out, "$class%d << END\n", (int)class_);
        lay_text_add(p->out, "%s %s\n", lay_words_number(l->line.order, 4).text, lay_words_number(level, 2).text);
    }
    if (count > 0) lay_text_add(p->out, "END\n");
    return count;
}

static void title(const plot *p) {
    const lay_run_evidence *run = p->run;
    const char *gear = lay_words_gear(p->unit, p->spec, run);
    lay_text words = {0};
    lay_text_add(&words, "Run %d  ", p->number);
    lay_utf8_fit(&words, p->spec->file, 40);
    lay_text_add(&words, "   gear ");
    lay_utf8_fit(&words, gear[0] ? gear : "unknown", 20);
    lay_text_add(&words, ", %s, ", lay_words_load(run->load));
    if (run->max_hz - run->min_hz > 0.02 * run->mean_hz)
        lay_text_add(&words, "%s to %s rpm", lay_words_number(run->min_hz * 60.0, 0).text,
                     lay_words_number(run->max_hz * 60.0, 0).text);
    else
        lay_text_add(&words, "%s rpm", lay_words_number(run->mean_hz * 60.0, 0).text);
    if (run->speed_source != LAY_SPEED_TACH &&
        run->speed_confidence < 0.3) /* the orders below may all be off a little */
        lay_text_add(&words, " stated, not confirmed");
    lay_text_add(p->out, "set title ");
    lay_plot_quoted(p->out, words.failed ? "" : words.text);
    lay_text_add(p->out, " noenhanced font ',16'\n");
    lay_text_free(&words);
}

static void axes(const plot *p) {
    const char *reference = lay_words_body(p->unit, p->unit->reference);
    lay_text words = {0};
    lay_text_add(&words, "Order (events per turn of the ");
    lay_utf8_fit(&words, reference != NULL ? reference : "reference shaft", 40);
    lay_text_add(&words, ")");
    lay_text_add(p->out, "set xlabel ");
    lay_plot_quoted(p->out, words.failed ? "" : words.text);
    lay_text_add(p->out, " noenhanced\nset ylabel 'Level (dB re %s)' noenhanced\n",
                 lay_quantity_reference(p->run->quantity));
    lay_text_add(p->out, "set xrange [0:%s]\n", lay_words_number(p->max_order, 3).text);
    lay_text_add(p->out, "set yrange [%s:%s]\n", lay_words_number(p->low, 0).text, lay_words_number(p->top, 1).text);
    lay_text_add(p->out, "set decimalsign '.'\nset grid xtics ytics back lt 1 lw 1 lc rgb '#dddddd'\nset tics out "
                         "nomirror\nset border 3\n"
                         "set key top left horizontal Left reverse width 2 samplen 2\n");
    lay_text_free(&words);
}

static void labels(const plot *p) {
    for (size_t i = 0; i < p->label_count; i++) {
        const lay_plot_label *l = &p->labels[i];
        if (l->tier < 0) continue;
        double level = level_at(p, l->line->line.power), y = tier_level(p, l->tier);
        if (!isfinite(level)) continue;
        lay_text_add(p->out, "set arrow from %s,%s to %s,%s nohead lc rgb '#999999' lw 1 dt 3\n",
                     lay_words_number(l->x, 4).text, lay_words_number(level, 2).text, lay_words_number(l->x, 4).text,
                     lay_words_number(y - (p->high - p->low) * 0.022, 2).text);
        lay_text_add(p->out, "set label ");
        lay_plot_quoted(p->out, l->text);
        lay_text_add(p->out, " at %s,%s center noenhanced font ',12'\n", lay_words_number(l->at, 4).text,
                     lay_words_number(y, 2).text);
    }
}

static void draw(const plot *p, const bool *has_class) {
    lay_text_add(p->out, "plot $spectrum with lines lw 1 lc rgb '#5b7590' title 'spectrum'");
    if (p->run->spectrum.floor != NULL)
        lay_text_add(p->out, ", $floor with lines lw 2 dt 2 lc rgb '#e08a00' title 'noise floor'");
    for (int c = 0; c < LAY_LINE_CLASS_COUNT; c++) {
        if (!has_class[c]) continue;
        lay_text_add(p->out, ", $class%d with points pt %d ps 1.3 lw 2 lc rgb '%s' title '%s'", c, looks[c].shape,
                     looks[c].colour, looks[c].legend);
    }
    lay_text_add(p->out, "\n");
}

static void data(const plot *p, bool *has_class) {
    curve(p, "spectrum", p->run->spectrum.power);
    if (p->run->spectrum.floor != NULL) curve(p, "floor", p->run->spectrum.floor);
    for (int c = 0; c < LAY_LINE_CLASS_COUNT; c++) has_class[c] = markers(p, (lay_line_class)c) > 0;
}

static void picture(const plot *p, const bool *has_class, lay_picture_kind kind, const char *path) {
    if (path == NULL) return;
    lay_plot_begin(p->out, kind, 1200, 600, path);
    draw(p, has_class);
    lay_plot_end(p->out);
}

lay_status lay_report_plot_script(const lay_unit *unit, const lay_run_spec *spec, const lay_run_evidence *run,
                                  int number, const char *png, const char *svg, lay_text *out, lay_error *err) {
    plot p = {.unit = unit, .spec = spec, .run = run, .number = number, .out = out};
    bool has_class[LAY_LINE_CLASS_COUNT];
    if (run->spectrum.bins < 2 || run->spectrum.power == NULL)
        return lay_fail(err, LAY_BAD_INPUT, "run %d has no spectrum to draw", number);
    lay_status status = lay_plot_check_path(png, err);
    if (status == LAY_OK) status = lay_plot_check_path(svg, err);
    if (status != LAY_OK) return status;
    p.max_order = lay_plot_max_order(run);
    find_range(&p);
    p.label_count = lay_plot_labels_choose(unit, run, p.max_order, TEXT_COLUMNS, p.labels);
    find_top(&p);
    lay_text_add(out, "reset\nset encoding utf8\n");
    data(&p, has_class);
    title(&p);
    axes(&p);
    labels(&p);
    picture(&p, has_class, LAY_PICTURE_PNG, png);
    picture(&p, has_class, LAY_PICTURE_SVG, svg);
    if (png == NULL && svg == NULL) picture(&p, has_class, LAY_PICTURE_WINDOW, "");
    return out->failed ? lay_fail(err, LAY_NO_MEMORY, "not enough memory to draw run %d", number) : LAY_OK;
}
