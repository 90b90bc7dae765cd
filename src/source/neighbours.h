/* Tracks for orders that are to be followed, and for the lines beside them; private to the stage. */
#ifndef LAYSHAFT_SOURCE_NEIGHBOURS_H
#define LAYSHAFT_SOURCE_NEIGHBOURS_H

#include <layshaft/source.h>

#define LAY_TRACKS_MAX 160

/* The first `count` of tracks[LAY_TRACKS_MAX] are taken (count <= LAY_TRACKS_MAX); the run's other lines so near to one
 * of them that they would leak through a filter of this width are added behind. Returns how many there are then. */
size_t lay_tracks_add_neighbours(const lay_run_evidence *run, double width, lay_vk_track *tracks, size_t count);

#endif
