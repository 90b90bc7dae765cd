/* Virtual sound devices: skipped where there are none. */
#ifndef LAYSHAFT_TESTS_SUPPORT_SOUND_H
#define LAYSHAFT_TESTS_SUPPORT_SOUND_H

#include <layshaft/signal.h>

/* True, and says so, where `list` does not show the device: built without PortAudio, or ALSA's own files are not
 * installed. */
bool no_sound_device(lay_status (*list)(lay_text *out, lay_error *err), const char *device);

#endif
