/* What happens once, twice or at one place per turn of a wheel. What counts as much is common practice, no source, and
 * checked on fleets of simulated transmissions. */
#include "symptoms.h"

#include <math.h>

#define STANDS_DB 8.0 /* a sideband counts from here over chance */
#define EVEN_DB 10.5  /* sidebands this far below the mesh are as likely run-out as natural */
#define PER_DB 0.9    /* log odds */
#define AHEAD_DB 3.0  /* of the other wheel's */
#define TWICE_DB 14.0
#define LOCAL_RATIO 6.0 /* energy of one tooth over the mean tooth */
#define LOCAL_KURTOSIS 4.0
#define MANY 4      /* far sidebands that make looseness likely */
#define FAR_DB 25.0 /* and how far they may lie below the mesh */

static const char *name_of(const lay_patient *p, int wheel) {
    return p->l->unit->bodies[p->wheel[wheel]->body].name;
}

static bool stands(const lay_turn_view *v, int k) {
    return v->seen && v->over_db[k - 1] >= STANDS_DB;
}

/* Sidebands k turns of the wheel away, dB re the mesh, where they stand out; -INFINITY where not. */
static double side(const lay_turn_view *v, int k) {
    return stands(v, k) ? v->side_db[k - 1] : -INFINITY;
}

/* Modulation once per turn, dB re the mesh, where its sidebands stand out; -INFINITY where not. */
static double once(const lay_turn_view *v) {
    return stands(v, 1) && !isnan(v->once_db) ? v->once_db : -INFINITY;
}

static lay_status run_out(lay_patient *p, int w, lay_error *err) {
    const lay_turn_view *v = &p->turn[w];
    double own = once(v), other = once(&p->turn[1 - w]);
    double sure = lay_logistic(PER_DB * (own + EVEN_DB));
    if (sure < 0.5 || own < other + AHEAD_DB) return LAY_OK;
    lay_symptom found = {.kind = LAY_SYMPTOM_RUN_OUT, .value = v->swell, .sure = sure, .run = p->wheel[w]->run};
    lay_text text = {0};
    if (isnan(v->swell))
        lay_text_add(&text, "once per turn of '%s' the mesh tone changes (a sideband %.0f dB below it)", name_of(p, w),
                     -own);
    else
        lay_text_add(
            &text, "once per turn of '%s' the mesh tone swells by %.0f %% and its phase swings by %.1f rad either way",
            name_of(p, w), 100 * v->swell, v->swing);
    lay_text_add(&text, ": the wheel or its shaft runs out, or does not sit true");
    return lay_symptom_add(p->suspect, &found, &text, name_of(p, w), err);
}

static lay_status twice(lay_patient *p, int w, lay_error *err) {
    double own = side(&p->turn[w], 2), once = p->turn[w].side_db[0];
    if (own < -TWICE_DB || own < once + AHEAD_DB || own < side(&p->turn[1 - w], 2) + AHEAD_DB) return LAY_OK;
    lay_symptom found = {.kind = LAY_SYMPTOM_TWICE, .value = own, .run = p->wheel[w]->run};
    found.sure = lay_logistic(PER_DB * (own + TWICE_DB));
    lay_text text = {0};
    lay_text_add(&text,
                 "the mesh tone changes twice per turn of '%s' (sidebands %.0f dB below it, once per turn %.0f dB): a "
                 "wheel that sits askew or is oval, or shafts out of line",
                 name_of(p, w), -own, -once);
    return lay_symptom_add(p->suspect, &found, &text, name_of(p, w), err);
}

/* How many times over the usual the most different spot of the wheel stands out, where all parts of the run agree on
 * it. */
static double local_ratio(const lay_patient *p, int w) {
    const lay_look_wheel *wheel = p->wheel[w];
    if (!wheel || !(wheel->agree >= 0.75) || !(wheel->condition.fm4 >= LOCAL_KURTOSIS)) return 0;
    return wheel->condition.worst_ratio;
}

static lay_status local(lay_patient *p, int w, lay_error *err) {
    const lay_look_wheel *wheel = p->wheel[w];
    double own = local_ratio(p, w);
    if (own < LOCAL_RATIO || own < local_ratio(p, 1 - w)) return LAY_OK;
    int tooth = (int)(wheel->condition.worst_turn * wheel->teeth[0]) % wheel->teeth[0] + 1;
    lay_symptom found = {.kind = LAY_SYMPTOM_LOCAL, .value = wheel->condition.worst_turn, .run = wheel->run};
    found.sure = lay_logistic(own - LOCAL_RATIO);
    lay_text text = {0};
    lay_text_add(&text, "one place on the turn of '%s' differs from the rest (%.0f times the usual energy",
                 name_of(p, w), own);
    if (wheel->from_tach)
        lay_text_add(&text, "): tooth %d of %d, counted from the one in mesh at the tach's pulse", tooth,
                     wheel->teeth[0]);
    else
        lay_text_add(&text, ", over %.0f %% of a turn): a single damaged tooth, or dirt in its root",
                     100.0 / wheel->teeth[0]);
    return lay_symptom_add(p->suspect, &found, &text, name_of(p, w), err);
}

static lay_status loose(lay_patient *p, int w, lay_error *err) {
    const lay_turn_view *v = &p->turn[w];
    int many = 0, others = 0;
    for (int k = 3; k <= LAY_TURN_SIDES; k++) {
        many += side(v, k) >= -FAR_DB;
        others += side(&p->turn[1 - w], k) >= -FAR_DB;
    }
    if (many < MANY || many < others) return LAY_OK;
    lay_symptom found = {.kind = LAY_SYMPTOM_LOOSE, .value = many, .run = p->wheel[w]->run};
    found.sure = lay_logistic(many - MANY + 0.5);
    lay_text text = {0};
    lay_text_add(&text,
                 "the mesh tone carries many sidebands of '%s' (%d pairs further out than two turns): play - feel its "
                 "bearings, end play and fit on the shaft",
                 name_of(p, w), many);
    return lay_symptom_add(p->suspect, &found, &text, name_of(p, w), err);
}

lay_status lay_symptom_turn(lay_patient *p, lay_error *err) {
    lay_status status = LAY_OK;
    for (int w = 0; w < 2 && status == LAY_OK; w++) {
        if (!p->wheel[w]) continue;
        status = run_out(p, w, err);
        if (status == LAY_OK) status = twice(p, w, err);
        if (status == LAY_OK) status = local(p, w, err);
        if (status == LAY_OK) status = loose(p, w, err);
    }
    return status;
}
