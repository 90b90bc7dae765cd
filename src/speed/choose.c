/* Which edges are pulses. A pulse may be missing and another may be double, and neither can be told from the interval
 * before it alone: what counts is whether the intervals on both sides go on evenly. So the cheapest of all ways through
 * the edges is taken (Viterbi 1967): steps of one pulse cost nothing as long as the pulse period does not change,
 * leaving an edge out, missing pulses and a fresh start cost something. An edge after 0.66 of a period costs 0.5 when
 * it is left out; taken in place of the next one it would cost (1 / 0.66 - 1) + (1.34 / 0.66 - 1) + (1.34 - 1) = 1.9.
 */
#include "choose.h"

#include <math.h>
#include <stdlib.h>

#define MOST_SKIPPED 5 /* edges between two pulses */
#define FRESH (MOST_SKIPPED + 1)
#define STATES (MOST_SKIPPED + 2) /* so many edges since the pulse before, or none before */
#define RING 8                    /* edges whose states are kept, > MOST_SKIPPED + 1 */

/* Costs; a change of the period by a tenth costs 0.1. */
#define SKIP_COST 0.5
#define MISS_COST 0.4
#define MISS_MORE_COST 0.1
#define MISS_MOST_COST 0.9
#define FRESH_COST 3.0 /* start again, in the midst of pulses; */
#define PAUSE_COST 1.0 /* after a pause of STOP_PERIODS; */
#define STOP_COST 0.5  /* after a stop */
#define MOST_CHANGE 2.0

#define STOP_PERIODS 6.0 /* and STOP_S: longer intervals are stops */
#define STOP_S 0.5
#define MOST_STEPS 60

typedef struct state {
    double cost, period; /* period 0: not known yet */
} state;

/* Where the cheapest way into a state came from. */
typedef struct back {
    uint8_t from; /* state at the edge before, NONE at the start */
    uint8_t steps;
} back;
#define NONE UINT8_MAX

typedef struct search {
    const double *t;
    size_t count;
    bool known; /* t[0] is a pulse that was chosen earlier */
    state ring[RING][STATES];
    back *backs; /* [count * STATES] */
} search;

/* Cost of the step from a pulse in state `from` over `interval`; `steps` 0 when it is a stop. */
static double step_cost(const state *from, double interval, int *steps, double *period) {
    *steps = 1;
    *period = interval;
    if (!(from->period > 0)) return 0;
    double whole = interval > 1.5 * from->period ? round(interval / from->period) : 1;
    if (whole > MOST_STEPS || interval > fmax(STOP_S, STOP_PERIODS * from->period)) {
        *steps = 0;
        return INFINITY;
    }
    *steps = (int)whole;
    *period = interval / whole;
    double change = fabs(*period - from->period) / fmin(*period, from->period);
    double missing = fmin(MISS_MOST_COST, MISS_COST + MISS_MORE_COST * (*steps - 2));
    return fmin(change, MOST_CHANGE) + (*steps > 1 ? missing : 0);
}

static void reach(search *s, size_t k, size_t skipped) {
    const state *before = s->ring[(k - 1 - skipped) % RING];
    state *here = &s->ring[k % RING][skipped];
    back *b = &s->backs[k * STATES + skipped];
    for (uint8_t q = 0; q < STATES; q++) {
        double period, cost = before[q].cost + SKIP_COST * (double)skipped;
        int steps;
        if (!(cost < here->cost)) continue;
        cost += step_cost(&before[q], s->t[k] - s->t[k - 1 - skipped], &steps, &period);
        if (!(cost < here->cost)) continue;
        *here = (state){cost, period};
        *b = (back){q, (uint8_t)steps};
    }
}

/* A fresh start at edge k: little lost when the pulses had stopped, or at the very beginning. */
static void start(search *s, size_t k) {
    state *here = &s->ring[k % RING][FRESH];
    back *b = &s->backs[k * STATES + FRESH];
    *b = (back){NONE, 1};
    *here = (state){INFINITY, 0};
    if (k <= MOST_SKIPPED && !s->known) here->cost = SKIP_COST * (double)k;
    for (uint8_t q = 0; k > 0 && q < STATES; q++) {
        const state *before = &s->ring[(k - 1) % RING][q];
        double gap = s->t[k] - s->t[k - 1];
        bool pause = gap > STOP_PERIODS * before->period, stop = pause && gap > STOP_S;
        double cost = before->cost + (stop ? STOP_COST : pause && before->period > 0 ? PAUSE_COST : FRESH_COST);
        if (cost < here->cost) {
            here->cost = cost;
            b->from = q;
        }
    }
}

static void visit(search *s, size_t k) {
    state *here = s->ring[k % RING];
    for (size_t q = 0; q <= MOST_SKIPPED; q++) here[q] = (state){INFINITY, 0};
    for (size_t skipped = 0; skipped <= MOST_SKIPPED && skipped < k; skipped++) reach(s, k, skipped);
    start(s, k);
}

/* Mark the pulses backwards from the cheapest end. */
static void trace(const search *s, uint8_t *steps) {
    size_t at = s->count - 1, q = FRESH;
    double best = INFINITY;
    for (size_t skipped = 0; skipped <= MOST_SKIPPED && skipped < s->count; skipped++)
        for (size_t k = 0; k < STATES; k++) {
            double cost = s->ring[(s->count - 1 - skipped) % RING][k].cost + SKIP_COST * (double)skipped;
            if (cost < best) best = cost, at = s->count - 1 - skipped, q = k;
        }
    for (;;) {
        const back *b = &s->backs[at * STATES + q];
        steps[at] = q == FRESH ? LAY_CHOSEN_FRESH : b->steps;
        size_t gone = q == FRESH ? 1 : q + 1;
        if (b->from == NONE || gone > at) break;
        at -= gone;
        q = b->from;
    }
}

lay_status lay_choose_pulses(const double *t, size_t count, double period, uint8_t *steps, lay_error *err) {
    search s = {.t = t, .count = count, .known = period > 0};
    if (count == 0) return LAY_OK;
    s.backs = lay_calloc(count * STATES, sizeof *s.backs);
    if (!s.backs) return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the tach pulses");
    for (size_t k = 0; k < count; k++) steps[k] = 0;
    visit(&s, 0);
    if (s.known) s.ring[0][FRESH] = (state){0, period};
    for (size_t k = 1; k < count; k++) visit(&s, k);
    trace(&s, steps);
    free(s.backs);
    return LAY_OK;
}
