/* What a part can be heard at in one run: its expected orders, and the sidebands at which lines stand. */
#include "neighbours.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#define BODY_MULTIPLES 3 /* of a shaft's or wheel's own turn */
#define FIRINGS 6        /* multiples of an engine's firing order */
#define HARMONICS 5      /* of a mesh, besides those at which lines stand */
#define NAMES_MAX 256
#define RIVAL 0.5        /* of the first claim's probability */
#define ENGINE_SHARE 0.1 /* of a line's power, from which on the engine is named with it */
#define STANDS 2.0       /* significance of what stands at an order */

typedef struct seeker {
    const lay_unit *unit;
    const lay_run_evidence *run;
    lay_part_orders *out;
    double top; /* highest order of the run */
} seeker;

/* ---- what is meant ---- */

static lay_status unknown_name(const seeker *s, const char *name, lay_error *err) {
    const char *names[NAMES_MAX];
    size_t n = 0;
    for (size_t i = 0; i < s->run->expected_count && n < NAMES_MAX; i++) names[n++] = s->run->expected[i].name;
    for (size_t i = 1; i < s->unit->body_count && n < NAMES_MAX; i++) names[n++] = s->unit->bodies[i].name;
    const char *near = lay_nearest(name, names, n);
    return lay_fail(err, LAY_BAD_INPUT, "the unit has no part or shaft '%.60s'%s%.60s%s", name,
                    near ? ": did you mean '" : "", near ? near : "", near ? "'?" : "");
}

static lay_status find(seeker *s, const char *name, lay_error *err) {
    for (size_t i = 0; i < s->run->expected_count; i++)
        if (strcasecmp(s->run->expected[i].name, name) == 0) {
            s->out->part = &s->run->expected[i];
            break;
        }
    s->out->body = s->out->part ? -1 : lay_unit_body(s->unit, name);
    const lay_expected *e = s->out->part;
    if (!e && s->out->body == LAY_CASE)
        return lay_fail(err, LAY_BAD_INPUT, "the case does not turn: it has no sound of its own");
    if (!e && s->out->body < 0) return unknown_name(s, name, err);
    double body = e ? 0 : fabs(s->run->kinematics.speed[s->out->body].value);
    if ((e && !e->turning) || (!e && !(body > 0)))
        return lay_fail(err, LAY_BAD_INPUT, "'%s' does not turn in the gear of this run, so it cannot be heard",
                        e ? e->name : name);
    if (e && e->type == LAY_PART_BEARING)
        return lay_fail(err, LAY_BAD_INPUT, "'%s' is a bearing: it strikes and makes no tone of its own", e->name);
    return LAY_OK;
}

/* ---- orders ---- */

static void add(seeker *s, lay_part_order item) {
    if (item.order <= 2 * s->run->spectrum.step || item.order > s->top || s->out->count == LAY_PART_ORDERS_MAX) return;
    for (size_t i = 0; i < s->out->count; i++)
        if (fabs(s->out->items[i].order - item.order) < 1e-6 * item.order) {
            if (isnan(s->out->items[i].above_floor_db)) s->out->items[i].above_floor_db = item.above_floor_db;
            return;
        }
    s->out->items[s->out->count++] = item;
}

/* Bodies that are locked together, or keep step for another reason, cannot be told apart. */
static bool same_turn(const seeker *s, int body) {
    const lay_kinematics *k = &s->run->kinematics;
    return body > LAY_CASE && fabs(fabs(k->speed[body].value) - fabs(k->speed[s->out->body].value)) < 1e-9;
}

/* A ghost is some wheel's on its body, so it is the body's and no part's. */
static bool ours(const seeker *s, const lay_claim *c) {
    if (c->class_ == LAY_LINE_FIXED_HZ) return false;
    if (!s->out->part) return same_turn(s, c->body);
    return c->class_ != LAY_LINE_GHOST && c->part >= 0 && &s->run->expected[c->part] == s->out->part;
}

/* Another toothed part that makes this line as well as the first claim does; NULL: none. */
static const char *rival(const seeker *s, const lay_explained_line *l) {
    for (int i = 1; i < l->claim_count; i++) {
        const lay_claim *c = &l->claims[i];
        bool toothed = c->class_ == LAY_LINE_MESH || c->class_ == LAY_LINE_AXLE;
        if (toothed && !ours(s, c) && c->part != l->claims[0].part && c->probability > RIVAL * l->claims[0].probability)
            return s->run->expected[c->part].name;
    }
    return NULL;
}

