/* Tracks for orders that are to be followed, and for what lies beside them; private to the stage. */
#ifndef LAYSHAFT_SOURCE_NEIGHBOURS_H
#define LAYSHAFT_SOURCE_NEIGHBOURS_H

#include <layshaft/source.h>

#define LAY_TRACKS_MAX 160
#define LAY_WIDTH_LEAST 0.04 /* orders: no narrower filter is chosen */

/* The first `count` of tracks[LAY_TRACKS_MAX] are taken (count <= LAY_TRACKS_MAX); the run's other lines so near to one
 * of them that they would leak through a filter of this width are added behind. Returns how many there are then. */
size_t lay_tracks_add_neighbours(const lay_run_evidence *run, double width, lay_vk_track *tracks, size_t count);
/* The same for orders that parts of the unit make so near that the spectrum shows one line for both: tracks[own..count)
 * are neighbours already. */
size_t lay_tracks_add_known(const lay_run_evidence *run, double width, lay_vk_track *tracks, size_t own, size_t count);

/* Distance from which on two orders that are exactly known are told apart by a filter of this width; 0: by the
 * narrowest there is. */
double lay_orders_apart(const lay_run_evidence *run, double width);
/* Of the orders a part makes, sidebands left out, the one nearest to `order`; NaN when it makes none, which bearings
 * and an engine that is not heard never do. */
double lay_part_order_near(const lay_run_evidence *run, const lay_expected *part, double order);

#endif
