/* Drive against coast: the same order at the same speed in the same gear. */
#include "symptoms.h"

#include <math.h>
#include <stdlib.h>

#define POINTS 256      /* differences that are gathered at most */
#define SAME_SPEED 0.05 /* steady runs further apart are not compared */
#define ONE_FLANK_DB 6.0
#define ALIKE_DB 3.0
#define EVEN_DB 7.0     /* wider apart, the differences are not those of two like runs */
#define STRETCH_DB 2.0  /* a stretch counts by so much less than the middle of all */
#define AGAINST_DB 6.0  /* and not when another one is as much the other way */
#define SWEEP_SD_DB 1.5 /* of the median over a sweep */
#define STEADY_SD_DB 3.0
#define HEIGHT 4.0 /* over the floor in the louder run, as a ratio of powers */

typedef struct differences {
    double db[POINTS];
    size_t count;
    bool swept;
    int drive, coast; /* runs compared first */
} differences;

/* Power of a cut at a speed, its floor where it does not stand out; 0 outside of what was measured. */
static double power_at(const lay_cut *cut, double hz, bool *swept) {
    if (cut->count == 1) return fabs(cut->hz[0] / hz - 1) <= SAME_SPEED ? fmax(cut->power[0], cut->floor[0]) : 0;
    for (size_t i = 1; i < cut->count; i++) {
        if (hz < cut->hz[i - 1] || hz > cut->hz[i]) continue;
        double share = (hz - cut->hz[i - 1]) / (cut->hz[i] - cut->hz[i - 1]);
        double a = fmax(cut->power[i - 1], cut->floor[i - 1]), b = fmax(cut->power[i], cut->floor[i]);
        *swept = true;
        return exp((1 - share) * log(fmax(a, 1e-300)) + share * log(fmax(b, 1e-300)));
    }
    return 0;
}

static void compare(const lay_patient *p, size_t drive, size_t coast, differences *out) {
    const lay_look *look = p->l->out;
    const lay_cut *a = &look->cuts[drive], *b = &look->cuts[coast];
    for (size_t i = 0; i < a->count && out->count < POINTS; i++) {
        bool swept = false;
        double other = power_at(b, a->hz[i], &swept), own = fmax(a->power[i], a->floor[i]);
        double floor = fmax(a->floor[i], 1e-300);
        if (!(other > 0) || fmax(own, other) < floor * HEIGHT) continue;
        if (out->count == 0) out->drive = look->orders[drive].run, out->coast = look->orders[coast].run;
        out->db[out->count++] = lay_db_power(own / other);
        out->swept |= swept && a->count > 1;
    }
}

/* The harmonic that is loudest in the run that shows the suspect best. */
static int loudest(const lay_patient *p) {
    int best = 1;
    double most = -INFINITY;
    for (int h = 1; h <= LAY_LOOK_HARMONICS; h++) {
        double level = lay_patient_level(p, p->suspect->best_run, h);
        if (level > most) most = level, best = h;
    }
    return best;
}

/* A phone sets its gain by itself, louder or quieter from one recording to the next: their levels do not compare.
 * Nobody who has a microphone calibrated lets that happen. */
static bool levels_compare(const lay_run_evidence *run) {
    return run->sensor != LAY_SENSOR_MIC || run->quantity != LAY_FULL_SCALE;
}

static void gather(const lay_patient *p, differences *out) {
    const lay_look *look = p->l->out;
    int harmonic = loudest(p);
    for (size_t i = 0; i < look->cut_count; i++)
        for (size_t k = 0; k < look->cut_count; k++) {
            const lay_look_order *a = &look->orders[i], *b = &look->orders[k];
            if (a->suspect != p->index || b->suspect != p->index || a->harmonic != harmonic || b->harmonic != harmonic)
                continue;
            const lay_run_evidence *x = &p->l->runs[a->run], *y = &p->l->runs[b->run];
            if (!levels_compare(x) || !levels_compare(y)) continue;
            if (x->load == LAY_LOAD_DRIVE && y->load == LAY_LOAD_COAST && x->gear == y->gear) compare(p, i, k, out);
        }
}

/* Drive over coast, dB. A driver does not hold the throttle as still as the table says, and where the load was another
 * one than stated the two are alike; so a stretch on which one of them is clearly louder tells, while the middle of all
 * may not. */
typedef struct contrast {
    double middle, low, high; /* of the differences: median, lower and upper sixth */
    double louder;            /* of the side that tells, signed */
    double one, alike;        /* how sure that it is one flank, or both */
} contrast;

static contrast contrast_of(differences *d) {
    contrast c = {0};
    double sd = d->swept ? SWEEP_SD_DB : STEADY_SD_DB;
    c.middle = lay_median(d->db, d->count);
    c.low = lay_quantile(d->db, d->count, 1.0 / 6);
    c.high = lay_quantile(d->db, d->count, 5.0 / 6);
    bool drive = fabs(c.high) > fabs(c.low);
    double tail = drive ? c.high : c.low, against = drive ? -c.low : c.high;
    c.louder = c.middle;
    if (fabs(tail) > fabs(c.middle) + STRETCH_DB && against <= AGAINST_DB)
        c.louder = tail > 0 ? tail - STRETCH_DB : tail + STRETCH_DB;
    c.one = 1 - lay_normal_survival((fabs(c.louder) - ONE_FLANK_DB) / sd);
    c.alike = 1 - lay_normal_survival((ALIKE_DB - fabs(c.middle)) / sd);
    if (c.high - c.low > EVEN_DB) c.alike = 0;
    return c;
}

lay_status lay_symptom_flank(lay_patient *p, lay_error *err) {
    differences d = {0};
    gather(p, &d);
    if (!d.count) return LAY_OK;
    contrast c = contrast_of(&d);
    lay_symptom found = {
        .kind = LAY_SYMPTOM_FLANK, .value = c.louder, .sure = c.one, .run = c.louder > 0 ? d.drive : d.coast};
    lay_text text = {0};
    if (c.one >= 0.5) {
        const char *loud = c.louder > 0 ? "drive" : "coast", *quiet = c.louder > 0 ? "coast" : "drive";
        lay_text_add(&text,
                     "at the same speed it is %.0f dB louder on %s than on %s: look at the %s flanks of both wheels",
                     fabs(c.louder), loud, quiet, loud);
    } else if (c.alike >= 0.5) {
        found.sure = c.alike;
        found.value = c.middle;
        lay_text_add(
            &text,
            "it is as loud on drive as on coast at the same speed (%.0f dB apart): both flanks are at fault, or "
            "something both share, as the position of the shafts",
            fabs(c.middle));
    } else
        return LAY_OK;
    return lay_symptom_add(p->suspect, &found, &text, NULL, err);
}
