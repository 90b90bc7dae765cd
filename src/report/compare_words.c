#include "compare_words.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "words.h"

const char *lay_words_change_headline(lay_change_verdict verdict) {
    static const char *const words[LAY_CHANGE_COUNT] = {"BETTER", "WORSE", "THE SAME", "CANNOT TELL"};
    return (unsigned)verdict < LAY_CHANGE_COUNT ? words[verdict] : "";
}

const char *lay_words_change(lay_change_verdict verdict) {
    static const char *const words[LAY_CHANGE_COUNT] = {"better", "worse", "the same", "cannot tell"};
    return (unsigned)verdict < LAY_CHANGE_COUNT ? words[verdict] : "";
}

static lay_decimal with_sign(double db) {
    lay_decimal plain = lay_words_number(db, 1), out = {{0}};
    snprintf(out.text, sizeof out.text, "%s%.20s", db > 0 && plain.text[0] != '-' ? "+" : "", plain.text);
    return out;
}

static lay_cell bound(const lay_change *c) {
    lay_cell cell = {"-"};
    if (!isnan(c->high_db))
        snprintf(cell.text, sizeof cell.text, "below %s", with_sign(c->high_db).text);
    else if (!isnan(c->low_db))
        snprintf(cell.text, sizeof cell.text, "above %s", with_sign(c->low_db).text);
    return cell;
}

lay_cell lay_words_change_db(const lay_change *c) {
    lay_cell cell = {"-"};
    if (isnan(c->low_db) || isnan(c->high_db)) return bound(c);
    snprintf(cell.text, sizeof cell.text, "%s", with_sign(c->db).text);
    return cell;
}

lay_cell lay_words_interval(const lay_change *c) {
    lay_cell cell = {"-"};
    if (isnan(c->low_db) || isnan(c->high_db)) return bound(c);
    snprintf(cell.text, sizeof cell.text, "%.15s to %.15s", with_sign(c->low_db).text, with_sign(c->high_db).text);
    return cell;
}

void lay_words_condition(const char *gear, lay_load load, lay_text *out) {
    lay_text_add(out, "gear %s, %s", gear, lay_words_load(load));
}

static const lay_mesh *mesh_of(const lay_unit *unit, const char *name) {
    for (size_t m = 0; m < unit->mesh_count; m++)
        if (strcmp(unit->meshes[m].name, name) == 0) return &unit->meshes[m];
    return NULL;
}

void lay_words_line(const lay_unit *unit, const lay_part_change *part, const lay_line_change *line, lay_text *out) {
    const lay_mesh *mesh = mesh_of(unit, part->part);
    if (line->harmonic == 1)
        lay_text_add(out, "first order");
    else
        lay_text_add(out, "multiple %d", line->harmonic);
    if (line->sideband == 0) return;
    int body = mesh ? (line->wheel == 0 ? mesh->driver.body : mesh->driven.body) : -1;
    const char *name = lay_words_body(unit, body);
    lay_text_add(out, ", sideband %+d%s%s%s", line->sideband, name ? " (" : "", name ? name : "", name ? ")" : "");
}

const char *lay_words_match(const lay_comparison *x, lay_quantity quantity) {
    if (x->match == LAY_MATCH_FLOOR) return "held against the noise between the lines, taken to be the same both times";
    if (x->match == LAY_MATCH_ENGINE) return "held against the engine's firing orders, taken to be the same both times";
    if (quantity == LAY_FULL_SCALE)
        return "as recorded, not calibrated: taken for granted that sensor, place and gain were the same";
    return "calibrated, as they are";
}

void lay_words_heard(const lay_part_change *p, lay_text *out) {
    if (isnan(p->tnr_before_db) || isnan(p->tnr_after_db)) return;
    lay_text_add(out, "tone-to-noise ratio %s dB before, %s dB after: ", lay_words_number(p->tnr_before_db, 1).text,
                 lay_words_number(p->tnr_after_db, 1).text);
    if (p->audible_before && p->audible_after)
        lay_text_add(out, "prominent to the ear both times");
    else if (p->audible_before)
        lay_text_add(out, "no longer prominent to the ear");
    else if (p->audible_after)
        lay_text_add(out, "now prominent to the ear");
    else
        lay_text_add(out, "not prominent to the ear either time");
}
