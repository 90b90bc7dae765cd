#include "envelope_plot.h"

#include <math.h>

#include "blows.h"
#include "plot_parts.h"
#include "utf8.h"
#include "words.h"

#define PLOT_COLUMNS 2000 /* points of the curve: no more than a screen can show */
#define RING_MULTIPLES 5.5
#define SERIES_MULTIPLES 8.5 /* once per turn of a wheel or a cage: many lines, close together */
#define LEAST_DB 20.0        /* height of the axis even when nothing stands out */
#define LOWEST_DB -5.0       /* holes in the noise say nothing */

/* Three families of orders: each has its own dashes and its own mark at foot, so that colour only repeats it. */
typedef enum family { FAMILY_BLOWS, FAMILY_SIDES, FAMILY_TURNS, FAMILY_COUNT } family;
static const struct {
    const char *block, *dashes, *colour;
    int mark;
    double width, size;
} looks[FAMILY_COUNT] = {
    [FAMILY_BLOWS] = {"blows", "2", "#c0392b", 9, 1.6, 1.4},
    [FAMILY_SIDES] = {"sides", "3", "#7b3fa0", 6, 1.2, 1.0},
    [FAMILY_TURNS] = {"turns", "'.  '", "#777777", 2, 1.0, 0.8},
};

typedef struct plot {
    const lay_report_view *view;
    const lay_suspect *s;
    const lay_run_evidence *run;
    const float *ratio;
    lay_turner by;
    double max_order, high; /* end of the order axis; highest point of the curve, dB */
    int counts[FAMILY_COUNT];
    lay_text *out;
} plot;

const lay_suspect *lay_envelope_suspect(const lay_report_view *view) {
    const lay_verdict *v = &view->d->verdict;
    for (size_t i = 0; i < v->suspect_count; i++)
        if (lay_blows_known(view, &v->suspects[i]) && view->d->runs[v->suspects[i].best_run].envelope.bins > 1)
            return &v->suspects[i];
    return NULL;
}

static bool is_series(const plot *p) {
    return p->s->kind == LAY_KIND_CHIP || p->s->kind == LAY_KIND_CAGE || lay_blows_swing_only(p->s);
}

static double level_of(float ratio) {
    return ratio > 0 ? fmax(LOWEST_DB, 10 * log10((double)ratio)) : LOWEST_DB;
}

static size_t shown_bins(const plot *p) {
    size_t last = (size_t)(p->max_order / p->run->envelope.step) + 1;
    return last < p->run->envelope.bins ? last : p->run->envelope.bins;
}

static void find_range(plot *p) {
    const lay_envelope_spectrum *e = &p->run->envelope;
    double end = e->step * (double)(e->bins - 1);
    p->max_order = fmin(end, p->s->blows.order * (is_series(p) ? SERIES_MULTIPLES : RING_MULTIPLES));
    if (!(p->max_order > 8 * e->step)) p->max_order = end;
    p->high = LEAST_DB;
    for (size_t i = 1; i < shown_bins(p); i++) p->high = fmax(p->high, level_of(p->ratio[i]));
}

/* Thinned so that no peak is lost: of every group of bins the strongest, at its own order. */
static void curve(const plot *p) {
    size_t bins = shown_bins(p), group = (bins + PLOT_COLUMNS - 1) / PLOT_COLUMNS;
    if (group == 0) group = 1;
    lay_text_add(p->out, "$envelope << END\n");
    for (size_t i = 1; i < bins; i += group) {
        size_t best = i;
        for (size_t k = i; k < i + group && k < bins; k++)
            if (p->ratio[k] > p->ratio[best]) best = k;
        lay_text_add(p->out, "%s %s\n", lay_words_number((double)best * p->run->envelope.step, 4).text,
                     lay_words_number(level_of(p->ratio[best]), 2).text);
    }
    lay_text_add(p->out, "END\n");
}

/* ---- predicted orders ---- */

static double foot(void) {
    return LOWEST_DB - 1.5;
}

static double label_height(const plot *p) {
    return p->high + 0.09 * (p->high - LOWEST_DB);
}

