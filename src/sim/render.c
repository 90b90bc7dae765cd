#include "render.h"

#include "chunk.h"
#include "overlay.h"
#include "trains.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Everything that keeps its state from chunk to chunk. */
typedef struct renderer {
    const lay_sim_scene *scene;
    const lay_sim_run *run;
    lay_sim_chunk chunk;
    lay_sim_cascade air, structure, wind;
    double wind_level, gust_rate, gust_phase;
    lay_sim_impacts trains[LAY_SIM_TRAINS_MAX];
    size_t train_count;
    lay_random random;
    lay_sim_overlay overlay;
    bool overlaid;
    double loudness; /* mean square an automatic gain follows */
    double agc_power, agc_gain;
    double frames[2 * LAY_SIM_BLOCKS * LAY_SIM_BLOCK_LONGEST];
} renderer;

static void prepare(renderer *r, const lay_sim_scene *scene, const lay_sim_run *run, const lay_sim_pulses *pulses) {
    r->scene = scene;
    r->run = run;
    r->chunk.rate = scene->rate;
    r->chunk.block = scene->rate >= 30000 ? LAY_SIM_BLOCK_LONGEST : LAY_SIM_BLOCK_LONGEST / 2;
    r->air = scene->noise.air;
    r->structure = scene->noise.structure;
    r->train_count = lay_sim_run_trains(scene, run, pulses, r->trains);
    r->random = lay_sim_stream(&scene->options, LAY_SIM_STREAM_NOISE + (uint64_t)(run - scene->runs));
    /* Wind roars below some 100 Hz: what a low shelf lifts by 40 dB, brought to unit rms. */
    lay_sim_cascade_add(&r->wind, lay_sim_low_shelf(scene->rate, lay_random_between(&r->random, 60, 150), 1.0, 40.0));
    double lifted = 100.0 * sqrt(2.0 * 80.0 / scene->rate);
    r->wind_level = run->output_order > 0 ? scene->traits->wind / lifted : 0.0;
    r->gust_rate = lay_random_between(&r->random, 0.1, 0.5);
    r->gust_phase = lay_random_between(&r->random, 0, 2.0 * LAY_PI);
    double rms = lay_sim_noise_rms(scene, run);
    r->loudness = 2.0 * rms * rms;
    r->agc_power = lay_random_between(&r->random, 0.1, 0.35);
    r->agc_gain = 1.0;
    lay_random other = lay_sim_stream(&scene->options, LAY_SIM_STREAM_OVERLAY + (uint64_t)(run - scene->runs));
    r->overlaid = lay_sim_overlay_draw(&other, &run->trip, scene->rate, rms, &r->overlay);
}

static void set_motion(renderer *r, size_t first_sample) {
    lay_sim_chunk *c = &r->chunk;
    for (size_t e = 0; e <= LAY_SIM_BLOCKS; e++) {
        double t = (double)(first_sample + e * c->block) / c->rate;
        c->time[e] = t;
        lay_sim_moment now;
        lay_sim_trip_at(&r->run->trip, &r->run->profile, t, &now);
        c->turns[e] = now.turns;
        c->hz[e] = now.hz;
        c->crank_turns[e] = now.crank_turns;
        c->crank_hz[e] = now.crank_hz;
        c->road_hz[e] = now.road_hz;
        c->load[e] = now.load;
        c->geared[e] = now.geared;
    }
}

/* x += gain * noise, the gain linear between the edges of blocks. */
static void mix(lay_sim_chunk *c, const double *gain) {
    for (size_t b = 0; b < LAY_SIM_BLOCKS; b++) {
        double g = gain[b], rise = (gain[b + 1] - gain[b]) / (double)c->block;
        double *x = c->x + b * c->block, *noise = c->spare + b * c->block;
        for (size_t i = 0; i < c->block; i++) x[i] += (g + rise * (double)i) * noise[i];
    }
}

static void add_noise(renderer *r) {
    lay_sim_chunk *c = &r->chunk;
    size_t n = LAY_SIM_BLOCKS * c->block;
    double air[LAY_SIM_BLOCKS + 1], structure[LAY_SIM_BLOCKS + 1], wind[LAY_SIM_BLOCKS + 1];
    for (size_t e = 0; e <= LAY_SIM_BLOCKS; e++) {
        lay_sim_noise_gain(r->scene, r->run, c->road_hz[e], &air[e], &structure[e]);
        wind[e] = air[e] * (1.0 + 0.6 * sin(2.0 * LAY_PI * r->gust_rate * c->time[e] + r->gust_phase));
    }
    lay_sim_white(&r->random, r->scene->noise.air_level, c->spare, n);
    lay_sim_cascade_run(&r->air, c->spare, n);
    mix(c, air);
    lay_sim_white(&r->random, r->scene->noise.structure_level, c->spare, n);
    lay_sim_cascade_run(&r->structure, c->spare, n);
    mix(c, structure);
    if (r->wind_level <= 0) return;
    lay_sim_white(&r->random, r->wind_level, c->spare, n);
    lay_sim_cascade_run(&r->wind, c->spare, n);
    mix(c, wind);
}

