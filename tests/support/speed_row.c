#include "speed_row.h"

#include <math.h>
#include <stdlib.h>

#include "cmocka_all.h"

static double *longer(double *x, size_t count) {
    double *out = realloc(x, count * sizeof *x);
    assert_non_null(out);
    return out;
}

void speed_fixture_segment(speed_fixture *f, double start_s, double end_s, double from_rpm, double to_rpm) {
    lay_shaft *s = &f->speed.shaft;
    size_t added = (size_t)lround((end_s - start_s) / 0.1) + 1, first = s->count;
    size_t *starts = realloc(s->segment_start, (s->segment_count + 1) * sizeof *starts);
    assert_non_null(starts);
    s->segment_start = starts;
    s->segment_start[s->segment_count++] = first;
    s->count += added;
    s->time = longer(s->time, s->count);
    s->turns = longer(s->turns, s->count);
    s->hz = longer(s->hz, s->count);
    s->sd = longer(s->sd, s->count);
    double before = first > 0 ? s->turns[first - 1] + 1 : 0;
    for (size_t i = 0; i < added; i++) {
        double u = (double)i / (double)(added - 1), t = u * (end_s - start_s);
        s->time[first + i] = start_s + t;
        s->hz[first + i] = (from_rpm + u * (to_rpm - from_rpm)) / 60;
        s->turns[first + i] = before + t * (from_rpm + 0.5 * u * (to_rpm - from_rpm)) / 60;
        s->sd[first + i] = 0.01;
    }
}

void speed_fixture_make(speed_fixture *f) {
    *f = (speed_fixture){0};
    f->spec = (lay_run_spec){.file = BORROWED("third.wav"),
                             .path = BORROWED("job/third.wav"),
                             .gear = BORROWED("3"),
                             .rpm_low = 1200,
                             .rpm_high = 3200,
                             .tach_channel = 2,
                             .rpm_log = BORROWED("job/drive.csv"),
                             .full_scale = 1,
                             .line = 3};
    f->speed = (lay_run_speed){.found = true, .gear = lay_unit_gear(fixture_unit, "3"), .duration_s = 20};
    speed_fixture_segment(f, 2.3, 11.0, 1200, 2070);
    speed_fixture_segment(f, 12.4, 19.0, 2260, 2920);
    f->speed.shaft.source = LAY_SPEED_SIGNAL;
    f->speed.shaft.confidence = 0.97;
    f->row = (lay_speed_row){&f->spec, &f->speed, 2, "job/report/speed-02.png"};
}

void speed_fixture_free(speed_fixture *f) {
    f->speed.gear_probability = NULL; /* borrowed where a test sets it */
    lay_run_speed_free(&f->speed);
}
