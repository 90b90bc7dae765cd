#include "trains.h"

#include <math.h>

#define RING_LOW_HZ 2000.0 /* where impacts of bearings and teeth ring */
#define RING_HIGH_HZ 10000.0
#define SAMPLES 160 /* of a run, for its averages */

lay_random lay_sim_source(const lay_sim_scene *scene, uint64_t source) {
    return lay_sim_stream(&scene->options, LAY_SIM_STREAM_IMPACTS + source);
}

lay_sim_impacts *lay_sim_trains_add(lay_sim_trains *t, lay_random *random, const lay_sim_ring_range *ring) {
    if (t->count == LAY_SIM_TRAINS_MAX) return NULL;
    lay_sim_impacts *item = &t->items[t->count++];
    double top = fmin(ring->high_hz, 0.38 * t->scene->rate);
    double hz = ring->low_hz * pow(fmax(top / ring->low_hz, 1.0), lay_random_unit(random));
    *item = (lay_sim_impacts){.flank = {1, 1}, .echo_left = -1};
    item->ring = lay_sim_ringing_at(t->scene->rate, hz, lay_random_between(random, ring->low_q, ring->high_q));
    lay_random day = lay_sim_stream(&t->scene->options, LAY_SIM_STREAM_NOISE + (uint64_t)(t->run - t->scene->runs));
    lay_random_seed(&item->random, lay_random_bits(random) ^ lay_random_bits(&day));
    item->next = lay_random_unit(&item->random);
    return item;
}

static double below(const double *table, double hz, double rate) {
    double position = fmin(hz / (0.5 * rate), 1.0) * LAY_SIM_GRID;
    size_t i = (size_t)fmin(position, LAY_SIM_GRID - 1);
    return table[i] + (position - (double)i) * (table[i + 1] - table[i]);
}

double lay_sim_impact_noise(const lay_sim_scene *scene, const lay_sim_run *run) {
    const lay_sim_floor *noise = &scene->noise;
    double high = fmin(RING_HIGH_HZ, 0.45 * scene->rate), sum = 0;
    double air_share = below(noise->air_below, high, noise->rate) - below(noise->air_below, RING_LOW_HZ, noise->rate);
    double structure_share =
        below(noise->structure_below, high, noise->rate) - below(noise->structure_below, RING_LOW_HZ, noise->rate);
    for (int i = 0; i < SAMPLES; i++) {
        double air, structure, t = run->profile.seconds * (i + 0.5) / SAMPLES;
        lay_sim_noise_gain(scene, run, lay_sim_profile_hz(&run->profile, t), &air, &structure);
        sum += air_share * air * air + structure_share * structure * structure;
    }
    return sqrt(sum / SAMPLES);
}

size_t lay_sim_run_trains(const lay_sim_scene *scene, const lay_sim_run *run, const lay_sim_pulses *pulses,
                          lay_sim_impacts *out) {
    lay_sim_trains t = {.scene = scene,
                        .run = run,
                        .pulses = pulses,
                        .items = out,
                        .rms = lay_sim_noise_rms(scene, run),
                        .band = lay_sim_impact_noise(scene, run)};
    lay_sim_trains_faults(&t);
    lay_sim_trains_surroundings(&t);
    return t.count;
}
