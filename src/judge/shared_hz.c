#include "shared_hz.h"

#include <math.h>
#include <stdlib.h>

/* Every tone one run proved fixed is looked for in the others; and an unexplained line of a steady run counts as fixed
 * when at least half of the other runs whose speeds are 3 % or more away hold a narrow peak at the same Hz. */

#define FIXED_MAX 64

static bool narrow_peak(const lay_run_evidence *run, double hz, double within) {
    const lay_order_spectrum *s = &run->spectrum;
    if (!run->usable || s->hz_bins < 64) return false;
    size_t low = (size_t)fmax(8, floor((hz - within) / s->hz_step)), high = (size_t)ceil((hz + within) / s->hz_step);
    if (high + 8 >= s->hz_bins) return false;
    size_t top = low;
    for (size_t i = low; i <= high; i++)
        if (s->hz_power[i] > s->hz_power[top]) top = i;
    double around[14];
    size_t n = 0;
    for (size_t d = 2; d <= 8; d++) around[n++] = s->hz_power[top - d], around[n++] = s->hz_power[top + d];
    return s->hz_power[top] > 12 * lay_median(around, n) && s->hz_power[top] > 4 * s->hz_power[top - 3] &&
           s->hz_power[top] > 4 * s->hz_power[top + 3];
}

static bool speeds_differ(const lay_run_evidence *a, const lay_run_evidence *b) {
    return fabs(a->mean_hz - b->mean_hz) > 0.03 * a->mean_hz;
}

/* In the other run the same Hz must not be an order that its own parts explain. */
static bool explained_there(const lay_run_evidence *run, double hz) {
    for (size_t i = 0; i < run->line_count; i++) {
        const lay_explained_line *l = &run->lines[i];
        if (fabs(l->line.hz - hz) > 2 * run->spectrum.step * run->mean_hz) continue;
        if (l->claim_count && l->claims[0].class_ != LAY_LINE_GHOST && l->claims[0].class_ != LAY_LINE_BEARING &&
            l->claims[0].class_ != LAY_LINE_FIXED_HZ && l->claims[0].probability > 0.5)
            return true;
    }
    return false;
}

static bool already(const lay_run_evidence *run, double hz) {
    for (size_t i = 0; i < run->fixed_hz_count; i++)
        if (fabs(run->fixed_hz[i] - hz) < 1) return true;
    return false;
}

static lay_status add(lay_run_evidence *run, double hz, lay_error *err) {
    if (already(run, hz) || run->fixed_hz_count >= FIXED_MAX) return LAY_OK;
    if (!run->fixed_hz) run->fixed_hz = lay_calloc(FIXED_MAX, sizeof *run->fixed_hz);
    if (!run->fixed_hz) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    run->fixed_hz[run->fixed_hz_count++] = hz;
    lay_text_add(&run->warnings, "a tone stays at %.0f Hz at every speed: mains or an inverter, not the transmission\n",
                 hz);
    return LAY_OK;
}

static bool strange(const lay_explained_line *line) {
    if (line->line.significance < 5) return false;
    return line->claim_count == 0 || line->claims[0].class_ == LAY_LINE_GHOST ||
           line->claims[0].class_ == LAY_LINE_BEARING;
}

static bool confirmed(const lay_run_evidence *runs, size_t count, size_t self, double hz, double within) {
    size_t asked = 0, yes = 0;
    for (size_t r = 0; r < count; r++) {
        if (r == self || !runs[r].usable || !speeds_differ(&runs[self], &runs[r])) continue;
        asked++;
        yes += narrow_peak(&runs[r], hz, within) && !explained_there(&runs[r], hz);
    }
    return yes > 0 && 2 * yes >= asked;
}

static lay_status spread_known(lay_run_evidence *runs, size_t count, lay_error *err) {
    lay_status status = LAY_OK;
    for (size_t a = 0; a < count && status == LAY_OK; a++)
        for (size_t i = 0; i < runs[a].fixed_hz_count && status == LAY_OK; i++)
            for (size_t b = 0; b < count && status == LAY_OK; b++) {
                double hz = runs[a].fixed_hz[i];
                if (b != a && narrow_peak(&runs[b], hz, 1.5) && !explained_there(&runs[b], hz))
                    status = add(&runs[b], hz, err);
            }
    return status;
}

static lay_status from_lines(lay_run_evidence *runs, size_t count, size_t self, lay_error *err) {
    lay_run_evidence *run = &runs[self];
    lay_status status = LAY_OK;
    if (!run->usable || run->max_hz - run->min_hz > 0.02 * run->mean_hz) return LAY_OK;
    for (size_t i = 0; i < run->line_count && status == LAY_OK; i++) {
        double hz = run->lines[i].line.hz;
        if (strange(&run->lines[i]) && confirmed(runs, count, self, hz, 1.5)) status = add(run, hz, err);
    }
    return status;
}

lay_status lay_shared_hz_find(const lay_unit *unit, lay_run_evidence *runs, size_t count, lay_error *err) {
    lay_status status = spread_known(runs, count, err);
    for (size_t r = 0; r < count && status == LAY_OK; r++) status = from_lines(runs, count, r, err);
    for (size_t r = 0; r < count && status == LAY_OK; r++)
        if (runs[r].usable && runs[r].fixed_hz_count) lay_run_explain(unit, &runs[r]);
    return status;
}
