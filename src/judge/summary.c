#include "judging.h"

#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

/* The sentence on top of the verdict, and the recordings that would settle it. */

/* What is wrong, up to the part's name. */
static const char *kind_words(lay_kind kind) {
    static const char *const words[] = {[LAY_KIND_MESH] = "Gear whine in",
                                        [LAY_KIND_ECCENTRIC] = "A wheel that runs out of true in",
                                        [LAY_KIND_CHIP] = "A damaged tooth in",
                                        [LAY_KIND_GHOST] = "A ghost order from gear cutting in",
                                        [LAY_KIND_OUTER] = "Damage on the outer race of bearing",
                                        [LAY_KIND_INNER] = "Damage on the inner race of bearing",
                                        [LAY_KIND_ELEMENT] = "A damaged ball or roller in bearing",
                                        [LAY_KIND_CAGE] = "A worn or broken cage in bearing",
                                        [LAY_KIND_OUTSIDE] = "Noise in"};
    _Static_assert(sizeof words / sizeof words[0] == LAY_KIND_COUNT, "one wording per kind");
    return words[kind];
}

static bool of_bearing(lay_kind kind) {
    return kind == LAY_KIND_OUTER || kind == LAY_KIND_INNER || kind == LAY_KIND_ELEMENT || kind == LAY_KIND_CAGE;
}

static char *say(const char *fmt, ...) LAY_PRINTF(1, 2);
static char *say(const char *fmt, ...) {
    lay_text t = {0};
    va_list args;
    va_start(args, fmt);
    lay_text_addv(&t, fmt, args);
    va_end(args);
    return t.text;
}

static const lay_suspect *first_of(const lay_verdict *v, bool outside) {
    for (size_t i = 0; i < v->suspect_count; i++)
        if ((v->suspects[i].kind == LAY_KIND_OUTSIDE) == outside) return &v->suspects[i];
    return NULL;
}

static char *summary_attention(const lay_suspect *s) {
    const char *body = s->body ? s->body : "", *open = s->body ? " (wheel on " : "", *close = s->body ? ")" : "";
    if (s->not_separable_from.count)
        return say("%s '%s'%s%s%s needs attention; these recordings cannot tell it from '%s'.", kind_words(s->kind),
                   s->part, open, body, close, s->not_separable_from.items[0]);
    return say("%s '%s'%s%s%s needs attention.", kind_words(s->kind), s->part, open, body, close);
}

static bool microphones_only(const lay_judging *j) {
    bool any = false;
    for (size_t r = 0; r < j->run_count; r++) {
        if (!j->runs[r].usable) continue;
        if (j->runs[r].sensor != LAY_SENSOR_MIC) return false;
        any = true;
    }
    return any;
}

static bool any_envelope(const lay_judging *j) {
    for (size_t r = 0; r < j->run_count; r++)
        if (j->runs[r].usable && j->runs[r].envelope.band_count > 0) return true;
    return false;
}

/* A clear verdict must not be taken for more than was listened to. */
static char *summary_clear(const lay_judging *j) {
    const char *clear = "Nothing stands out in these recordings";
    if (!any_envelope(j))
        return say("%s; bearings and chipped teeth could not be looked for, see the warnings.", clear);
    if (!microphones_only(j)) return say("%s.", clear);
    return say("%s; of bearings and chipped teeth a microphone hears but the worst.", clear);
}

static char *summary_unsure(const lay_judging *j) {
    if (lay_judging_usable(j) == 0) return say("None of the recordings can be used; see the warnings of each run.");
    if (!lay_judging_loaded(j))
        return say("In none of these recordings does a gear pair carry load (neutral and direct gear do not): add runs "
                   "in the other gears, on drive and on coast.");
    const lay_verdict *v = j->out;
    if (v->stranger.found)
        return say("Something strikes %.2f times per turn of '%s', and no part of the unit file does that: look for a "
                   "bearing that it does not list, and add it.",
                   v->stranger.times, j->unit->bodies[v->stranger.body].name);
    const char *part = v->suspect_count && v->suspects[0].part ? v->suspects[0].part : "a source outside";
    return say("Something may be wrong with %s'%s', but these recordings cannot tell for sure. Add: %s.",
               v->suspect_count && of_bearing(v->suspects[0].kind) ? "bearing " : "", part,
               v->add.count ? v->add.items[0] : "a longer run in the same gear, on drive and on coast");
}

lay_status lay_judging_summarise(lay_judging *j, lay_error *err) {
    lay_verdict *v = j->out;
    const lay_suspect *out = first_of(v, true), *in = first_of(v, false);
    if (v->outcome == LAY_ATTENTION)
        v->summary = summary_attention(in);
    else if (v->outcome == LAY_OUTSIDE && out->part)
        v->summary = say("The noise comes from outside the transmission: %s.", out->part);
    else if (v->outcome == LAY_OUTSIDE)
        v->summary = say("The noise comes from outside the transmission, from a source the unit file does not list.");
    else if (v->outcome == LAY_CLEAR)
        v->summary = summary_clear(j);
    else
        v->summary = summary_unsure(j);
    return v->summary ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory");
}

static bool has_run(const lay_judging *j, int gear, lay_load load) {
    for (size_t r = 0; r < j->run_count; r++)
        if (j->runs[r].usable && j->runs[r].gear == gear && j->runs[r].load == load) return true;
    return false;
}

