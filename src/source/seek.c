#include "seek.h"

#include "plan.h"

#include <math.h>
#include <stdlib.h>

#define SLOWEST_HZ (450.0 / 60) /* of an input shaft in use, and fastest (common practice, no source) */
#define FASTEST_HZ (8000.0 / 60)
#define STATED_SD 0.05 /* a workshop tachometer, a glance at the dial */
#define STATED_TO 1.25 /* a stated speed is sought up to this factor away */
#define RANGE_TO 1.12
#define ROAD_SD 0.08 /* speedometer, tyre wear and slip together */
#define ROAD_TO 1.3
#define NEUTRAL_PRIOR 0.2
#define STATED_KEPT 0.25 /* confidence of a stated speed that the recording does not bear out */
#define GEAR_SURE 0.6
#define LEAST_SURE 0.1 /* less is no speed */
#define GAPS_TOLD 1.0  /* s */

void lay_seek_free(lay_seek *seek) {
    lay_track_free(seek->track);
    free(seek->gears);
    lay_rpm_log_free(&seek->log);
    free(seek->log_hz);
    *seek = (lay_seek){0};
}

/* ---- what to look for ---- */

static void say_near(lay_track_options *o, double low, double high, double to) {
    o->near_low_hz = low / to;
    o->near_high_hz = high * to;
    o->low_hz = fmin(o->low_hz, o->near_low_hz);
    o->high_hz = fmax(o->high_hz, o->near_high_hz);
}

static void say_about(lay_seek *seek, lay_track_options *o, double hz, double sd, double to) {
    seek->stated = seek->exact = true;
    seek->stated_hz = o->stated_hz = hz;
    o->stated_sd = sd;
    say_near(o, hz, hz, to);
}

static void state_speed(const lay_reading *r, lay_seek *seek, lay_track_options *o) {
    const lay_run_spec *spec = r->spec;
    double low = spec->rpm_low / 60, high = spec->rpm_high / 60, road = 0;
    o->low_hz = SLOWEST_HZ;
    o->high_hz = FASTEST_HZ;
    if (spec->road_speed_ms > 0 && r->out->gear >= 0)
        road = lay_unit_reference_hz(r->unit, &r->out->kinematics, spec->road_speed_ms);
    if (low > 0 && low == high)
        say_about(seek, o, low, STATED_SD, STATED_TO);
    else if (low > 0) {
        seek->stated = true;
        seek->stated_hz = sqrt(low * high);
        say_near(o, low, high, RANGE_TO);
    } else if (road > 0)
        say_about(seek, o, road, ROAD_SD, ROAD_TO);
    else if (spec->road_speed_ms > 0)
        lay_reading_warn(r->out, "the road speed cannot be used: it needs the gear in the table, and the axle with its "
                                 "teeth and tyre in the unit file");
}

static lay_status load_log(const lay_reading *r, lay_seek *seek, lay_track_options *o, lay_error *err) {
    if (!r->spec->rpm_log || !r->spec->rpm_log[0] || o->known) return LAY_OK;
    lay_status status = lay_rpm_log_load(r->spec->rpm_log, &seek->log, &r->out->warnings, err);
    if (status != LAY_OK) return status;
    seek->log_hz = lay_calloc(seek->log.count + 1, sizeof *seek->log_hz);
    if (!seek->log_hz) return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the rpm log");
    for (size_t i = 0; i < seek->log.count; i++) seek->log_hz[i] = seek->log.rpm[i] / 60;
    seek->guide = (lay_speed_log){seek->log.time, seek->log_hz, seek->log.count};
    o->log = &seek->guide;
    return LAY_OK;
}

/* Orders of one gear of the unit. */
static lay_status add_gear(const lay_reading *r, int gear, lay_track_order *orders, lay_track_gear *out, double *firing,
                           lay_error *err) {
    lay_kinematics k = {0};
    lay_expected *expected = NULL;
    size_t count = 0;
    lay_status status = lay_unit_solve(r->unit, gear, &k, err);
    if (status == LAY_OK) status = lay_unit_expect(r->unit, &k, &expected, &count, err);
    if (status == LAY_OK) {
        bool moves =
            r->unit->output < 0 || (!k.free_body[r->unit->output] && fabs(k.speed[r->unit->output].value) > 1e-9);
        *out = (lay_track_gear){orders, lay_plan_track_orders(r->unit, &k, expected, count, orders),
                                moves ? 1 : NEUTRAL_PRIOR};
        for (size_t i = 0; i < count; i++)
            if (expected[i].type == LAY_PART_ENGINE && expected[i].turning) *firing = expected[i].order;
    }
    lay_kinematics_free(&k);
    free(expected);
    return status;
}

