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

static slow slow_at(const lay_sim_scene *scene, const lay_sim_voice *v, const lay_sim_line *line,
                    const lay_sim_chunk *chunk, size_t edge) {
    double at = line->hz > 0 ? line->hz : line->order * chunk->hz[edge];
    slow out = {v->amplitude * lay_sim_voice_gain(v, line, chunk->load[edge], chunk->hz[edge]), 0.0};
    double top = 0.42 * chunk->rate, fade = 0.03 * chunk->rate; /* nothing above the recorder's filter */
    out.gain *= at <= top ? 1.0 : at >= top + fade ? 0.0 : (top + fade - at) / fade;
    if (v->structure && out.gain > 0) {
        double gain;
        lay_sim_floor_gain(&scene->noise, at, &gain, &out.turn);
        out.gain *= gain;
    }
    return out;
}

/* Modulation by the wheels: pointers at their angles that turn evenly within a stride of some 10 ms. */
typedef struct modulator {
    pointer at[2], advance[2];
} modulator;

static modulator modulator_at(const lay_sim_voice *v, const lay_sim_line *line, const lay_sim_chunk *chunk,
                              size_t edge) {
    modulator m = {0};
    for (int w = 0; w < 2; w++) {
        if (!(fabs(v->am[w]) + fabs(v->fm[w]) > 0)) continue;
        double at = line->mod_order[w] * chunk->turns[edge],
               end = line->mod_order[w] * chunk->turns[edge + LAY_SIM_STRIDE];
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

static double cycles_at(const lay_sim_line *line, const lay_sim_chunk *chunk, size_t edge) {
    return line->hz > 0 ? line->hz * chunk->time[edge] : line->order * chunk->turns[edge];
}

/* One stride: phase and step exact at its start, then carried on; the phase at a block's end is that at the next one's
 * start, so nothing jumps. */
static void add_stride(const lay_sim_voice *v, const lay_sim_line *line, lay_sim_chunk *chunk, size_t first, slow from,
                       slow to) {
    const double n = (double)chunk->block;
    double gain_rise = (to.gain - from.gain) / LAY_SIM_STRIDE, turn_rise = (to.turn - from.turn) / LAY_SIM_STRIDE;
    double mod0, mod1, factor0, factor1, step = 0, gain = from.gain, cycles = cycles_at(line, chunk, first);
    modulator m = modulator_at(v, line, chunk, first);
    modulate(v, &m, &mod1, &factor1);
    pointer at = pointer_at(2.0 * LAY_PI * (cycles - floor(cycles)) + v->phase + mod1 + from.turn), by = {0};
    for (size_t e = first; e < first + LAY_SIM_STRIDE; e++, gain += gain_rise) {
        double next_cycles = cycles_at(line, chunk, e + 1), last_step = step;
        mod0 = mod1, factor0 = factor1;
        modulate(v, &m, &mod1, &factor1);
        step = (2.0 * LAY_PI * (next_cycles - cycles) + mod1 - mod0 + turn_rise) / n;
        by = e == first ? pointer_at(step) : turn_little(by, step - last_step);
        at = add_tone(chunk->x + e * chunk->block, chunk->block, at, by, gain * factor0, (gain + gain_rise) * factor1);
        cycles = next_cycles;
    }
}

static void add_voice(const lay_sim_scene *scene, const lay_sim_voice *v, const lay_sim_line *line,
                      lay_sim_chunk *chunk) {
    const double unheard = 1e-9;
    slow from, to = slow_at(scene, v, line, chunk, 0);
    for (size_t first = 0; first < LAY_SIM_BLOCKS; first += LAY_SIM_STRIDE) {
        from = to;
        to = slow_at(scene, v, line, chunk, first + LAY_SIM_STRIDE);
        if (from.gain > unheard || to.gain > unheard) add_stride(v, line, chunk, first, from, to);
    }
}

void lay_sim_chunk_tones(const lay_sim_scene *scene, const lay_sim_run *run, lay_sim_chunk *chunk) {
    for (size_t i = 0; i < scene->voice_count; i++) {
        lay_sim_line line;
        if (lay_sim_voice_line(&scene->voices[i], run, &line)) add_voice(scene, &scene->voices[i], &line, chunk);
    }
}
