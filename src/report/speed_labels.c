#include "plot_parts.h"
#include "speed_plot.h"
#include "speed_words.h"
#include "utf8.h"
#include "words.h"

#define LABEL_APART 0.085 /* of the height of the map: two lines */

/* Two lines on top: which run, then how fast and how sure. */
static void title_line(const lay_speed_plot *p, const lay_text *words, double at, int size) {
    lay_text_add(p->out, "set label ");
    lay_plot_quoted(p->out, words->failed ? "" : words->text);
    lay_text_add(p->out, " at screen 0.085,%s left noenhanced font ',%d'\n", lay_words_number(at, 3).text, size);
}

static void run_title(const lay_speed_plot *p) {
    const lay_speed_row *row = p->row;
    const char *gear = lay_speed_gear(p->unit, row);
    lay_text words = {0};
    lay_text_add(&words, "Run %zu  ", row->number);
    lay_utf8_fit(&words, row->spec->file, 60);
    lay_text_add(&words, "   gear ");
    lay_utf8_fit(&words, gear[0] ? gear : "unknown", 20);
    if (gear[0] && row->speed->gear_probability != NULL)
        lay_text_add(&words, " (%s sure)", lay_words_percent(lay_speed_gear_chance(row->speed)).text);
    title_line(p, &words, 0.972, 15);
    lay_text_free(&words);
}

static void speed_title(const lay_speed_plot *p) {
    lay_speed_summary s = lay_speed_summary_of(p->row->speed);
    lay_text words = {0};
    if (!p->row->speed->found)
        lay_text_add(&words, "no speed found");
    else if (s.max_hz > 1.02 * s.min_hz)
        lay_text_add(&words, "%s to %s rpm", lay_words_number(60 * s.min_hz, 0).text,
                     lay_words_number(60 * s.max_hz, 0).text);
    else
        lay_text_add(&words, "%s rpm", lay_words_number(60 * s.mean_hz, 0).text);
    if (p->row->speed->found)
        lay_text_add(&words, " from %s, %s (%s)", lay_words_speed_source(s.source), lay_speed_sure(s.confidence),
                     lay_words_percent(s.confidence).text);
    title_line(p, &words, 0.942, 13);
    lay_text_free(&words);
}

void lay_speed_plot_title(const lay_speed_plot *p) {
    run_title(p);
    speed_title(p);
}

/* Names at the right end of the guides, pushed apart where the lines run close. */
void lay_speed_plot_guides(const lay_speed_plot *p) {
    const lay_shaft *s = &p->row->speed->shaft;
    double before = -1;
    for (size_t i = 0; i < p->guide_count; i++) {
        lay_text words = {0};
        double at = p->guides[i].order * s->hz[s->count - 1] / p->top_hz;
        if (at > 1) continue;
        if (before >= 0 && at < before + LABEL_APART) at = before + LABEL_APART;
        before = at;
        lay_utf8_fit(&words, p->guides[i].name, 20);
        lay_text_add(p->out, "set label ");
        lay_plot_quoted(p->out, words.failed ? "" : words.text);
        lay_text_add(p->out, " at graph 1.008,%s left noenhanced font ',11' tc rgb '%s'\n",
                     lay_words_number(at + 0.018, 4).text, p->guides[i].ink);
        lay_text_add(p->out, "set label 'order %s' at graph 1.008,%s left font ',10' tc rgb '%s'\n",
                     lay_words_number(p->guides[i].order, 2).text, lay_words_number(at - 0.018, 4).text,
                     p->guides[i].ink);
        lay_text_free(&words);
    }
}

/* Grey where there is no speed. */
void lay_speed_plot_gaps(const lay_speed_plot *p) {
    lay_speed_piece gap;
    for (size_t k = 0; k <= p->row->speed->shaft.segment_count; k++) {
        if (!lay_speed_gap(p->row->speed, k, &gap)) continue;
        lay_text_add(p->out,
                     "set object rectangle from %s, graph 0 to %s, graph 1 fs pattern 4 noborder fc rgb "
                     "'#bbbbbb' behind\n",
                     lay_words_number(gap.start_s, 3).text, lay_words_number(gap.end_s, 3).text);
        if (gap.end_s - gap.start_s > 0.09 * p->row->speed->duration_s)
            lay_text_add(p->out, "set label 'no speed' at %s, graph 0.5 center front font ',11'\n",
                         lay_words_number(0.5 * (gap.start_s + gap.end_s), 3).text);
    }
}

/* In the upper corner that the curve leaves free. */
void lay_speed_plot_doubt(const lay_speed_plot *p) {
    const lay_shaft *s = &p->row->speed->shaft;
    bool rises = s->hz[s->count - 1] > s->hz[0];
    lay_text_add(p->out, "set label 'not confirmed' at graph %s,0.9 %s front font ',16' tc rgb '#c0392b'\n",
                 rises ? "0.01" : "0.99", rises ? "left" : "right");
}