lay_status lay_seek_open(const lay_reading *r, const lay_shaft *known, lay_seek *seek, lay_error *err) {
    size_t most = r->unit->gear_count;
    lay_track_order *orders = lay_calloc(most * LAY_PLAN_ORDERS, sizeof *orders);
    lay_track_gear *gears = lay_calloc(most, sizeof *gears);
    *seek = (lay_seek){.gears = lay_calloc(most, sizeof *seek->gears)};
    lay_status status = LAY_OK;
    if (!orders || !gears || !seek->gears) status = lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the speed");
    lay_track_options o = {.rate = r->info->rate, .channels = r->channel_count, .gears = gears, .known = known};
    for (size_t g = 0; g < most && status == LAY_OK; g++) {
        if (r->out->gear >= 0 && (int)g != r->out->gear) continue;
        status = add_gear(r, (int)g, orders + g * LAY_PLAN_ORDERS, &gears[seek->gear_count], &o.firing_order, err);
        seek->gears[seek->gear_count++] = (int)g;
    }
    o.gear_count = seek->gear_count;
    state_speed(r, seek, &o);
    if (status == LAY_OK) status = load_log(r, seek, &o, err);
    if (status == LAY_OK) status = lay_track_new(&o, &seek->track, err);
    free(orders);
    free(gears);
    return status;
}

lay_status lay_seek_feed(lay_seek *seek, const double *frames, size_t count, lay_error *err) {
    return lay_track_feed(seek->track, frames, count, err);
}

/* ---- what was found ---- */

static const char *gear_name(const lay_seek *seek, const lay_reading *r, size_t g) {
    return r->unit->gears[seek->gears[g]].name;
}

/* Certainty in whole percent; nothing is quite certain. */
static double percent(double p) {
    return fmin(99, round(100 * p));
}

/* What to do next: a single recording has no table. */
static const char *tell_rpm(const lay_reading *r) {
    return r->spec->line > 0 ? "write the rpm into the table" : "give it with --rpm";
}

static const char *tell_gear(const lay_reading *r) {
    return r->spec->line > 0 ? "write it into the table" : "give it with --gear";
}

static lay_status take_gear(const lay_seek *seek, const lay_track_result *result, lay_reading *r, lay_error *err) {
    lay_run_evidence *out = r->out;
    if (out->gear >= 0 || seek->gear_count == 0) return LAY_OK;
    r->gear_probability = lay_calloc(r->unit->gear_count, sizeof *r->gear_probability);
    if (!r->gear_probability) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to find the gear");
    size_t best = result->gear, next = best == 0 ? 1 : 0;
    for (size_t g = 0; g < seek->gear_count; g++) {
        r->gear_probability[seek->gears[g]] = result->gear_probability[g];
        if (g != best && result->gear_probability[g] > result->gear_probability[next]) next = g;
    }
    double p = result->gear_probability[best];
    if (p < GEAR_SURE && seek->gear_count > 1) {
        lay_text_add(&out->warnings, "the gear is not given and could be %s (%.0f %%) or %s (%.0f %%): %s\n",
                     gear_name(seek, r, best), percent(p), gear_name(seek, r, next),
                     percent(result->gear_probability[next]), tell_gear(r));
        return LAY_OK;
    }
    lay_text_add(&out->warnings, "the gear is not given; the recording says gear %s (%.0f %% sure)\n",
                 gear_name(seek, r, best), percent(p));
    return lay_reading_use_gear(r, seek->gears[best], err);
}

/* The stated speed itself, where the recording does not bear out another. */
static lay_status keep_stated(const lay_seek *seek, lay_reading *r, lay_error *err) {
    lay_status status = lay_shaft_constant(seek->stated_hz, r->out->duration_s, &r->shaft, err);
    r->shaft.confidence = seek->exact ? STATED_KEPT : 0.02;
    r->shaft.source = seek->exact ? LAY_SPEED_STATED : LAY_SPEED_SIGNAL;
    return status;
}

