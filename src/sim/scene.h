/* Everything that is fixed for a job: unit, faults, runs, voices, noise. */
#ifndef LAYSHAFT_SIM_SCENE_H
#define LAYSHAFT_SIM_SCENE_H

#include "floor.h"
#include "run.h"
#include "voice.h"

#define LAY_SIM_FAULTS_MAX 4
#define LAY_SIM_RUNS_MAX 12

/* How the tach is mounted for the whole job; body < 0: none. */
typedef struct lay_sim_tach {
    int body;
    double per_turn;
} lay_sim_tach;

typedef struct lay_sim_scene {
    const lay_unit *unit;
    const lay_sim_traits *traits;
    lay_sim_options options;
    double rate;
    lay_random random; /* of the stage at work: see lay_sim_stream */
    lay_sim_floor noise;
    lay_sim_cascade cabin;             /* what lies between the engine and the sensor; empty: nothing */
    double air_power, structure_power; /* noises grow with speed to these powers */
    lay_fault faults[LAY_SIM_FAULTS_MAX];
    size_t fault_count;
    lay_sim_run runs[LAY_SIM_RUNS_MAX];
    size_t run_count;
    lay_sim_voice *voices;
    size_t voice_count, voice_capacity;
    lay_sim_tach tach;  /* of a job with one, as soon as the table is drawn */
    double level;       /* output gain */
    double turned_down; /* of that, to keep what is loud inside full scale: >= 1 */
    bool clips;         /* the recorder was set too high: crests are cut now and then */
} lay_sim_scene;

/* Draw the whole job for a unit (borrowed) from the options' seed into a zeroed scene; free it in every case. */
lay_status lay_sim_scene_build(lay_sim_scene *scene, const lay_unit *unit, const lay_sim_options *options,
                               lay_error *err);
void lay_sim_scene_free(lay_sim_scene *scene);

/* Each stage draws from a stream of its own, so that a fault more or a run less leaves everything else as it was.
 * Streams from LAY_SIM_STREAM_DAY on change with the occasion. */
enum {
    LAY_SIM_STREAM_JOB,
    LAY_SIM_STREAM_FAULTS,
    LAY_SIM_STREAM_PLAN,
    LAY_SIM_STREAM_STRUCTURE,
    LAY_SIM_STREAM_SURROUNDINGS,
    LAY_SIM_STREAM_FAULT_VOICES,
    LAY_SIM_STREAM_LEVEL,
    LAY_SIM_STREAM_CALIBRATION,
    LAY_SIM_STREAM_CABIN,
    LAY_SIM_STREAM_CONDITION,
    LAY_SIM_STREAM_IMPACTS = 100,
    LAY_SIM_STREAM_MESH = 1000,
    LAY_SIM_STREAM_ROTOR = 10000,
    LAY_SIM_STREAM_SPECIMEN = 15000, /* the mounting's, then one per mesh */
    LAY_SIM_STREAM_DAY = 20000,
    LAY_SIM_STREAM_TABLE = 20001,
    LAY_SIM_STREAM_PROFILE = 20100,
    LAY_SIM_STREAM_NOISE = 20200,
    LAY_SIM_STREAM_GIVEN = 20300, /* the job's, then one per run */
    LAY_SIM_STREAM_EVENTS = 20400,
    LAY_SIM_STREAM_OVERLAY = 20500
};
lay_random lay_sim_stream(const lay_sim_options *options, uint64_t stream);

/* fault.c: take over the given faults or draw some that the unit can have; fill in what was left open. */
lay_status lay_sim_scene_faults(lay_sim_scene *scene, lay_error *err);
/* True when the part at fault is driven in this gear, so that the fault can be heard; false without a gear that solves.
 */
bool lay_sim_fault_sings(const lay_fault *fault, const lay_sim_run *run);
/* True for the kinds that strike: a chipped tooth, defects of bearings. */
bool lay_sim_fault_impulsive(lay_fault_kind kind);
/* True when the load lies on a flank that sings. */
bool lay_sim_fault_flank(const lay_fault *fault, lay_load load);

/* plan.c: choose gears, loads and motions so that every fault is heard at least once; solve their kinematics. */
lay_status lay_sim_scene_plan(lay_sim_scene *scene, lay_error *err);
/* True in reverse: the output turns against the sense it has in most gears. */
bool lay_sim_run_backward(const lay_unit *unit, const lay_sim_run *run);
/* Kinematics and expected orders of one gear. */
lay_status lay_sim_run_solve(const lay_unit *unit, int gear, lay_sim_run *run, lay_error *err);

/* The next lower forward gear than the run's; -1 when there is none. */
int lay_sim_gear_below(const lay_unit *unit, const lay_sim_run *run);

/* events.c: draw what happens in each run, when the options ask for it. */
lay_status lay_sim_scene_events(lay_sim_scene *scene, lay_error *err);

/* given.c: draw what the table says of every run's speed (call when the runs have their file names); the vehicle's
 * tyres.
 */
void lay_sim_scene_given(lay_sim_scene *scene);
lay_sim_tyre lay_sim_tyre_draw(const lay_sim_scene *scene);

/* specimen.c: what sets this unit apart from others of its build, and louder meshes. */
void lay_sim_scene_specimen(lay_sim_scene *scene);

/* natural.c: what healthy parts and the surroundings sing. fault_voice.c: what the faults add. */
lay_status lay_sim_scene_natural(lay_sim_scene *scene, lay_error *err);
lay_status lay_sim_scene_fault_voices(lay_sim_scene *scene, lay_error *err);
lay_status lay_sim_scene_add(lay_sim_scene *scene, const lay_sim_voice *voice, lay_error *err);

/* Draw the cabin's resonances. */
void lay_sim_scene_cabin(lay_sim_scene *scene);

/* level.c */
/* Gain from the source of a voice to the sensor at `hz`, and the phase in rad, without jumps (NULL allowed). */
double lay_sim_voice_path(const lay_sim_scene *scene, const lay_sim_voice *voice, double hz, double *turn);
void lay_sim_noise_gain(const lay_sim_scene *scene, const lay_sim_run *run, double hz, double *air, double *structure);
/* rms of the whole floor in a run. */
double lay_sim_noise_rms(const lay_sim_scene *scene, const lay_sim_run *run);
/* Tone-to-noise ratio in dB: the tone's mean square over the run to the mean noise in the critical band around it; -200
 * when silent. */
double lay_sim_voice_tnr(const lay_sim_scene *scene, const lay_sim_run *run, const lay_sim_voice *voice);
/* Largest ratio of the measured voices from `first` on, in one run. */
double lay_sim_family_tnr(const lay_sim_scene *scene, const lay_sim_run *run, size_t first);
/* Scale the voices from `first` on so that the family's ratio, averaged in dB over the runs in `mask` (bit per run), is
 * `target_db`; then lower it until no run exceeds `cap_db`. Without any run to measure in, nothing is scaled and the
 * voices stay silent. */
void lay_sim_family_set(lay_sim_scene *scene, size_t first, unsigned mask, double target_db, double cap_db);
/* Output gain so that nothing clips unless wanted. */
void lay_sim_scene_level(lay_sim_scene *scene);

#endif
