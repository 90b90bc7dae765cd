/* The tone of a calibrator in a recording: how loud it is in digital full scale, and whether it can be trusted.
 *
 * [IEEE1057] IEEE Std 1057, standard for digitizing waveform recorders: the four-parameter least-squares fit of a sine
 * (amplitude, phase, offset and frequency together), block by block. (method from memory) */
#include <layshaft/signal.h>

#include <layshaft/dsp.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "run_values.h"

#define BLOCK_S 0.5
#define LOWEST_HZ 20.0
#define FIT_ROUNDS 8
#define MOST_BLOCKS 240 /* two minutes; what is longer is not needed */

/* Common practice, no source: what a coupler that sits well and a calibrator with a fresh battery hold easily. */
#define STEADY_DB 0.2
#define UNSTEADY_DB 1.0
#define DISTINCT_DB 10.0
#define CLEAN_DB 25.0
#define SAME_HZ 0.02

/* The frequencies calibrators have: 250 and 1000 Hz for sound, 159.155 Hz (1000 rad/s), 79.58 and 80 Hz for
 * acceleration (common practice, no source). */
static const double usual_hz[] = {250, 1000, 500.0 / LAY_PI, 250.0 / LAY_PI, 80, 160};

/* ---- one block ---- */

typedef struct sine {
    double hz, amplitude;
    double rest; /* mean square of what is not the sine */
} sine;

/* The strongest frequency, to a bin. */
static double strongest_hz(lay_fft *fft, const double *x, double *work, double rate) {
    size_t n = lay_fft_size(fft), best = 0;
    double *pairs = work + n, most = -1;
    for (size_t i = 0; i < n; i++) work[i] = x[i] * (0.5 - 0.5 * cos(2 * LAY_PI * (double)i / (double)n));
    lay_fft_forward(fft, work, pairs);
    for (size_t k = (size_t)ceil(LOWEST_HZ * (double)n / rate); k < n / 2; k++) {
        double power = pairs[2 * k] * pairs[2 * k] + pairs[2 * k + 1] * pairs[2 * k + 1];
        if (power > most) {
            most = power;
            best = k;
        }
    }
    return (double)best * rate / (double)n;
}

/* Least squares of x on cos, sin, 1 and, from the second round on, the derivative by frequency; b holds the last cosine
 * and sine and receives the new ones, b[3] the correction of w in radians per sample. */
static bool fit_round(const double *x, size_t n, double w, size_t unknowns, double b[4]) {
    double a[16] = {0}, sums[4] = {0}, middle = 0.5 * (double)(n - 1);
    for (size_t i = 0; i < n; i++) {
        double t = (double)i - middle, c = cos(w * t), s = sin(w * t);
        double row[4] = {c, s, 1, t * (b[1] * c - b[0] * s)};
        for (size_t k = 0; k < unknowns; k++) {
            sums[k] += row[k] * x[i];
            for (size_t m = 0; m < unknowns; m++) a[unknowns * k + m] += row[k] * row[m];
        }
    }
    if (!lay_solve(a, sums, unknowns)) return false;
    for (size_t k = 0; k < 4; k++) b[k] = sums[k];
    return true;
}

static double rest_of(const double *x, size_t n, double w, const double b[4]) {
    double sum = 0, middle = 0.5 * (double)(n - 1);
    for (size_t i = 0; i < n; i++) {
        double t = (double)i - middle, error = x[i] - b[0] * cos(w * t) - b[1] * sin(w * t) - b[2];
        sum += error * error;
    }
    return sum / (double)n;
}

static sine fit_sine(const double *x, size_t n, double hz, double rate) {
    double b[4] = {0}, w = 2 * LAY_PI * hz / rate, first = w;
    for (int round = 0; round < FIT_ROUNDS; round++) {
        if (!fit_round(x, n, w, round == 0 ? 3 : 4, b)) break;
        if (round > 0) w += b[3];
        if (!(fabs(w - first) < 4 * LAY_PI / (double)n)) w = first; /* ran away: there is no tone */
    }
    return (sine){w * rate / (2 * LAY_PI), hypot(b[0], b[1]), rest_of(x, n, w, b)};
}

/* ---- the recording ---- */

typedef struct measuring {
    lay_recording *rec;
    const lay_recording_info *info;
    lay_fft *fft;
    size_t n;
    double *frames, *x, *work;
    double hz[MOST_BLOCKS], level[MOST_BLOCKS]; /* level: mean square */
    double rest, peak;
    size_t blocks;
} measuring;

static lay_status open_all(measuring *m, const char *path, lay_error *err) {
    lay_status status = lay_recording_open(path, 0, &m->rec, err);
    if (status != LAY_OK) return status;
    m->info = lay_recording_get_info(m->rec);
    m->n = (size_t)(BLOCK_S * m->info->rate) / 2 * 2;
    m->frames = lay_calloc(m->n * (size_t)m->info->channels, sizeof *m->frames);
    m->x = lay_calloc(m->n, sizeof *m->x);
    m->work = lay_calloc(2 * m->n + 2, sizeof *m->work);
    if (!m->frames || !m->x || !m->work) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to measure the tone");
    return lay_fft_new(m->n, &m->fft, err);
}

static void close_all(measuring *m) {
    lay_recording_close(m->rec);
    lay_fft_free(m->fft);
    free(m->frames);
    free(m->x);
    free(m->work);
}

static void take_block(measuring *m, size_t channel) {
    size_t all = (size_t)m->info->channels;
    for (size_t i = 0; i < m->n; i++) {
        m->x[i] = m->frames[i * all + channel];
        m->peak = fmax(m->peak, fabs(m->x[i]));
    }
    sine s = fit_sine(m->x, m->n, strongest_hz(m->fft, m->x, m->work, m->info->rate), m->info->rate);
    m->hz[m->blocks] = s.hz;
    m->level[m->blocks] = 0.5 * s.amplitude * s.amplitude;
    m->rest += s.rest;
    m->blocks++;
}

