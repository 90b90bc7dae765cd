/* For comparisons by other programs: reads doubles of one channel from standard input and prints the squared envelope
 * spectra of a shaft at constant speed. First line: order step, bins, bands, elementary bands, averages; then a line
 * per band: its edges in Hz, its spectral kurtosis, and the power of every bin over the floor. Usage: print_envelope
 * RATE HZ MAX_ORDER TURNS < samples */
#include <layshaft/order.h>

#include <stdio.h>
#include <stdlib.h>

#define CHUNK 4096

static lay_status analyse(const lay_envelope_options *options, double hz, lay_envelope_spectrum *s, lay_error *err) {
    static double x[CHUNK];
    lay_shaft shaft = {0};
    lay_envelope *envelope = NULL;
    lay_status status = lay_shaft_constant(hz, 1e5, &shaft, err);
    if (status == LAY_OK) status = lay_envelope_new(options, &shaft, &envelope, err);
    for (size_t n; status == LAY_OK && (n = fread(x, sizeof *x, CHUNK, stdin)) > 0;)
        status = lay_envelope_feed(envelope, x, n, err);
    if (status == LAY_OK) status = lay_envelope_finish(envelope, s, err);
    lay_envelope_free(envelope);
    lay_shaft_free(&shaft);
    return status;
}

int main(int argc, char **argv) {
    lay_envelope_spectrum s = {0};
    lay_error err = {0};
    if (argc != 5) return 2;
    lay_envelope_options o = {
        .rate = atof(argv[1]), .channels = 1, .max_order = atof(argv[3]), .turns = (size_t)atoi(argv[4])};
    lay_status status = analyse(&o, atof(argv[2]), &s, &err);
    if (status != LAY_OK) fprintf(stderr, "print_envelope: %s\n", err.message);
    if (status == LAY_OK) printf("%.17g %zu %zu %zu %.17g\n", s.step, s.bins, s.band_count, s.elementary, s.averages);
    for (size_t b = 0; b < s.band_count; b++) {
        printf("%.17g %.17g %.17g", s.bands[b].low_hz, s.bands[b].high_hz, s.bands[b].kurtosis);
        for (size_t i = 0; i < s.bins; i++) printf(" %.9g", (double)s.ratio[b * s.bins + i]);
        printf("\n");
    }
    lay_envelope_spectrum_free(&s);
    return status == LAY_OK ? 0 : 1;
}
