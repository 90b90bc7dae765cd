/* Lines as rotating pointers: the phase is taken from the shaft's angle at the edges of each block, so it never drifts,
 * and is linear inside; at 120 orders and 4 turns/s^2 the departure from the true parabola over 32 samples at 48 kHz is
 * 2 pi 120 4 (0.67 ms)^2 / 8 = 0.2 mrad. */
#include "chunk.h"

#include <math.h>

/* A unit pointer. */
typedef struct pointer {
    double c, s;
} pointer;

static pointer pointer_at(double angle) {
    return (pointer){cos(angle), sin(angle)};
}
static pointer turn(pointer a, pointer by) {
    return (pointer){a.c * by.c - a.s * by.s, a.c * by.s + a.s * by.c};
}

/* Turn by a small angle without calling sine and cosine: exact to d^5 / 120. */
static pointer turn_little(pointer a, double d) {
    double d2 = d * d;
    return turn(a, (pointer){1.0 - d2 * (0.5 - d2 / 24.0), d * (1.0 - d2 / 6.0)});
}

/* x[i] += (a0 + (a1 - a0) i / n) times the real part of a pointer that turns by `step` per sample; four pointers a
 * sample apart turn by four steps at once. Returns the pointer at the end. */
static pointer add_tone(double *x, size_t n, pointer start, pointer step, double a0, double a1) {
    double c[4], s[4], a[4], rise = (a1 - a0) / (double)n;
    pointer p = start, two = turn(step, step), four = turn(two, two);
    for (int k = 0; k < 4; k++, p = turn(p, step)) c[k] = p.c, s[k] = p.s, a[k] = a0 + rise * k;
    for (size_t i = 0; i < n; i += 4)
        for (int k = 0; k < 4; k++) {
            x[i + (size_t)k] += a[k] * c[k];
            double turned = c[k] * four.c - s[k] * four.s;
            s[k] = c[k] * four.s + s[k] * four.c;
            c[k] = turned;
            a[k] += 4.0 * rise;
        }
    return (pointer){c[0], s[0]};
}

/* What changes slowly: gain by load, speed and structure, and the structure's phase. */
typedef struct slow {
    double gain, turn;
} slow;

/* A line with the body it turns with, and the gear in which it sounds. */
typedef struct track {
    lay_sim_line line;
    const double *turns, *hz;
    bool gated, lower; /* sounds in one of two gears only: in the lower one */
} track;

static double gate(const track *k, const lay_sim_chunk *chunk, size_t edge) {
    if (!k->gated) return 1.0;
    return k->lower ? 1.0 - chunk->geared[edge] : chunk->geared[edge];
}

/* What turns below 4 turns/s falls silent: gears that stand, an engine that is off. */
static double turning(double hz) {
    const double slow_hz = 4.0;
    return hz < slow_hz ? fmax(hz, 0.0) / slow_hz : 1.0;
}

static slow slow_at(const lay_sim_scene *scene, const lay_sim_voice *v, const track *k, const lay_sim_chunk *chunk,
                    size_t edge) {
    const lay_sim_line *line = &k->line;
    double at = line->hz > 0 ? line->hz : line->order * k->hz[edge];
    slow out = {v->amplitude * lay_sim_voice_gain(v, line, chunk->load[edge], k->hz[edge]), 0.0};
    if (line->hz <= 0) out.gain *= turning(k->hz[edge]) * gate(k, chunk, edge);
    double top = 0.42 * chunk->rate, fade = 0.03 * chunk->rate; /* nothing above the recorder's filter */
    out.gain *= at <= top ? 1.0 : at >= top + fade ? 0.0 : (top + fade - at) / fade;
    if (out.gain > 0) out.gain *= lay_sim_voice_path(scene, v, at, &out.turn);
    return out;
}

/* Modulation by the wheels: pointers at their angles that turn evenly within a stride of some 10 ms. */
typedef struct modulator {
    pointer at[2], advance[2];
} modulator;

static modulator modulator_at(const lay_sim_voice *v, const track *k, size_t edge) {
    modulator m = {0};
    for (int w = 0; w < 2; w++) {
        if (!(fabs(v->am[w]) + fabs(v->fm[w]) > 0)) continue;
        double at = k->line.mod_order[w] * k->turns[edge], end = k->line.mod_order[w] * k->turns[edge + LAY_SIM_STRIDE];
        m.at[w] = pointer_at(2.0 * LAY_PI * (at - floor(at)) + v->mod_phase[w]);
        m.advance[w] = pointer_at(2.0 * LAY_PI * (end - at) / LAY_SIM_STRIDE);
    }
    return m;
}

