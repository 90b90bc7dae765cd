#include "sound.h"

#include <fcntl.h>
#include <unistd.h>

#include <layshaft/signal.h>

#include "options.h"

FILE *lay_sound_hush(void) {
    fflush(stderr);
    int copy = dup(STDERR_FILENO), none = open("/dev/null", O_WRONLY);
    FILE *kept = copy >= 0 ? fdopen(copy, "w") : NULL;
    if (!kept && copy >= 0) close(copy);
    if (kept && none >= 0) dup2(none, STDERR_FILENO);
    if (none >= 0) close(none);
    return kept;
}

void lay_sound_speak(FILE *kept) {
    if (!kept) return;
    fflush(kept);
    dup2(fileno(kept), STDERR_FILENO);
    fclose(kept);
}

int lay_sound_print_devices(bool inputs) {
    lay_text out = {0};
    lay_error err = {0};
    FILE *kept = lay_sound_hush();
    lay_status status = inputs ? lay_sound_inputs(&out, &err) : lay_sound_devices(&out, &err);
    lay_sound_speak(kept);
    if (status == LAY_OK && out.length == 0)
        lay_text_add(&out, "%s\n", lay_sound_built() ? "no sound device" : "built without PortAudio: no sound devices");
    int exit_status = status == LAY_OK ? lay_cli_print(&out) : lay_cli_finish(status, &err);
    lay_text_free(&out);
    return exit_status;
}
