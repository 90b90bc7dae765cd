#include "teeth.h"
#include "trial.h"

#include <stdlib.h>

/* A wrong count moves the orders of its own mesh when it drives, and of everything behind it when it carries torque. So
 * each count is tried on a copy of the unit: its kinematics are solved anew and the strange lines are laid against what
 * its loaded meshes would make. */

#define MOST_OFF 3 /* teeth */
#define ANSWERS_MAX 3

static void keep(lay_trial *best, size_t *count, const lay_trial *t) {
    size_t at = *count < ANSWERS_MAX ? (*count)++ : ANSWERS_MAX;
    while (at > 0 && best[at - 1].score < t->score) {
        if (at < ANSWERS_MAX) best[at] = best[at - 1];
        at--;
    }
    if (at < ANSWERS_MAX) best[at] = *t;
}

static lay_status try_wheel(lay_tooth_search *s, int mesh, int wheel, lay_trial *best, size_t *count, lay_error *err) {
    int teeth = wheel ? s->unit->meshes[mesh].driven.teeth : s->unit->meshes[mesh].driver.teeth;
    for (int d = -MOST_OFF; d <= MOST_OFF; d++) {
        lay_trial t = {.mesh = mesh, .wheel = wheel, .teeth = teeth + d, .off = abs(d)};
        if (d == 0 || t.teeth < 5) continue;
        lay_status status = lay_trial_expect(s, &t, err);
        if (status != LAY_OK) return status;
        lay_trial_fit(s, &t, s->concerned);
        if (lay_trial_convinces(s, &t)) keep(best, count, &t);
    }
    return LAY_OK;
}

static lay_status say(lay_tooth_search *s, const lay_trial *t, lay_run_evidence *runs, lay_strings *out,
                      lay_error *err) {
    const lay_mesh *mesh = &s->unit->meshes[t->mesh];
    const lay_wheel *wheel = t->wheel ? &mesh->driven : &mesh->driver;
    lay_status status = lay_strings_add(
        out, err, "%s: the wheel on '%s' behaves like %d teeth, the unit file says %d: count them again", mesh->name,
        s->unit->bodies[wheel->body].name, t->teeth, wheel->teeth);
    lay_trial again = {.mesh = t->mesh, .wheel = t->wheel, .teeth = t->teeth};
    if (status == LAY_OK) status = lay_trial_expect(s, &again, err);
    if (status != LAY_OK) return status;
    lay_trial_fit(s, &again, s->concerned);
    for (size_t r = 0; r < s->run_count; r++)
        if (s->concerned[r]) lay_text_add(&runs[r].warnings, "%s\n", out->items[out->count - 1]);
    return LAY_OK;
}

/* Other counts that fit as well are named too: the recordings cannot tell them apart. */
static bool as_good(const lay_trial *t, const lay_trial *best) {
    return t->score > 0.9 * best->score && t->score > best->score - 40;
}

static lay_status search_all(lay_tooth_search *s, lay_run_evidence *runs, lay_strings *out, lay_error *err) {
    lay_trial best[ANSWERS_MAX];
    size_t count = 0;
    lay_status status = lay_strange_collect(s->runs, s->run_count, &s->lines, err);
    for (int m = 0; m < (int)s->unit->mesh_count && s->lines.count && status == LAY_OK; m++)
        for (int w = 0; w < 2 && status == LAY_OK; w++) status = try_wheel(s, m, w, best, &count, err);
    for (size_t i = 0; i < count && status == LAY_OK && as_good(&best[i], &best[0]); i++)
        status = say(s, &best[i], runs, out, err);
    return status;
}

lay_status lay_teeth_check(const lay_unit *unit, lay_run_evidence *runs, size_t count, lay_strings *out,
                           lay_error *err) {
    lay_tooth_search s = {.unit = unit, .runs = runs, .run_count = count};
    s.concerned = lay_calloc(count + 1, sizeof *s.concerned);
    s.expected = lay_calloc(unit->gear_count + 1, sizeof *s.expected);
    s.expected_count = lay_calloc(unit->gear_count + 1, sizeof *s.expected_count);
    s.kinematics = lay_calloc(unit->gear_count + 1, sizeof *s.kinematics);
    lay_status status = s.concerned && s.expected && s.expected_count && s.kinematics
                            ? search_all(&s, runs, out, err)
                            : lay_fail(err, LAY_NO_MEMORY, "not enough memory to try other tooth counts");
    if (s.expected && s.expected_count && s.kinematics) lay_trial_forget(&s);
    free(s.expected);
    free(s.expected_count);
    free(s.kinematics);
    free(s.concerned);
    free(s.lines.items);
    return status;
}
