#include "scene.h"

#include <math.h>
#include <stdlib.h>

lay_random lay_sim_stream(const lay_sim_options *options, uint64_t stream) {
    uint64_t day = stream >= LAY_SIM_STREAM_DAY ? options->occasion : 0;
    lay_random random;
    lay_random_seed(&random,
                    (options->seed + UINT64_C(0x9e3779b97f4a7c15) * stream) ^ (UINT64_C(0xd1b54a32d192ed03) * day));
    return random;
}

lay_status lay_sim_scene_add(lay_sim_scene *scene, const lay_sim_voice *voice, lay_error *err) {
    void *items = scene->voices;
    lay_status status = lay_grow(&items, &scene->voice_capacity, scene->voice_count, sizeof *voice, err);
    scene->voices = items;
    if (status != LAY_OK) return status;
    scene->voices[scene->voice_count++] = *voice;
    return LAY_OK;
}

/* Air modes of a body shell lie between some 40 and 250 Hz; at a node of one an order all but vanishes (common
 * practice, no source). */
void lay_sim_scene_cabin(lay_sim_scene *scene) {
    lay_random r = lay_sim_stream(&scene->options, LAY_SIM_STREAM_CABIN);
    for (int i = 0; i < 6 && scene->traits->vehicle; i++) {
        double hz = 40.0 * pow(250.0 / 40.0, lay_random_unit(&r)), q = lay_random_between(&r, 3, 10);
        double db = lay_random_between(&r, 6, 14) * (i % 2 == 0 ? 1.0 : -1.0);
        lay_sim_cascade_add(&scene->cabin, lay_sim_peaking(scene->rate, hz, q, db));
    }
}

/* What the parts sing, and the recorder's gain, belong to the unit and its mounting: they are set by the runs of the
 * first occasion. */
static lay_status as_first(lay_sim_scene *scene, lay_error *err) {
    lay_sim_options options = scene->options;
    options.occasion = options.specimen = options.louder_count = 0;
    lay_sim_scene *first = lay_calloc(1, sizeof *first);
    if (!first) return lay_fail(err, LAY_NO_MEMORY, "no memory for a simulated job");
    lay_status status = lay_sim_scene_build(first, scene->unit, &options, err);
    for (size_t i = 0; status == LAY_OK && i < scene->voice_count && i < first->voice_count; i++)
        scene->voices[i].amplitude = first->voices[i].amplitude;
    scene->level = first->level;
    scene->turned_down = first->turned_down;
    scene->clips = first->clips;
    lay_sim_scene_free(first);
    free(first);
    return status;
}

lay_status lay_sim_scene_build(lay_sim_scene *scene, const lay_unit *unit, const lay_sim_options *options,
                               lay_error *err) {
    static const double rates[] = {16000, 32000, 44100, 48000};
    lay_random *r = &scene->random;
    scene->unit = unit;
    scene->options = *options;
    scene->traits = lay_sim_world_traits(options->world);
    *r = lay_sim_stream(options, LAY_SIM_STREAM_JOB);
    double drawn = rates[lay_random_int(r, 0, 3)];
    scene->rate = scene->options.rate > 0 ? scene->options.rate : drawn;
    scene->air_power = lay_random_between(r, 0.4, 1.2);
    scene->structure_power = lay_random_between(r, 0.3, 1.0);
    *r = lay_sim_stream(options, LAY_SIM_STREAM_FAULTS);
    lay_status status = lay_sim_scene_faults(scene, err);
    *r = lay_sim_stream(options, LAY_SIM_STREAM_PLAN);
    if (status == LAY_OK) status = lay_sim_scene_plan(scene, err);
    if (status == LAY_OK) status = lay_sim_scene_events(scene, err);
    *r = lay_sim_stream(options, LAY_SIM_STREAM_STRUCTURE);
    if (status == LAY_OK) status = lay_sim_floor_draw(r, scene->traits, scene->rate, &scene->noise, err);
    if (scene->options.booms) lay_sim_scene_cabin(scene);
    if (status == LAY_OK) status = lay_sim_scene_natural(scene, err);
    *r = lay_sim_stream(options, LAY_SIM_STREAM_FAULT_VOICES);
    if (status == LAY_OK) status = lay_sim_scene_fault_voices(scene, err);
    *r = lay_sim_stream(options, LAY_SIM_STREAM_LEVEL);
    if (status == LAY_OK) lay_sim_scene_level(scene);
    if (status == LAY_OK && options->occasion > 0) status = as_first(scene, err);
    if (status == LAY_OK) lay_sim_scene_specimen(scene);
    return status;
}

void lay_sim_scene_free(lay_sim_scene *scene) {
    for (size_t i = 0; i < scene->run_count; i++) lay_sim_run_free(&scene->runs[i]);
    free(scene->voices);
    lay_sim_floor_free(&scene->noise);
    *scene = (lay_sim_scene){0};
}
