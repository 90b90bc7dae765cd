/* Collecting the knots of a shaft. */
#ifndef LAYSHAFT_SPEED_BUILD_H
#define LAYSHAFT_SPEED_BUILD_H

#include <layshaft/speed.h>

typedef struct lay_shaft_builder {
    lay_shaft shaft;
    size_t time_capacity, turns_capacity, hz_capacity, segment_capacity;
    bool broken; /* the next knot opens a segment */
} lay_shaft_builder;

/* Append a knot; one that does not lie after its forerunner in time and angle is dropped. */
lay_status lay_shaft_add(lay_shaft_builder *b, double time, double turns, double hz, lay_error *err);
/* The next knot opens a new segment. A segment of a single knot vanishes. */
void lay_shaft_break(lay_shaft_builder *b);
/* Hand the shaft over when `status` is LAY_OK, with speeds limited to what keeps the angle rising between knots;
 * otherwise free it and return `status`. The builder is empty afterwards. */
lay_status lay_shaft_build(lay_shaft_builder *b, lay_status status, lay_speed_source source, lay_shaft *out,
                           lay_error *err);

#endif
