/* Tracks that are solved together, because they cross or come close: least squares in a band, as a stream. */
#ifndef LAYSHAFT_ORDER_VK_CLUSTER_H
#define LAYSHAFT_ORDER_VK_CLUSTER_H

#include <layshaft/base.h>

#include "vk_spline.h"

/* Unknowns of a knot: real and imaginary part of each track. The normal equations of all samples of an interval touch
 * the four knots of its splines; once they are in, the first of the four is eliminated (Cholesky) and its row kept for
 * the way back. `known` and `solution` hold a value for each channel. */
typedef struct lay_vk_cluster {
    size_t tracks, unknowns, channels; /* unknowns: of one knot */
    size_t *track;                     /* [tracks] numbers of the filter's tracks */
    double *window;                    /* [4 unknowns]^2 lower half, of the four knots in work */
    double *right;                     /* [4 unknowns][channels] */
    double *products;                  /* work */
    double *rows;                      /* [capacity][unknowns][4 unknowns] */
    double *known, *solution;          /* [capacity][unknowns][channels] */
    double *kept_window, *kept_right;  /* while the end is solved for the time being */
    size_t capacity, first, count;     /* knots first .. first + count - 1 are eliminated and held */
} lay_vk_cluster;

lay_status lay_vk_cluster_init(lay_vk_cluster *c, const size_t *track, size_t tracks, size_t channels, size_t capacity,
                               lay_error *err);
void lay_vk_cluster_free(lay_vk_cluster *c);
/* Forget everything: a new stretch begins at knot 0. */
void lay_vk_cluster_restart(lay_vk_cluster *c);

/* `n` samples around a moment: `basis` of their interval there, `phasor` pairs (cos, sin) of each track there (0, 0:
 * the track is silent), `half` what it turns by in half a sample's time (rad), the weight of each sample, and `product`
 * [tracks][channels] pairs: their sum times e^{-i phase}. */
void lay_vk_cluster_add(lay_vk_cluster *c, const double *basis, const double *phasor, const double *half, size_t n,
                        double weight, const double *product);
/* The interval is complete: add lambda times the penalty and eliminate its first knot. */
void lay_vk_cluster_next(lay_vk_cluster *c, double lambda, double penalty[LAY_VK_SUPPORT][LAY_VK_SUPPORT]);
/* Solve all knots held and the three in work as if the signal ended here: `solution` of knots first .. first + count
 * + 2. Goes on as before afterwards. */
void lay_vk_cluster_solve(lay_vk_cluster *c);
/* Complex value of track `t` (of the cluster) for a channel in interval `interval`, from the last solution. */
void lay_vk_cluster_value(const lay_vk_cluster *c, size_t interval, const double *basis, size_t t, size_t channel,
                          double out[2]);
/* Knots before `knot` are not needed any more. */
void lay_vk_cluster_forget(lay_vk_cluster *c, size_t knot);

#endif
