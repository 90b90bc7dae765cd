#include "strike_words.h"

#include <math.h>
#include <stdlib.h>

/* Reasons: each short, each with its unit; what speaks against comes last. */

#define SIDES_DB 4.0 /* sidebands from here on are worth a word */
#define FALLS_DB 3.0 /* a difference of level that says something */
#define LISTED 3     /* lines that are given one by one */
#define SHOWN_DB 3.0 /* a run shows the blows when its lines stand so far above what chance makes elsewhere */

static const char *name_of(const lay_finding *f, int body) {
    return body >= 0 ? f->unit->bodies[body].name : "?";
}

static const lay_run_evidence *best_run(const lay_finding *f) {
    return f->score->best_run >= 0 ? &f->runs[f->score->best_run] : NULL;
}

static const lay_expected *expected_at_best(const lay_finding *f) {
    return best_run(f) ? lay_hypothesis_expected(f->hypothesis, best_run(f)) : NULL;
}

static bool is_chip(const lay_finding *f) {
    return f->hypothesis->kind == LAY_KIND_CHIP;
}

bool lay_strike_swings_only(const lay_finding *f) {
    return f->hypothesis->kind == LAY_KIND_ELEMENT && f->hypothesis->multiple == 1;
}

lay_turner lay_strike_turner(const lay_finding *f, const lay_expected *e) {
    if (is_chip(f))
        return (lay_turner){e->wheel_order[f->hypothesis->wheel], name_of(f, e->wheel_body[f->hypothesis->wheel]),
                            NULL};
    return lay_bearing_turner(f->unit, e, f->hypothesis->kind == LAY_KIND_CAGE || lay_strike_swings_only(f));
}

/* ---- what strikes how often ---- */

static const char *line_name(const lay_finding *f) {
    lay_kind kind = f->hypothesis->kind;
    if (lay_strike_swings_only(f)) return "FTF";
    return kind == LAY_KIND_OUTER   ? "BPFO"
           : kind == LAY_KIND_INNER ? "BPFI"
           : kind == LAY_KIND_CAGE  ? "FTF"
                                    : "2 x BSF";
}

static const char *culprit(const lay_finding *f) {
    if (lay_strike_swings_only(f))
        return "so does a damaged ball or roller that its cage carries through the loaded zone";
    switch (f->hypothesis->kind) {
    case LAY_KIND_OUTER:
        return "so do balls or rollers that run over damage on the outer race";
    case LAY_KIND_INNER:
        return "so do balls or rollers that run over damage on the inner race";
    case LAY_KIND_ELEMENT:
        return "so does a damaged ball or roller that meets both races in turn";
    default:
        return "as often as its cage comes round";
    }
}

static lay_status how_often(const lay_finding *f, const lay_expected *e, lay_strings *out, lay_error *err) {
    const lay_blows *b = f->blows;
    lay_turner t = lay_strike_turner(f, e);
    double times = b->order / t.order, expected = times / (1 + b->slip);
    if (is_chip(f))
        return lay_strings_add(out, err, "something knocks once per turn of '%s', as one damaged tooth does", t.body);
    lay_text said = {0};
    lay_text_add(&said, "%s %.3f times per turn of '%s'",
                 lay_strike_swings_only(f) ? "the noise swells and fades" : "something strikes", times, t.body);
    if (t.against) lay_text_add(&said, " against '%s'", t.against);
    if (e->tolerance > LAY_STRIKE_GEOMETRY)
        lay_text_add(&said, " (%s about %.2f, from the number of rolling elements)", line_name(f), expected);
    else
        lay_text_add(&said, " (%s %.3f, slip %+.1f %%)", line_name(f), expected, 100 * b->slip);
    lay_status status = said.failed ? lay_fail(err, LAY_NO_MEMORY, "not enough memory")
                                    : lay_strings_add(out, err, "%s: %s", said.text, culprit(f));
    lay_text_free(&said);
    return status;
}

/* "27, 22 and 16 dB"; of many the range is enough. What the engine covers is not known. */
static void say_levels(const lay_blows *b, lay_heights h, bool swings, lay_text *said) {
    int given = 0;
    if (b->lines > LISTED && swings) {
        lay_text_add(said, "its first multiples stand %.0f, %.0f and %.0f dB", b->level_db[0], b->level_db[1],
                     b->level_db[2]);
        return;
    }
    if (b->lines > LISTED) {
        lay_text_add(said, "%d of its multiples stand %.0f to %.0f dB", h.known, h.low, h.high);
        return;
    }
    lay_text_add(said, h.known == 1 ? "its line stands " : "its multiples stand ");
    for (int k = 0; k < b->lines; k++) {
        if (isnan(b->level_db[k])) continue;
        lay_text_add(said, "%s%.0f", given == 0 ? "" : given + 1 < h.known ? ", " : " and ", b->level_db[k]);
        given++;
    }
    lay_text_add(said, " dB");
}

static lay_status how_plainly(const lay_finding *f, lay_strings *out, lay_error *err) {
    const lay_blows *b = f->blows;
    lay_heights h = lay_strike_heights(b);
    const lay_run_evidence *run = best_run(f);
    const char *gear = run->gear >= 0 ? f->unit->gears[run->gear].name : "?";
    lay_text said = {0};
    lay_text_add(&said, "in gear %s that is order %.3f, %.1f Hz at mean speed", gear, b->order, b->hz);
    if (h.known > 0) {
        lay_text_add(&said, "; ");
        say_levels(b, h, lay_strike_swings_only(f), &said);
        lay_text_add(&said, " over %s",
                     is_chip(f) ? "the noise when the envelope is averaged turn by turn"
                                : "the floor of the envelope spectrum");
    }
    lay_status status =
        said.failed ? lay_fail(err, LAY_NO_MEMORY, "not enough memory") : lay_strings_add(out, err, "%s", said.text);
    lay_text_free(&said);
    return status;
}

