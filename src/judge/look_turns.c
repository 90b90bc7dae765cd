/* The wheels of the suspects over one turn, and their mesh over one repeat of its pairing. */
#include "look.h"

#include <math.h>
#include <stdlib.h>

#define HARMONICS 5  /* of the mesh that the average holds, and some sidebands more */
#define RECORDS 4    /* parts of the run that are compared with one another */
#define REPEATS 4    /* of the pairing of the teeth that are averaged at least */
#define FEW_TURNS 64 /* below, the run is not parted */
#define NYQUIST 0.45 /* of the rate at the highest speed */
#define STEADY 1.03  /* highest over lowest speed of a run that is as good as steady */
#define TURNS_MIN 8  /* of a wheel */
#define FIRINGS 6    /* orders of an engine that are taken off a wheel on its crank */

static bool same_turn(const lay_expected *e, int wheel, double order) {
    return fabs(e->wheel_order[wheel] - order) < 1e-9 * order;
}

/* Teeth of every wheel that turns as the one looked at, its own first: those of its shaft and of what is locked to it.
 */
static size_t teeth_on(const lay_run_evidence *run, const lay_expected *part, int wheel, int *teeth) {
    size_t n = 0;
    teeth[n++] = part->teeth[wheel];
    for (size_t i = 0; i < run->expected_count; i++) {
        const lay_expected *e = &run->expected[i];
        if ((e->type != LAY_PART_MESH && e->type != LAY_PART_AXLE) || !e->turning || e->order <= 0) continue;
        for (int w = 0; w < 2 && n < LAY_LOOK_TEETH; w++)
            if ((e != part || w != wheel) && same_turn(e, w, part->wheel_order[wheel])) teeth[n++] = e->teeth[w];
    }
    return n;
}

/* Low multiples of the wheel's turn that are not the wheel's own: the engine's, where it sits on the crank. */
static int shaft_harmonics(const lay_run_evidence *run, double order, int teeth) {
    const lay_expected *engine = lay_run_engine(run);
    if (!engine) return -1;
    double crank = engine->wheel_order[0];
    if (fabs(crank - order) > 1e-9 * order) return -1;
    return (int)fmin(FIRINGS * engine->order / crank, teeth / 2);
}

/* The channel that holds most of the mesh. */
static size_t best_channel(const lay_tsa_average *a, int teeth) {
    size_t best = 0;
    double most = -1;
    for (size_t c = 0; c < a->channels; c++) {
        double re = 0, im = 0;
        for (size_t i = 0; i < a->points; i++) {
            double angle = 2 * LAY_PI * (double)((size_t)teeth * i % a->points) / (double)a->points;
            re += a->mean[c * a->points + i] * cos(angle);
            im += a->mean[c * a->points + i] * sin(angle);
        }
        if (re * re + im * im > most) most = re * re + im * im, best = c;
    }
    return best;
}

static bool tach_sees(const lay_run_evidence *run, double order) {
    if (run->speed_source != LAY_SPEED_TACH || !run->tach_marks_turn) return false;
    double tach = run->tach_body >= 0 ? fabs(run->kinematics.speed[run->tach_body].value) : 1;
    return fabs(order - tach) < 1e-9 * order;
}

/* The parts of the run one after the other, of one channel. Caller frees; NULL without parts or memory. */
static double *records_of(const lay_tsa_average *a, size_t channel) {
    double *out = a->records ? lay_calloc(a->records * a->points, sizeof *out) : NULL;
    for (size_t r = 0; out && r < a->records; r++)
        for (size_t i = 0; i < a->points; i++)
            out[r * a->points + i] = a->record[(r * a->channels + channel) * a->points + i];
    return out;
}

/* How many parts of the run have their own worst place where the whole has it. */
static double agreement(const lay_look_wheel *w, const double *records, const lay_condition_options *options) {
    size_t agree = 0, parts = records ? w->average.records : 0;
    for (size_t r = 0; r < parts; r++) {
        lay_condition one;
        if (lay_condition_of(records + r * w->average.points, w->average.points, NULL, 0, options, &one, NULL) !=
            LAY_OK)
            continue;
        double off = fabs(one.worst_turn - w->condition.worst_turn);
        agree += fmin(off, 1 - off) * w->teeth[0] <= 1;
    }
    return parts ? (double)agree / (double)parts : NAN;
}

