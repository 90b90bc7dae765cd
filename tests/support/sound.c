#include "sound.h"

#include "cmocka_all.h"

#include <string.h>

bool no_sound_device(lay_status (*list)(lay_text *out, lay_error *err), const char *device) {
    lay_text devices = {0};
    lay_error err = {0};
    bool none = !lay_sound_built() || list(&devices, &err) != LAY_OK || !devices.text || !strstr(devices.text, device);
    lay_text_free(&devices);
    if (none) print_message("skipped: no virtual sound device here\n");
    return none;
}
