/* A recording that is written while it is made and survives whatever ends the program; private to the stage. */
#ifndef LAYSHAFT_SIGNAL_KEEPER_H
#define LAYSHAFT_SIGNAL_KEEPER_H

#include <layshaft/signal.h>

typedef struct lay_keeper lay_keeper;

typedef struct lay_keeper_options {
    double rate;
    int channels, bits;  /* bits: 16, 24 or 32 */
    const char *comment; /* into the file's own text; NULL none */
} lay_keeper_options;

/* Make the file, under its final name and readable from now on. LAY_BAD_INPUT when it exists already or the format
 * cannot hold it, LAY_IO when it cannot be made. It is RF64, which has no limit of size, and becomes plain WAV at the
 * end where it fits. */
lay_status lay_keeper_open(const char *path, const lay_keeper_options *options, lay_keeper **out, lay_error *err);
/* Add frames[count * channels], interleaved, full scale = 2^31. Once this returns, the frames are in the file even if
 * the program is killed, up to the last quarter of a second; LAY_IO when the disk takes no more: what is in the file
 * stays readable and nothing more can be added. */
lay_status lay_keeper_add(lay_keeper *k, const int32_t *frames, size_t count, lay_error *err);
/* Make all so far outlast a loss of power as well. May wait for the disk. */
lay_status lay_keeper_secure(lay_keeper *k, lay_error *err);
/* Frames that a reader of the file gets at the least. */
int64_t lay_keeper_frames(const lay_keeper *k);
/* Finish and free; NULL allowed. The file stays, whatever is returned. */
lay_status lay_keeper_close(lay_keeper *k, lay_error *err);

#endif