/* Phase in rad and amplitude factor now; `m` goes on by one block. */
static void modulate(const lay_sim_voice *v, modulator *m, double *phase, double *factor) {
    *phase = v->fm[0] * m->at[0].s + v->fm[1] * m->at[1].s;
    *factor = 1.0 + v->am[0] * m->at[0].c + v->am[1] * m->at[1].c;
    for (int w = 0; w < 2; w++) m->at[w] = turn(m->at[w], m->advance[w]);
}

static double cycles_at(const track *k, const lay_sim_chunk *chunk, size_t edge) {
    return k->line.hz > 0 ? k->line.hz * chunk->time[edge] : k->line.order * k->turns[edge];
}

/* One stride: phase and step exact at its start, then carried on; the phase at a block's end is that at the next one's
 * start, so nothing jumps. */
static void add_stride(const lay_sim_voice *v, const track *k, lay_sim_chunk *chunk, size_t first, slow from, slow to) {
    const double n = (double)chunk->block;
    double gain_rise = (to.gain - from.gain) / LAY_SIM_STRIDE, turn_rise = (to.turn - from.turn) / LAY_SIM_STRIDE;
    double mod0, mod1, factor0, factor1, step = 0, gain = from.gain, cycles = cycles_at(k, chunk, first);
    modulator m = modulator_at(v, k, first);
    modulate(v, &m, &mod1, &factor1);
    pointer at = pointer_at(2.0 * LAY_PI * (cycles - floor(cycles)) + v->phase + mod1 + from.turn), by = {0};
    for (size_t e = first; e < first + LAY_SIM_STRIDE; e++, gain += gain_rise) {
        double next_cycles = cycles_at(k, chunk, e + 1), last_step = step;
        mod0 = mod1, factor0 = factor1;
        modulate(v, &m, &mod1, &factor1);
        step = (2.0 * LAY_PI * (next_cycles - cycles) + mod1 - mod0 + turn_rise) / n;
        by = e == first ? pointer_at(step) : turn_little(by, step - last_step);
        at = add_tone(chunk->x + e * chunk->block, chunk->block, at, by, gain * factor0, (gain + gain_rise) * factor1);
        cycles = next_cycles;
    }
}

static void add_voice(const lay_sim_scene *scene, const lay_sim_voice *v, const track *k, lay_sim_chunk *chunk) {
    const double unheard = 1e-9;
    slow from, to = slow_at(scene, v, k, chunk, 0);
    for (size_t first = 0; first < LAY_SIM_BLOCKS; first += LAY_SIM_STRIDE) {
        from = to;
        to = slow_at(scene, v, k, chunk, first + LAY_SIM_STRIDE);
        if (from.gain > unheard || to.gain > unheard) add_stride(v, k, chunk, first, from, to);
    }
}

/* Belts run off the crank, not off the input shaft, even where the unit file says that they turn alike. */
static bool on_crank(const lay_unit *unit, const lay_sim_voice *v) {
    if (v->carrier != LAY_SIM_ROTOR) return false;
    return unit->rotors[v->index].body == (unit->engine.present ? unit->engine.body : unit->reference);
}

/* What belongs to the gear sounds only while it is in; the engine and what is fixed in Hz sound once, for both. */
static bool track_of(const lay_unit *unit, const lay_sim_voice *v, const lay_sim_run *run, bool gated, bool lower,
                     const lay_sim_chunk *chunk, track *out) {
    *out = (track){.lower = lower};
    if (!lay_sim_voice_line(v, run, &out->line)) return false;
    out->line.crank = out->line.crank || on_crank(unit, v);
    out->turns = out->line.crank ? chunk->crank_turns : chunk->turns;
    out->hz = out->line.crank ? chunk->crank_hz : chunk->hz;
    out->gated = gated && !out->line.crank && out->line.hz <= 0;
    return !lower || out->gated;
}

void lay_sim_chunk_tones(const lay_sim_scene *scene, const lay_sim_run *run, lay_sim_chunk *chunk) {
    track k;
    for (size_t i = 0; i < scene->voice_count; i++) {
        const lay_sim_voice *v = &scene->voices[i];
        if (track_of(scene->unit, v, run, run->lower != NULL, false, chunk, &k)) add_voice(scene, v, &k, chunk);
        if (run->lower && track_of(scene->unit, v, run->lower, true, true, chunk, &k)) add_voice(scene, v, &k, chunk);
    }
}
