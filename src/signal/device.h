/* Sound devices by name or number; private to the stage, and only where there is PortAudio. */
#ifndef LAYSHAFT_SIGNAL_DEVICE_H
#define LAYSHAFT_SIGNAL_DEVICE_H

#include <layshaft/signal.h>
#include <portaudio.h>
#include <stdbool.h>

lay_status lay_device_failed(PaError code, lay_error *err);
/* The device a user means: NULL the usual one, a number, or a part of the name. PortAudio is initialised. */
lay_status lay_device_find(const char *wish, bool input, PaDeviceIndex *out, lay_error *err);
/* "number name, channels" a line. */
lay_status lay_device_list(bool input, lay_text *out, lay_error *err);

#endif
