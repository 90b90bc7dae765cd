/* Signal processing that knows nothing of transmissions: FFT, windows, interpolation, statistics,
 * psychoacoustic bands. Arrays are flat and double; nothing allocates inside an execute function. */
#ifndef LAYSHAFT_DSP_H
#define LAYSHAFT_DSP_H

#include <layshaft/base.h>

/* ---- FFT (FFTW behind one door; ESTIMATE plans: the same bits in every run) ---- */

typedef struct lay_fft lay_fft; /* a plan with its own buffers; not to be shared between threads */

/* A real transform of `n` points (2 to INT_MAX). Free with lay_fft_free (NULL allowed). Plans may be
 * executed in several threads, but made and freed in only one at a time (FFTW's planner). */
LAY_API lay_status lay_fft_new(size_t n, lay_fft **out, lay_error *err);
LAY_API void lay_fft_free(lay_fft *fft);
LAY_API size_t lay_fft_size(const lay_fft *fft);
/* Forward, unscaled: x[n] -> re/im interleaved, n/2+1 pairs. */
LAY_API void lay_fft_forward(lay_fft *fft, const double *x, double *pairs);
/* Backward, scaled by 1/n: n/2+1 pairs -> x[n]; forward then backward gives x. */
LAY_API void lay_fft_backward(lay_fft *fft, const double *pairs, double *x);

/* ---- windows (periodic) ---- */

typedef enum lay_window {
    LAY_WINDOW_RECTANGULAR,
    LAY_WINDOW_HANN,
    LAY_WINDOW_BLACKMAN_HARRIS,
    LAY_WINDOW_FLATTOP_HFT95,
    LAY_WINDOW_COUNT
} lay_window;
LAY_API const char *lay_window_name(lay_window window);
/* w[0..n-1]; sum of cosines, Harris 1978; HFT95 of Heinzel, Ruediger and Schilling 2002. */
LAY_API void lay_window_fill(lay_window window, double *w, size_t n);
/* Normalised equivalent noise bandwidth in bins: n * sum(w^2) / sum(w)^2. */
LAY_API double lay_window_enbw(const double *w, size_t n);
/* Correlation of two neighbouring segments at `hop` samples: sum(w[i] w[i+hop]) / sum(w^2). */
LAY_API double lay_window_overlap_correlation(const double *w, size_t n, size_t hop);
/* Effective number of averages of `k` segments at `hop`, Welch 1967:
 * k / (1 + 2 sum_j (1 - j/k) rho_j^2). */
LAY_API double lay_welch_effective(const double *w, size_t n, size_t hop, size_t k);

/* ---- band-limited interpolation ---- */

/* A Kaiser-windowed sinc held as a polyphase table. */
typedef struct lay_sinc lay_sinc;
/* `half_width`: zero crossings each side (e.g. 16); `beta`: Kaiser parameter (e.g. 9, some 90 dB). */
LAY_API lay_status lay_sinc_new(int half_width, double beta, lay_sinc **out, lay_error *err);
LAY_API void lay_sinc_free(lay_sinc *sinc);
/* How many input samples either side of `position` are needed at `cutoff` (0 < cutoff <= 1, as a
 * fraction of the input's Nyquist rate; below 1 the kernel is stretched and acts as anti-alias filter,
 * -6 dB at the cutoff). Cutoffs below 1e-6 count as 1e-6, above 1 as 1. */
LAY_API size_t lay_sinc_reach(const lay_sinc *sinc, double cutoff);
/* Value at fractional sample `position` of x[0..n-1] (stride in doubles); samples outside and a
 * NaN position count as 0. With half width 16 and beta 9 a tone below 0.8 of the Nyquist rate comes out
 * within -80 dB. */
LAY_API double lay_sinc_at(const lay_sinc *sinc, const double *x, size_t n, size_t stride, double position,
                           double cutoff);
/* The weights behind lay_sinc_at at full bandwidth, to be used on several channels: weights[2 * half_width] belong to
 * the samples from floor(position) + 1 - half_width on; `fraction` = position - floor(position). */
LAY_API void lay_sinc_weights(const lay_sinc *sinc, double fraction, double *weights);

/* ---- a band of frequencies ---- */

/* Linear-phase band-pass filter, a sinc under a Kaiser window; streaming. */
typedef struct lay_fir lay_fir;
/* Flat from low_hz to high_hz (half the rate: no upper edge) within 0.01 dB, below -70 dB from `edge_hz` outside of it
 * (Kaiser 1974, formulas for length and beta from memory of Oppenheim and Schafer). LAY_BAD_INPUT for a band that is
 * none or a filter of more than 65537 taps. */
LAY_API lay_status lay_fir_new_band(double rate, double low_hz, double high_hz, double edge_hz, int channels,
                                    lay_fir **out, lay_error *err);
/* Frames by which the output comes late. */
LAY_API size_t lay_fir_delay(const lay_fir *fir);
/* Interleaved frames in, as many out. */
LAY_API void lay_fir_run(lay_fir *fir, const double *in, size_t frames, double *out);
LAY_API void lay_fir_free(lay_fir *fir); /* NULL allowed */

/* ---- halving the rate ---- */

/* The last stretch of a multi-channel signal at its own rate and at halves of it.
 *
 * Level l holds the signal at rate / 2^l, flat up to 0.8 of that level's Nyquist rate, with nothing above 1.2 of it:
 * reading the angle domain from the level that just holds the highest wanted order is an anti-alias filter that follows
 * speed. */
