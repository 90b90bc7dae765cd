#include "level_lines.h"

#include <math.h>
#include <stdlib.h>

#define HARMONICS 6
#define WITH_SIDEBANDS 3 /* harmonics whose sidebands are looked at */
#define SIDEBANDS 2      /* turns of a wheel away, at most */
#define FIRINGS 4
#define STANDS 3.0 /* significance from which something stands at an order */
#define LEAK 0.3   /* share of a line's power from which a neighbour spoils it */
#define TURNS_LEAST 16.0
#define TURNS_MOST 64.0
#define LOOKS_LEAST 10.0

typedef struct collector {
    const lay_run_evidence *run;
    double top;
    lay_level_line *lines;
    size_t count, capacity;
} collector;

static lay_status add(collector *c, lay_level_line line, lay_error *err) {
    if (!(line.order > 0.2) || line.order > c->top) return LAY_OK;
    void *items = c->lines;
    lay_status status = lay_grow(&items, &c->capacity, c->count, sizeof line, err);
    c->lines = items;
    if (status == LAY_OK) c->lines[c->count++] = line;
    return status;
}

static double multiple_of(const lay_expected *e, int h) {
    if (e->type == LAY_PART_ROTOR && e->multiple_count > 0)
        return (size_t)h <= e->multiple_count ? e->multiples[h - 1] : 0;
    return h;
}

static lay_status add_sidebands(collector *c, const lay_expected *e, lay_level_line line, lay_error *err) {
    double at = line.order;
    lay_status status = LAY_OK;
    for (line.wheel = 0; line.wheel < 2; line.wheel++)
        for (line.sideband = -SIDEBANDS; line.sideband <= SIDEBANDS && status == LAY_OK; line.sideband++) {
            line.order = at + line.sideband * e->wheel_order[line.wheel];
            if (line.sideband != 0 && e->wheel_order[line.wheel] > 0) status = add(c, line, err);
        }
    return status;
}

static lay_status add_part(collector *c, int part, lay_error *err) {
    const lay_expected *e = &c->run->expected[part];
    bool toothed = e->type == LAY_PART_MESH || e->type == LAY_PART_AXLE;
    int count = toothed ? HARMONICS : e->type == LAY_PART_ENGINE ? FIRINGS : 1;
    if (e->type == LAY_PART_ROTOR && e->multiple_count > 0) count = (int)e->multiple_count;
    lay_status status = LAY_OK;
    for (int h = 1; h <= count && status == LAY_OK; h++) {
        lay_level_line line = {.part = part, .harmonic = h, .wheel = -1, .owner = -1};
        line.order = multiple_of(e, h) * e->order;
        status = add(c, line, err);
        if (toothed && h <= WITH_SIDEBANDS && status == LAY_OK) status = add_sidebands(c, e, line, err);
    }
    return status;
}

/* ---- whose a line is ---- */

#define OTHERS 8        /* harmonics of other parts that are looked at */
#define FAR_SIDEBANDS 4 /* of theirs */
#define THEIRS 0.1      /* share of what stands there that another part may make */
#define BINS_APART 1.5
#define LOUDEST_SIDEBAND 1.3
#define CLEARLY 4.0  /* times the other's harmonics elsewhere */
#define SOME 0.003   /* of what stands at the line: harmonics so much weaker show nothing */
#define ENGINES 0.25 /* share of the engine from which the line is its own */

static double tone_power(const lay_run_evidence *run, double order) {
    lay_tone tone;
    lay_tone_at(run, order, 0, &tone);
    return tone.valid && tone.significance >= STANDS ? tone.power : 0;
}

/* Orders nearer than that are one line. */
static double one_line(const lay_run_evidence *run, double order) {
    return fmax(BINS_APART * run->spectrum.step, lay_order_tolerance(run, order));
}

/* Sidebands of a sound mesh lie 5 dB and more below it, the further the weaker (common practice, no source). */
static double sideband_share(int turns) {
    static const double share[FAR_SIDEBANDS + 1] = {1, 0.3, 0.1, 0.05, 0.03};
    return share[abs(turns)];
}

/* Two meshes of one wheel, as those of an idler, sound at one order in every gear: they are measured as one, and
 * neither is the other's owner. */
static bool one_wheel(const lay_expected *a, const lay_expected *b, double apart) {
    if (a->type != LAY_PART_MESH || b->type != LAY_PART_MESH || fabs(a->order - b->order) > apart) return false;
    for (int i = 0; i < 2; i++)
        for (int k = 0; k < 2; k++)
            if (a->wheel_body[i] == b->wheel_body[k] && a->teeth[i] == b->teeth[k]) return true;
    return false;
}