static double tens(double hz) {
    return 10 * round(hz / 10);
}

static lay_status where_it_rings(const lay_finding *f, lay_strings *out, lay_error *err) {
    return lay_strings_add(out, err, "%s between %.0f and %.0f Hz",
                           lay_strike_swings_only(f) ? "that is heard most plainly"
                                                     : "each blow sets something ringing",
                           tens(f->blows->low_hz), tens(f->blows->high_hz));
}

/* ---- in which recordings ---- */

/* Levels of a ring's series are sums of three weighted lines. */
static double per_line(const lay_finding *f) {
    return is_chip(f) || f->hypothesis->kind == LAY_KIND_CAGE ? 1 : LAY_STRIKE_WEIGHTS;
}

static int runs_that_show(const lay_finding *f) {
    int n = 0;
    for (size_t r = 0; r < f->run_count; r++) {
        const lay_strike *at = &f->strike_at[r];
        if (!at->valid || !lay_strike_expected(f->hypothesis, &f->runs[r], f->strike->flank)) continue;
        n += (at->score - at->elsewhere) / per_line(f) >= SHOWN_DB;
    }
    return n;
}

static const char *where_expected(const lay_finding *f) {
    if (!is_chip(f))
        return f->strike->flank == LAY_FLANK_ANY ? "in which this bearing turns" : "that load this bearing";
    if (f->strike->flank == LAY_FLANK_DRIVE) return "that load this pair on the drive flank";
    if (f->strike->flank == LAY_FLANK_COAST) return "that load this pair on the coast flank";
    return "that load this pair";
}

static lay_status in_how_many(const lay_finding *f, lay_strings *out, lay_error *err) {
    int shown = runs_that_show(f), all = f->strike->runs;
    if (all < 2) return LAY_OK;
    if (shown == all) return lay_strings_add(out, err, "it is there in all %d recordings %s", all, where_expected(f));
    return lay_strings_add(out, err, "%sit is there in %d of %d recordings %s", 2 * shown <= all ? "against it: " : "",
                           shown, all, where_expected(f));
}

static lay_status where_it_rests(const lay_finding *f, lay_strings *out, lay_error *err) {
    double falls = (f->score->level_db - f->score->quiet_db) / per_line(f);
    if (isnan(falls) || (!is_chip(f) && f->strike->flank == LAY_FLANK_ANY)) return LAY_OK;
    const char *rests = !is_chip(f)                         ? "where the bearing turns without load"
                        : f->strike->flank == LAY_FLANK_ANY ? "where the pair carries no torque"
                                                            : "where that flank carries no torque";
    if (falls >= FALLS_DB) return lay_strings_add(out, err, "its lines are %.0f dB lower %s", falls, rests);
    if (is_chip(f)) return lay_strings_add(out, err, "against it: its lines are no lower %s", rests);
    return LAY_OK;
}

/* ---- what swings the blows, and where in the turn they fall ---- */

static lay_status what_swings(const lay_finding *f, const lay_expected *e, lay_strings *out, lay_error *err) {
    const lay_blows *b = f->blows;
    if (!(b->swing_order > 0) || b->side_db < SIDES_DB) return LAY_OK;
    if (f->hypothesis->kind == LAY_KIND_ELEMENT)
        return lay_strings_add(out, err,
                               "the blows swell and fade once per turn of the cage (sidebands of %.0f dB), which "
                               "carries the ball or roller through the loaded zone",
                               b->side_db);
    return lay_strings_add(out, err,
                           "the blows swell and fade once per turn of '%s' (sidebands of %.0f dB), which carries the "
                           "damage through the loaded zone",
                           name_of(f, e->wheel_body[f->hypothesis->kind == LAY_KIND_INNER ? 0 : 1]), b->side_db);
}

/* Teeth can be counted only where the tach looks at the very body that carries the wheel: a gear that is locked to a
 * shaft keeps its place to it for one engagement only. */
static lay_status where_in_turn(const lay_finding *f, const lay_expected *e, lay_strings *out, lay_error *err) {
    if (!is_chip(f) || isnan(f->blows->angle)) return LAY_OK;
    int wheel = f->hypothesis->wheel, tach = best_run(f)->tach_body;
    double degrees = 5 * round(72 * f->blows->angle), teeth = f->blows->angle * e->teeth[wheel];
    if (tach < 0) tach = f->unit->reference;
    if (e->wheel_body[wheel] != tach)
        return lay_strings_add(out, err, "the blow comes about %.0f degrees after the tach pulse", degrees);
    return lay_strings_add(out, err,
                           "the blow comes about %.0f degrees after the tach pulse: some %.0f of %d teeth on from the "
                           "tooth that is in mesh at the pulse",
                           degrees, round(teeth), e->teeth[wheel]);
}

lay_status lay_strike_reasons(const lay_finding *f, lay_strings *out, lay_error *err) {
    const lay_expected *e = expected_at_best(f);
    if (!e || f->blows->lines == 0) return lay_strings_add(out, err, "no recording could show this part's blows");
    lay_status status = how_often(f, e, out, err);
    if (status == LAY_OK) status = how_plainly(f, out, err);
    if (status == LAY_OK) status = where_it_rings(f, out, err);
    if (status == LAY_OK) status = in_how_many(f, out, err);
    if (status == LAY_OK) status = where_it_rests(f, out, err);
    if (status == LAY_OK) status = what_swings(f, e, out, err);
    if (status == LAY_OK) status = where_in_turn(f, e, out, err);
    return status == LAY_OK ? lay_strike_doubts(f, e, out, err) : status;
}
