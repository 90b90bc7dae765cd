/* The least that any analysis costs: every recording decoded once, and bare transforms of 32768 points, half
 * overlapping, over every channel. Prints the seconds it took.
 *
 *   bench_floor FILE... */
#include <fftw3.h>
#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#define POINTS 32768
#define HOP (POINTS / 2)

static double now(void) {
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static double transform(const char *path, fftw_plan plan, double *time, fftw_complex *freq) {
    SF_INFO info = {0};
    SNDFILE *file = sf_open(path, SFM_READ, &info);
    if (!file) {
        fprintf(stderr, "%s: %s\n", path, sf_strerror(NULL));
        exit(2);
    }
    size_t channels = (size_t)info.channels;
    double *block = malloc(POINTS * channels * sizeof *block), sum = 0;
    if (!block) exit(3);
    sf_count_t got = sf_readf_double(file, block, POINTS);
    while (got == POINTS) {
        for (size_t c = 0; c < channels; c++) {
            for (size_t i = 0; i < POINTS; i++) time[i] = block[i * channels + c];
            fftw_execute(plan);
            sum += freq[1][0];
        }
        memmove(block, block + HOP * channels, HOP * channels * sizeof *block);
        got = HOP + sf_readf_double(file, block + HOP * channels, HOP);
    }
    free(block);
    sf_close(file);
    return sum; /* so that nothing is left out */
}

int main(int argc, char **argv) {
    double *time = fftw_alloc_real(POINTS), sum = 0;
    fftw_complex *freq = fftw_alloc_complex(POINTS / 2 + 1);
    if (!time || !freq) return 3;
    fftw_plan plan = fftw_plan_dft_r2c_1d(POINTS, time, freq, FFTW_ESTIMATE);
    double start = now();
    for (int i = 1; i < argc; i++) sum += transform(argv[i], plan, time, freq);
    printf("%.4f\n", now() - start);
    fftw_destroy_plan(plan);
    fftw_free(time);
    fftw_free(freq);
    return sum == 12345.678 ? 1 : 0;
}
