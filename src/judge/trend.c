/* Several jobs of one unit over its running-in: does a part settle? */
#include <layshaft/judge.h>

#include <math.h>
#include <stdlib.h>
#include <strings.h>

#define SETTLED_DB 2.0

static const char *const names[] = {"settled", "falling", "rising", "open"};
_Static_assert(sizeof names / sizeof *names == LAY_COURSE_COUNT, "one name per course");

const char *lay_course_name(lay_course course) {
    return (unsigned)course < LAY_COURSE_COUNT ? names[course] : "";
}

static lay_course course_of(const lay_change *last) {
    if (last->low_db > 0 && last->db >= 1) return LAY_RISING;
    if (last->high_db < 0 && last->db <= -1) return LAY_FALLING;
    return last->low_db > -SETTLED_DB && last->high_db < SETTLED_DB ? LAY_SETTLED : LAY_COURSE_OPEN;
}

static const lay_part_change *find(const lay_comparison *x, const char *part) {
    for (size_t p = 0; p < x->part_count; p++)
        if (strcasecmp(x->parts[p].part, part) == 0) return &x->parts[p];
    return NULL;
}

static const lay_change unknown = {NAN, NAN, NAN, 1, false, false};

static lay_status add_part(lay_trend *t, const lay_comparison *steps, const lay_comparison *last,
                           const lay_part_change *part, lay_error *err) {
    size_t n = t->job_count - 1;
    bool heard = false;
    lay_trend_part *out = &t->parts[t->part_count];
    out->since_first = lay_calloc(n, sizeof *out->since_first);
    if (!out->since_first) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    t->part_count++;
    out->part = part->part;
    for (size_t k = 0; k < n; k++) {
        const lay_part_change *p = find(&steps[k], part->part);
        out->since_first[k] = p ? p->change : unknown;
        heard |= p && (p->change.before || p->change.after);
    }
    const lay_part_change *p = find(last, part->part);
    out->last = p ? p->change : unknown;
    out->course = course_of(&out->last);
    if (!heard) free(out->since_first), t->part_count--;
    return LAY_OK;
}

/* steps: every job against the first; last: the last against the one before it. */
static lay_status gather(lay_trend *t, const lay_comparison *steps, const lay_comparison *last, lay_error *err) {
    const lay_comparison *whole = &steps[t->job_count - 2];
    t->parts = lay_calloc(whole->part_count + 1, sizeof *t->parts);
    lay_status status = t->parts ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    for (size_t p = 0; p < whole->part_count && status == LAY_OK; p++)
        status = add_part(t, steps, last, &whole->parts[p], err);
    return status;
}

lay_status lay_trend_find(const lay_measured *jobs, const char *const *job_names, size_t count, lay_match match,
                          lay_trend *out, lay_error *err) {
    *out = (lay_trend){.job_count = count};
    if (count < 3) return lay_fail(err, LAY_BAD_INPUT, "a course over time needs three jobs or more");
    lay_comparison *steps = lay_calloc(count, sizeof *steps), last = {0};
    out->names = lay_calloc(count, sizeof *out->names);
    lay_status status = steps && out->names ? LAY_OK : lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    for (size_t k = 0; k < count && status == LAY_OK; k++) out->names[k] = job_names[k];
    for (size_t k = 1; k < count && status == LAY_OK; k++)
        status = lay_compare(&jobs[0], &jobs[k], match, &steps[k - 1], err);
    if (status == LAY_OK) status = lay_compare(&jobs[count - 2], &jobs[count - 1], match, &last, err);
    if (status == LAY_OK) status = gather(out, steps, &last, err);
    for (size_t k = 0; steps && k + 1 < count; k++) lay_comparison_free(&steps[k]);
    lay_comparison_free(&last);
    free(steps);
    if (status != LAY_OK) lay_trend_free(out);
    return status;
}

void lay_trend_free(lay_trend *trend) {
    if (!trend) return;
    for (size_t p = 0; p < trend->part_count; p++) free(trend->parts[p].since_first);
    free(trend->parts);
    free(trend->names);
    *trend = (lay_trend){0};
}
