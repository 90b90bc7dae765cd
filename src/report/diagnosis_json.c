/* The object of `layshaft diagnose --json`. */
#include <layshaft/report.h>

#include <math.h>

#include "json.h"
#include "run_json.h"
#include "words.h"

static void band(lay_json *j, double low_hz, double high_hz) {
    lay_json_open_array(j, "band_hz");
    lay_json_number(j, NULL, low_hz, 0);
    lay_json_number(j, NULL, high_hz, 0);
    lay_json_close_array(j);
}

/* Null for a fault that makes a tone. */
static void blows(lay_json *j, const lay_blows *b) {
    if (b->lines <= 0) {
        lay_json_null(j, "blows");
        return;
    }
    bool swings = b->swing_order > 0;
    lay_json_open_object(j, "blows");
    lay_json_number(j, "order", b->order, 4);
    lay_json_number(j, "hz", b->hz, 2);
    lay_json_number(j, "slip", b->slip, 4);
    band(j, b->low_hz, b->high_hz);
    lay_json_open_array(j, "multiples_db");
    for (int k = 0; k < b->lines && k < LAY_STRIKE_LINES; k++) lay_json_number(j, NULL, b->level_db[k], 2);
    lay_json_close_array(j);
    lay_json_number(j, "sidebands_every", swings ? b->swing_order : NAN, 4);
    lay_json_number(j, "sidebands_db", swings ? b->side_db : NAN, 2);
    lay_json_number(j, "angle_deg", 360 * b->angle, 1);
    lay_json_close_object(j);
}

static void symptoms(lay_json *j, const lay_suspect *s) {
    lay_json_open_array(j, "symptoms");
    for (size_t i = 0; i < s->symptom_count; i++) {
        const lay_symptom *one = &s->symptoms[i];
        lay_json_open_object(j, NULL);
        lay_json_string(j, "kind", lay_symptom_name(one->kind));
        lay_json_string(j, "body", one->body);
        lay_json_string(j, "text", one->text);
        lay_json_number(j, "value", one->value, 3);
        lay_json_number(j, "probability", one->sure, 4);
        lay_json_integer(j, "run", one->run + 1);
        lay_json_close_object(j);
    }
    lay_json_close_array(j);
}

static void suspect(lay_json *j, const lay_suspect *s) {
    lay_json_open_object(j, NULL);
    lay_json_string(j, "part", s->part);
    lay_json_string(j, "kind", lay_kind_name(s->kind));
    lay_json_string(j, "body", s->body);
    lay_json_number(j, "probability", s->probability, 4);
    lay_json_number(j, "level_db", s->level_db, 2);
    lay_json_string(j, "level_reference", lay_quantity_reference(s->quantity));
    lay_json_number(j, "above_floor_db", s->above_floor_db, 2);
    lay_json_number(j, "prominence_db", s->prominence_db, 2);
    lay_json_bool(j, "audible", s->audible);
    blows(j, &s->blows);
    if (s->best_run >= 0)
        lay_json_integer(j, "best_run", s->best_run + 1);
    else
        lay_json_null(j, "best_run");
    lay_json_strings(j, "reasons", &s->reasons);
    symptoms(j, s);
    lay_json_strings(j, "checks", &s->checks);
    lay_json_strings(j, "not_separable_from", &s->not_separable_from);
    lay_json_close_object(j);
}

/* Blows that no part of the unit file makes; null when there are none. */
static void stranger(lay_json *j, const lay_unit *unit, const lay_stranger *s) {
    if (!s->found) {
        lay_json_null(j, "stranger");
        return;
    }
    lay_json_open_object(j, "stranger");
    lay_json_string(j, "body", lay_words_body(unit, s->body));
    lay_json_number(j, "times_per_turn", s->times, 4);
    lay_json_number(j, "probability", s->probability, 4);
    lay_json_integer(j, "runs", s->runs);
    lay_json_integer(j, "best_run", s->best_run + 1);
    lay_json_number(j, "order", s->order, 4);
    lay_json_number(j, "hz", s->hz, 2);
    lay_json_number(j, "height_db", s->height_db, 2);
    band(j, s->low_hz, s->high_hz);
    lay_json_close_object(j);
}

static void part(lay_json *j, const lay_part_finding *f) {
    lay_json_open_object(j, NULL);
    lay_json_string(j, "part", f->part);
    lay_json_string(j, "state", lay_part_state_name(f->state));
    lay_json_number(j, "probability", f->probability, 4);
    lay_json_string(j, "why", f->why);
    lay_json_close_object(j);
}