static lay_status describe(const lay_looking *l, const lay_expected *part, lay_look_wheel *w, lay_error *err) {
    const lay_run_evidence *run = &l->runs[w->run];
    double order = part->wheel_order[w->wheel];
    w->mesh_count = teeth_on(run, part, w->wheel, w->teeth);
    w->body = part->wheel_body[w->wheel];
    w->from_tach = tach_sees(run, order);
    w->channel = best_channel(&w->average, w->teeth[0]);
    lay_condition_options options = {w->teeth, w->mesh_count, 0, shaft_harmonics(run, order, w->teeth[0]), -1, 0};
    const double *x = w->average.mean + w->channel * w->average.points;
    double *records = records_of(&w->average, w->channel);
    lay_status status = lay_gear_signals_of(x, w->average.points, &options, &w->signals, err);
    if (status == LAY_OK)
        status = lay_condition_of(x, w->average.points, records, records ? w->average.records : 0, &options,
                                  &w->condition, err);
    if (status == LAY_OK) w->agree = agreement(w, records, &options);
    free(records);
    return status;
}

/* ---- reading ---- */

static lay_status feed(const double *frames, size_t count, void *user, lay_error *err) {
    return lay_tsa_feed(user, frames, count, err);
}

/* Averages of the two wheels and, where `bodies` is 3, over the repeat of the pairing, out[bodies]. */
static lay_status average(const lay_looking *l, size_t r, const lay_expected *part, size_t bodies, lay_tsa_average *out,
                          lay_error *err) {
    const lay_run_evidence *run = &l->runs[r];
    const double orders[3] = {part->wheel_order[0], part->wheel_order[1], part->hunting_order};
    lay_run_stream *stream = NULL;
    lay_tsa *tsa = NULL;
    lay_status status = lay_run_stream_open(l->unit, &l->table->runs[r], l->table->path, &stream, err);
    if (status != LAY_OK) return status;
    double rate = lay_run_stream_rate(stream);
    double turns = run->revolutions * fmin(part->wheel_order[0], part->wheel_order[1]);
    lay_tsa_options options = {.rate = rate,
                               .channels = lay_run_stream_channels(stream),
                               .bodies = orders,
                               .body_count = bodies,
                               .max_order = fmin((HARMONICS + 0.5) * part->order, NYQUIST * rate / run->max_hz),
                               .records = turns >= FEW_TURNS ? RECORDS : 0};
    status = lay_tsa_new(&options, &run->shaft, &tsa, err);
    if (status == LAY_OK) status = lay_run_stream_each(stream, feed, tsa, err);
    if (status == LAY_OK) status = lay_tsa_finish(tsa, out, err);
    lay_tsa_free(tsa);
    lay_run_stream_close(stream);
    return status;
}

static bool long_enough(const lay_run_evidence *run, const lay_expected *part) {
    return run->revolutions * fmin(part->wheel_order[0], part->wheel_order[1]) >= TURNS_MIN;
}

/* How much an average over the whole run can be trusted: the way to the sensor turns the phase of a mesh as speed
 * changes, so runs that change by more than some per cent average a part of it away. */
static double steadiness(const lay_run_evidence *run) {
    return -fmax(run->max_hz / run->min_hz, STEADY);
}

/* On a level road the drive flank carries. */
static bool loads_alike(lay_load load, lay_load best) {
    return load == best || (load == LAY_LOAD_STEADY && best == LAY_LOAD_DRIVE);
}