/* One upright line; those of the blows reach up to their labels. */
static void upright(plot *p, family f, double order) {
    double top = f == FAMILY_BLOWS ? label_height(p) - 0.05 * (p->high - LOWEST_DB) : p->high;
    if (!(order > 0) || order > p->max_order) return;
    if (p->counts[f]++ == 0) lay_text_add(p->out, "$%s << END\n", looks[f].block);
    lay_text_add(p->out, "%s %s %s\n", lay_words_number(order, 4).text, lay_words_number(foot(), 2).text,
                 lay_words_number(top - foot(), 2).text);
}

static void end_family(plot *p, family f) {
    if (p->counts[f] > 0) lay_text_add(p->out, "END\n");
}

/* Order of the turns that are drawn faintly: of the body that counts the blows, unless these are its turns. */
static double turns_order(const plot *p) {
    return p->s->kind == LAY_KIND_CHIP ? 0 : p->by.against != NULL || !(p->by.order > 0) ? 1 : p->by.order;
}

static const char *turns_body(const plot *p) {
    const lay_unit *u = p->view->unit;
    return p->by.against != NULL || !(p->by.order > 0) ? lay_words_body(u, u->reference) : p->by.body;
}

static void predicted(plot *p) {
    const lay_blows *b = &p->s->blows;
    int last = b->order > 0 ? (int)(p->max_order / b->order) : 0;
    for (int k = 1; k <= last; k++) upright(p, FAMILY_BLOWS, k * b->order);
    end_family(p, FAMILY_BLOWS);
    for (int k = 1; k <= last + 1 && b->swing_order > 0; k++)
        for (int n = -1; n <= 1; n += 2) upright(p, FAMILY_SIDES, k * b->order + n * b->swing_order);
    end_family(p, FAMILY_SIDES);
    double turn = turns_order(p);
    for (int k = 1; turn > 0 && k * turn <= p->max_order; k++) upright(p, FAMILY_TURNS, k * turn);
    end_family(p, FAMILY_TURNS);
}

/* The first says what and where, the others which multiple they are. */
static void labels(const plot *p) {
    const lay_blows *b = &p->s->blows;
    int last = b->order > 0 ? (int)(p->max_order / b->order) : 0;
    for (int k = 1; k <= last; k++) {
        lay_text_add(p->out, "set label ");
        if (k == 1)
            lay_text_add(p->out, "'%s %s'", lay_blows_place(p->s->kind), lay_words_number(b->order, 3).text);
        else
            lay_text_add(p->out, "'x%d'", k);
        lay_text_add(p->out, " at %s,%s center noenhanced font ',12'\n", lay_words_number(k * b->order, 4).text,
                     lay_words_number(label_height(p), 2).text);
    }
}

/* ---- words and axes ---- */

/* Which run, then what is seen in it, on two lines: names may be long. */
static void title(const plot *p) {
    const lay_run_spec *spec = &p->view->table->runs[p->s->best_run];
    const char *gear = lay_words_gear(p->view->unit, spec, p->run);
    lay_text run = {0}, what = {0};
    lay_text_add(&run, "Run %d  ", p->s->best_run + 1);
    lay_utf8_fit(&run, spec->file, 40);
    lay_text_add(&run, "   gear ");
    lay_utf8_fit(&run, gear[0] ? gear : "unknown", 20);
    lay_text_add(&run, ", %s", lay_words_load(p->run->load));
    lay_text_add(&what, "What strikes in %s'", p->s->kind == LAY_KIND_CHIP ? "" : "bearing ");
    lay_utf8_fit(&what, p->s->part, 40);
    lay_text_add(&what, "', by the noise from ");
    lay_blows_band(&p->s->blows, &what);
    lay_text_add(p->out, "set title ");
    lay_plot_quoted(p->out, run.failed ? "" : run.text);
    lay_text_add(p->out, " .\"\\n\". ");
    lay_plot_quoted(p->out, what.failed ? "" : what.text);
    lay_text_add(p->out, " noenhanced font ',15'\n");
    lay_text_free(&run);
    lay_text_free(&what);
}