#define LAY_PYRAMID_LEVELS 9

typedef struct lay_level {
    double *x;       /* [held * channels] interleaved */
    size_t capacity; /* frames */
    size_t held;     /* frames */
    int64_t first;   /* absolute index, at this level, of x[0] */
    int64_t next_in; /* absolute index of the next frame this level makes from the one below */
} lay_level;

#define LAY_PYRAMID_ARM 29 /* taps of the halving filter either side; odd */

typedef struct lay_pyramid {
    double tap[LAY_PYRAMID_ARM + 1]; /* tap[d] for distance d; zero for even d > 0 */
    int channels;
    int levels;
    lay_level level[LAY_PYRAMID_LEVELS];
} lay_pyramid;

/* `levels` 1..LAY_PYRAMID_LEVELS. */
LAY_API lay_status lay_pyramid_init(lay_pyramid *p, int channels, int levels, lay_error *err);
LAY_API void lay_pyramid_free(lay_pyramid *p);
/* Append frames (NaN and infinities become 0) and bring every level up to date. */
LAY_API lay_status lay_pyramid_feed(lay_pyramid *p, const double *frames, size_t count, lay_error *err);
/* Append zeros so that the last frames can be read by filters that look ahead. */
LAY_API lay_status lay_pyramid_finish(lay_pyramid *p, lay_error *err);
/* Forget frames of every level that lie before `frame` of level 0, less what the filters still need. */
LAY_API void lay_pyramid_forget(lay_pyramid *p, int64_t frame);

/* ---- statistics ---- */

/* Both 0 for n = 0. */
LAY_API double lay_mean(const double *x, size_t n);
LAY_API double lay_rms(const double *x, size_t n);
/* N sum (x-m)^4 / (sum (x-m)^2)^2: 3 for Gaussian noise, 1.5 for a sine; NaN when x is constant. */
LAY_API double lay_kurtosis(const double *x, size_t n);
/* Quantile q in [0, 1] by linear interpolation; reorders `x`. NaN for n = 0. A NaN in
 * `x` ranks above every number and counts as infinity, here and in the running quantile. */
LAY_API double lay_quantile(double *x, size_t n, double q);
LAY_API double lay_median(double *x, size_t n); /* reorders x */
/* Score interval of Wilson (1927, J. Am. Stat. Assoc. 22, 209-212) for a share of which `k` of `n` were seen: where
 * the true share lies, at `z` standard deviations (1.96: 95 %). 0 to 1 for n = 0. */
LAY_API void lay_share_interval(int k, int n, double z, double *low, double *high);
/* Running quantile over `width` neighbours (odd; an even one counts as the next odd; shortened at the
 * ends): out[i]. Not in place. Fast while the width is some thousands at most. */
LAY_API lay_status lay_running_quantile(const double *x, size_t n, size_t width, double q, double *out, lay_error *err);
/* Regularised upper incomplete gamma Q(a, x), and from it the survival functions of chi-square with
 * `dof` degrees of freedom and of the normal distribution. */
LAY_API double lay_gamma_q(double a, double x);
LAY_API double lay_chi2_survival(double x, double dof);
LAY_API double lay_normal_survival(double z);
/* Quantile of chi-square: x with survival(x) = p. */
LAY_API double lay_chi2_threshold(double p, double dof);
/* Student's t: P(T > t) for `dof` > 0 (need not be whole), through the regularised incomplete beta function by its
 * continued fraction (DLMF 8.17.22); and the t with P(T > t) = p, 0 < p < 1. */
LAY_API double lay_student_survival(double t, double dof);
LAY_API double lay_student_threshold(double p, double dof);
LAY_API double lay_logistic(double x); /* 1 / (1 + exp(-x)) without overflow */
LAY_API double lay_log_sum_exp(const double *x, size_t n);

/* ---- levels and hearing ---- */

LAY_API double lay_db_power(double power_ratio); /* 10 lg, at least -200 (0 and less too) */
LAY_API double lay_db_to_power(double db);
/* A- and C-weighting in dB at `hz`, IEC 61672-1 (pole frequencies of Annex E); never below -200. */
LAY_API double lay_a_weighting(double hz);
LAY_API double lay_c_weighting(double hz);
/* Critical bandwidth in Hz and its edges around a tone, ECMA-418-1 (tones of 89.1 to 11220 Hz; at
 * exactly 500 Hz the arithmetic form is taken; the lower edge is never negative). */
LAY_API double lay_critical_bandwidth(double hz);
LAY_API void lay_critical_band(double hz, double *low, double *high);
/* Edges of the lower and upper neighbour bands of the prominence ratio, ECMA-418-1. */
LAY_API void lay_prominence_bands(double hz, double *lower_edge, double *upper_edge);
/* Smallest prominent tone-to-noise and prominence ratio in dB at `hz`, ECMA-418-1. */
LAY_API double lay_tnr_limit(double hz);
LAY_API double lay_pr_limit(double hz);

/* ---- small linear algebra ---- */

/* Solve the n x n system a x = b by Gauss with partial pivoting; a and b are overwritten, x in b.
 * false when singular to working precision (or NaN): a and b are then half worked. */
LAY_API bool lay_solve(double *a, double *b, size_t n);

#endif
