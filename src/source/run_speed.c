#include "reading.h"

#include <stdlib.h>

void lay_run_speed_free(lay_run_speed *speed) {
    if (!speed) return;
    lay_shaft_free(&speed->shaft);
    free(speed->gear_probability);
    lay_text_free(&speed->warnings);
    *speed = (lay_run_speed){0};
}

lay_status lay_run_find_speed(const lay_unit *unit, const lay_run_spec *spec, const char *table_path,
                              lay_run_speed *out, lay_error *err) {
    lay_run_evidence run = {.tach_body = -1, .load = spec->load, .full_scale = 1};
    lay_reading r = {.unit = unit, .spec = spec, .table_path = table_path, .out = &run};
    *out = (lay_run_speed){.gear = -1};
    lay_status status = lay_reading_open(&r, err);
    if (status == LAY_OK) status = lay_reading_first(&r, &out->found, err);
    if (status == LAY_OK) {
        if (out->found) lay_reading_take_speed(&r);
        out->gear = run.gear;
        out->duration_s = run.duration_s;
        out->shaft = r.shaft;
        out->gear_probability = r.gear_probability;
        r.gear_probability = NULL;
        out->warnings = run.warnings;
        r.shaft = (lay_shaft){0};
        run.warnings = (lay_text){0};
    }
    lay_reading_close(&r);
    lay_run_evidence_free(&run);
    return status;
}
