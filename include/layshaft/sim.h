/* Recordings with known truth: random or given units, faults and conditions. */
#ifndef LAYSHAFT_SIM_H
#define LAYSHAFT_SIM_H

#include <layshaft/signal.h>
#include <layshaft/unit.h>

typedef enum lay_world { LAY_WORLD_QUIET, LAY_WORLD_STAND, LAY_WORLD_ROAD, LAY_WORLD_CABIN, LAY_WORLD_COUNT } lay_world;
LAY_API const char *lay_world_name(lay_world world); /* "quiet", "stand", "road", "cabin" */
LAY_API bool lay_world_parse(const char *text, lay_world *out);

typedef enum lay_fault_kind {
    LAY_FAULT_NONE,
    LAY_FAULT_MESH,
    LAY_FAULT_ECCENTRIC,
    LAY_FAULT_CHIP,
    LAY_FAULT_GHOST,
    LAY_FAULT_OUTER,
    LAY_FAULT_INNER,
    LAY_FAULT_ELEMENT,
    LAY_FAULT_CAGE,
    LAY_FAULT_AXLE,
    LAY_FAULT_ROTOR,
    LAY_FAULT_UNKNOWN_TONE,
    LAY_FAULT_COUNT
} lay_fault_kind;
LAY_API const char *
lay_fault_kind_name(lay_fault_kind kind); /* "none", "mesh", ... "outside" kinds: "axle", "rotor", "unknown" */
LAY_API bool lay_fault_kind_parse(const char *text, lay_fault_kind *out);

/* What is wrong with the flanks of a mesh that whines. */
typedef enum lay_condition_kind {
    LAY_CONDITION_PLAIN,    /* whatever made it whine */
    LAY_CONDITION_WORN,     /* profile: the second to fifth multiple rise over the first */
    LAY_CONDITION_ASKEW,    /* a wheel that sits askew, or shafts out of line: twice per turn, second multiple strong */
    LAY_CONDITION_LOOSE,    /* play: many sidebands of a wheel's turn, and lines at odd multiples of half its turn */
    LAY_CONDITION_MISMATCH, /* a wheel that did not run in with its mate: lines that come back with the pairing of teeth
                             */
    LAY_CONDITION_CRACKED,  /* one tooth is soft: the mesh lags, and gets weaker, while it carries */
    LAY_CONDITION_COUNT
} lay_condition_kind;
LAY_API const char *lay_condition_name(lay_condition_kind condition); /* "plain", "worn", ... */
LAY_API bool lay_condition_parse(const char *text, lay_condition_kind *out);

typedef struct lay_fault {
    lay_fault_kind kind;
    int index;          /* mesh, bearing or rotor of the unit */
    int wheel;          /* 0 driver, 1 driven: eccentric, chip, ghost */
    bool drive, coast;  /* flanks that sing */
    int multiple;       /* ghost: events per turn */
    double strength_db; /* tone-to-noise ratio of its strongest line under full load; outer, inner, element, cage and
                         * chip: crest of a strike under load over the run's noise rms from 2 to 10 kHz (to 0.45 of the
                         * rate where lower) */
    lay_condition_kind condition; /* mesh only; `wheel` is the one that sits askew, is loose or cracked */
} lay_fault;

/* What the table of a job without tach says of the speed. */
typedef enum lay_speed_given {
    LAY_GIVEN_STATED, /* read off a rev counter: within 1.5 %, rounded to 50 rpm; a range for sweeps */
    LAY_GIVEN_ROUGH,  /* the same, off by 3 % (standard deviation) */
    LAY_GIVEN_RANGE,  /* a range that holds the run with 5 to 30 % to spare either side */
    LAY_GIVEN_NONE,   /* nothing */
    LAY_GIVEN_LOG,    /* rpm log of the engine beside the recording */
    LAY_GIVEN_ROAD,   /* road speed of a steady run to the whole km/h or mph; nothing for sweeps and in neutral */
    LAY_GIVEN_MIXED,  /* drawn for every run */
    LAY_GIVEN_COUNT
} lay_speed_given;
LAY_API const char *
lay_speed_given_name(lay_speed_given given); /* "stated", "rough", "range", "none", "log", "road", "mixed" */
LAY_API bool lay_speed_given_parse(const char *text, lay_speed_given *out);

