#include <layshaft/source.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Parts compete for a line: every family that has a line near it puts in a claim weighted by how readily that kind of
 * line is made (prior) and by its distance in tolerances; the shares add up to one with "unknown" among them. The
 * priors only rank explanations of one line; what a part is accused of is decided in judge over all runs. */

#define UNKNOWN_WEIGHT 0.03
#define CARRIERS 6 /* harmonics whose own level is known */
#define ALONE 4    /* from this harmonic on a lower one must be there as well */

static const char *const class_names[LAY_LINE_CLASS_COUNT] = {
    "unknown", "mesh", "shaft", "engine", "axle", "rotor", "bearing", "ghost", "fixed",
};

const char *lay_line_class_name(lay_line_class class_) {
    return class_ < LAY_LINE_CLASS_COUNT ? class_names[class_] : "unknown";
}

typedef struct claim_list {
    const lay_run_evidence *run;
    const lay_line *line;
    lay_claim items[LAY_CLAIMS_MAX];
    int count;
    double total; /* weight of all claims, kept or not */
} claim_list;

/* Put in a claim; the list keeps the heaviest. */
static void claim(claim_list *list, lay_claim c, double weight, double slack) {
    double tolerance = lay_order_tolerance(list->run, c.order) + slack * c.order;
    double distance = (list->line->order - c.order) / tolerance;
    if (fabs(distance) > 1.5 || weight <= 0) return;
    c.probability = weight * exp(-2 * distance * distance);
    list->total += c.probability;
    int at = list->count < LAY_CLAIMS_MAX ? list->count++ : LAY_CLAIMS_MAX - 1;
    if (at == LAY_CLAIMS_MAX - 1 && list->items[at].probability >= c.probability && list->count == LAY_CLAIMS_MAX)
        return;
    while (at > 0 && list->items[at - 1].probability < c.probability) {
        list->items[at] = list->items[at - 1];
        at--;
    }
    list->items[at] = c;
}

/* A sideband may exceed its mesh line by some 6 dB, not by 20: how far the line at harmonic k can carry this one, 0..1.
 */
static double carries(const lay_line *line, const lay_tone *carrier, int k) {
    if (k > CARRIERS) return 0.2;
    if (carrier[k - 1].significance <= 2 || line->power <= 0) return 0;
    return fmin(1, 4 * carrier[k - 1].power / line->power);
}

/* A high harmonic does not stand alone: share of the line at harmonic k that the lower ones make credible, 0..1. */
static double accompanied(const lay_line *line, const lay_tone *carrier, int k) {
    double below = 0;
    for (int j = 1; j < k && j <= CARRIERS; j++)
        if (carrier[j - 1].significance > 2) below = fmax(below, carrier[j - 1].power);
    return k < ALONE || line->power <= 0 ? 1 : fmin(1, 10 * below / line->power);
}

static void claim_toothed(claim_list *list, int part, const lay_expected *e, const lay_tone *carrier) {
    lay_line_class class_ = e->type == LAY_PART_AXLE ? LAY_LINE_AXLE : LAY_LINE_MESH;
    double base = e->loaded || e->type == LAY_PART_AXLE ? 1.0 : 0.2;
    double order = list->line->order;
    int nearest = (int)lround(order / e->order);
    for (int k = nearest - 1; k <= nearest + 1; k++) {
        if (k < 1) continue;
        double at = k * e->order, weight = base / sqrt(k) * accompanied(list->line, carrier, k);
        claim(list, (lay_claim){class_, part, k, 0, -1, at, 0}, weight, 0);
        double sideband = weight * 0.2 * carries(list->line, carrier, k);
        for (int w = 0; w < 2 && sideband > 0; w++)
            for (int n = 1; n <= 3; n++)
                for (int sign = -1; sign <= 1; sign += 2)
                    claim(
                        list,
                        (lay_claim){class_, part, k, sign * n, e->wheel_body[w], at + sign * n * e->wheel_order[w], 0},
                        sideband / (n * n), 0);
    }
}

static void claim_engine(claim_list *list, int part, const lay_expected *e) {
    if (e->cycle_order <= 0) return;
    int n = (int)lround(list->line->order / e->cycle_order);
    if (n < 1) return;
    double made = lay_engine_share(list->run, n * e->cycle_order);
    double share = list->line->power > 0 ? fmin(1, made / list->line->power) : 0;
    double low = exp(-list->line->order / (4 * fmax(e->order, 1)));
    double weight = 3 * share + 1.5 * low;
    if (!lay_engine_order(list->run, list->line->order)) weight *= 0.15; /* beside its place, or no engine is heard */
    claim(list, (lay_claim){LAY_LINE_ENGINE, part, n, 0, -1, n * e->cycle_order, 0}, weight, 0);
}

