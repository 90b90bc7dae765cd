#include "overlay.h"

#include "world.h"

#include <math.h>

/* A voice: pulses of a larynx at 90 to 220 Hz and some breath through three formants, a syllable every 0.15 to 0.3 s
 * with pauses between words (common practice, no source). */
static void next_syllable(lay_sim_overlay *o) {
    lay_random *r = &o->random;
    static const double low[3] = {300, 900, 2200}, high[3] = {800, 2000, 3000};
    o->length = o->left = lay_random_between(r, 0.15, 0.3);
    o->pause = lay_random_unit(r) < 0.25;
    o->hz[0] = fmin(fmax(o->hz[0] * lay_random_between(r, 0.88, 1.13), 90.0), 220.0);
    for (int f = 0; f < 3; f++) {
        double z1 = o->formant[f].z1, z2 = o->formant[f].z2;
        o->formant[f] = lay_sim_ring(o->rate, lay_random_between(r, low[f], high[f]), lay_random_between(r, 5, 10));
        o->formant[f].z1 = z1, o->formant[f].z2 = z2;
    }
}

static double speak(lay_sim_overlay *o) {
    double u = 1.0 - o->left / o->length, sum = 0, pulse = 0;
    o->phase[0] += o->hz[0] * (1.0 - 0.1 * u) / o->rate;
    if (o->phase[0] >= 1.0) o->phase[0] -= 1.0, pulse = 1.0;
    double in = o->pause ? 0.0 : sin(LAY_PI * u) * (pulse + 0.02 * (2.0 * lay_random_unit(&o->random) - 1.0));
    static const double share[3] = {1.0, 0.5, 0.25};
    for (int f = 0; f < 3; f++) {
        double x = share[f] * in;
        lay_sim_biquad_run(&o->formant[f], &x, 1);
        sum += x;
    }
    return sum;
}

/* Chords of four notes out of an equally tempered scale. */
static void next_chord(lay_sim_overlay *o) {
    static const int steps[LAY_SIM_OVERLAY_NOTES] = {0, 4, 7, 12};
    o->length = o->left = lay_random_between(&o->random, 0.3, 1.2);
    int root = lay_random_int(&o->random, -12, 7);
    for (int i = 0; i < LAY_SIM_OVERLAY_NOTES; i++) o->hz[i] = 220.0 * pow(2.0, (root + steps[i]) / 12.0);
}

static double play(lay_sim_overlay *o) {
    double sum = 0, fade = exp(-1.5 * (o->length - o->left) / o->length);
    for (int i = 0; i < LAY_SIM_OVERLAY_NOTES; i++) {
        o->phase[i] += o->hz[i] / o->rate;
        o->phase[i] -= floor(o->phase[i]);
        for (int k = 1; k <= LAY_SIM_OVERLAY_PARTIALS; k++) sum += sin(2.0 * LAY_PI * k * o->phase[i]) / (k * k);
    }
    return 0.4 * fade * sum;
}

bool lay_sim_overlay_draw(lay_random *random, const lay_sim_trip *trip, double rate, double rms, lay_sim_overlay *out) {
    *out = (lay_sim_overlay){.rate = rate, .peak = 3.0 * rms * lay_sim_amplitude(lay_random_between(random, 3, 15))};
    lay_random_seed(&out->random, lay_random_bits(random));
    out->hz[0] = lay_random_between(random, 100, 200);
    for (size_t i = 0; i < trip->event_count; i++) {
        const lay_sim_event *e = &trip->events[i];
        if (e->kind != LAY_SIM_SPEECH && e->kind != LAY_SIM_MUSIC) continue;
        out->kind = e->kind;
        out->from = e->from;
        out->to = e->to;
        return true;
    }
    return false;
}

void lay_sim_overlay_add(lay_sim_overlay *o, double *x, size_t n, size_t first) {
    for (size_t i = 0; i < n; i++) {
        double t = (double)(first + i) / o->rate;
        if (t < o->from || t >= o->to) continue;
        bool talks = o->kind == LAY_SIM_SPEECH;
        if (o->left <= 0) talks ? next_syllable(o) : next_chord(o);
        x[i] += o->peak * (talks ? speak(o) : play(o));
        o->left -= 1.0 / o->rate;
    }
}
