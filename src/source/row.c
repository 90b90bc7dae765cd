#include "reading.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

static lay_status bad_row(const lay_reading *r, lay_error *err, const char *message) {
    return lay_fail_at(err, LAY_BAD_INPUT, r->table_path ? r->table_path : r->spec->file, r->spec->line, 0, 0, "", "%s",
                       message);
}

static lay_status wrong_gear(const lay_reading *r, lay_error *err) {
    lay_text known = {0};
    for (size_t i = 0; i < r->unit->gear_count; i++)
        lay_text_add(&known, "%s%s", i ? ", " : "", r->unit->gears[i].name);
    lay_status status =
        lay_fail_at(err, LAY_BAD_INPUT, r->table_path ? r->table_path : r->spec->file, r->spec->line, 0, 0, "",
                    "the unit has no gear '%s'; it has %s", r->spec->gear, known.text ? known.text : "none");
    lay_text_free(&known);
    return status;
}

lay_status lay_reading_gear(lay_reading *r, lay_error *err) {
    r->out->gear = -1;
    if (r->spec->gear && r->spec->gear[0]) {
        r->out->gear = lay_unit_gear(r->unit, r->spec->gear);
        return r->out->gear < 0 ? wrong_gear(r, err) : LAY_OK;
    }
    if (r->unit->gear_count == 1) r->out->gear = 0;
    return LAY_OK;
}

lay_status lay_reading_use_gear(lay_reading *r, int gear, lay_error *err) {
    lay_run_evidence *out = r->out;
    out->gear = gear;
    lay_status status = lay_unit_solve(r->unit, gear, &out->kinematics, err);
    if (status == LAY_OK)
        status = lay_unit_expect(r->unit, &out->kinematics, &out->expected, &out->expected_count, err);
    return status;
}

lay_status lay_reading_channels(lay_reading *r, lay_error *err) {
    char text[160];
    int have = r->info->channels, tach = r->spec->tach_channel;
    if (tach > have) {
        snprintf(text, sizeof text, "tach_channel is %d, but the recording has %d channel%s", tach, have,
                 have == 1 ? "" : "s");
        return bad_row(r, err, text);
    }
    r->channels = lay_calloc((size_t)have + r->spec->channel_count, sizeof *r->channels);
    if (!r->channels) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    for (size_t i = 0; i < r->spec->channel_count; i++) {
        if (r->spec->channels[i] > have) {
            snprintf(text, sizeof text, "channel %d is asked for, but the recording has %d", r->spec->channels[i],
                     have);
            return bad_row(r, err, text);
        }
        if (r->spec->channels[i] == tach)
            return bad_row(r, err, "the tach channel cannot be analysed as vibration as well");
        r->channels[r->channel_count++] = r->spec->channels[i] - 1;
    }
    for (int c = 0; c < have && r->spec->channel_count == 0; c++)
        if (c + 1 != tach) r->channels[r->channel_count++] = c;
    if (r->spec->gain_count > 0 && r->spec->gain_count != r->channel_count) {
        snprintf(text, sizeof text, "full_scale has %zu number(s), but %zu channels are to be analysed",
                 r->spec->gain_count, r->channel_count);
        return bad_row(r, err, text);
    }
    if (r->channel_count == 0) return bad_row(r, err, "the recording has a tach channel but no channel to analyse");
    return LAY_OK;
}

/* |turns| of a body per turn of the reference when that is the same in every gear; 0 when it is not. */
static double order_in_all_gears(const lay_unit *unit, int body) {
    double order = -1;
    for (size_t g = 0; g < unit->gear_count; g++) {
        lay_kinematics k = {0};
        if (lay_unit_solve(unit, (int)g, &k, NULL) != LAY_OK) continue;
        double here = fabs(k.speed[body].value);
        lay_kinematics_free(&k);
        if (order >= 0 && fabs(here - order) > 1e-9) return 0;
        order = here;
    }
    return order > 0 ? order : 0;
}

lay_status lay_reading_tach(lay_reading *r, lay_error *err) {
    r->tach_order = 1;
    r->out->tach_marks_turn = r->spec->tach_channel && fabs(r->spec->pulses_per_rev - 1) < 1e-9;
    if (!r->spec->tach_channel || !r->spec->tach_on || !r->spec->tach_on[0]) return LAY_OK;
    int body = lay_unit_body(r->unit, r->spec->tach_on);
    if (body < 0) {
        char text[256];
        snprintf(text, sizeof text, "tach_on names '%.100s', which is no body of the unit", r->spec->tach_on);
        return bad_row(r, err, text);
    }
    r->out->tach_body = body;
    r->tach_order = r->out->gear >= 0 ? fabs(r->out->kinematics.speed[body].value) : order_in_all_gears(r->unit, body);
    return LAY_OK;
}
