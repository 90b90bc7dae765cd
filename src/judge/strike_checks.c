#include "strike_words.h"

/* What to look at when a bearing or a tooth strikes. Common practice of the trade, no source. */

static lay_status add_all(const char *const *lines, size_t count, lay_strings *out, lay_error *err) {
    lay_status status = LAY_OK;
    for (size_t i = 0; i < count && status == LAY_OK; i++) status = lay_strings_add(out, err, "%s", lines[i]);
    return status;
}

#define ADD_ALL(lines, out, err) add_all(lines, sizeof(lines) / sizeof(lines)[0], out, err)

/* Before anything is opened: it costs an oil change, and nothing when it is wrong. */
static lay_status before_opening(bool tooth, lay_strings *out, lay_error *err) {
    if (tooth)
        return lay_strings_add(
            out, err,
            "before opening: drain the oil through a cloth and look at the magnet; a chip of a tooth "
            "is thick and has an edge, grey paste is ordinary wear");
    return lay_strings_add(out, err,
                           "before opening: drain the oil through a cloth and look at the magnet; thin bright flakes "
                           "come from races and rollers, grey paste is ordinary wear");
}

static lay_status outer_checks(lay_strings *out, lay_error *err) {
    static const char *const lines[] = {
        ("with the bearing out and clean, hold the inner ring and turn the outer one slowly by hand under light "
         "pressure: "
         "feel for a step that comes again at the same place"),
        "look at the outer race for spalling and pits, first where the load of the teeth presses the shaft",
        ("look at the ring's seat in the bore: a bright or rusty band says that the ring creeps, stripes all round the "
         "race like a washboard say that current passed")};
    return ADD_ALL(lines, out, err);
}

static lay_status inner_checks(lay_strings *out, lay_error *err) {
    static const char *const lines[] = {
        ("with the bearing out and clean, hold the outer ring and turn the inner one slowly by hand under light "
         "pressure: "
         "feel for a step, and for a crack with the finger nail"),
        ("look at the inner race all round for spalling and pits, and for a crack across it: too tight a seat splits "
         "inner rings"),
        "look at the seat on the shaft: creep marks, burrs; check preload and end play as the unit's data ask"};
    return ADD_ALL(lines, out, err);
}

static lay_status element_checks(lay_strings *out, lay_error *err) {
    static const char *const lines[] = {("with the bearing out and clean, turn every ball or roller in its pocket and "
                                         "look at it all round: flats, dents, "
                                         "rust pits, spalling; rollers also at their ends and the rib they run on"),
                                        "look at both races: a damaged ball or roller marks the two of them",
                                        "worn pockets of the cage often go with it: look for play"};
    return ADD_ALL(lines, out, err);
}

static lay_status cage_checks(lay_strings *out, lay_error *err) {
    static const char *const lines[] = {
        "look at the cage: worn pockets, cracked bars, loose rivets, marks where it rubs on a ring",
        "look for metal of the cage in the oil: brass, bright steel or plastic",
        "do not drive on with it before it was looked at: a cage that breaks can lock the shaft"};
    return ADD_ALL(lines, out, err);
}

static lay_status bearing_checks(const lay_finding *f, lay_strings *out, lay_error *err) {
    static const char *const last[] = {
        "never use again a bearing that feels rough, even when nothing is seen, or one that was pulled off through its "
        "balls or rollers; look at the other bearing of that shaft as well",
        "engine off and gears in neutral before a hand goes near a shaft; never spin a dry bearing with compressed "
        "air"};
    lay_status status = before_opening(false, out, err);
    if (status != LAY_OK) return status;
    switch (f->hypothesis->kind) {
    case LAY_KIND_OUTER:
        status = outer_checks(out, err);
        break;
    case LAY_KIND_INNER:
        status = inner_checks(out, err);
        break;
    case LAY_KIND_ELEMENT:
        status = element_checks(out, err);
        break;
    default:
        status = cage_checks(out, err);
        break;
    }
    return status == LAY_OK ? ADD_ALL(last, out, err) : status;
}

static lay_status tooth_checks(const lay_finding *f, lay_strings *out, lay_error *err) {
    static const char *const last[] = {"look at the tooth spaces too: a splinter pressed into one knocks just the "
                                       "same; and at the dog teeth beside it",
                                       "a nick on an edge is dressed with a stone; a tooth that lost part of its "
                                       "contact area or is cracked at the root "
                                       "asks for a new pair",
                                       "turn by hand only, engine off; keep fingers out of the mesh"};
    const lay_mesh *mesh = &f->unit->meshes[f->hypothesis->index];
    const lay_wheel *own = f->hypothesis->wheel == 0 ? &mesh->driver : &mesh->driven;
    const lay_wheel *mate = f->hypothesis->wheel == 0 ? &mesh->driven : &mesh->driver;
    const char *flank = f->strike->flank == LAY_FLANK_COAST   ? "the coast flank"
                        : f->strike->flank == LAY_FLANK_DRIVE ? "the drive flank"
                                                              : "both flanks";
    lay_status status = before_opening(true, out, err);
    if (status == LAY_OK)
        status =
            lay_strings_add(out, err,
                            "look at the wheel of %d teeth on '%s' tooth by tooth, on %s: chips at the edges, a pit "
                            "on one tooth alone, a crack at a root (dye shows it)",
                            own->teeth, f->unit->bodies[own->body].name, flank);
    if (status == LAY_OK)
        status = lay_strings_add(out, err, "then its mate of %d teeth on '%s' in the same way: the blow hurts both",
                                 mate->teeth, f->unit->bodies[mate->body].name);
    return status == LAY_OK ? ADD_ALL(last, out, err) : status;
}

lay_status lay_strike_checks(const lay_finding *f, lay_strings *out, lay_error *err) {
    return f->hypothesis->kind == LAY_KIND_CHIP ? tooth_checks(f, out, err) : bearing_checks(f, out, err);
}
