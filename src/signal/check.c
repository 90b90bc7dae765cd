/* The checks of a recording, driven block by block.
 *
 * Each channel is collected into blocks of some 50 ms. A block goes through the sample checks, then through a cascade
 * of halvings: (a + b) / 2 is the next slower signal, (a - b) / 2 the octave that is lost. Mean squares of the upper
 * octaves feed the gain check, the slowest signal (1 to 2 kHz) the hum check. */
#include "check_gain.h"
#include "check_hum.h"
#include "check_samples.h"
#include "recording.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double slowest_hz = 1000; /* halve while the rate stays above it */
static const double fastest_hz = 1e7;  /* no recording of a transmission is faster */
enum { LONGEST_BLOCK = 65536, SHORTEST_BLOCK = 16 };

typedef struct check_channel {
    double *buffer; /* LAY_CHECK_HISTORY old samples, then the block */
    lay_sample_check samples;
    lay_gain_check gain;
} check_channel;

struct lay_check {
    double rate;
    int channels;
    bool integer;
    int halvings;
    size_t block, fill; /* samples per channel */
    check_channel *channel;
    double *slow; /* [block / 2] */
    lay_hum_check *hum;
};

/* ---- life cycle ---- */

static void choose_block(lay_check *check) {
    double slow = check->rate;
    for (; slow >= 2 * slowest_hz; slow /= 2) check->halvings++;
    size_t unit = (size_t)1 << check->halvings;
    size_t units = (size_t)fmax(1, round(LAY_GAIN_BLOCK_S * slow));
    check->block = units * unit;
    if (check->block > LONGEST_BLOCK) check->block = LONGEST_BLOCK / unit * unit;
    if (check->block < SHORTEST_BLOCK) check->block = SHORTEST_BLOCK / unit * unit + unit;
}

static lay_status allocate(lay_check *check, lay_error *err) {
    check->channel = lay_calloc((size_t)check->channels, sizeof *check->channel);
    check->slow = lay_calloc(check->block / 2 + 1, sizeof *check->slow);
    bool complete = check->channel != NULL && check->slow != NULL;
    for (int c = 0; complete && c < check->channels; c++) {
        check->channel[c].buffer = lay_calloc(LAY_CHECK_HISTORY + check->block, sizeof(double));
        complete = check->channel[c].buffer != NULL;
        lay_samples_start(&check->channel[c].samples, check->rate);
    }
    if (!complete) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to check the recording");
    return lay_hum_new(check->rate / (double)((size_t)1 << check->halvings), check->channels, &check->hum, err);
}

lay_status lay_check_new(double rate, int channels, bool integer, lay_check **out, lay_error *err) {
    *out = NULL;
    if (!(rate > 0 && rate <= fastest_hz) || channels < 1 || channels > LAY_MAX_CHANNELS)
        return lay_fail(err, LAY_BAD_INPUT, "a recording of %d channels at %g samples per second cannot be checked",
                        channels, rate);
    lay_check *check = lay_calloc(1, sizeof *check);
    if (check == NULL) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to check the recording");
    check->rate = rate;
    check->channels = channels;
    check->integer = integer;
    choose_block(check);
    lay_status status = allocate(check, err);
    if (status == LAY_OK)
        *out = check;
    else
        lay_check_free(check);
    return status;
}

void lay_check_free(lay_check *check) {
    if (check == NULL) return;
    for (int c = 0; check->channel != NULL && c < check->channels; c++) free(check->channel[c].buffer);
    lay_hum_free(check->hum);
    free(check->channel);
    free(check->slow);
    free(check);
}

/* ---- one block ---- */

/* slow[i] = mean of two neighbours; returns the mean square of half their differences. In place is allowed. */
static double halve(const double *x, size_t n, double *slow) {
    double sum[2] = {0};
    size_t i = 0;
    for (; i + 4 <= n; i += 4) {
        double d0 = 0.5 * (x[i] - x[i + 1]), d1 = 0.5 * (x[i + 2] - x[i + 3]);
        slow[i / 2] = 0.5 * (x[i] + x[i + 1]);
        slow[i / 2 + 1] = 0.5 * (x[i + 2] + x[i + 3]);
        sum[0] += d0 * d0;
        sum[1] += d1 * d1;
    }
    if (i + 2 <= n) {
        double d = 0.5 * (x[i] - x[i + 1]);
        slow[i / 2] = 0.5 * (x[i] + x[i + 1]);
        sum[0] += d * d;
    }
    return (sum[0] + sum[1]) / (double)(n / 2);
}

static void feed_octaves(lay_check *check, int c, const double *x) {
    double power[LAY_GAIN_BANDS] = {0};
    size_t n = check->block;
    for (int h = 0; h < check->halvings; h++, n /= 2) {
        double p = halve(x, n, check->slow);
        if (h < LAY_GAIN_BANDS) power[h] = p;
        x = check->slow;
    }
    lay_hum_feed(check->hum, c, x, n);
    if (check->halvings >= LAY_GAIN_BANDS) lay_gain_feed(&check->channel[c].gain, power);
}

static void finish_block(lay_check *check) {
    for (int c = 0; c < check->channels; c++) {
        double *buffer = check->channel[c].buffer, *x = buffer + LAY_CHECK_HISTORY;
        lay_samples_feed(&check->channel[c].samples, x, check->fill);
        if (check->fill < check->block) continue;
        feed_octaves(check, c, x);
        memmove(buffer, buffer + check->block, LAY_CHECK_HISTORY * sizeof *buffer);
    }
    check->fill = 0;
}

/* ---- feeding ---- */

static void take_apart(const double *frames, size_t n, size_t channels, double *out) {
    for (size_t i = 0; i < n; i++) out[i] = frames[i * channels];
}

lay_status lay_check_feed(lay_check *check, const double *frames, size_t count, lay_error *err) {
    (void)err;
    size_t channels = (size_t)check->channels;
    while (count > 0) {
        size_t part = check->block - check->fill < count ? check->block - check->fill : count;
        for (size_t c = 0; c < channels; c++)
            take_apart(frames + c, part, channels, check->channel[c].buffer + LAY_CHECK_HISTORY + check->fill);
        check->fill += part;
        frames += part * channels;
        count -= part;
        if (check->fill == check->block) finish_block(check);
    }
    return LAY_OK;
}

lay_status lay_check_finish(lay_check *check, lay_channel_check *out, lay_error *err) {
    finish_block(check);
    for (int c = 0; c < check->channels; c++) {
        out[c] = (lay_channel_check){0};
        lay_samples_finish(&check->channel[c].samples, check->rate, check->integer, &out[c]);
        if (out[c].silent) continue;
        out[c].gain_steps_db = lay_gain_finish(&check->channel[c].gain);
        lay_status status = lay_hum_finish(check->hum, c, &out[c].mains_hz, &out[c].mains_db, err);
        if (status != LAY_OK) return status;
    }
    return LAY_OK;
}
