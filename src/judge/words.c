#include "words.h"

#include "strike_words.h"

#include <math.h>
#include <string.h>

/* The checks are common practice of the trade, no source. */

static const char *flank_words(lay_flank flank) {
    if (flank == LAY_FLANK_DRIVE) return "on drive";
    if (flank == LAY_FLANK_COAST) return "on coast";
    return "under load";
}

static const lay_run_evidence *best_run(const lay_finding *f) {
    return f->score->best_run >= 0 ? &f->runs[f->score->best_run] : NULL;
}

static const char *body_name(const lay_finding *f) {
    int body = lay_hypothesis_body(f->unit, f->hypothesis);
    return body >= 0 ? f->unit->bodies[body].name : "";
}

/* Waves on the mate that make the very same tone in every gear, as the two always turn together; 0: none do. */
static int waves_on_mate(const lay_finding *f, const char **body) {
    const lay_mesh *mesh = &f->unit->meshes[f->hypothesis->index];
    const lay_wheel *own = f->hypothesis->wheel == 0 ? &mesh->driver : &mesh->driven,
                    *mate = f->hypothesis->wheel == 0 ? &mesh->driven : &mesh->driver;
    int waves = f->hypothesis->multiple * mate->teeth;
    *body = f->unit->bodies[mate->body].name;
    return waves % own->teeth == 0 ? waves / own->teeth : 0;
}

static lay_status ghost_stands(const lay_finding *f, double order, double tnr, lay_strings *out, lay_error *err) {
    const char *mate = NULL;
    int waves = waves_on_mate(f, &mate);
    lay_status status =
        lay_strings_add(out, err,
                        "a tone at exactly %d events per turn of '%s' (order %.3f) stands %.0f dB over the "
                        "noise; no mesh has that tooth count",
                        f->hypothesis->multiple, body_name(f), order, tnr);
    if (status != LAY_OK || waves == 0) return status;
    return lay_strings_add(out, err, "%d waves on its mate on '%s' would make the very same tone: check both wheels",
                           waves, mate);
}

static lay_status where_it_stands(const lay_finding *f, lay_strings *out, lay_error *err) {
    const lay_run_evidence *run = best_run(f);
    const char *gear = run && run->gear >= 0 ? f->unit->gears[run->gear].name : "?";
    double order = f->best->order[0];
    double hz = run ? order * run->mean_hz : 0, tnr = f->best->tone.tnr_db;
    const lay_hypothesis *h = f->hypothesis;
    if (h->index < 0)
        return lay_strings_add(out, err,
                               "a tone at order %.3f (%.0f Hz in gear %s) stands %.0f dB over the noise around it and "
                               "fits no part of the unit",
                               order, hz, gear, tnr);
    if (h->kind == LAY_KIND_GHOST) return ghost_stands(f, order, tnr, out, err);
    if (h->kind == LAY_KIND_ECCENTRIC)
        return lay_strings_add(out, err,
                               "sidebands one turn of '%s' away from the mesh line stand %.0f dB over the noise in "
                               "gear %s: the load swings once per turn of that wheel",
                               body_name(f), tnr, gear);
    return lay_strings_add(out, err,
                           "its line at order %.3f (%.0f Hz in gear %s) stands %.0f dB over the noise around it", order,
                           hz, gear, tnr);
}

static lay_status how_steadily(const lay_finding *f, lay_strings *out, lay_error *err) {
    const lay_score *s = f->score;
    if (s->runs < 2) return lay_strings_add(out, err, "only one recording loads this part in that way");
    return lay_strings_add(out, err, "it is there in all %d recordings %s that should show it, %.0f dB on average",
                           s->runs, f->hypothesis->kind == LAY_KIND_OUTSIDE ? "" : flank_words(s->flank), s->level_db);
}

static lay_status how_it_changes(const lay_finding *f, lay_strings *out, lay_error *err) {
    const lay_score *s = f->score;
    double drop = s->level_db - s->quiet_db;
    if (isnan(drop) || f->hypothesis->kind == LAY_KIND_OUTSIDE) return LAY_OK;
    if (drop > 5)
        return lay_strings_add(
            out, err, "it falls by %.0f dB where the part carries no torque or carries it on the other flank", drop);
    if (drop < 0) return lay_strings_add(out, err, "against it: it does not fall where the part is unloaded");
    return LAY_OK;
}

static lay_status against_others(const lay_finding *f, lay_strings *out, lay_error *err) {
    double ahead = f->score->level_db - f->next_db;
    if (isnan(ahead) || ahead < 3) return LAY_OK;
    return lay_strings_add(out, err, "the next loudest mesh of this unit lies %.0f dB lower", ahead);
}