static void verdict(lay_json *j, const lay_unit *unit, const lay_verdict *v) {
    lay_json_open_object(j, "verdict");
    lay_json_string(j, "outcome", lay_outcome_name(v->outcome));
    lay_json_string(j, "summary", v->summary != NULL ? v->summary : "");
    lay_json_open_array(j, "suspects");
    for (size_t i = 0; i < v->suspect_count; i++) suspect(j, &v->suspects[i]);
    lay_json_close_array(j);
    stranger(j, unit, &v->stranger);
    lay_json_open_array(j, "parts");
    for (size_t i = 0; i < v->part_count; i++) part(j, &v->parts[i]);
    lay_json_close_array(j);
    lay_json_strings(j, "add", &v->add);
    lay_json_close_object(j);
}

/* Members that say what makes a line; `claim` NULL: nothing known does. */
static void claim_members(lay_json *j, const lay_unit *unit, const lay_run_evidence *run, const lay_claim *claim) {
    static const lay_claim none = {.class_ = LAY_LINE_UNKNOWN, .part = -1, .body = -1};
    const lay_claim *c = claim != NULL ? claim : &none;
    lay_json_string(j, "class", lay_line_class_name(c->class_));
    lay_json_string(j, "part", lay_words_part(run, c));
    lay_json_integer(j, "harmonic", c->harmonic);
    lay_json_integer(j, "sideband", c->sideband);
    lay_json_string(j, "sideband_of", c->sideband != 0 ? lay_words_body(unit, c->body) : NULL);
    lay_json_string(j, "body", lay_words_body(unit, c->body));
    lay_json_number(j, "probability", c->probability, 4);
}

static void line(lay_json *j, const lay_unit *unit, const lay_run_spec *spec, const lay_run_evidence *run,
                 const lay_explained_line *l) {
    lay_json_open_object(j, NULL);
    lay_json_number(j, "order", l->line.order, 4);
    lay_json_number(j, "hz", l->line.hz, 2);
    lay_json_number(j, "level_db", lay_level_db(l->line.power, spec), 2);
    lay_json_number(j, "above_floor_db", l->line.above_floor_db, 2);
    lay_json_number(j, "prominence_db", l->line.tnr_db, 2);
    claim_members(j, unit, run, l->claim_count > 0 ? &l->claims[0] : NULL);
    lay_json_open_array(j, "rivals");
    for (int i = 1; i < l->claim_count; i++) {
        lay_json_open_object(j, NULL);
        claim_members(j, unit, run, &l->claims[i]);
        lay_json_close_object(j);
    }
    lay_json_close_array(j);
    lay_json_close_object(j);
}

/* What the run's envelope spectra are made of; null where none could be had. */
static void envelope(lay_json *j, const lay_envelope_spectrum *e) {
    if (e->band_count == 0) {
        lay_json_null(j, "envelope");
        return;
    }
    lay_json_open_object(j, "envelope");
    lay_json_number(j, "turns_per_segment", 1 / e->step, 0);
    lay_json_number(j, "averages", e->averages, 1);
    lay_json_integer(j, "band_count", (long long)e->band_count);
    lay_json_close_object(j);
}

static void one_run(lay_json *j, const lay_unit *unit, const lay_run_spec *spec, const lay_run_evidence *run) {
    lay_json_open_object(j, NULL);
    lay_json_string(j, "file", spec->file);
    lay_json_word(j, "gear", lay_words_gear(unit, spec, run));
    lay_json_word(j, "load", lay_load_name(run->load));
    lay_json_number(j, "duration_s", run->duration_s, 3);
    lay_json_bool(j, "usable", run->usable);
    lay_json_string(j, "level_reference", lay_quantity_reference(run->quantity));
    lay_json_speed(
        j, &(lay_speed_summary){run->speed_source, run->min_hz, run->mean_hz, run->max_hz, run->speed_confidence});
    envelope(j, &run->envelope);
    lay_json_sentences(j, "warnings", &run->warnings);
    lay_json_open_array(j, "lines");
    for (size_t i = 0; i < run->line_count; i++) line(j, unit, spec, run, &run->lines[i]);
    lay_json_close_array(j);
    lay_json_close_object(j);
}

lay_status lay_report_json(const lay_unit *unit, const lay_run_table *table, const lay_diagnosis *d, bool indented,
                           lay_text *out) {
    lay_json j = {.out = out, .indented = indented};
    lay_json_open_answer(&j, unit);
    verdict(&j, unit, &d->verdict);
    lay_json_open_array(&j, "runs");
    for (size_t i = 0; i < d->run_count && i < table->count; i++) one_run(&j, unit, &table->runs[i], &d->runs[i]);
    lay_json_close_array(&j);
    lay_json_close_object(&j);
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}
