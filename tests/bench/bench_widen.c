/* More sensors for a simulated recording: channel 1 of IN (the sensor) becomes CHANNELS - 1 channels, each later,
 * weaker and with noise of its own; channel 2 (the tach), where there is one, comes last.
 *
 *   bench_widen IN OUT CHANNELS */
#include <layshaft/signal.h>

#include <stdio.h>
#include <stdlib.h>

#define BLOCK 4096
#define LATER 7 /* samples from one sensor to the next */

static int fail(const lay_error *err) {
    char text[1000];
    lay_error_format(err, text, sizeof text);
    fprintf(stderr, "%s\n", text);
    return 2;
}

int main(int argc, char **argv) {
    lay_recording *in = NULL;
    lay_writer *out = NULL;
    lay_error err = {0};
    lay_random random;
    size_t got = 1, channels = argc == 4 ? (size_t)atoi(argv[3]) : 0;
    if (channels < 2 || channels > 64) return 2;
    lay_random_seed(&random, 7);
    if (lay_recording_open(argv[1], 0, &in, &err) != LAY_OK) return fail(&err);
    const lay_recording_info *info = lay_recording_get_info(in);
    size_t from = (size_t)info->channels, at = 0;
    if (lay_writer_open(argv[2], LAY_FILE_WAV16, info->rate, (int)channels, &out, &err) != LAY_OK) return fail(&err);
    double *block = malloc(BLOCK * from * sizeof *block), *wide = malloc(BLOCK * channels * sizeof *wide);
    double past[64 * LATER + 1] = {0};
    while (got > 0) {
        if (lay_recording_read(in, block, BLOCK, &got, &err) != LAY_OK) return fail(&err);
        for (size_t i = 0; i < got; i++, at++) {
            past[at % (64 * LATER)] = block[i * from];
            for (size_t c = 0; c + 1 < channels; c++) {
                size_t then = (at + 64 * LATER - c * LATER) % (64 * LATER);
                wide[i * channels + c] = past[then] / (1.0 + 0.1 * (double)c) + 1e-4 * lay_random_normal(&random);
            }
            wide[i * channels + channels - 1] = from > 1 ? block[i * from + 1] : past[at % (64 * LATER)];
        }
        if (got > 0 && lay_writer_write(out, wide, got, &err) != LAY_OK) return fail(&err);
    }
    free(block);
    free(wide);
    lay_recording_close(in);
    return lay_writer_close(out, &err) == LAY_OK ? 0 : fail(&err);
}
