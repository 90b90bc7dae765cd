/* Better, worse, same or unsure: of each part, and of the unit. */
#include "compare.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define MATTERS_DB 1.0 /* a smaller change is not heard (common practice, no source) */
#define SAME_DB 3.0    /* the interval of a part called same stays within this */
#define GAIN_DB 4.0    /* change of the noise from which an unchanged gain is not believed without a calibration */
#define CHANCE 0.05    /* that anything is called changed when nothing has (Holm 1979, from memory of the work) */

static double ground_change(const lay_comparison *x) {
    double sum = 0;
    for (size_t j = 0; j < x->shared_count; j++) sum += x->shared[j].ground_db;
    return sum / (double)x->shared_count;
}

/* Without a calibration, and with nothing to hold on to, a noise that moved may be a gain that moved. */
static bool gain_doubtful(const lay_comparing *c) {
    bool plain = c->overlaps[0].before->quantity == LAY_FULL_SCALE && c->out->match == LAY_MATCH_NONE;
    return plain && fabs(ground_change(c->out)) > GAIN_DB;
}

static bool certain(const lay_change *x, bool up) {
    double bound = up ? x->low_db : -x->high_db, size = up ? x->db : -x->db;
    return bound > 0 && size >= MATTERS_DB;
}

static lay_change_verdict verdict_of(const lay_change *x) {
    if (!x->before && !x->after) return LAY_UNSURE;
    if (certain(x, true)) return LAY_WORSE;
    if (certain(x, false)) return LAY_BETTER;
    return x->low_db > -SAME_DB && x->high_db < SAME_DB ? LAY_SAME : LAY_UNSURE;
}

static const char *reason_of(const lay_change *x, lay_change_verdict verdict) {
    if (!x->before && !x->after) return "in the noise both times";
    if (!x->after) return verdict == LAY_BETTER ? "out of the noise before, in it after" : "in the noise after";
    if (!x->before) return verdict == LAY_WORSE ? "in the noise before, out of it after" : "in the noise before";
    if (verdict == LAY_SAME) return "no more than repeats differ";
    if (verdict == LAY_UNSURE) return "the recordings allow a change either way";
    return verdict == LAY_WORSE ? "louder than repeats differ" : "quieter than repeats differ";
}

static lay_status judge_parts(lay_comparing *c, lay_error *err) {
    bool doubtful = gain_doubtful(c);
    for (size_t p = 0; p < c->out->part_count; p++) {
        lay_part_change *part = &c->out->parts[p];
        part->verdict = doubtful ? LAY_UNSURE : verdict_of(&part->change);
        const char *why = doubtful ? "the gain may not be as it was" : reason_of(&part->change, part->verdict);
        if (!(part->why = lay_strdup(why))) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    }
    return LAY_OK;
}

/* ---- the unit ---- */

static bool counts(const lay_part_change *p) {
    bool inside = p->type == LAY_PART_MESH || p->type == LAY_PART_BEARING;
    return inside && (p->change.before || p->change.after);
}

/* Parts that changed, with the smallest chance first against the number of parts. */
static void changed(const lay_comparison *x, size_t *worse, size_t *better) {
    size_t tested = 0, passed = 0;
    for (size_t p = 0; p < x->part_count; p++) tested += counts(&x->parts[p]);
    *worse = *better = 0;
    for (;;) {
        double limit = CHANCE / (double)(tested > passed ? tested - passed : 1);
        size_t found = 0;
        *worse = *better = 0;
        for (size_t p = 0; p < x->part_count; p++) {
            const lay_part_change *part = &x->parts[p];
            if (!counts(part) || part->change.chance > limit) continue;
            *worse += part->verdict == LAY_WORSE;
            *better += part->verdict == LAY_BETTER;
        }
        found = *worse + *better;
        if (found <= passed) return;
        passed = found;
    }
}

static bool all_same(const lay_comparison *x) {
    size_t same = 0;
    for (size_t p = 0; p < x->part_count; p++) {
        if (!counts(&x->parts[p])) continue;
        bool loud = x->parts[p].audible_before || x->parts[p].audible_after;
        if (x->parts[p].verdict == LAY_UNSURE && loud) return false;
        same += x->parts[p].verdict == LAY_SAME;
    }
    return same > 0;
}

static void list(const lay_comparison *x, lay_change_verdict verdict, lay_text *out) {
    size_t listed = 0;
    for (size_t p = 0; p < x->part_count; p++) {
        const lay_part_change *part = &x->parts[p];
        if (!counts(part) || part->verdict != verdict) continue;
        bool bound = isnan(part->change.low_db) || isnan(part->change.high_db);
        double least = isnan(part->change.low_db) ? part->change.high_db : part->change.low_db;
        lay_text_add(out, "%s%s", listed++ ? ", " : "", part->part);
        if (bound)
            lay_text_add(out, " by %.1f dB or more", fabs(least));
        else
            lay_text_add(out, " %+.1f dB", part->change.db);
    }
}

static void summary(const lay_comparing *c, size_t worse, size_t better, lay_text *out) {
    const lay_comparison *x = c->out;
    if (gain_doubtful(c)) {
        lay_text_add(
            out,
            "Cannot tell: the noise moved by %+.1f dB and neither job is calibrated, so the gain may have been "
            "another one. Say what was the same with --match floor or --match engine.",
            ground_change(x));
        return;
    }
    if (worse > 0) {
        lay_text_add(out, "Worse: ");
        list(x, LAY_WORSE, out);
        lay_text_add(out, ".");
    }
    if (better > 0) {
        lay_text_add(out, "%sBetter: ", worse > 0 ? " " : "");
        list(x, LAY_BETTER, out);
        lay_text_add(out, ".");
    }
    if (worse + better > 0) return;
    if (x->verdict == LAY_SAME)
        lay_text_add(out, "No part changed by more than repeats of one recording differ.");
    else
        lay_text_add(out,
                     "Cannot tell: the recordings allow a change either way. More or longer recordings in the same "
                     "gears, loads and speeds would settle it.");
}

lay_status lay_compare_verdict(lay_comparing *c, lay_error *err) {
    size_t worse, better;
    lay_text text = {0};
    lay_status status = judge_parts(c, err);
    if (status != LAY_OK) return status;
    changed(c->out, &worse, &better);
    c->out->verdict = worse > 0                               ? LAY_WORSE
                      : better > 0                            ? LAY_BETTER
                      : !gain_doubtful(c) && all_same(c->out) ? LAY_SAME
                                                              : LAY_UNSURE;
    summary(c, worse, better, &text);
    c->out->summary = text.failed ? NULL : text.text;
    return c->out->summary ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory");
}
