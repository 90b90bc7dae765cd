/* Before and after as JSON. */
#include <layshaft/report.h>

#include <math.h>

#include "run_json.h"

/* Stands for "no bound on this side": JSON has no infinity, and programs that read a bound want a number. */
#define NO_BOUND_DB 100.0

/* All null where nothing was heard either time. */
static void change(lay_json *j, const lay_change *c) {
    bool low = isnan(c->low_db) && !isnan(c->high_db), high = isnan(c->high_db) && !isnan(c->low_db);
    lay_json_number(j, "change_db", c->db, 2);
    lay_json_number(j, "low_db", low ? -NO_BOUND_DB : c->low_db, 2);
    lay_json_number(j, "high_db", high ? NO_BOUND_DB : c->high_db, 2);
}

static void shared(lay_json *j, const lay_comparison *x) {
    lay_json_open_array(j, "shared");
    for (size_t i = 0; i < x->shared_count; i++) {
        const lay_shared *s = &x->shared[i];
        lay_json_open_object(j, NULL);
        lay_json_string(j, "gear", s->gear);
        lay_json_word(j, "load", lay_load_name(s->load));
        lay_json_number(j, "min_rpm", 60 * s->low_hz, 1);
        lay_json_number(j, "max_rpm", 60 * s->high_hz, 1);
        lay_json_number(j, "before_s", s->before_s, 2);
        lay_json_number(j, "after_s", s->after_s, 2);
        lay_json_number(j, "noise_change_db", s->ground_db, 2);
        lay_json_number(j, "taken_off_db", x->match == LAY_MATCH_FLOOR ? s->ground_db : s->shift_db, 2);
        lay_json_close_object(j);
    }
    lay_json_close_array(j);
}

static void lines(lay_json *j, const lay_part_change *p) {
    lay_json_open_array(j, "lines");
    for (size_t i = 0; i < p->line_count; i++) {
        const lay_line_change *l = &p->lines[i];
        lay_json_open_object(j, NULL);
        lay_json_integer(j, "harmonic", l->harmonic);
        lay_json_integer(j, "sideband", l->sideband);
        lay_json_word(j, "wheel", l->sideband == 0 ? "" : l->wheel == 0 ? "driver" : "driven");
        lay_json_number(j, "order_before", l->order_before, 4);
        lay_json_number(j, "order_after", l->order_after, 4);
        lay_json_number(j, "before_db", l->before_db, 2);
        lay_json_number(j, "after_db", l->after_db, 2);
        change(j, &l->change);
        lay_json_close_object(j);
    }
    lay_json_close_array(j);
}

static const char *kind(lay_part_type type) {
    static const char *const words[] = {"mesh", "bearing", "engine", "axle", "rotor"};
    return words[type];
}

static void part(lay_json *j, const lay_comparison *x, const lay_part_change *p) {
    lay_json_open_object(j, NULL);
    lay_json_string(j, "part", p->part);
    lay_json_string(j, "type", kind(p->type));
    change(j, &p->change);
    lay_json_string(j, "verdict", lay_change_verdict_name(p->verdict));
    lay_json_string(j, "why", p->why);
    lay_json_bool(j, "heard_before", p->change.before);
    lay_json_bool(j, "heard_after", p->change.after);
    lay_json_number(j, "before_db", p->before_db, 2);
    lay_json_number(j, "after_db", p->after_db, 2);
    lay_json_number(j, "tone_to_noise_before_db", p->tnr_before_db, 2);
    lay_json_number(j, "tone_to_noise_after_db", p->tnr_after_db, 2);
    lay_json_number(j, "prominence_before_db", p->pr_before_db, 2);
    lay_json_number(j, "prominence_after_db", p->pr_after_db, 2);
    lay_json_bool(j, "audible_before", p->audible_before);
    lay_json_bool(j, "audible_after", p->audible_after);
    lay_json_strings(j, "not_separable_from", &p->not_separable_from);
    lay_json_open_array(j, "by_condition");
    for (size_t i = 0; i < x->shared_count; i++) {
        lay_json_open_object(j, NULL);
        lay_json_string(j, "gear", x->shared[i].gear);
        lay_json_word(j, "load", lay_load_name(x->shared[i].load));
        change(j, &p->by_condition[i]);
        lay_json_close_object(j);
    }
    lay_json_close_array(j);
    lines(j, p);
    lay_json_close_object(j);
}

static void trend(lay_json *j, const lay_trend *t) {
    if (!t) {
        lay_json_null(j, "trend");
        return;
    }
    lay_json_open_object(j, "trend");
    lay_json_open_array(j, "jobs");
    for (size_t k = 0; k < t->job_count; k++) lay_json_string(j, NULL, t->names[k]);
    lay_json_close_array(j);
    lay_json_open_array(j, "parts");
    for (size_t p = 0; p < t->part_count; p++) {
        lay_json_open_object(j, NULL);
        lay_json_string(j, "part", t->parts[p].part);
        lay_json_string(j, "course", lay_course_name(t->parts[p].course));
        lay_json_open_array(j, "since_first");
        for (size_t k = 0; k + 1 < t->job_count; k++) {
            lay_json_open_object(j, NULL);
            change(j, &t->parts[p].since_first[k]);
            lay_json_close_object(j);
        }
        lay_json_close_array(j);
        lay_json_open_object(j, "last_step");
        change(j, &t->parts[p].last);
        lay_json_close_object(j);
        lay_json_close_object(j);
    }
    lay_json_close_array(j);
    lay_json_close_object(j);
}

lay_status lay_report_compare_json(const lay_compared *c, const lay_trend *t, bool indented, lay_text *out) {
    const lay_comparison *x = c->comparison;
    lay_json j = {.out = out, .indented = indented};
    lay_json_open_answer(&j, c->after->unit);
    lay_json_string(&j, "before", c->before_name);
    lay_json_string(&j, "after", c->after_name);
    lay_json_string(&j, "verdict", lay_change_verdict_name(x->verdict));
    lay_json_string(&j, "summary", x->summary);
    lay_json_string(&j, "match", lay_match_name(x->match));
    lay_json_number(&j, "repeat_db", x->repeat_db, 2);
    lay_json_bool(&j, "repeat_known", x->repeat_known);
    shared(&j, x);
    lay_json_open_array(&j, "parts");
    for (size_t p = 0; p < x->part_count; p++) part(&j, x, &x->parts[p]);
    lay_json_close_array(&j);
    lay_json_strings(&j, "differs", &x->differs);
    lay_json_strings(&j, "not_compared", &x->missing);
    trend(&j, t);
    lay_json_close_object(&j);
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}
