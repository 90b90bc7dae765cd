/* No two units of one build sound alike: how one differs from the others, and what was made louder on purpose. */
#include "scene.h"

#define MESH_DB 0.7
#define LINE_DB 0.4
#define MOUNTING_DB 0.3

static double scatter(lay_random *r, double deviation_db) {
    return lay_sim_amplitude(deviation_db * lay_random_normal(r));
}

/* Each number is another unit; 0 is the one that the seed draws. */
static lay_random stream(const lay_sim_scene *scene, uint64_t of) {
    lay_sim_options options = scene->options;
    options.seed ^= UINT64_C(0xbf58476d1ce4e5b9) * options.specimen;
    return lay_sim_stream(&options, LAY_SIM_STREAM_SPECIMEN + of);
}

static void other_unit(lay_sim_scene *scene) {
    lay_random mounting = stream(scene, 0);
    scene->level *= scatter(&mounting, MOUNTING_DB);
    for (size_t m = 0; m < scene->unit->mesh_count; m++) {
        lay_random r = stream(scene, 1 + m);
        double mesh = scatter(&r, MESH_DB);
        for (size_t i = 0; i < scene->voice_count; i++) {
            lay_sim_voice *v = &scene->voices[i];
            if (v->carrier == LAY_SIM_MESH && v->index == (int)m) v->amplitude *= mesh * scatter(&r, LINE_DB);
        }
    }
}

void lay_sim_scene_specimen(lay_sim_scene *scene) {
    if (scene->options.specimen > 0) other_unit(scene);
    for (size_t k = 0; k < scene->options.louder_count; k++)
        for (size_t i = 0; i < scene->voice_count; i++) {
            lay_sim_voice *v = &scene->voices[i];
            bool of_mesh = v->carrier == LAY_SIM_MESH || v->carrier == LAY_SIM_WHEEL;
            if (of_mesh && v->index == scene->options.louder[k].mesh)
                v->amplitude *= lay_sim_amplitude(scene->options.louder[k].db);
        }
}
