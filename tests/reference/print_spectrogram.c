/* For comparisons by other programs: reads doubles of one channel from standard input and prints spectra over time, a
 * column a line, after a line of start_s, step_s and step_hz. Usage: print_spectrogram RATE WINDOW_S MAX_HZ COLUMNS <
 * samples */
#include <layshaft/speed.h>

#include <stdio.h>
#include <stdlib.h>

#define CHUNK 4096

static void print(const lay_spectrogram *m) {
    printf("%.17g %.17g %.17g\n", m->start_s, m->step_s, m->step_hz);
    for (size_t i = 0; i < m->columns * m->bins; i++)
        printf("%.17g%c", m->power[i], (i + 1) % m->bins == 0 ? '\n' : ' ');
}

int main(int argc, char **argv) {
    static double x[CHUNK];
    lay_spectrogram map = {0};
    lay_stft *stft = NULL;
    lay_error err = {0};
    if (argc != 5) return 2;
    lay_stft_options o = {atof(argv[1]), atof(argv[2]), atof(argv[3]), (size_t)atoi(argv[4])};
    lay_status status = lay_stft_new(&o, &stft, &err);
    for (size_t n; status == LAY_OK && (n = fread(x, sizeof *x, CHUNK, stdin)) > 0;) lay_stft_feed(stft, x, 1, n);
    if (status == LAY_OK) status = lay_stft_finish(stft, &map, &err);
    if (status == LAY_OK) print(&map);
    if (status != LAY_OK) fprintf(stderr, "print_spectrogram: %s\n", err.message);
    lay_spectrogram_free(&map);
    lay_stft_free(stft);
    return status == LAY_OK ? 0 : 1;
}
