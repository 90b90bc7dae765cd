/* The Vold-Kalman filter's state and its steps; private to the stage. */
#ifndef LAYSHAFT_ORDER_VK_H
#define LAYSHAFT_ORDER_VK_H

#include <layshaft/order.h>

#include "vk_cluster.h"

#define LAY_VK_KNOTS 16 /* per 1 / bandwidth */
#define LAY_VK_AHEAD                                                                                                   \
    10                  /* times 1 / bandwidth that are looked ahead: what lies further off moves a value by less than \
                         * 1e-7 (slowest pole of three: exp(-1.82 * 10)) */
#define LAY_VK_BLOCK 10 /* times 1 / bandwidth that are solved at once */
#define LAY_VK_CHUNK 4096  /* frames delivered at once */
#define LAY_VK_PER_KNOT 12 /* pieces of a knot interval in which envelopes count as constant, at least */
#define LAY_VK_PIECE 32    /* samples of such a piece at most: a chirp of 400 Hz/s bends its phase by 1e-4 rad */
#define LAY_VK_POINT 2     /* knots from one point of the envelopes to the next */

/* Knots of one stretch of the shaft: evenly spaced in `u`, which is time or turns from its beginning. */
typedef struct lay_vk_grid {
    size_t segment; /* of the shaft */
    double start_s, end_s, start_turns;
    double step; /* of u, from knot to knot */
    size_t intervals;
    double lambda;
} lay_vk_grid;

/* Where a moment lies. */
typedef struct lay_vk_place {
    double time, turns, hz;
    size_t interval;
    double basis[LAY_VK_SUPPORT];
    double du; /* share of a knot interval that one sample stands for */
} lay_vk_place;

struct lay_vk {
    lay_vk_options options;
    lay_vk_track *tracks;
    const lay_shaft *shaft;
    lay_vk_sink sink;
    void *user;
    lay_vk_cluster *clusters;
    size_t cluster_count;
    double penalty[LAY_VK_SUPPORT][LAY_VK_SUPPORT];
    bool inside; /* a stretch is being fed */
    lay_vk_grid grid;
    size_t next_segment;
    size_t interval;   /* being fed */
    size_t delivered;  /* intervals that have been */
    size_t next_point; /* knot of the next point of the envelopes */
    int64_t fed, sent; /* frames */
    size_t feed_hint, send_hint;
    size_t piece, pending;                /* samples of a piece; gathered and not yet added */
    double *samples;                      /* [LAY_VK_PIECE * channels] of the piece, what is no number as 0 */
    double *phasor, *half;                /* [2 * tracks of the largest cluster] at a moment; [tracks] half a step */
    double *product;                      /* [2 * tracks of the largest cluster * channels] */
    double *sum;                          /* [LAY_VK_CHUNK * channels] */
    double *time, *turns, *hz, *envelope; /* of the points of a chunk */
    size_t point_room;
};

/* vk_angle.c: where a moment lies in the stretch; false outside of it. */
bool lay_vk_locate(const lay_vk *vk, double time, size_t *hint, lay_vk_place *out);
/* The next stretch into the grid; false when there is none. */
bool lay_vk_next_stretch(lay_vk *vk);
/* Pairs (cos, sin) of the tracks of a cluster at a place; (0, 0) from half the rate on. */
void lay_vk_phasors(const lay_vk *vk, const lay_vk_cluster *c, const lay_vk_place *place, double *out);
/* What they turn by in half the time from one sample to the next, rad. */
void lay_vk_half_steps(const lay_vk *vk, const lay_vk_cluster *c, const lay_vk_place *place, double *out);
/* Cosine and sine of `cycles` turns. */
void lay_vk_turn_to(double cycles, double *c, double *s);

/* vk_piece.c: add the samples gathered in the piece to every cluster. */
void lay_vk_add_piece(lay_vk *vk, const lay_vk_place *centre);

/* vk_plan.c: which tracks are solved together. */
lay_status lay_vk_plan(lay_vk *vk, lay_error *err);

/* vk_send.c: hand on frames up to the end of interval `upto`, not included, from the clusters' solutions; frames before
 * the stretch as silence. */
lay_status lay_vk_send(lay_vk *vk, size_t upto, lay_error *err);
/* Hand on silence up to frame `upto`, not included. */
lay_status lay_vk_send_silence(lay_vk *vk, int64_t upto, lay_error *err);

#endif
