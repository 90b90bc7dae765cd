/* Mains hum: 50 or 60 Hz and its multiples, narrow and fixed. */
#ifndef LAYSHAFT_SIGNAL_CHECK_HUM_H
#define LAYSHAFT_SIGNAL_CHECK_HUM_H

#include <layshaft/base.h>

typedef struct lay_hum_check lay_hum_check; /* of all channels of a recording */

/* `rate` of the thinned-out samples that will be fed, best 1 to 2 kHz. */
lay_status lay_hum_new(double rate, int channels, lay_hum_check **out, lay_error *err);
void lay_hum_free(lay_hum_check *hum);
void lay_hum_feed(lay_hum_check *hum, int channel, const double *x, size_t n);
/* Mains frequency and how far its strongest multiple stands above the floor; both 0 when there is no hum. */
lay_status lay_hum_finish(const lay_hum_check *hum, int channel, double *hz, double *db, lay_error *err);

#endif
