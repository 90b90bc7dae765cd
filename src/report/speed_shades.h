/* Spectra over time as shades of grey. */
#ifndef LAYSHAFT_REPORT_SPEED_SHADES_H
#define LAYSHAFT_REPORT_SPEED_SHADES_H

#include <layshaft/speed.h>

typedef struct lay_shades {
    unsigned char *shade;      /* [columns * bins] as in the spectrogram: 0 white to 100 black */
    double white_db, black_db; /* over the noise around a line */
} lay_shades;

/* Every cell against the noise: of its frequency (median over neighbours of the mean spectrum) and of its time (median
 * of the column), so that neither loud low frequencies nor a loud end of a run-up drown the lines. */
lay_status lay_shades_make(const lay_spectrogram *map, lay_shades *out, lay_error *err);
void lay_shades_free(lay_shades *s);

#endif