static void add_impacts(renderer *r) {
    lay_sim_chunk *c = &r->chunk;
    for (size_t i = 0; i < r->train_count; i++) {
        lay_sim_impacts *train = &r->trains[i];
        const double *turns = train->crank ? c->crank_turns : c->turns;
        for (size_t b = 0; b < LAY_SIM_BLOCKS; b++)
            lay_sim_impacts_block(train, turns[b], turns[b + 1], c->load[b], train->crank ? 1.0 : c->geared[b], c->rate,
                                  c->spare, c->x + b * c->block, c->block);
    }
}

/* A phone turns itself down within 50 ms when it gets loud and comes back over two seconds. */
static void ride_gain(renderer *r) {
    lay_sim_chunk *c = &r->chunk;
    double reference = lay_sim_noise_rms(r->scene, r->run);
    reference *= 2.0 * reference;
    for (size_t b = 0; b < LAY_SIM_BLOCKS; b++) {
        double *x = c->x + b * c->block, sum = 0;
        for (size_t i = 0; i < c->block; i++) sum += x[i] * x[i];
        sum /= (double)c->block;
        double seconds = sum > r->loudness ? 0.05 : 2.0;
        r->loudness += (sum - r->loudness) * fmin(1.0, (double)c->block / c->rate / seconds);
        double wanted = pow(reference / fmax(r->loudness, 0.05 * reference), r->agc_power);
        double rise = (wanted - r->agc_gain) / (double)c->block;
        for (size_t i = 0; i < c->block; i++) x[i] *= r->agc_gain + rise * (double)i;
        r->agc_gain = wanted;
    }
}

static void render_chunk(renderer *r, size_t first_sample) {
    memset(r->chunk.x, 0, sizeof r->chunk.x);
    set_motion(r, first_sample);
    add_noise(r);
    lay_sim_chunk_tones(r->scene, r->run, &r->chunk);
    add_impacts(r);
    if (r->overlaid) lay_sim_overlay_add(&r->overlay, r->chunk.x, LAY_SIM_BLOCKS * r->chunk.block, first_sample);
    if (r->scene->traits->gain_riding) ride_gain(r);
}

/* Interleave with the tach and cut at full scale. */
static void to_frames(renderer *r, lay_sim_pulses *pulses) {
    lay_sim_chunk *c = &r->chunk;
    size_t n = LAY_SIM_BLOCKS * c->block, channels = pulses ? 2 : 1;
    const double wall = 0.9999;
    for (size_t i = 0; i < n; i++) r->frames[i * channels] = fmin(fmax(c->x[i] * r->scene->level, -wall), wall);
    if (!pulses) return;
    for (size_t b = 0; b < LAY_SIM_BLOCKS; b++)
        lay_sim_pulses_block(pulses, c->turns[b], c->turns[b + 1], c->spare + b * c->block, c->block);
    for (size_t i = 0; i < n; i++) r->frames[i * channels + 1] = c->spare[i];
}

lay_status lay_sim_render(const lay_sim_scene *scene, const lay_sim_run *run, lay_sim_pulses *pulses, const char *path,
                          lay_error *err) {
    lay_writer *writer = NULL;
    renderer *r = lay_calloc(1, sizeof *r);
    if (!r) return lay_fail(err, LAY_NO_MEMORY, "no memory to simulate a recording");
    prepare(r, scene, run, pulses);
    lay_status status = lay_writer_open(path, scene->options.format, scene->rate, pulses ? 2 : 1, &writer, err);
    size_t total = (size_t)llround(run->profile.seconds * scene->rate), chunk = LAY_SIM_BLOCKS * r->chunk.block;
    for (size_t at = 0; at < total && status == LAY_OK; at += chunk) {
        render_chunk(r, at);
        to_frames(r, pulses);
        status = lay_writer_write(writer, r->frames, total - at < chunk ? total - at : chunk, err);
    }
    lay_status closed = lay_writer_close(writer, status == LAY_OK ? err : NULL);
    free(r);
    return status == LAY_OK ? closed : status;
}
