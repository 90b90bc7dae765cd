#include "analyser.h"

#include <math.h>
#include <stdlib.h>

/* What one analysis needs, planned and allocated once; nothing is allocated while it runs. */

/* Smallest number >= n with no prime factor above 7: FFTW is quick there. */
static size_t smooth_size(size_t n) {
    for (;; n++) {
        size_t m = n;
        for (size_t p = 2; p <= 7; p++)
            while (m % p == 0) m /= p;
        if (m == 1) return n;
    }
}

static double longest_stretch(const lay_shaft *shaft) {
    double most = 0;
    for (size_t s = 0; s < shaft->segment_count; s++) {
        size_t first = shaft->segment_start[s];
        size_t last = (s + 1 < shaft->segment_count ? shaft->segment_start[s + 1] : shaft->count) - 1;
        if (last > first) most = fmax(most, shaft->turns[last] - shaft->turns[first]);
    }
    return most;
}

static lay_status choose_segment(lay_order *o, lay_error *err) {
    double turns = fmax(LAY_ORDER_LEAST_TURNS, round(1 / o->options.resolution)), have = longest_stretch(o->shaft);
    while (turns > LAY_ORDER_LEAST_TURNS && have < turns * 1.02) turns = fmax(LAY_ORDER_LEAST_TURNS, floor(turns / 2));
    if (have < turns * 1.02)
        return lay_fail(err, LAY_BAD_INPUT,
                        "only %.1f turns of the reference shaft without a break; at least %d are needed: record longer",
                        have, LAY_ORDER_LEAST_TURNS + 1);
    o->turns = (size_t)turns;
    o->per_turn = smooth_size((size_t)ceil(LAY_READER_PER_ORDER * o->options.max_order));
    return LAY_OK;
}

static lay_status make_rows(lay_order *o, lay_error *err) {
    size_t classes = (size_t)o->options.speed_classes;
    o->map = lay_calloc(classes * o->angle.bins, sizeof *o->map);
    o->map_weight = lay_calloc(classes * o->angle.bins, sizeof *o->map_weight);
    o->class_sum = lay_calloc(classes, sizeof *o->class_sum);
    o->class_hz = lay_calloc(classes, sizeof *o->class_hz);
    o->class_top = lay_calloc(classes, sizeof *o->class_top);
    o->frame = lay_calloc((size_t)o->options.channels, sizeof *o->frame);
    if (!o->map || !o->map_weight || !o->class_sum || !o->class_hz || !o->class_top || !o->frame)
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the order map");
    for (size_t c = 0; c < classes; c++) o->class_top[c] = o->options.max_order;
    return LAY_OK;
}

static lay_status make_spectra(lay_order *o, lay_error *err) {
    const lay_order_options *p = &o->options;
    size_t n = o->turns * o->per_turn, hop = (size_t)((double)n * (1 - p->overlap));
    size_t bins = (size_t)(p->max_order * (double)o->turns) + 1;
    lay_status status = lay_average_init(&o->angle, n, hop ? hop : 1, bins, (size_t)p->channels, p->window, err);
    if (status != LAY_OK) return status;
    o->enbw = lay_window_enbw(o->angle.window, n);
    o->hz_level = p->rate > 30000 ? 1 : 0;
    double rate = p->rate / (1 << o->hz_level);
    size_t m = 4096;
    double frames = o->shaft->time[o->shaft->count - 1] * rate;
    while ((double)m < rate * 1.3 && m < 65536 && (double)m * 3 <= frames) m *= 2;
    size_t kept = o->hz_level ? (size_t)(0.4 * (double)m) : m / 2 + 1;
    status = lay_average_init(&o->hz, m, m / 2, kept, (size_t)p->channels, LAY_WINDOW_HANN, err);
    o->hz_on = status == LAY_OK;
    return status == LAY_OK ? make_rows(o, err) : status;
}

static lay_status check_options(const lay_order_options *o, lay_error *err) {
    if (!(o->rate > 0) || o->channels < 1 || !(o->max_order >= 1) || !(o->resolution > 0) ||
        !(o->overlap >= 0 && o->overlap < 0.95) || o->speed_classes < 1)
        return lay_fail(err, LAY_BAD_INPUT,
                        "the analysis cannot be set up: rate, channels, orders and resolution must be above zero");
    return LAY_OK;
}

lay_status lay_order_new(const lay_order_options *options, const lay_shaft *shaft, lay_order **out, lay_error *err) {
    *out = NULL;
    lay_status status = check_options(options, err);
    if (status != LAY_OK) return status;
    lay_order *o = lay_calloc(1, sizeof *o);
    if (!o) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    o->options = *options;
    o->shaft = shaft;
    lay_shaft_range(shaft, &o->min_hz, &o->mean_hz, &o->max_hz, &o->revolutions);
    if (shaft->count < 2 || !(o->max_hz > 0))
        status = lay_fail(err, LAY_BAD_INPUT, "the shaft does not turn in this recording");
    if (status == LAY_OK) status = choose_segment(o, err);
    if (status == LAY_OK)
        status = lay_reader_init(&o->reader, options->rate, options->channels, options->max_order, o->min_hz, err);
    if (status == LAY_OK) status = make_spectra(o, err);
    if (status != LAY_OK) {
        lay_order_free(o);
        return status;
    }
    o->seg_low = 1e300;
    lay_clock_init(&o->clock, shaft, (double)o->per_turn);
    *out = o;
    return LAY_OK;
}

void lay_order_free(lay_order *o) {
    if (!o) return;
    lay_reader_free(&o->reader);
    lay_average_free(&o->angle);
    lay_average_free(&o->hz);
    free(o->frame);
    free(o->map);
    free(o->map_weight);
    free(o->class_sum);
    free(o->class_hz);
    free(o->class_top);
    free(o);
}
