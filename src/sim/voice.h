/* A voice is one line a part of the unit or its surroundings can sing, in every run of the job. */
#ifndef LAYSHAFT_SIM_VOICE_H
#define LAYSHAFT_SIM_VOICE_H

#include "floor.h"
#include "run.h"

typedef enum lay_sim_carrier {
    LAY_SIM_MESH,      /* multiple: harmonic; sideband turns of `wheel` away */
    LAY_SIM_WHEEL,     /* events per turn of a mesh's wheel: ghosts, once per turn */
    LAY_SIM_AXLE,      /* harmonic of the axle's mesh */
    LAY_SIM_ROTOR,     /* order of the rotor */
    LAY_SIM_ENGINE,    /* multiples of the cycle */
    LAY_SIM_REFERENCE, /* an order of the reference that belongs to nothing */
    LAY_SIM_OUTPUT,    /* the same of the output: tyres, joints */
    LAY_SIM_FIXED      /* multiple: Hz */
} lay_sim_carrier;

typedef struct lay_sim_voice {
    lay_sim_carrier carrier;
    int index, wheel; /* mesh or rotor; wheel 0 driver, 1 driven */
    double multiple;
    int sideband;
    double amplitude;    /* peak at full load and 2000 rpm, before the structure */
    double phase;        /* rad */
    double flank[2];     /* gain on drive, on coast */
    double floor_gain;   /* share of it that stays without load */
    double idle;         /* gain of a mesh that carries no torque in this gear */
    double speed_power;  /* amplitude rises with speed to this power */
    double am[2], fm[2]; /* modulation by the two wheels' turns: depth, index in rad */
    double mod_phase[2];
    bool structure; /* heard through the case */
    bool cabin;     /* heard through the cabin */
    bool measured;  /* its tone-to-noise ratio counts for its family's level */
} lay_sim_voice;

/* A voice in one run. */
typedef struct lay_sim_line {
    double order; /* per turn of the reference, 0: fixed frequency or silent */
    double hz;    /* fixed frequency, else 0 */
    bool loaded;
    bool crank; /* it follows the engine, whatever the gearbox does */
    double mod_order[2];
} lay_sim_line;

/* Where the voice stands in the run; false when it is silent there. */
bool lay_sim_voice_line(const lay_sim_voice *voice, const lay_sim_run *run, lay_sim_line *out);
/* Amplitude factor at this load and speed (turns/s of the reference). */
double lay_sim_voice_gain(const lay_sim_voice *voice, const lay_sim_line *line, double load, double hz);

#endif