lay_status lay_words_reasons(const lay_finding *f, lay_strings *out, lay_error *err) {
    if (f->strike) return lay_strike_reasons(f, out, err);
    lay_status status = where_it_stands(f, out, err);
    if (status == LAY_OK) status = how_steadily(f, out, err);
    if (status == LAY_OK) status = how_it_changes(f, out, err);
    if (status == LAY_OK) status = against_others(f, out, err);
    if (status == LAY_OK && f->score->spread_db > 6)
        status = lay_strings_add(
            out, err, "against it: its level differs by some %.0f dB between recordings, as a resonance would make it",
            f->score->spread_db);
    return status;
}

/* ---- what to look at ---- */

static lay_status mesh_checks(const lay_finding *f, lay_strings *out, lay_error *err) {
    const char *flank = f->score->flank == LAY_FLANK_COAST ? "coast" : "drive";
    lay_status status;
    if (f->score->flank == LAY_FLANK_ANY)
        status = lay_strings_add(out, err,
                                 "check the contact pattern of both wheels on the drive and the coast flank: it should "
                                 "be centred and cover about three quarters of the width");
    else
        status = lay_strings_add(out, err,
                                 "check the contact pattern on the %s flank of both wheels: it should be centred and "
                                 "cover about three quarters of the width",
                                 flank);
    if (status == LAY_OK)
        status = lay_strings_add(
            out, err,
            "was one wheel of the pair replaced? A gear not cut like its mate sings although nothing is damaged");
    if (status == LAY_OK)
        status = lay_strings_add(
            out, err,
            "look for pitting, scuffing and a polished band from running low on oil; check oil level and grade");
    if (status == LAY_OK)
        status = lay_strings_add(out, err,
                                 "check bearing preload and end play of both shafts: a shaft that leans moves the "
                                 "contact to the tooth ends");
    if (status == LAY_OK)
        status = lay_strings_add(
            out, err,
            "nicks on tooth edges dress out with a stone; damage that reaches the contact area or the root does not");
    return status;
}

static lay_status eccentric_checks(const lay_finding *f, lay_strings *out, lay_error *err) {
    lay_status status = lay_strings_add(
        out, err, "measure run-out of the wheel '%s' at the pitch diameter and of its seat (dial gauge, one full turn)",
        body_name(f));
    if (status == LAY_OK)
        status = lay_strings_add(
            out, err,
            "check that the wheel sits square: burrs at the shoulder, worn needle bearing or bush, bent shaft");
    if (status == LAY_OK)
        status = lay_strings_add(out, err, "feel the backlash all the way round: it must not tighten once per turn");
    return status;
}

static lay_status ghost_checks(const lay_finding *f, lay_strings *out, lay_error *err) {
    lay_status status = lay_strings_add(out, err,
                                        "the waves are on the flanks of a wheel on '%s': a cutting or grinding error, "
                                        "not wear; compare with a wheel of another make or batch",
                                        body_name(f));
    if (status == LAY_OK)
        status = lay_strings_add(
            out, err,
            "count %d again on that shaft: speedometer worm, oil pump drive and splines belong on the list too",
            f->hypothesis->multiple);
    if (status == LAY_OK)
        status = lay_strings_add(out, err,
                                 "such lines often fade with running-in; record again before condemning the wheel");
    return status;
}

static lay_status outside_checks(const lay_finding *f, lay_strings *out, lay_error *err) {
    if (f->hypothesis->index < 0 && f->hypothesis->by_output)
        return lay_strings_add(
            out, err,
            "it follows road speed: look at tyres, wheel bearings, propeller shaft and joints before the transmission");
    if (f->hypothesis->index < 0)
        return lay_strings_add(out, err,
                               "it follows the input shaft but fits no wheel: look at belt-driven auxiliaries, pulleys "
                               "and pumps; add them to the unit file as [other ...]");
    if (f->hypothesis->type == LAY_PART_AXLE)
        return lay_strings_add(out, err,
                               "look at pinion and ring of the axle: contact pattern, backlash, pinion bearings; leave "
                               "the transmission alone");
    return lay_strings_add(
        out, err, "take its belt off or unload it for a moment and listen again; leave the transmission alone");
}

lay_status lay_words_checks(const lay_finding *f, lay_strings *out, lay_error *err) {
    if (f->strike) return lay_strike_checks(f, out, err);
    switch (f->hypothesis->kind) {
    case LAY_KIND_ECCENTRIC:
        return eccentric_checks(f, out, err);
    case LAY_KIND_GHOST:
        return ghost_checks(f, out, err);
    case LAY_KIND_OUTSIDE:
        return outside_checks(f, out, err);
    default:
        return mesh_checks(f, out, err);
    }
}