/* Lines that the run explains by this part, or by sidebands or ghosts of this body. */
static void add_lines(seeker *s) {
    for (size_t i = 0; i < s->run->line_count; i++) {
        const lay_explained_line *l = &s->run->lines[i];
        const lay_claim *c = &l->claims[0];
        if (l->claim_count == 0 || !ours(s, c)) continue;
        add(s, (lay_part_order){c->order, c->harmonic, c->sideband, c->sideband ? c->body : -1, l->line.above_floor_db,
                                rival(s, l)});
    }
}

static void add_multiples(seeker *s, double base, int count) {
    for (int k = 1; k <= count; k++) add(s, (lay_part_order){k * base, k, 0, -1, NAN, NULL});
}

static void add_expected(seeker *s) {
    const lay_expected *e = s->out->part;
    if (!e)
        add_multiples(s, fabs(s->run->kinematics.speed[s->out->body].value), BODY_MULTIPLES);
    else if (e->type == LAY_PART_ENGINE)
        add_multiples(s, e->order, FIRINGS);
    else if (e->type == LAY_PART_ROTOR)
        for (size_t i = 0; i < (e->multiple_count ? e->multiple_count : 1); i++) {
            double multiple = e->multiple_count ? e->multiples[i] : 1;
            add(s, (lay_part_order){multiple * e->order, (int)lround(multiple), 0, -1, NAN, NULL});
        }
    else
        add_multiples(s, e->order, HARMONICS);
}

/* ---- what lies on the same order ---- */

/* The engine has an order at every half turn: it counts where it fires, or where its orders around are as strong. */
static bool engine_makes(const lay_run_evidence *run, const lay_expected *engine, double made, double power) {
    double firing = fabs(made - engine->order * round(made / engine->order));
    return firing < 1e-6 * made || lay_engine_share(run, made) > ENGINE_SHARE * power;
}

/* Another part that makes what stands at this order too, and where; NULL: none, or nothing stands there. */
static const lay_expected *sharer(const seeker *s, double order, double reach, lay_tone *tone, double *made) {
    lay_tone_at(s->run, order, 0, tone);
    if (!tone->valid || tone->significance < STANDS) return NULL;
    for (size_t k = 0; k < s->run->expected_count; k++) {
        const lay_expected *e = &s->run->expected[k];
        *made = e == s->out->part ? NAN : lay_part_order_near(s->run, e, order);
        if (fabs(*made - order) < reach && (e->type != LAY_PART_ENGINE || engine_makes(s->run, e, *made, tone->power)))
            return e;
    }
    return NULL;
}

/* Where no line is the part's own and the one that stands there lies on the other's order, it is the other's. */
static void find_shared(seeker *s) {
    double reach = lay_orders_apart(s->run, 0), made = NAN;
    size_t kept = 0;
    for (size_t i = 0; i < s->out->count; i++) {
        lay_part_order item = s->out->items[i];
        lay_tone tone;
        const lay_expected *other = sharer(s, item.order, reach, &tone, &made);
        bool theirs = other && fabs(made - item.order) > 1e-6 * item.order &&
                      fabs(tone.found - made) < fabs(tone.found - item.order);
        if (theirs && isnan(item.above_floor_db)) continue;
        if (!item.shared && other) item.shared = other->name;
        s->out->items[kept++] = item;
    }
    s->out->count = kept;
}

static int by_height(const void *x, const void *y) {
    const lay_part_order *a = x, *b = y;
    double p = isnan(a->above_floor_db) ? -1 : a->above_floor_db, q = isnan(b->above_floor_db) ? -1 : b->above_floor_db;
    if (p != q) return (p < q) - (p > q);
    return (a->order > b->order) - (a->order < b->order);
}

lay_status lay_run_part_orders(const lay_unit *unit, const lay_run_evidence *run, const char *name,
                               lay_part_orders *out, lay_error *err) {
    *out = (lay_part_orders){.body = -1};
    if (!run->usable)
        return lay_fail(err, LAY_BAD_INPUT, "the speed of this run is not known, so no part can be told from the rest");
    seeker s = {unit, run, out, (double)(run->spectrum.bins - 1) * run->spectrum.step};
    lay_status status = find(&s, name, err);
    if (status != LAY_OK) return status;
    add_lines(&s);
    add_expected(&s);
    if (out->count == 0)
        return lay_fail(err, LAY_BAD_INPUT, "the orders of '%s' lie above what this recording holds", name);
    find_shared(&s);
    if (out->count == 0)
        return lay_fail(err, LAY_BAD_INPUT, "in this run the orders of '%s' lie on those of other parts", name);
    qsort(out->items, out->count, sizeof *out->items, by_height);
    return LAY_OK;
}
