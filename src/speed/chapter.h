/* A stretch of the recording held for tracking, at two rates low enough for shafts and meshes. */
#ifndef LAYSHAFT_SPEED_CHAPTER_H
#define LAYSHAFT_SPEED_CHAPTER_H

#include <layshaft/dsp.h>
#include <layshaft/speed.h>

/* `wide` holds meshes (rate 8 to 16 kHz), `narrow` half of that; channel after channel. Times in s of the recording. */
typedef struct lay_chapter {
    size_t channels;
    double start_s;                                                  /* time of the first sample */
    double wide_rate;                                                /* samples per second; narrow: half */
    size_t wide_count, narrow_count, wide_capacity, narrow_capacity; /* per channel */
    float *wide, *narrow;                                            /* [channels][capacity] */
} lay_chapter;

void lay_chapter_free(lay_chapter *chapter);
/* Append what levels `level` and `level + 1` of the pyramid hold beyond *wide_taken and *narrow_taken frames. */
lay_status lay_chapter_take(lay_chapter *chapter, const lay_pyramid *pyramid, int level, int64_t *wide_taken,
                            int64_t *narrow_taken, lay_error *err);
/* A copy of its own; free it whatever is returned. */
lay_status lay_chapter_copy(const lay_chapter *chapter, lay_chapter *out, lay_error *err);
/* Drop all but the last `keep_s` seconds. */
void lay_chapter_turn(lay_chapter *chapter, double keep_s);
/* End of the chapter in seconds. */
double lay_chapter_end(const lay_chapter *chapter);

/* Shaft over the whole chapter through knots at first_s + f * hop_s, carried on to both ends with the nearest slope. */
lay_status lay_chapter_shaft(const lay_chapter *chapter, double first_s, double hop_s, const double *log_hz,
                             size_t frames, lay_shaft *out, lay_error *err);

/* Spectral power over its local mean: what noise leaves is near 1 everywhere, lines stand out. */
typedef struct lay_whitener {
    size_t bins;
    double bin_hz;
    size_t *knot, *low, *high; /* where the floor is estimated, and from which bins */
    size_t knots;
    double *level, *scratch;
} lay_whitener;
lay_status lay_whitener_init(lay_whitener *w, size_t bins, double bin_hz, lay_error *err);
void lay_whitener_free(lay_whitener *w);
/* floor[bins] from power[bins]: a low quantile of neighbouring bins, made into the mean of an exponential law. */
void lay_whitener_floor(const lay_whitener *w, const double *power, double *floor);

#endif
