#include "live.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "clock.h"
#include "keys.h"
#include "terminal.h"

#define EAR_FRAMES 4096
#define EAR_S 3.0
#define TICK_MS 100
#define HOLD_S 3.0 /* a peak stays so long while nothing is recorded */
#define TACH_WINDOW_S 3.0
#define TACH_EVERY_S 0.5
#define FULL 0.999 /* of full scale */
#define NAP_S 1.0  /* a pause of the clocks that counts as sleep */

/* ---- opening ---- */

static lay_status prepare(lay_live *live, lay_error *err) {
    size_t n = (size_t)live->state.channels;
    live->channels = lay_calloc(n, sizeof *live->channels);
    live->peaks = lay_calloc(n, sizeof *live->peaks);
    live->held_at = lay_calloc(n, sizeof *live->held_at);
    live->ear = lay_calloc(n * EAR_FRAMES, sizeof *live->ear);
    if (!live->channels || !live->peaks || !live->held_at || !live->ear)
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory to record");
    for (size_t i = 0; i < n; i++) {
        live->channels[i].clipped_s = NAN;
        live->channels[i].tach = (int)i + 1 == live->options->tach_channel;
    }
    if (live->options->tach_channel == 0) return LAY_OK;
    if (live->options->tach_channel > live->state.channels)
        return lay_fail(err, LAY_BAD_INPUT,
                        "the tach is to be channel %d, but %d are recorded; ask for more with "
                        "--channels",
                        live->options->tach_channel, live->state.channels);
    lay_tach_options tach = live->options->tach;
    tach.rate = live->state.rate;
    snprintf(live->tach_trouble, sizeof live->tach_trouble, "waiting for pulses");
    return lay_tach_live_new(&tach, TACH_WINDOW_S, &live->tach, err);
}

lay_status lay_live_open(const lay_live_options *options, lay_live *live, lay_error *err) {
    *live = (lay_live){.options = options, .clock_gap = lay_clock_gap_s()};
    lay_capture_options capture = options->capture;
    capture.seconds = options->seconds;
    if (options->tach_channel > 0) capture.hear_s = EAR_S;
    lay_status status = lay_capture_start(&capture, options->path, &live->capture, err);
    if (status == LAY_OK) lay_capture_look(live->capture, &live->state, NULL);
    if (status == LAY_OK) status = prepare(live, err);
    if (status != LAY_OK) lay_live_close(live, NULL);
    return status;
}

lay_status lay_live_close(lay_live *live, lay_error *err) {
    lay_status status = lay_capture_stop(live->capture, live->capture ? &live->state : NULL, err);
    live->capture = NULL;
    if (live->drawn > 0) fprintf(live->options->screen, "\033[%dA\r\033[J", live->drawn);
    if (live->options && live->options->screen) fflush(live->options->screen);
    live->drawn = 0;
    lay_tach_live_free(live->tach);
    free(live->channels);
    free(live->peaks);
    free(live->held_at);
    free(live->ear);
    live->tach = NULL;
    live->channels = NULL;
    live->peaks = live->held_at = live->ear = NULL;
    return status;
}

/* ---- looking on ---- */

static double recorded_s(const lay_live *live) {
    return (double)live->state.frames / live->state.rate;
}

static void look_at_levels(lay_live *live) {
    double now = lay_clock_s();
    for (int i = 0; i < live->state.channels; i++) {
        lay_meter_channel *c = &live->channels[i];
        c->now = live->peaks[i];
        bool stale = !live->options->path && now - live->held_at[i] > HOLD_S;
        if (c->now > c->most || stale) {
            c->most = c->now;
            live->held_at[i] = now;
        }
        if (live->options->path && c->now >= FULL && !c->tach && isnan(c->clipped_s)) c->clipped_s = recorded_s(live);
    }
}

static void look_at_tach(lay_live *live) {
    size_t stride = (size_t)live->state.channels, got;
    while ((got = lay_capture_hear(live->capture, live->ear, EAR_FRAMES)) > 0)
        lay_tach_live_feed(live->tach, live->ear + live->options->tach_channel - 1, stride, got);
    if (lay_clock_s() - live->tach_at < TACH_EVERY_S) return;
    lay_error err = {0};
    live->tach_at = lay_clock_s();
    live->tach_good = lay_tach_live_look(live->tach, &live->look, &err) == LAY_OK;
    if (!live->tach_good) snprintf(live->tach_trouble, sizeof live->tach_trouble, "%.150s", err.message);
}

static void look_for_sleep(lay_live *live) {
    double gap = lay_clock_gap_s();
    if (gap - live->clock_gap > NAP_S) {
        if (live->slept_s == 0) live->slept_at_s = recorded_s(live);
        live->slept_s += gap - live->clock_gap;
    }
    live->clock_gap = gap;
}

static void look(lay_live *live) {
    lay_capture_look(live->capture, &live->state, live->peaks);
    look_at_levels(live);
    if (live->tach) look_at_tach(live);
    look_for_sleep(live);
}

/* Over what was drawn before: as many lines up, each cleared to its end. */
static void draw(lay_live *live, const lay_meter *meter) {
    FILE *screen = live->options->screen;
    lay_text text = {0};
    if (!screen ||
        lay_report_meter(meter, live->options->colour, lay_terminal_width(), lay_terminal_rows(), &text) != LAY_OK) {
        lay_text_free(&text);
        return;
    }
    if (live->drawn > 0) fprintf(screen, "\033[%dA\r", live->drawn);
    live->drawn = 0;
    for (const char *line = text.text; *line; live->drawn++) {
        size_t n = strcspn(line, "\n");
        fprintf(screen, "%.*s\033[K\n", (int)n, line);
        line += n + (line[n] == '\n');
    }
    fflush(screen);
    lay_text_free(&text);
}

static void show(lay_live *live, const char *what, const char *help, double seconds, double total) {
    const lay_meter meter = {.what = what,
                             .seconds = seconds,
                             .total_s = total,
                             .channels = live->channels,
                             .count = (size_t)live->state.channels,
                             .tach = live->tach && live->tach_good ? &live->look : NULL,
                             .tach_trouble = live->tach && !live->tach_good ? live->tach_trouble : NULL,
                             .lost = live->state.lost,
                             .overruns = live->state.overruns,
                             .keys = help};
    draw(live, &meter);
}

lay_live_end lay_live_run(lay_live *live, const char *what, const char *keys, const char *help, double seconds) {
    double start = lay_clock_s();
    for (;;) {
        look(live);
        /* What is recorded is timed by its samples, what only waits by the clock. */
        double done = live->options->path ? recorded_s(live) : lay_clock_s() - start;
        if (lay_keys_interrupted()) return LAY_LIVE_SIGNAL;
        if (seconds > 0 && done >= seconds) return LAY_LIVE_TIME;
        if (live->state.ended) return LAY_LIVE_DEVICE;
        show(live, what, help, live->options->path || seconds > 0 ? done : NAN, seconds);
        double left = seconds > 0 ? 1000 * (seconds - done) : TICK_MS;
        int key = lay_keys_wait(left < TICK_MS ? (int)fmax(1, left) : TICK_MS);
        live->key = key;
        if (key != LAY_KEY_NONE && keys && strchr(keys, key)) return LAY_LIVE_KEY;
        if (key == 'q' || key == '\033') return LAY_LIVE_QUIT;
    }
}
