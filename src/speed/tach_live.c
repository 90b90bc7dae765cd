/* A tach looked at while it runs: the last seconds, over and over. */
#include <layshaft/speed.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>

struct lay_tach_live {
    lay_tach_options options;
    double *ring;
    size_t room, at, held;
};

lay_status lay_tach_live_new(const lay_tach_options *options, double window_s, lay_tach_live **out, lay_error *err) {
    *out = NULL;
    lay_tach_live *live = lay_calloc(1, sizeof *live);
    if (live) {
        live->options = *options;
        live->room = (size_t)fmax(1, window_s * options->rate);
        live->ring = lay_calloc(live->room, sizeof *live->ring);
    }
    if (!live || !live->ring) {
        lay_tach_live_free(live);
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the tach");
    }
    *out = live;
    return LAY_OK;
}

void lay_tach_live_free(lay_tach_live *live) {
    if (!live) return;
    free(live->ring);
    free(live);
}

void lay_tach_live_feed(lay_tach_live *live, const double *x, size_t stride, size_t count) {
    for (size_t i = 0; i < count; i++) {
        live->ring[live->at] = x[i * stride];
        live->at = live->at + 1 == live->room ? 0 : live->at + 1;
    }
    live->held = count < live->room - live->held ? live->held + count : live->room;
}

lay_status lay_tach_live_shaft(const lay_tach_live *live, lay_shaft *shaft, lay_error *err) {
    *shaft = (lay_shaft){0};
    lay_tach *tach = NULL;
    lay_status status = lay_tach_new(&live->options, &tach, err);
    size_t start = (live->at + live->room - live->held) % live->room;
    size_t first = live->held < live->room - start ? live->held : live->room - start;
    if (status == LAY_OK) status = lay_tach_feed(tach, live->ring + start, 1, first, err);
    if (status == LAY_OK) status = lay_tach_feed(tach, live->ring, 1, live->held - first, err);
    if (status == LAY_OK) status = lay_tach_finish(tach, shaft, err);
    lay_tach_free(tach);
    return status;
}

double lay_tach_live_held(const lay_tach_live *live) {
    return (double)live->held / live->options.rate;
}

lay_status lay_tach_live_look(const lay_tach_live *live, lay_tach_look *out, lay_error *err) {
    lay_shaft shaft = {0};
    *out = (lay_tach_look){0};
    lay_status status = lay_tach_live_shaft(live, &shaft, err);
    if (status == LAY_OK && shaft.count > 0) {
        out->hz = shaft.hz[shaft.count - 1];
        double mean, turns;
        lay_shaft_range(&shaft, &out->min_hz, &mean, &out->max_hz, &turns);
        out->missing = shaft.missing_pulses;
        out->extra = shaft.extra_pulses;
        out->glitches = shaft.glitches;
        out->since_s = (double)live->held / live->options.rate - shaft.time[shaft.count - 1];
    }
    lay_shaft_free(&shaft);
    return status;
}
