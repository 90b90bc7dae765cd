/* Levels: tones against the known noise floor, and the floor against full scale. */
#include "scene.h"

#include <layshaft/dsp.h>

#include <math.h>

#define SAMPLES 160 /* of a run, for its averages */

/* The air noise of a vehicle follows its road speed, the rest follows the shaft. */
void lay_sim_noise_gain(const lay_sim_scene *scene, const lay_sim_run *run, double hz, double *air, double *structure) {
    const double typical_hz = 2000.0 / 60.0;
    double speed = fmax(hz, 1.0) / typical_hz;
    *structure = pow(speed, scene->structure_power);
    if (!scene->traits->vehicle)
        *air = pow(speed, 0.3 * scene->air_power);
    else
        *air = 0.3 + 0.7 * pow(fmin(run->output_order * speed, 2.0), scene->air_power);
}

double lay_sim_noise_rms(const lay_sim_scene *scene, const lay_sim_run *run) {
    double sum = 0;
    for (int i = 0; i < SAMPLES; i++) {
        double air, structure, t = run->profile.seconds * (i + 0.5) / SAMPLES;
        lay_sim_noise_gain(scene, run, lay_sim_profile_hz(&run->profile, t), &air, &structure);
        sum += scene->noise.air_share * air * air + scene->noise.structure_share * structure * structure;
    }
    return sqrt(sum / SAMPLES);
}

double lay_sim_voice_path(const lay_sim_scene *scene, const lay_sim_voice *v, double hz, double *turn) {
    double gain = 1.0, angle = 0.0;
    if (v->structure) lay_sim_floor_gain(&scene->noise, hz, &gain, &angle);
    for (int i = 0; v->cabin && i < scene->cabin.count; i++) { /* one by one: a single section never turns by pi */
        lay_sim_cascade one = {.stage = {scene->cabin.stage[i]}, .count = 1};
        double re, im;
        lay_sim_cascade_response(&one, scene->rate, hz, &re, &im);
        gain *= sqrt(re * re + im * im);
        angle += atan2(im, re);
    }
    if (turn) *turn = angle;
    return gain;
}

static double path_power(const lay_sim_scene *scene, const lay_sim_voice *v, double hz) {
    double gain = lay_sim_voice_path(scene, v, hz, NULL);
    return gain * gain;
}

double lay_sim_voice_tnr(const lay_sim_scene *scene, const lay_sim_run *run, const lay_sim_voice *v) {
    lay_sim_line line;
    if (!lay_sim_voice_line(v, run, &line)) return -200.0;
    double tone = 0, noise = 0;
    for (int i = 0; i < SAMPLES; i++) {
        double t = run->profile.seconds * (i + 0.5) / SAMPLES, hz = lay_sim_profile_hz(&run->profile, t);
        double at = line.hz > 0 ? line.hz : line.order * hz, air, structure, air_band, structure_band;
        if (at > 0.42 * scene->rate) continue;
        double a = v->amplitude * lay_sim_voice_gain(v, &line, lay_sim_profile_load(&run->profile, t), hz);
        lay_sim_noise_gain(scene, run, hz, &air, &structure);
        lay_sim_floor_band(&scene->noise, at, &air_band, &structure_band);
        tone += 0.5 * a * a * path_power(scene, v, at);
        noise += air_band * air * air + structure_band * structure * structure;
    }
    return noise > 0 ? lay_db_power(tone / noise) : -200.0;
}

double lay_sim_family_tnr(const lay_sim_scene *scene, const lay_sim_run *run, size_t first) {
    double best = -200.0;
    for (size_t i = first; i < scene->voice_count; i++)
        if (scene->voices[i].measured) best = fmax(best, lay_sim_voice_tnr(scene, run, &scene->voices[i]));
    return best;
}

static void scale_family(lay_sim_scene *scene, size_t first, double db) {
    for (size_t i = first; i < scene->voice_count; i++) scene->voices[i].amplitude *= lay_sim_amplitude(db);
}

void lay_sim_family_set(lay_sim_scene *scene, size_t first, unsigned mask, double target_db, double cap_db) {
    double sum = 0, highest = -200.0;
    int count = 0;
    for (size_t r = 0; r < scene->run_count; r++) {
        double tnr = lay_sim_family_tnr(scene, &scene->runs[r], first);
        if (tnr <= -190.0) continue;
        highest = fmax(highest, tnr);
        if (!(mask >> r & 1u)) continue;
        sum += tnr;
        count++;
    }
    if (highest <= -190.0) {
        scale_family(scene, first, -400.0);
        return;
    }
    double by = count > 0 ? target_db - sum / count : target_db - highest;
    scale_family(scene, first, fmin(by, cap_db - highest));
}

/* Crest of the tones, over the rms of the floor, for which any recorder leaves room. */
#define TONES_ROOM 8.0

/* Crest factor of the floor allowed for: 5.5 deviations are passed once in 26 million samples. */
void lay_sim_scene_level(lay_sim_scene *scene) {
    double tones = 0, loudest = 0;
    for (size_t r = 0; r < scene->run_count; r++) {
        double rms = lay_sim_noise_rms(scene, &scene->runs[r]), sum = 0;
        for (size_t i = 0; i < scene->voice_count; i++) {
            lay_sim_line line;
            const lay_sim_voice *v = &scene->voices[i];
            if (!lay_sim_voice_line(v, &scene->runs[r], &line)) continue;
            double top = scene->runs[r].profile.to_hz > scene->runs[r].profile.from_hz ? scene->runs[r].profile.to_hz
                                                                                       : scene->runs[r].profile.from_hz;
            double at = line.hz > 0 ? line.hz : line.order * top;
            double a = v->amplitude * lay_sim_voice_gain(v, &line, 1.0, top);
            sum += a * a * (v->structure ? 10.0 : 1.0) * path_power(scene, v, at);
        }
        tones =
            fmax(tones, 4.0 * sqrt(sum)); /* crests of many lines rarely meet: four times their joint rms * sqrt 2 */
        loudest = fmax(loudest, rms);
    }
    double impacts = scene->traits->vehicle ? 14.0 : 6.0;
    double quiet = loudest * (5.5 + impacts + TONES_ROOM), bound = quiet + fmax(0, tones - loudest * TONES_ROOM);
    double wanted = lay_sim_amplitude(lay_sim_draw(&scene->random, scene->traits->level_db)) / loudest;
    double usual = fmin(wanted, 0.95 / quiet);
    scene->level = fmin(wanted, 0.95 / bound);
    scene->turned_down = usual / scene->level;
    scene->clips = lay_random_unit(&scene->random) < scene->traits->clip_chance;
    if (scene->options.events) scene->level *= 0.5; /* revs and talk louder than the runs alone */
    if (scene->clips) scene->level = 1.0 / (4.0 * loudest + 0.4 * tones);
}