/* The listed orders of a rotor may have harmonics, as strong as what they are harmonics of lets expect. */
static void claim_rotor(claim_list *list, int part, const lay_expected *e) {
    for (size_t i = 0; i < e->multiple_count; i++)
        for (int k = 1; k <= 3; k++) {
            double at = k * e->multiples[i] * e->order, weight = 0.8 / k;
            if (k > 1 && fabs(at - list->line->order) < 1) {
                lay_tone base = {0};
                lay_tone_at(list->run, e->multiples[i] * e->order, 0, &base);
                weight *= base.significance > 2 ? fmin(1, 10 * base.power / list->line->power) : 0;
            }
            claim(list, (lay_claim){LAY_LINE_ROTOR, part, k, 0, -1, at, 0}, weight, 1e-4);
        }
}

static void claim_bearing(claim_list *list, int part, const lay_expected *e) {
    const double orders[4] = {e->bpfo, e->bpfi, e->bsf2, e->ftf};
    for (int i = 0; i < 4; i++) {
        int k = orders[i] > 0 ? (int)lround(list->line->order / orders[i]) : 0;
        if (k < 1 || k > 6) continue;
        claim(list, (lay_claim){LAY_LINE_BEARING, part, k, 0, -1, k * orders[i], 0}, 0.04 / k, e->tolerance);
    }
}

static void claim_shafts(claim_list *list) {
    const lay_kinematics *k = &list->run->kinematics;
    for (size_t b = 1; b < k->body_count; b++) {
        double turn = fabs(k->speed[b].value);
        if (k->free_body[b] || turn < 1e-9) continue;
        int n = (int)lround(list->line->order / turn);
        if (n >= 1 && n <= 4) claim(list, (lay_claim){LAY_LINE_SHAFT, -1, n, 0, (int)b, n * turn, 0}, 0.6 / n, 0);
    }
}

/* Whole number per turn of a body that carries a toothed wheel; weak, so that it only names what nothing else explains.
 */
static void claim_ghosts(claim_list *list, const lay_unit *unit) {
    const lay_kinematics *k = &list->run->kinematics;
    for (size_t m = 0; m < unit->mesh_count; m++)
        for (int w = 0; w < 2; w++) {
            int body = w ? unit->meshes[m].driven.body : unit->meshes[m].driver.body;
            double turn = fabs(k->speed[body].value - k->speed[unit->meshes[m].carrier].value);
            if (k->free_body[body] || turn < 1e-9) continue;
            int n = (int)lround(list->line->order / turn);
            double tolerance = lay_order_tolerance(list->run, list->line->order);
            if (n < 8 || n > 400 || tolerance > 0.1 * turn) continue;
            claim(list, (lay_claim){LAY_LINE_GHOST, (int)m, n, 0, body, n * turn, 0}, 0.03, 0);
        }
}

static bool is_fixed(const lay_run_evidence *run, double hz) {
    for (size_t i = 0; i < run->fixed_hz_count; i++)
        if (fabs(run->fixed_hz[i] - hz) < 1.5 * run->spectrum.step * run->mean_hz) return true;
    return false;
}

static void collect(claim_list *list, const lay_unit *unit, const lay_tone *carriers) {
    const lay_run_evidence *run = list->run;
    for (size_t i = 0; i < run->expected_count; i++) {
        const lay_expected *e = &run->expected[i];
        if (!e->turning) continue;
        if ((e->type == LAY_PART_MESH || e->type == LAY_PART_AXLE) && e->order > 0)
            claim_toothed(list, (int)i, e, carriers + CARRIERS * i);
        else if (e->type == LAY_PART_ENGINE)
            claim_engine(list, (int)i, e);
        else if (e->type == LAY_PART_ROTOR)
            claim_rotor(list, (int)i, e);
        else if (e->type == LAY_PART_BEARING)
            claim_bearing(list, (int)i, e);
    }
    claim_shafts(list);
    claim_ghosts(list, unit);
    bool steady = run->max_hz - run->min_hz < 0.02 * run->mean_hz;
    if (steady && is_fixed(run, list->line->hz))
        claim(list, (lay_claim){LAY_LINE_FIXED_HZ, -1, 1, 0, -1, list->line->order, 0}, 5, 0);
}

static void settle(const claim_list *list, lay_explained_line *line) {
    double total = list->total + UNKNOWN_WEIGHT;
    line->claim_count = 0;
    for (int i = 0; i < list->count; i++) {
        lay_claim c = list->items[i];
        c.probability /= total;
        if (c.probability < 0.01) break;
        line->claims[line->claim_count++] = c;
    }
}

void lay_run_explain(const lay_unit *unit, lay_run_evidence *run) {
    lay_tone *carriers = lay_calloc(CARRIERS * run->expected_count + 1, sizeof *carriers);
    if (!carriers) return; /* lines stay unknown; nothing else is lost */
    for (size_t i = 0; i < run->expected_count; i++)
        for (int k = 0; k < CARRIERS; k++)
            if (run->expected[i].order > 0)
                lay_tone_at(run, (k + 1) * run->expected[i].order, 0, &carriers[CARRIERS * i + (size_t)k]);
    for (size_t i = 0; i < run->line_count; i++) {
        claim_list list = {.run = run, .line = &run->lines[i].line};
        collect(&list, unit, carriers);
        settle(&list, &run->lines[i]);
    }
    free(carriers);
}
