/* The piece of a run under work: the motion at the edges of short blocks, within which everything is linear. */
#ifndef LAYSHAFT_SIM_CHUNK_H
#define LAYSHAFT_SIM_CHUNK_H

#include "scene.h"

#define LAY_SIM_BLOCKS 256 /* blocks in a chunk */
#define LAY_SIM_BLOCK_LONGEST 32
#define LAY_SIM_STRIDE 16 /* blocks between two evaluations of slow gains */

typedef struct lay_sim_chunk {
    double rate;
    size_t block;                     /* samples in a block, a multiple of 4 */
    double turns[LAY_SIM_BLOCKS + 1]; /* of the reference, at the edges of blocks */
    double hz[LAY_SIM_BLOCKS + 1];
    double crank_turns[LAY_SIM_BLOCKS + 1];
    double crank_hz[LAY_SIM_BLOCKS + 1];
    double road_hz[LAY_SIM_BLOCKS + 1]; /* what the wheels would give the reference in the stated gear */
    double geared[LAY_SIM_BLOCKS + 1];  /* 1 in the stated gear, 0 in the one before */
    double load[LAY_SIM_BLOCKS + 1];
    double time[LAY_SIM_BLOCKS + 1]; /* s */
    double x[LAY_SIM_BLOCKS * LAY_SIM_BLOCK_LONGEST];
    double spare[LAY_SIM_BLOCKS * LAY_SIM_BLOCK_LONGEST];
} lay_sim_chunk;

/* tones.c: add every voice of the scene that sounds in this run. */
void lay_sim_chunk_tones(const lay_sim_scene *scene, const lay_sim_run *run, lay_sim_chunk *chunk);

#endif