static const lay_expected *part_named(const lay_expected *e, size_t count, lay_part_type type, const char *name) {
    for (size_t i = 0; i < count; i++)
        if (e[i].type == type && strcmp(e[i].name, name) == 0) return &e[i];
    return NULL;
}

static bool any_loaded(const lay_kinematics *k) {
    for (size_t m = 0; m < k->mesh_count; m++)
        if (k->loaded[m]) return true;
    return false;
}

/* Whether a gear is worth recording: the part carries torque in it; where blows have to be told from those of a twin,
 * one of them carries torque that the other does not, or they turn differently. */
static bool worth_a_run(const lay_judging *j, const lay_hypothesis *h, const char *twin, const lay_kinematics *k) {
    lay_expected *e = NULL;
    size_t count = 0;
    bool worth = false;
    if (h->index < 0) return any_loaded(k);
    if (h->type != LAY_PART_MESH && h->type != LAY_PART_BEARING) return k->mesh_count > 0;
    if (lay_unit_expect(j->unit, k, &e, &count, NULL) != LAY_OK) return false;
    const lay_expected *own = part_named(e, count, h->type, lay_hypothesis_part(j->unit, h));
    const lay_expected *other = twin ? part_named(e, count, h->type, twin) : NULL;
    if (own && other && lay_hypothesis_strikes(h))
        worth = own->loaded != other->loaded || (own->loaded && h->type == LAY_PART_BEARING &&
                                                 fabs(own->order - other->order) > LAY_STRIKE_ALIKE * own->order);
    else if (own)
        worth = own->loaded;
    free(e);
    return worth;
}

static const char *first_twin(const lay_judging *j) {
    const lay_strings *twins = j->out->suspect_count ? &j->out->suspects[0].not_separable_from : NULL;
    return twins && twins->count ? twins->items[0] : NULL;
}

/* Blows die away on their way through the case: where the sensor sits tells more of them than another gear. */
static lay_status advise_place(lay_judging *j, const lay_hypothesis *h, lay_error *err) {
    const char *part = lay_hypothesis_part(j->unit, h), *twin = first_twin(j);
    const lay_stranger *s = &j->out->stranger;
    if (s->found && !j->out->suspect_count)
        return lay_strings_add(&j->out->add, err,
                               "the same gear, load and speed with the accelerometer on the case near each end of '%s' "
                               "in turn: the blows are strongest near what makes them",
                               j->unit->bodies[s->body].name);
    if (!lay_hypothesis_strikes(h)) return LAY_OK;
    if (twin)
        return lay_strings_add(&j->out->add, err,
                               "the same gear, load and speed twice, the accelerometer on the case once near '%s' and "
                               "once near '%s': the blows are stronger near the one that makes them",
                               part, twin);
    if (!microphones_only(j)) return LAY_OK;
    return lay_strings_add(&j->out->add, err, "one of these runs again with an accelerometer on the case near '%s'",
                           part);
}

/* Blows want many turns, tones want every speed at which something may resonate. */
static const char *how_to_drive(const lay_hypothesis *h) {
    return lay_hypothesis_strikes(h) ? "at a steady speed at which it is heard"
                                     : "rising slowly through the speed at which it is heard";
}

static lay_status advise_gear(lay_judging *j, const lay_hypothesis *h, int gear, lay_error *err) {
    lay_kinematics k = {0};
    if (lay_unit_solve(j->unit, gear, &k, NULL) != LAY_OK) return LAY_OK;
    lay_status status = LAY_OK;
    bool worth = worth_a_run(j, h, first_twin(j), &k);
    for (int load = LAY_LOAD_DRIVE; load <= LAY_LOAD_COAST && worth && status == LAY_OK; load++)
        if (!has_run(j, gear, (lay_load)load) && j->out->add.count < 3)
            status = lay_strings_add(&j->out->add, err, "gear %s on %s, 15 s, %s", j->unit->gears[gear].name,
                                     lay_load_name((lay_load)load), how_to_drive(h));
    lay_kinematics_free(&k);
    return status;
}

static lay_status advise_again(lay_judging *j, const lay_hypothesis *h, const lay_run_evidence *run, lay_error *err) {
    return lay_strings_add(&j->out->add, err, "gear %s on %s again, 30 s, %s, with a tach pulse",
                           run->gear >= 0 ? j->unit->gears[run->gear].name : "?",
                           run->load ? lay_load_name(run->load) : "drive and coast", how_to_drive(h));
}

/* Where the sensor should sit, then gears that are worth a run and have not been recorded on both flanks. */
lay_status lay_judging_advise(lay_judging *j, size_t first, lay_error *err) {
    static const lay_hypothesis nobody = {.index = -1};
    const lay_hypothesis *h = j->out->suspect_count ? &j->list.items[first] : &nobody;
    lay_status status = advise_place(j, h, err);
    for (int g = 0; g < (int)j->unit->gear_count && status == LAY_OK && j->out->add.count < 3; g++)
        status = advise_gear(j, h, g, err);
    int best = j->scores[first].best_run;
    if (status == LAY_OK && j->out->add.count == 0 && best >= 0) status = advise_again(j, h, &j->runs[best], err);
    return status;
}
