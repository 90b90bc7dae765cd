/* The level meters of `layshaft record`. */
#include <layshaft/report.h>

#include <math.h>
#include <string.h>

#include "page.h"
#include "utf8.h"
#include "words.h"

#define LOWEST_DB (-80.0)
#define FULL 0.999 /* of full scale and above: clipped */
#define NEAR_DB (-1.0)
#define LOW_DB (-50.0)
#define SILENT_DB (-90.0)
#define BESIDE 46 /* columns beside the bar */
#define BAR_MOST 60

static double level(double peak) {
    return peak > 0 ? 20 * log10(peak) : -INFINITY;
}

/* What a level asks for, in words; colour only repeats them. */
static const char *advice(const lay_meter_channel *c, lay_ink *ink) {
    double most = level(c->most);
    *ink = LAY_INK_PLAIN;
    if (c->tach) return most < LOW_DB ? (*ink = LAY_INK_YELLOW, "tach, low") : "tach";
    if (c->most >= FULL || isfinite(c->clipped_s)) return *ink = LAY_INK_RED, "CLIPS: lower the gain";
    if (most > NEAR_DB) return *ink = LAY_INK_YELLOW, "nearly full";
    if (most < SILENT_DB) return *ink = LAY_INK_YELLOW, "no signal";
    if (most < LOW_DB) return *ink = LAY_INK_YELLOW, "low: raise the gain";
    return *ink = LAY_INK_GREEN, "good";
}

static int cells(double db, int columns) {
    double share = (db - LOWEST_DB) / -LOWEST_DB;
    return share <= 0 || !isfinite(share) ? 0 : share >= 1 ? columns : (int)lrint(share * columns);
}

static void channel_line(const lay_page *page, size_t number, const lay_meter_channel *c) {
    lay_text line = {0};
    lay_ink ink;
    int columns = page->width - BESIDE < BAR_MOST ? page->width - BESIDE : BAR_MOST;
    int now = cells(level(c->now), columns), most = cells(level(c->most), columns);
    const char *words = advice(c, &ink);
    lay_text_add(&line, "%3zu %6s dB |", number, lay_words_number(fmax(level(c->now), -99.9), 1).text);
    for (int i = 0; i < columns; i++) lay_text_add(&line, "%c", i < now ? '=' : i == most - 1 ? '|' : ' ');
    lay_text_add(&line, "| %5s  %-21s", lay_words_number(fmax(level(c->most), -99.9), 1).text, words);
    if (!line.failed) lay_page_line(page, ink, line.text);
    lay_text_free(&line);
}

static int trouble_of(const lay_meter_channel *c) {
    lay_ink ink;
    advice(c, &ink);
    return ink == LAY_INK_RED ? 2 : ink == LAY_INK_YELLOW;
}

/* More channels than the screen has rows: those that fit, and a line for the worst of the rest. */
static void rest_line(const lay_page *page, const lay_meter *m, size_t from) {
    size_t worst = from;
    for (size_t i = from; i < m->count; i++)
        if (trouble_of(&m->channels[i]) > trouble_of(&m->channels[worst])) worst = i;
    lay_text line = {0};
    lay_ink ink;
    const char *words = advice(&m->channels[worst], &ink);
    lay_text_add(&line, "    %zu more; channel %zu: %s", m->count - from, worst + 1, words);
    if (!line.failed) lay_page_line(page, ink, line.text);
    lay_text_free(&line);
}

static void time_line(const lay_page *page, const lay_meter *m) {
    lay_text line = {0};
    lay_text_add(&line, "%s", m->what);
    if (isfinite(m->seconds)) lay_text_add(&line, "  %s", lay_words_number(m->seconds, 1).text);
    if (isfinite(m->seconds) && m->total_s > 0) lay_text_add(&line, " of %s", lay_words_number(m->total_s, 0).text);
    if (isfinite(m->seconds)) lay_text_add(&line, " s");
    if (m->lost > 0) lay_text_add(&line, "   LOST %lld samples", (long long)m->lost);
    if (m->overruns > 0)
        lay_text_add(&line, "   the device lost samples %d time%s", m->overruns, m->overruns == 1 ? "" : "s");
    if (!line.failed) lay_page_line(page, m->lost + m->overruns > 0 ? LAY_INK_RED : LAY_INK_BOLD, line.text);
    lay_text_free(&line);
}

static void tach_line(const lay_page *page, const lay_meter *m) {
    lay_text line = {0}, fitted = {0};
    int bad = 0;
    if (m->tach) {
        bad = m->tach->missing + m->tach->extra + m->tach->glitches;
        lay_text_add(&line, "tach %s rpm", lay_words_number(60 * m->tach->hz, 0).text);
        if (bad > 0)
            lay_text_add(&line, "; bad pulses in 3 s: %d missing, %d too many, %d odd", m->tach->missing,
                         m->tach->extra, m->tach->glitches);
        else
            lay_text_add(&line, ", all pulses good");
    } else if (m->tach_trouble)
        lay_text_add(&line, "tach: %s", m->tach_trouble);
    lay_utf8_fit(&fitted, line.failed || !line.text ? "" : line.text, page->width);
    if (!fitted.failed) lay_page_line(page, bad > 0 || !m->tach ? LAY_INK_YELLOW : LAY_INK_GREEN, fitted.text);
    lay_text_free(&line);
    lay_text_free(&fitted);
}

lay_status lay_report_meter(const lay_meter *m, bool colour, int width, int rows, lay_text *out) {
    lay_page page = lay_page_on(out, colour, width);
    bool tach = m->tach || m->tach_trouble;
    int other = 2 + tach + (m->keys != NULL);
    size_t room = rows > other + 2 ? (size_t)(rows - other) : 2, shown = m->count <= room ? m->count : room - 1;
    time_line(&page, m);
    for (size_t i = 0; i < shown; i++) channel_line(&page, i + 1, &m->channels[i]);
    if (shown < m->count) rest_line(&page, m, shown);
    if (tach) tach_line(&page, m);
    if (m->keys) lay_page_line(&page, LAY_INK_DIM, m->keys);
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}
