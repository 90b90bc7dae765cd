#include <layshaft/source.h>

#include <math.h>
#include <stdlib.h>

static lay_status feed(const double *frames, size_t count, void *user, lay_error *err) {
    return lay_order_feed(user, frames, count, err);
}

lay_status lay_run_order_map(const lay_unit *unit, const lay_run_spec *spec, const char *table_path,
                             const lay_run_evidence *run, int rows, double resolution, double max_order,
                             lay_order_spectrum *out, lay_error *err) {
    *out = (lay_order_spectrum){0};
    if (!run->usable || run->shaft.count < 2)
        return lay_fail(err, LAY_BAD_INPUT, "the speed of this run is not known, so it has no order map");
    lay_run_stream *stream = NULL;
    lay_order *order = NULL;
    lay_status status = lay_run_stream_open(unit, spec, table_path, &stream, err);
    if (status != LAY_OK) return status;
    lay_order_options options = {.rate = lay_run_stream_rate(stream),
                                 .channels = lay_run_stream_channels(stream),
                                 .max_order = max_order,
                                 .resolution = resolution,
                                 .window = LAY_WINDOW_HANN,
                                 .overlap = 0.75,
                                 .speed_classes = rows};
    status = lay_order_new(&options, &run->shaft, &order, err);
    if (status == LAY_OK) status = lay_run_stream_each(stream, feed, order, err);
    if (status == LAY_OK) status = lay_order_finish(order, out, err);
    lay_order_free(order);
    lay_run_stream_close(stream);
    return status;
}