typedef struct ownership {
    const lay_run_evidence *run;
    const double *power; /* [expected_count * OTHERS] what stands at the harmonics of every part */
    const lay_level_line *line;
    double own, apart; /* what stands at the line; orders nearer than that are one line */
} ownership;

static bool has_harmonic(const lay_expected *e, double order, double apart) {
    bool listed = e->type == LAY_PART_ROTOR && e->multiple_count > 0;
    if (!(e->order > 0)) return false;
    if (!listed) return order > e->order - apart && fabs(order - round(order / e->order) * e->order) <= apart;
    for (int h = 1; h <= (int)e->multiple_count; h++)
        if (fabs(multiple_of(e, h) * e->order - order) <= apart) return true;
    return false;
}

/* The strongest harmonic of a part away from the line, at places where the other part has none. */
static double elsewhere(const ownership *o, size_t part, size_t other) {
    const lay_expected *e = &o->run->expected[part];
    double most = 0;
    for (int h = 1; h <= OTHERS; h++) {
        double at = multiple_of(e, h) * e->order;
        if (fabs(at - o->line->order) > o->apart && !has_harmonic(&o->run->expected[other], at, o->apart))
            most = fmax(most, o->power[part * OTHERS + (size_t)h - 1]);
    }
    return most;
}

/* The part has a harmonic in the spectrum where the other has none: it can be seen alone. */
static bool seen_alone(const ownership *o, size_t part, size_t other) {
    const lay_expected *e = &o->run->expected[part];
    for (int h = 1; h <= HARMONICS; h++) {
        double at = multiple_of(e, h) * e->order;
        if (at > 0 && at < (double)(o->run->spectrum.bins - 1) * o->run->spectrum.step &&
            !has_harmonic(&o->run->expected[other], at, o->apart))
            return true;
    }
    return false;
}

/* Of two parts with a harmonic at one place: a sideband gives way to a harmonic, a high one to a low one, a mesh
 * without torque to one with it; the others have to show by their harmonics elsewhere whose it is. All harmonics of one
 * may be harmonics of the other: then the lower one has it, unless the other is as loud at its own. */
static double harmonic_claim(const ownership *o, size_t part, int h) {
    const lay_expected *mine = &o->run->expected[o->line->part], *e = &o->run->expected[part];
    size_t line_part = (size_t)o->line->part;
    double theirs = elsewhere(o, part, line_part), ours = elsewhere(o, line_part, part);
    if (o->line->sideband != 0) return fmax(theirs, o->own);
    if (h > o->line->harmonic + 1 || h > HARMONICS) return theirs;
    if (h > o->line->harmonic && !seen_alone(o, line_part, part)) return theirs;
    bool hidden = h < o->line->harmonic && !seen_alone(o, part, line_part);
    if (!hidden && ours > CLEARLY * theirs && ours > SOME * o->own) return theirs;
    bool by_torque = mine->type == LAY_PART_MESH && e->type == LAY_PART_MESH && mine->loaded && !e->loaded;
    return by_torque && theirs <= CLEARLY * ours ? theirs : fmax(theirs, o->own);
}

/* What a part may make at the line. */
static double may_make(const ownership *o, size_t part) {
    const lay_expected *e = &o->run->expected[part];
    bool toothed = e->type == LAY_PART_MESH || e->type == LAY_PART_AXLE;
    double made = 0;
    for (int h = 1; h <= OTHERS; h++) {
        double at = multiple_of(e, h) * e->order, power = o->power[part * OTHERS + (size_t)h - 1];
        if (at > 0 && fabs(at - o->line->order) <= o->apart) made = fmax(made, harmonic_claim(o, part, h));
        for (int w = 0; w < 2 && toothed && power > 0; w++)
            for (int s = -FAR_SIDEBANDS; s <= FAR_SIDEBANDS; s++)
                if (s != 0 && fabs(at + s * e->wheel_order[w] - o->line->order) <= o->apart)
                    made = fmax(made, power * sideband_share(s));
    }
    return made;
}

