/* Recordings with known truth: random or given units, faults and conditions. */
#ifndef LAYSHAFT_SIM_H
#define LAYSHAFT_SIM_H

#include <layshaft/signal.h>
#include <layshaft/unit.h>

typedef enum lay_world { LAY_WORLD_QUIET, LAY_WORLD_STAND, LAY_WORLD_ROAD, LAY_WORLD_CABIN, LAY_WORLD_COUNT } lay_world;
LAY_API const char *lay_world_name(lay_world world); /* "quiet", "stand", "road", "cabin" */
LAY_API bool lay_world_parse(const char *text, lay_world *out);

typedef enum lay_fault_kind {
    LAY_FAULT_NONE, LAY_FAULT_MESH, LAY_FAULT_ECCENTRIC, LAY_FAULT_CHIP, LAY_FAULT_GHOST, LAY_FAULT_OUTER, LAY_FAULT_INNER,
    LAY_FAULT_ELEMENT, LAY_FAULT_CAGE, LAY_FAULT_AXLE, LAY_FAULT_ROTOR, LAY_FAULT_UNKNOWN_TONE, LAY_FAULT_COUNT
} lay_fault_kind;
LAY_API const char *lay_fault_kind_name(lay_fault_kind kind); /* "none", "mesh", ... "outside" kinds: "axle", "rotor", "unknown" */
LAY_API bool lay_fault_kind_parse(const char *text, lay_fault_kind *out);

typedef struct lay_fault {
    lay_fault_kind kind;
    int index;          /* mesh, bearing or rotor of the unit */
    int wheel;          /* 0 driver, 1 driven: eccentric, chip, ghost */
    bool drive, coast;  /* flanks that sing */
    int multiple;       /* ghost: events per turn */
    double strength_db; /* tone-to-noise ratio of its strongest line under full load; impacts: peak over noise rms */
} lay_fault;

typedef struct lay_sim_options {
    uint64_t seed;
    uint64_t occasion;     /* same seed, another number: the same unit, vehicle and mounting on another day (other speeds and
                            * noise), e.g. after a repair */
    lay_world world;
    bool tach;             /* else a stated rpm or range only */
    double rate;           /* 0: drawn (16, 32, 44.1, 48 kHz) */
    double seconds;        /* per run; 0: drawn */
    double strength_low_db, strength_high_db; /* range fault strengths are drawn from; both 0: 8..20 */
    const lay_fault *faults; /* given faults, or NULL to draw */
    size_t fault_count;
    unsigned kinds;        /* bit mask 1 << lay_fault_kind of what may be drawn; 0: tone kinds */
    lay_file_format format;
} lay_sim_options;

/* A random, valid transmission (2- and 3-shaft, 4 to 6 speeds, reverse idler, some with epicyclic overdrive, bearings, engine,
 * axle, rotors) with hunting and non-hunting tooth counts as practice has them. Free with lay_unit_free. */
LAY_API lay_status lay_sim_unit(uint64_t seed, lay_unit **out, lay_error *err);

/* Write a job folder (must not exist or be empty): unit.ini, runs.csv, recordings, truth.json. `unit` NULL: drawn from the seed.
 * `drawn` (NULL allowed) receives the faults, at most 4, and *drawn_count. */
LAY_API lay_status lay_sim_job(const char *folder, const lay_unit *unit, const lay_sim_options *options, lay_fault *drawn,
                               size_t *drawn_count, lay_error *err);

#endif
