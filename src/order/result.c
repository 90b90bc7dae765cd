#include "analyser.h"

#include <math.h>
#include <stdlib.h>

/* From the sums of all segments to the spectrum that is handed on. */

static void finish_rows(lay_order *o, lay_order_spectrum *s) {
    s->classes = (size_t)o->options.speed_classes;
    for (size_t c = 0; c < s->classes; c++) {
        double n = o->class_sum[c];
        if (n < 1) continue;
        o->class_hz[c] /= n;
        for (size_t i = 0; i < s->bins; i++) o->map[c * s->bins + i] /= fmax(1, o->map_weight[c * s->bins + i]);
    }
    s->map = o->map;
    s->class_hz = o->class_hz;
    s->class_segments = o->class_sum;
    s->top_order = o->class_top;
    o->map = o->class_hz = o->class_sum = o->class_top = NULL;
}

static double *take_mean(lay_average *a) {
    for (size_t i = 0; i < a->bins; i++) a->sum[i] = a->weight[i] > 0 ? a->sum[i] / a->weight[i] : 0;
    double *power = a->sum;
    a->sum = NULL;
    return power;
}

static void finish_hz(lay_order *o, lay_order_spectrum *s) {
    if (!o->hz_on || o->hz.segments == 0) return;
    s->hz_step = o->options.rate / (1 << o->hz_level) / (double)o->hz.n;
    s->hz_bins = o->hz.bins;
    s->hz_enbw = lay_window_enbw(o->hz.window, o->hz.n);
    s->hz_averages = lay_average_count(&o->hz);
    s->hz_power = take_mean(&o->hz);
}

static size_t floor_width(const lay_order_spectrum *s) {
    size_t width = (size_t)(6 / s->step) | 1;
    return width < 61 ? 61 : width;
}

/* The recording ended before one segment was full: halve the segment until it fits in what there is. */
static lay_status shorten(lay_order *o, lay_error *err) {
    size_t turns = o->turns, channels = (size_t)o->options.channels;
    while (turns > LAY_ORDER_LEAST_TURNS && turns * o->per_turn > o->angle.filled)
        turns = turns / 2 > LAY_ORDER_LEAST_TURNS ? turns / 2 : LAY_ORDER_LEAST_TURNS;
    if (turns * o->per_turn > o->angle.filled) return LAY_OK;
    lay_average whole = o->angle;
    size_t n = turns * o->per_turn, hop = (size_t)((double)n * (1 - o->options.overlap));
    lay_status status =
        lay_average_init(&o->angle, n, hop ? hop : 1, (size_t)(o->options.max_order * (double)turns) + 1, channels,
                         o->options.window, err);
    if (status == LAY_OK) o->enbw = lay_window_enbw(o->angle.window, n);
    o->turns = turns;
    double high = o->seg_high, mean = o->seg_sum / (double)o->seg_count;
    for (size_t f = 0; f < whole.filled && status == LAY_OK; f++) {
        for (size_t c = 0; c < channels; c++) o->frame[c] = whole.fill[c * whole.n + f];
        if (!lay_average_put(&o->angle, o->frame)) continue;
        o->seg_high = high, o->seg_sum = mean, o->seg_count = 1; /* of all that was filled */
        lay_order_take_segment(o);
    }
    lay_average_free(&whole);
    return status;
}

lay_status lay_order_finish(lay_order *o, lay_order_spectrum *out, lay_error *err) {
    *out = (lay_order_spectrum){0};
    lay_status status = lay_pyramid_finish(&o->reader.pyramid, err);
    if (status != LAY_OK) return status;
    lay_order_resample(o);
    if (o->angle.segments == 0) status = shorten(o, err);
    if (status != LAY_OK) return status;
    if (o->angle.segments == 0)
        return lay_fail(err, LAY_BAD_INPUT,
                        "the recording ends before %zu turns of the reference shaft are complete: record longer",
                        o->turns);
    out->step = 1 / (double)o->turns;
    out->bins = o->angle.bins;
    out->segments = o->angle.segments;
    out->enbw = o->enbw;
    out->averages = lay_average_count(&o->angle);
    out->min_hz = o->min_hz, out->mean_hz = o->mean_hz, out->max_hz = o->max_hz;
    out->revolutions = (double)o->turns + (double)(out->segments - 1) * (double)o->angle.hop / (double)o->per_turn;
    out->power = take_mean(&o->angle);
    finish_rows(o, out);
    finish_hz(o, out);
    out->floor = lay_calloc(out->bins, sizeof *out->floor);
    status = out->floor ? lay_floor_estimate(out->power, out->bins, floor_width(out), out->averages, out->floor, err)
                        : lay_fail(err, LAY_NO_MEMORY, "not enough memory for the floor");
    if (status != LAY_OK) lay_order_spectrum_free(out);
    return status;
}

void lay_order_spectrum_free(lay_order_spectrum *s) {
    if (!s) return;
    free(s->power);
    free(s->floor);
    free(s->top_order);
    free(s->class_hz);
    free(s->class_segments);
    free(s->map);
    free(s->hz_power);
    *s = (lay_order_spectrum){0};
}