/* The steadiest run of the best run's load; the best run itself among equals. -1: none. */
static int run_for(const lay_looking *l, size_t suspect) {
    int best = l->verdict->suspects[suspect].best_run, at = -1;
    const lay_expected *there = best >= 0 ? lay_looking_part(l, suspect, (size_t)best) : NULL;
    if (!there) return -1;
    for (size_t r = 0; r < l->run_count; r++) {
        const lay_expected *part = lay_looking_part(l, suspect, r);
        if (!part || !long_enough(&l->runs[r], part) || !loads_alike(l->runs[r].load, l->runs[best].load)) continue;
        if (part->loaded != there->loaded) continue;
        double gain = at >= 0 ? steadiness(&l->runs[r]) - steadiness(&l->runs[at]) : 1;
        if (gain > 0 || (gain == 0 && (int)r == best)) at = (int)r;
    }
    return at;
}

/* Repeats of the pairing that the run holds. */
static double repeats(const lay_run_evidence *run, const lay_expected *part) {
    return part->hunting_order > 0 ? run->revolutions * part->hunting_order : 0;
}

static void take_pair(lay_looking *l, size_t suspect, int run, const lay_expected *part, lay_tsa_average *average) {
    lay_look_pair *pair = &l->out->pairs[l->out->pair_count++];
    *pair = (lay_look_pair){.suspect = (int)suspect, .run = run, .average = *average};
    pair->repeat = (int)lround(part->order / part->hunting_order);
    pair->channel = best_channel(average, pair->repeat);
    *average = (lay_tsa_average){0};
}

/* What one suspect's recording gives: both wheels, and the pairing where `bodies` is 3. */
typedef struct turning {
    int run; /* -1: none that can be averaged */
    const lay_expected *part;
    size_t bodies;
    lay_tsa_average average[3];
} turning;

typedef struct averaging {
    const lay_looking *l;
    turning *of; /* [suspect_count] */
} averaging;

static lay_status average_one(size_t suspect, void *work, lay_error *err) {
    const lay_looking *l = ((averaging *)work)->l;
    turning *t = &((averaging *)work)->of[suspect];
    t->run = run_for(l, suspect);
    if (t->run < 0) return LAY_OK;
    t->part = lay_looking_part(l, suspect, (size_t)t->run);
    t->bodies = repeats(&l->runs[t->run], t->part) >= REPEATS ? 3 : 2;
    lay_status status = average(l, (size_t)t->run, t->part, t->bodies, t->average, err);
    if (status != LAY_BAD_INPUT) return status;
    t->run = -1; /* a run that cannot be averaged costs no verdict */
    return LAY_OK;
}

static lay_status look_at(lay_looking *l, size_t suspect, turning *t, lay_error *err) {
    lay_status status = LAY_OK;
    for (int w = 0; w < 2 && status == LAY_OK; w++) {
        lay_look_wheel *wheel = &l->out->wheels[l->out->wheel_count++];
        *wheel = (lay_look_wheel){.suspect = (int)suspect, .wheel = w, .run = t->run, .average = t->average[w]};
        t->average[w] = (lay_tsa_average){0};
        status = describe(l, t->part, wheel, err);
    }
    if (status == LAY_OK && t->bodies == 3) take_pair(l, suspect, t->run, t->part, &t->average[2]);
    return status;
}

lay_status lay_looking_turns(lay_looking *l, lay_error *err) {
    l->out->wheels = lay_calloc(2 * l->verdict->suspect_count + 1, sizeof *l->out->wheels);
    l->out->pairs = lay_calloc(l->verdict->suspect_count + 1, sizeof *l->out->pairs);
    if (!l->out->wheels || !l->out->pairs) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    size_t count = l->verdict->suspect_count;
    averaging a = {l, lay_calloc(count + 1, sizeof *a.of)};
    if (!a.of) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    lay_tasks tasks = {.count = count, .threads = l->threads, .run = average_one, .work = &a};
    lay_status status = lay_run_tasks(&tasks, err);
    for (size_t s = 0; s < count && status == LAY_OK; s++)
        if (a.of[s].run >= 0) status = look_at(l, s, &a.of[s], err);
    for (size_t s = 0; s < count; s++)
        for (int w = 0; w < 3; w++) lay_tsa_average_free(&a.of[s].average[w]);
    free(a.of);
    return status;
}