/* The first and last half second hold the hand that starts and stops. */
static lay_status read_all(measuring *m, size_t channel, lay_error *err) {
    size_t got = 0;
    lay_status status = lay_recording_read(m->rec, m->frames, m->n, &got, err);
    int64_t blocks = m->info->frames / (int64_t)m->n - 2;
    for (int64_t k = 0; status == LAY_OK && k < blocks && k < MOST_BLOCKS; k++) {
        status = lay_recording_read(m->rec, m->frames, m->n, &got, err);
        if (status == LAY_OK && got == m->n) take_block(m, channel);
    }
    return status;
}

static void sum_up(measuring *m, lay_calibrator_tone *out) {
    double power = 0, low = INFINITY, high = 0, low_hz = INFINITY, high_hz = 0;
    for (size_t i = 0; i < m->blocks; i++) {
        power += m->level[i] / (double)m->blocks;
        low = fmin(low, m->level[i]);
        high = fmax(high, m->level[i]);
        low_hz = fmin(low_hz, m->hz[i]);
        high_hz = fmax(high_hz, m->hz[i]);
    }
    *out = (lay_calibrator_tone){.seconds = (double)m->blocks * BLOCK_S,
                                 .rms = sqrt(power),
                                 .steady_db = lay_db_power(high / low),
                                 .drift_hz = high_hz - low_hz,
                                 .above_noise_db = lay_db_power(power / fmax(m->rest / (double)m->blocks, 1e-20)),
                                 .clipped = m->peak >= 0.999};
    out->hz = lay_median(m->hz, m->blocks);
}

static lay_status judge(const lay_calibrator_tone *tone, int channel, lay_error *err) {
    if (!(tone->rms > 0) || tone->above_noise_db < DISTINCT_DB || tone->drift_hz > SAME_HZ * tone->hz)
        return lay_fail(err, LAY_BAD_INPUT,
                        "channel %d holds no steady tone; is the calibrator on, and is this its channel?", channel);
    if (tone->clipped)
        return lay_fail(err, LAY_BAD_INPUT,
                        "channel %d is at full scale, so its level cannot be told; lower the gain and calibrate again",
                        channel);
    if (tone->steady_db > UNSTEADY_DB)
        return lay_fail(err, LAY_BAD_INPUT,
                        "the tone on channel %d changes by %.1f dB; press the sensor in fully, hold the calibrator "
                        "still, check its battery",
                        channel, tone->steady_db);
    return LAY_OK;
}

lay_status lay_calibrator_measure(const char *path, int channel, lay_calibrator_tone *out, lay_error *err) {
    measuring m = {0};
    *out = (lay_calibrator_tone){0};
    lay_status status = open_all(&m, path, err);
    if (status == LAY_OK && (channel < 1 || channel > m.info->channels))
        status = lay_fail_file(err, LAY_BAD_INPUT, path, "there is no channel %d; the recording has %d", channel,
                               m.info->channels);
    if (status == LAY_OK) status = read_all(&m, (size_t)channel - 1, err);
    if (status == LAY_OK && m.blocks < 2)
        status = lay_fail_file(err, LAY_BAD_INPUT, path, "a calibration takes at least 2 s of the tone");
    if (status == LAY_OK) {
        sum_up(&m, out);
        status = judge(out, channel, err);
    }
    close_all(&m);
    return status;
}

void lay_calibrator_describe(const lay_calibrator_tone *tone, lay_text *out) {
    bool usual = false;
    for (size_t i = 0; i < sizeof usual_hz / sizeof usual_hz[0]; i++)
        usual = usual || fabs(tone->hz / usual_hz[i] - 1) < SAME_HZ;
    if (!usual)
        lay_text_add(out, "%.1f Hz is an unusual tone for a calibrator; was something else louder?\n", tone->hz);
    if (tone->steady_db > STEADY_DB)
        lay_text_add(out, "the tone changed by %.2f dB; %.1f dB or less is usual: hold it still and calibrate again\n",
                     tone->steady_db, STEADY_DB);
    if (tone->above_noise_db < CLEAN_DB)
        lay_text_add(out, "the tone is only %.0f dB above everything else; find a quieter place or more gain\n",
                     tone->above_noise_db);
}

/* ---- what the calibrator gives ---- */

lay_status lay_calibrator_parse(const char *text, lay_calibrator *out, lay_error *err) {
    char number[32];
    size_t n = strspn(text, "+-0123456789.eE");
    const char *unit = text + n + strspn(text + n, " ");
    double value;
    *out = (lay_calibrator){0};
    if (n == 0 || n >= sizeof number) goto wrong;
    memcpy(number, text, n);
    number[n] = 0;
    if (!lay_parse_number(number, &value)) goto wrong;
    if (*unit == 0 || strcasecmp(unit, "dB") == 0) {
        if (value < 40 || value > 160) goto wrong;
        *out = (lay_calibrator){.rms = 20e-6 * pow(10, value / 20), .quantity = LAY_PRESSURE}; /* ISO 1683: 20 uPa */
        return LAY_OK;
    }
    double factor;
    if (!lay_run_unit(unit, &factor, &out->quantity) || !(value > 0)) goto wrong;
    out->rms = value * factor;
    return LAY_OK;
wrong:
    *out = (lay_calibrator){0};
    return lay_fail(err, LAY_BAD_USAGE,
                    "a calibrator gives a level such as 94 (dB re 20 uPa), 1 Pa, or 10 m/s2 (rms), not '%.40s'", text);
}
