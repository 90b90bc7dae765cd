#include "blows.h"

#include <math.h>
#include <string.h>

#define STEPS 720 /* of a turn, when the angle of a blow is looked for */

/* Where in the turn the energy has its crest: the angle at which the lines of the synchronous average are in step. */
static double crest(const lay_locked_line *lines) {
    double best = -INFINITY, at = 0;
    for (int k = 0; k < STEPS; k++) {
        double sum = 0;
        for (int n = 1; n <= LAY_STRIKE_LINES; n++) {
            double angle = 2 * LAY_PI * n * k / STEPS;
            sum += lines[n - 1].re * cos(angle) - lines[n - 1].im * sin(angle);
        }
        if (sum > best) best = sum, at = (double)k / STEPS;
    }
    return at;
}

/* Turns of the wheel from the pulse of a tach that looks at it; NaN where none does. */
static double angle_of(const lay_hypothesis *h, const lay_run_evidence *run, int band) {
    const lay_expected *e = lay_hypothesis_expected(h, run);
    const lay_envelope_spectrum *s = &run->envelope;
    if (h->kind != LAY_KIND_CHIP || !e || run->speed_source != LAY_SPEED_TACH || !run->tach_marks_turn) return NAN;
    double order = e->wheel_order[h->wheel], tach = 1;
    if (run->tach_body >= 0) tach = fabs(run->kinematics.speed[run->tach_body].value);
    if (fabs(order - tach) > 1e-9) return NAN;
    for (size_t l = 0; l < s->locked_count; l++)
        if (fabs(s->locked[l] - order) < 1e-6)
            return crest(s->lines + (l * s->band_count + (size_t)band) * LAY_LOCKED_LINES);
    return NAN;
}

static void fill_blows(const lay_hypothesis *h, const lay_strike *at, const lay_run_evidence *run, lay_blows *out) {
    const lay_band *band = &run->envelope.bands[at->band];
    out->lines = at->lines;
    out->slip = at->slip;
    out->order = lay_strike_order(h, run) * (1 + at->slip);
    out->hz = out->order * run->mean_hz;
    memcpy(out->level_db, at->level_db, sizeof out->level_db);
    out->swing_order = h->kind == LAY_KIND_CHIP || h->kind == LAY_KIND_CAGE ? 0 : lay_strike_swing(h, run);
    out->side_db = at->side_db;
    out->band = at->band;
    out->low_hz = band->low_hz;
    out->high_hz = band->high_hz;
    out->angle = angle_of(h, run, at->band);
}

void lay_blows_fill(const lay_hypothesis *h, const lay_score *score, const lay_strike *at, const lay_run_evidence *runs,
                    lay_suspect *s) {
    s->best_run = score->best_run;
    if (score->best_run < 0) return;
    const lay_run_evidence *run = &runs[score->best_run];
    const lay_strike *best = &at[score->best_run];
    fill_blows(h, best, run, &s->blows);
    s->quantity = run->quantity;
    s->level_db = lay_run_level_db(run, run->envelope.bands[best->band].power);
    double sum = 0;
    int n = 0;
    for (int k = 0; k < best->lines; k++) {
        if (isnan(best->level_db[k])) continue;
        s->above_floor_db = fmax(s->above_floor_db, best->level_db[k]);
        if (n < 3) sum += best->level_db[k], n++;
    }
    s->prominence_db = n ? sum / n : 0;
}

lay_turner lay_bearing_turner(const lay_unit *unit, const lay_expected *bearing, bool cage) {
    const char *inner = unit->bodies[bearing->wheel_body[0]].name, *outer = unit->bodies[bearing->wheel_body[1]].name;
    if (!(bearing->order > 0)) return (lay_turner){0, NULL, NULL};
    if (!(bearing->ring_order[1] > 0)) return (lay_turner){bearing->order, inner, NULL};
    if (!(bearing->ring_order[0] > 0)) return (lay_turner){bearing->order, outer, NULL};
    if (cage) return (lay_turner){1, unit->bodies[unit->reference].name, NULL};
    return (lay_turner){bearing->order, inner, outer};
}
