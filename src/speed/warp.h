/* Spectra along a path of the speed: lines locked to the shaft stand still. */
#ifndef LAYSHAFT_SPEED_WARP_H
#define LAYSHAFT_SPEED_WARP_H

#include "chapter.h"

/* Frame f is centred at first_s + f * hop_s, where the path turns at hz[f]; ratio[f * bins + i] is the power over local
 * noise at i * bin_hz of a time scale on which the shaft keeps hz[f] throughout the frame (mean over channels). */
typedef struct lay_warp {
    double first_s, hop_s, bin_hz;
    size_t frames, bins;
    float *ratio;
    double *hz;
} lay_warp;

/* `path` must cover the chapter. Frames of `frame_s`, half overlapped. */
lay_status lay_warp_make(const lay_chapter *chapter, const lay_shaft *path, double frame_s, lay_warp *out,
                         lay_error *err);
void lay_warp_free(lay_warp *warp);
/* Ratio of a frame at an order of the path, between bins; negative outside the band. */
double lay_warp_ratio(const lay_warp *warp, size_t frame, double order);

/* Mean of the frames on an axis of orders: mean[i] at i * step, and how many frames reached it. */
typedef struct lay_profile {
    double step;
    size_t count;
    float *mean, *frames;
} lay_profile;
lay_status lay_profile_make(const lay_warp *warp, lay_profile *out, lay_error *err);
void lay_profile_free(lay_profile *profile);

#endif
