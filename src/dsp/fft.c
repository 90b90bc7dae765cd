/* The one door to FFTW. */
#include <layshaft/dsp.h>

#include <fftw3.h>
#include <limits.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>

/* FFTW plans one at a time; plans themselves run side by side (FFTW manual, section 5.4). */
static pthread_mutex_t planning = PTHREAD_MUTEX_INITIALIZER;

struct lay_fft {
    size_t n;
    double *time;       /* n */
    fftw_complex *freq; /* n/2+1 */
    fftw_plan forward, backward;
};

lay_status lay_fft_new(size_t n, lay_fft **out, lay_error *err) {
    *out = NULL;
    if (n < 2 || n > INT_MAX)
        return lay_fail(err, LAY_BAD_INPUT, "a Fourier transform needs 2 to %d points, not %zu", INT_MAX, n);
    lay_fft *fft = lay_calloc(1, sizeof *fft);
    if (!fft) goto no_memory;
    fft->n = n;
    fft->time = fftw_alloc_real(n);
    fft->freq = fftw_alloc_complex(n / 2 + 1);
    if (!fft->time || !fft->freq) goto no_memory;
    /* FFTW_MEASURE would time the machine and choose differently from run to run. */
    pthread_mutex_lock(&planning);
    fft->forward = fftw_plan_dft_r2c_1d((int)n, fft->time, fft->freq, FFTW_ESTIMATE);
    fft->backward = fftw_plan_dft_c2r_1d((int)n, fft->freq, fft->time, FFTW_ESTIMATE);
    pthread_mutex_unlock(&planning);
    if (!fft->forward || !fft->backward) goto no_memory;
    *out = fft;
    return LAY_OK;
no_memory:
    lay_fft_free(fft);
    return lay_fail(err, LAY_NO_MEMORY, "not enough memory for a Fourier transform of %zu points", n);
}

void lay_fft_free(lay_fft *fft) {
    if (!fft) return;
    pthread_mutex_lock(&planning);
    if (fft->forward) fftw_destroy_plan(fft->forward);
    if (fft->backward) fftw_destroy_plan(fft->backward);
    pthread_mutex_unlock(&planning);
    fftw_free(fft->time);
    fftw_free(fft->freq);
    free(fft);
}

size_t lay_fft_size(const lay_fft *fft) {
    return fft->n;
}

void lay_fft_forward(lay_fft *fft, const double *x, double *pairs) {
    memcpy(fft->time, x, fft->n * sizeof *x);
    fftw_execute(fft->forward);
    memcpy(pairs, fft->freq, (fft->n / 2 + 1) * sizeof *fft->freq);
}

void lay_fft_backward(lay_fft *fft, const double *pairs, double *x) {
    double scale = 1.0 / (double)fft->n;
    memcpy(fft->freq, pairs, (fft->n / 2 + 1) * sizeof *fft->freq);
    fftw_execute(fft->backward); /* destroys freq, which is our own copy */
    for (size_t i = 0; i < fft->n; i++) x[i] = scale * fft->time[i];
}
