#include "plot_labels.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "pick.h"
#include "utf8.h"
#include "words.h"

static int by_order(const void *a, const void *b) {
    double x = ((const lay_plot_label *)a)->x, y = ((const lay_plot_label *)b)->x;
    return x < y ? -1 : x > y;
}

static size_t strongest(const lay_run_evidence *run, double max_order, const lay_explained_line **out) {
    const lay_pick pick = {.max_order = max_order, .named = true, .per_maker = 3, .limit = LAY_PLOT_LABELS};
    return lay_pick_lines(run, &pick, out);
}

static double highest_of(double a, double b) {
    return a > b ? a : b;
}

double lay_plot_max_order(const lay_run_evidence *run) {
    const lay_explained_line *lines[LAY_PLOT_LABELS];
    double top = 8.0, end = run->spectrum.bins > 1 ? run->spectrum.step * (double)(run->spectrum.bins - 1) : 0.0;
    size_t count = strongest(run, INFINITY, lines);
    for (size_t i = 0; i < count; i++) top = highest_of(top, 1.1 * lines[i]->line.order);
    for (size_t i = 0; i < run->expected_count; i++) {
        const lay_expected *e = &run->expected[i];
        if (e->type == LAY_PART_MESH && e->loaded && e->turning) top = highest_of(top, 1.3 * e->order);
    }
    return end > 0.0 && top > end ? end : top;
}

static void label_text(const lay_unit *unit, const lay_run_evidence *run, lay_plot_label *label) {
    const lay_claim *c = &label->line->claims[0];
    lay_text words = {0}, fitted = {0};
    const char *name = lay_words_part(run, c), *body = lay_words_body(unit, c->body);
    if (c->class_ == LAY_LINE_GHOST || c->class_ == LAY_LINE_SHAFT) name = body != NULL ? body : name;
    if (c->class_ == LAY_LINE_FIXED_HZ) name = "fixed Hz";
    if (c->class_ == LAY_LINE_GHOST) lay_text_add(&words, "ghost ");
    lay_text_add(&words, "%s", name != NULL ? name : lay_line_class_name(c->class_));
    lay_utf8_fit(&fitted, words.failed ? "" : words.text, 24);
    int multiple = c->class_ == LAY_LINE_ENGINE ? lay_words_firing(run, c) : c->harmonic;
    if (c->sideband != 0)
        lay_text_add(&fitted, " %+d", c->sideband);
    else if (c->class_ == LAY_LINE_ENGINE && multiple == 0) /* between firings */
        lay_text_add(&fitted, " order %s", lay_words_number(c->order, 1).text);
    else if (multiple > 1)
        lay_text_add(&fitted, " x%d", multiple);
    snprintf(label->text, sizeof label->text, "%s", fitted.failed ? "" : fitted.text);
    lay_text_free(&words);
    lay_text_free(&fitted);
}

typedef struct box {
    double low, high;
} box;

static bool overlap(box a, box b) {
    return a.low < b.high && b.low < a.high;
}

/* Whether a label can go to `tier`: no other text there, no leader of a higher one through its text, and its own leader
 * through no text below it. */
static bool room(const lay_plot_label *placed, const box *boxes, size_t count, const lay_plot_label *label, box own,
                 int tier, double gap) {
    for (size_t i = 0; i < count; i++) {
        const lay_plot_label *p = &placed[i];
        if (p->tier < 0) continue;
        if (p->tier == tier && overlap(own, boxes[i])) return false;
        if (p->tier > tier && overlap(own, (box){p->x - gap, p->x + gap})) return false;
        if (p->tier < tier && overlap(boxes[i], (box){label->x - gap, label->x + gap})) return false;
    }
    return true;
}

/* Try one height: centred over the line, else beginning or ending at it. */
static bool place_on(lay_plot_label *labels, box *boxes, size_t index, int tier, double max_order, double column) {
    static const double shifts[] = {0.0, 1.0, -1.0};
    lay_plot_label *l = &labels[index];
    double half = 0.5 * column * (lay_utf8_columns(l->text) + 2);
    for (size_t k = 0; k < sizeof shifts / sizeof shifts[0]; k++) {
        double at = fmin(fmax(l->x + shifts[k] * (half - column), half), max_order - half);
        box own = {at - half, at + half};
        if (!room(labels, boxes, index, l, own, tier, 0.5 * column)) continue;
        boxes[index] = own;
        l->at = at;
        l->tier = tier;
        return true;
    }
    return false;
}

/* In the order given, so that the fittest find room first. */
static void place(lay_plot_label *labels, size_t count, double max_order, int columns) {
    box boxes[LAY_PLOT_LABELS];
    for (size_t i = 0; i < count; i++) {
        labels[i].tier = -1;
        for (int tier = 0; tier < LAY_PLOT_TIERS; tier++)
            if (place_on(labels, boxes, i, tier, max_order, max_order / columns)) break;
    }
}

size_t lay_plot_labels_choose(const lay_unit *unit, const lay_run_evidence *run, double max_order, int columns,
                              lay_plot_label *out) {
    const lay_explained_line *lines[LAY_PLOT_LABELS];
    size_t count = strongest(run, max_order, lines);
    for (size_t i = 0; i < count; i++) {
        out[i] = (lay_plot_label){.line = lines[i], .x = lines[i]->line.order};
        label_text(unit, run, &out[i]);
    }
    place(out, count, max_order, columns);
    qsort(out, count, sizeof(*out), by_order);
    return count;
}