/* A mesh that sings louder, or quieter, than the same job without this: all its lines alike. */
typedef struct lay_sim_louder {
    int mesh;
    double db;
} lay_sim_louder;

typedef struct lay_sim_options {
    uint64_t seed;
    uint64_t occasion; /* same seed, another number: the same unit, vehicle and mounting on another day (other speeds
                        * and noise), e.g. after a repair. What its parts sing is set by the runs of occasion 0, so that
                        * two occasions differ by what is asked for and nothing else */
    uint64_t specimen; /* same seed, another number above 0: another unit of the same build in the same mounting; its
                        * meshes differ by 0.7 dB, their lines by 0.4 dB, the mounting by 0.3 dB (standard deviations) */
    const lay_sim_louder *louder; /* [louder_count] */
    size_t louder_count;
    lay_world world;
    bool tach;                                /* else a stated rpm or range only */
    double rate;                              /* 0: drawn (16, 32, 44.1, 48 kHz) */
    double seconds;                           /* per run; 0: drawn */
    double strength_low_db, strength_high_db; /* range fault strengths are drawn from; both 0: 8..20, impacts
                                               * 3.5..14 */
    const lay_fault *faults;                  /* given faults, or NULL to draw */
    size_t fault_count;
    unsigned conditions; /* bit mask 1 << lay_condition_kind of what a drawn mesh fault may be like; 0: plain */
    unsigned kinds;      /* bit mask 1 << lay_fault_kind of what may be drawn; 0: tone kinds */
    lay_file_format format;
    lay_speed_given speed_given; /* without tach only; changes the table and nothing else */
    bool hide_gear;              /* the table leaves the gear empty */
    bool speed_truth;            /* truth.json holds the speed over time, see below */
    bool events;      /* gear shifts, clutch, blips, standstill, speech and music within runs of 10 s or more */
    bool booms;       /* resonances of the cabin lift and swallow engine orders as speed passes them */
    double engine_db; /* the engine this much louder (or quieter) than its world has it */
} lay_sim_options;

/* A random, valid transmission (2- and 3-shaft, 4 to 6 speeds, reverse idler, some with epicyclic overdrive, bearings,
 * engine, axle, rotors) with hunting and non-hunting tooth counts as practice has them. Free with lay_unit_free. */
LAY_API lay_status lay_sim_unit(uint64_t seed, lay_unit **out, lay_error *err);

/* Write a job folder (must not exist or be empty): unit.ini, runs.csv, recordings, rpm logs, truth.json. `unit` NULL:
 * drawn from the seed.
 *
 * truth.json, per run and only where asked for: "speed": {"step_s", "rpm": [...]} is the speed of the reference shaft
 * at 0, step_s, 2 step_s, ... (at least 0.05 s apart), null where it turns below 300 rpm, where the gear is another
 * one, or where the crank is not the input shaft; "shaft_rpm" (runs with events) is null only where the shaft all but
 * stands or the gear is another one. "condition" of a mesh fault, where one other than plain was asked for.
 * "impact_orders": [...], jobs with a defect bearing or a chipped tooth: for each fault the true strikes per turn of
 * the reference shaft in that run, slip included; null where it does not strike. "angle" of a chip whose wheel sits on
 * the tach's body with one pulse per turn: share of a turn from the leading edge of the pulse to the strike, in the
 * sense in which the wheel turns in the first run that loads it (else what is left of the turn). "log": {"offset_s",
 * "drift", "lag_s"}: recording time = log time * (1 + drift) + offset_s; the log shows what the engine did lag_s
 * earlier.
 *
 * `drawn` (NULL allowed) receives the faults, at most 4, and *drawn_count. */
LAY_API lay_status lay_sim_job(const char *folder, const lay_unit *unit, const lay_sim_options *options,
                               lay_fault *drawn, size_t *drawn_count, lay_error *err);

#endif