/* A sideband is no louder than its line. */
static void find_owner(const collector *c, const double *power, lay_level_line *line) {
    const lay_run_evidence *run = c->run;
    ownership o = {run, power, line, tone_power(run, line->order), one_line(run, line->order)};
    const lay_expected *mine = &run->expected[line->part];
    if (o.own == 0) return;
    if (line->sideband != 0 && o.own > LOUDEST_SIDEBAND * power[line->part * OTHERS + line->harmonic - 1])
        line->crowded = true;
    for (size_t q = 0; q < run->expected_count; q++) {
        const lay_expected *e = &run->expected[q];
        if ((int)q == line->part || !e->turning || e->type == LAY_PART_BEARING || one_wheel(mine, e, o.apart)) continue;
        bool engine = e->type == LAY_PART_ENGINE;
        double made = engine ? lay_engine_share(run, line->order) : may_make(&o, q);
        if (made > (engine ? ENGINES : THEIRS) * o.own) line->owner = (int)q;
    }
}

static lay_status find_owners(collector *c, lay_error *err) {
    const lay_run_evidence *run = c->run;
    double *power = lay_calloc(run->expected_count * OTHERS + 1, sizeof *power);
    if (!power) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    for (size_t q = 0; q < run->expected_count; q++) {
        const lay_expected *e = &run->expected[q];
        bool tones = e->turning && e->type != LAY_PART_BEARING && e->type != LAY_PART_ENGINE;
        for (int h = 1; h <= OTHERS && tones; h++)
            power[q * OTHERS + (size_t)h - 1] = tone_power(run, multiple_of(e, h) * e->order);
    }
    for (size_t i = 0; i < c->count; i++) find_owner(c, power, &c->lines[i]);
    free(power);
    return LAY_OK;
}

/* ---- what spoils it ---- */

size_t lay_level_reach(const lay_run_evidence *run, double order, double step) {
    double bins = 1.5 + lay_order_tolerance(run, order) / step;
    return bins <= 2 ? 2 : bins >= 4 ? 4 : (size_t)ceil(bins);
}

static double own_power(const lay_run_evidence *run, const lay_level_line *line, bool *stands) {
    lay_tone tone;
    lay_tone_at(run, line->order, 0, &tone);
    *stands = tone.valid && tone.significance >= STANDS;
    return tone.valid ? tone.power : 0;
}

/* Lines of the fine spectrum within what a look takes for this line. */
static bool spoilt(const lay_run_evidence *run, const lay_level_line *line, double power, double turns) {
    double step = 1 / turns, near = lay_order_tolerance(run, line->order);
    double far = ((double)lay_level_reach(run, line->order, step) + 1.5) * step, sum = 0;
    for (size_t i = 0; i < run->line_count; i++) {
        double off = fabs(run->lines[i].line.order - line->order);
        if (off > near && off < far) sum += run->lines[i].line.power;
    }
    return sum > LEAK * power;
}

/* Lines that matter and cannot be measured with looks of this length. */
static int spoilt_count(const collector *c, double turns) {
    int spoils = 0;
    for (size_t i = 0; i < c->count; i++) {
        bool stands;
        double power = own_power(c->run, &c->lines[i], &stands);
        bool matters = stands && c->lines[i].sideband == 0 && c->lines[i].owner < 0;
        if (matters && spoilt(c->run, &c->lines[i], power, turns)) spoils++;
    }
    return spoils;
}

static double choose_turns(const collector *c) {
    double best = TURNS_LEAST;
    int fewest = spoilt_count(c, best);
    for (double turns = 2 * TURNS_LEAST; turns <= TURNS_MOST && fewest > 0; turns *= 2) {
        if (2 * c->run->revolutions / turns < LOOKS_LEAST) break;
        int spoils = spoilt_count(c, turns);
        if (spoils < fewest) fewest = spoils, best = turns;
    }
    return best;
}

lay_status lay_level_lines_collect(const lay_run_evidence *run, double top, lay_level_line **out, size_t *count,
                                   double *turns, lay_error *err) {
    collector c = {.run = run, .top = top};
    lay_status status = LAY_OK;
    for (size_t p = 0; p < run->expected_count && status == LAY_OK; p++)
        if (run->expected[p].turning && run->expected[p].type != LAY_PART_BEARING) status = add_part(&c, (int)p, err);
    if (status == LAY_OK) status = find_owners(&c, err);
    *turns = status == LAY_OK ? choose_turns(&c) : TURNS_LEAST;
    for (size_t i = 0; i < c.count && status == LAY_OK; i++) {
        bool stands;
        double power = own_power(run, &c.lines[i], &stands);
        c.lines[i].crowded |= spoilt(run, &c.lines[i], power, *turns);
    }
    *out = c.lines;
    *count = c.count;
    return status;
}
