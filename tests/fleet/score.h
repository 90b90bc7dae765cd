/* One simulated job: made, diagnosed, compared with its truth. */
#ifndef TESTS_FLEET_SCORE_H
#define TESTS_FLEET_SCORE_H

#include "speed.h"

#include <layshaft/judge.h>

#define FLEET_SUSPECTS 12

/* What of a job is looked at. */
typedef struct fleet_wish {
    bool verdict; /* diagnose it */
    bool speed;   /* score the speed of every run */
    bool pair;    /* diagnose the same job with a tach too */
} fleet_wish;

/* The same job with a tach. */
typedef struct fleet_twin {
    bool there, right_part;
    lay_outcome outcome;
} fleet_twin;

/* Plain data, small enough to pass a pipe in one piece. */
typedef struct fleet_result {
    uint64_t seed;
    int world;
    bool failed; /* the road itself failed: an error, not a verdict */
    lay_outcome truth, outcome;
    int fault_kind; /* lay_fault_kind of the first fault */
    double strength_db;
    int fault_count, run_count;
    bool right_part, right_kind, right_body; /* of the first suspect */
    bool listed;                             /* the right part is among the suspects at all */
    int suspect_count;
    double probability[FLEET_SUSPECTS];
    bool right[FLEET_SUSPECTS];
    double simulate_s, diagnose_s, recorded_s;
    char truth_part[48], truth_kind[16], truth_body[48], first_part[48], first_kind[16], first_body[48];
    char condition[16];               /* of the mesh at fault; for other kinds the kind; "healthy" */
    char condition_body[48];          /* the wheel the condition sits in, or the fault; empty: none */
    int resonances, resonances_right; /* claimed, and where the structure does peak */
    bool flank_said, flank_right;     /* which flank the right first suspect sings on */
    unsigned symptoms;                /* kinds the right first suspect shows, bit mask; */
    unsigned symptoms_at_body;        /* those that name that wheel */
    int twin_count;                   /* parts nobody can tell from the faulty one */
    bool twins_named;                 /* the first suspect is right and says so of all of them */
    int faulty_parts, faulty_cleared, sound_parts, sound_cleared; /* meshes and bearings: what "may stay" is worth */
    char message[160];
    fleet_twin twin;
    fleet_speed speeds[FLEET_RUNS];
    int speed_count;
} fleet_result;

/* Simulate into `folder` (made here), diagnose through the public library, score. */
void fleet_job(const char *folder, const lay_sim_options *options, const fleet_wish *wish, fleet_result *out);
/* Delete a job folder with everything in it. */
void fleet_remove(const char *folder);

#endif