/* What a user has to know of a speed that is not sure. */
static void warn_of_rival(const lay_track_result *result, lay_reading *r) {
    double low, mean, high, turns;
    lay_shaft_range(&result->shaft, &low, &mean, &high, &turns);
    if (result->shaft.confidence >= 0.5) return;
    if (result->rival_ratio > 0)
        lay_text_add(
            &r->out->warnings,
            "the speed is not sure: %.0f rpm on average explains the recording best (%.0f %% sure), but %.0f rpm "
            "may be meant; %s or record a tach pulse\n",
            60 * mean, percent(result->shaft.confidence), 60 * mean * result->rival_ratio, tell_rpm(r));
    else
        lay_text_add(&r->out->warnings, "the speed is not sure (%.0f %%): %s or record a tach pulse\n",
                     percent(result->shaft.confidence), tell_rpm(r));
}

/* Stretches without speed, when they add up. */
static void tell_of_gaps(lay_reading *r) {
    double held = 0, whole = r->out->duration_s;
    for (size_t g = 0; g < r->shaft.segment_count; g++) {
        size_t first = r->shaft.segment_start[g];
        size_t last = (g + 1 < r->shaft.segment_count ? r->shaft.segment_start[g + 1] : r->shaft.count) - 1;
        held += r->shaft.time[last] - r->shaft.time[first];
    }
    if (whole - held > GAPS_TOLD)
        lay_text_add(
            &r->out->warnings,
            "%.1f of %.1f s are left out: nothing that turns with the shaft is heard there, or engine and gears "
            "turn apart (clutch, gear change, standstill)\n",
            whole - held, whole);
}

static void tell_of_log(const lay_seek *seek, const lay_track_result *result, lay_reading *r) {
    const lay_log_fit *fit = &result->log_fit;
    if (seek->guide.count == 0) return;
    if (fit->confidence >= 0.5)
        lay_text_add(
            &r->out->warnings,
            "the rpm log fits the recording when its clock is put %.2f s %s (%.0f %% sure); the speed follows it "
            "and is refined on the recording\n",
            fabs(fit->offset_s), fit->offset_s < 0 ? "back" : "on", percent(fit->confidence));
    else if (fit->flat)
        lay_reading_warn(r->out, "the rpm log hardly changes, so its clock cannot be told; its speed is used");
    else
        lay_text_add(&r->out->warnings, "the rpm log is not used: %s\n",
                     result->log_error.message[0] ? result->log_error.message
                                                  : "it fits the recording at no offset of its clock");
}

static void take_speed(const lay_seek *seek, lay_track_result *result, lay_reading *r) {
    double low, mean, high, turns;
    warn_of_rival(result, r);
    r->shaft = result->shaft;
    result->shaft = (lay_shaft){0};
    tell_of_gaps(r);
    if (result->log_fit.confidence > 0 || result->log_fit.flat) r->shaft.source = LAY_SPEED_LOG;
    if (!seek->exact || r->shaft.source == LAY_SPEED_LOG) return;
    lay_shaft_range(&r->shaft, &low, &mean, &high, &turns);
    r->shaft.source = LAY_SPEED_STATED;
    r->shaft.correction = mean / seek->stated_hz - 1;
}

/* One stated number is kept until the recording is surer than not; a range names no speed to keep, and nothing said
 * leaves only what was found. */
static bool believed(const lay_seek *seek, double confidence) {
    return confidence >= (seek->exact ? 0.5 : LEAST_SURE);
}

lay_status lay_seek_finish(lay_seek *seek, lay_reading *r, bool *found, lay_error *err) {
    lay_track_result result = {.gear = 0};
    lay_error local = {0};
    lay_status status = lay_track_finish(seek->track, &result, &local);
    bool heard = status == LAY_OK && result.shaft.count > 1;
    if (status != LAY_OK && status != LAY_BAD_INPUT) return lay_fail(err, status, "%s", local.message);
    status = LAY_OK;
    *found = true;
    if (heard) status = take_gear(seek, &result, r, err);
    if (heard) tell_of_log(seek, &result, r);
    if (status == LAY_OK && r->shaft.count == 0) {
        if (believed(seek, heard ? result.shaft.confidence : 0))
            take_speed(seek, &result, r);
        else if (seek->stated)
            status = keep_stated(seek, r, err);
        else {
            *found = false;
            lay_text_add(
                &r->out->warnings,
                "no speed: the recording holds no lines that surely turn with the shaft; record a tach pulse, or "
                "%s\n",
                tell_rpm(r));
        }
    }
    lay_track_result_free(&result);
    return status;
}