static void axes(const plot *p) {
    const char *reference = lay_words_body(p->view->unit, p->view->unit->reference);
    double span = p->high - LOWEST_DB;
    bool all = p->counts[FAMILY_SIDES] > 0 && p->counts[FAMILY_TURNS] > 0; /* the legend may take three rows */
    lay_text words = {0};
    lay_text_add(&words, "Order (times per turn of the ");
    lay_utf8_fit(&words, reference != NULL ? reference : "reference shaft", 40);
    lay_text_add(&words, ")");
    lay_text_add(p->out, "set xlabel ");
    lay_plot_quoted(p->out, words.failed ? "" : words.text);
    lay_text_add(p->out, " noenhanced\nset ylabel 'Envelope spectrum (dB over its floor)' noenhanced\n");
    lay_text_add(p->out, "set xrange [0:%s]\n", lay_words_number(p->max_order, 3).text);
    lay_text_add(p->out, "set yrange [%s:%s]\n", lay_words_number(foot() - 0.04 * span, 1).text,
                 lay_words_number(label_height(p) + (all ? 0.33 : 0.25) * span, 1).text);
    lay_text_add(p->out, "set decimalsign '.'\nset grid xtics ytics back lt 1 lw 1 lc rgb '#dddddd'\nset tics out "
                         "nomirror\nset border 3\n"
                         "set key top left horizontal Left reverse width 2 samplen 3\n");
    lay_text_free(&words);
}

static void legend(const plot *p, family f, lay_text *out) {
    if (f == FAMILY_BLOWS)
        lay_text_add(out, "%s and multiples", lay_blows_place(p->s->kind));
    else if (f == FAMILY_SIDES)
        lay_text_add(out, "sidebands %s away", lay_words_number(p->s->blows.swing_order, 3).text);
    else
        lay_utf8_fit(out, turns_body(p), 24);
    if (f == FAMILY_TURNS) lay_text_add(out, " turning");
}

/* The title goes to the marks: a key sample shows either the dashes or the mark, and the mark is the plainer sign. */
static void draw_family(const plot *p, family f) {
    lay_text words = {0};
    if (p->counts[f] == 0) return;
    legend(p, f, &words);
    lay_text_add(p->out, ", $%s using 1:2:(0):3 with vectors nohead dt %s lw %s lc rgb '%s' notitle", looks[f].block,
                 looks[f].dashes, lay_words_number(looks[f].width, 1).text, looks[f].colour);
    lay_text_add(p->out, ", $%s using 1:2 with points pt %d ps %s lw 1.5 lc rgb '%s' title ", looks[f].block,
                 looks[f].mark, lay_words_number(looks[f].size, 1).text, looks[f].colour);
    lay_plot_quoted(p->out, words.failed ? "" : words.text);
    lay_text_add(p->out, " noenhanced");
    lay_text_free(&words);
}

static void picture(const plot *p, lay_picture_kind kind, const char *path) {
    if (path == NULL) return;
    lay_plot_begin(p->out, kind, 1200, 600, path);
    lay_text_add(p->out, "plot $envelope with lines lw 1.3 lc rgb '#34506b' title 'envelope spectrum', "
                         "0 with lines lw 2 dt 4 lc rgb '#e08a00' title 'floor'");
    for (int f = FAMILY_COUNT - 1; f >= 0; f--) draw_family(p, (family)f);
    lay_text_add(p->out, "\n");
    lay_plot_end(p->out);
}

lay_status lay_envelope_script(const lay_report_view *view, const lay_suspect *suspect, const char *png,
                               const char *svg, lay_text *out, lay_error *err) {
    lay_status status = lay_plot_check_path(png, err);
    if (status == LAY_OK) status = lay_plot_check_path(svg, err);
    if (status != LAY_OK) return status;
    plot p = {.view = view, .s = suspect, .run = &view->d->runs[suspect->best_run], .out = out};
    const lay_envelope_spectrum *e = &p.run->envelope;
    p.ratio = e->ratio + (size_t)suspect->blows.band * e->bins;
    p.by = lay_blows_turner(view, suspect);
    find_range(&p);
    curve(&p);
    predicted(&p);
    title(&p);
    axes(&p);
    labels(&p);
    picture(&p, LAY_PICTURE_PNG, png);
    picture(&p, LAY_PICTURE_SVG, svg);
    if (png == NULL && svg == NULL) picture(&p, LAY_PICTURE_WINDOW, "");
    return out->failed ? lay_fail(err, LAY_NO_MEMORY, "not enough memory to draw run %d", suspect->best_run + 1)
                       : LAY_OK;
}
