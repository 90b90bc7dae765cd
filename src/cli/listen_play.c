/* The file of `layshaft listen` to the ear. */
#include "listen.h"

#include <fcntl.h>
#include <math.h>
#include <signal.h>
#include <stdio.h>
#include <unistd.h>

#include "terminal.h"

static volatile sig_atomic_t interrupted;

static void interrupt(int number) {
    (void)number;
    interrupted = 1;
}

static bool stop(void *user) {
    (void)user;
    return interrupted != 0;
}

/* The sound system writes of its own troubles to standard error; ours says it in plain words. */
static int hush(void) {
    fflush(stderr);
    int kept = dup(STDERR_FILENO), none = open("/dev/null", O_WRONLY);
    if (none >= 0) {
        dup2(none, STDERR_FILENO);
        close(none);
    }
    return kept;
}

static void speak(int kept) {
    if (kept < 0) return;
    dup2(kept, STDERR_FILENO);
    close(kept);
}

/* A missing device is no failure: the file is there. A named one that is missing is. */
lay_status lay_listen_play(const lay_listen_options *o, lay_listening *w, char *why, size_t room, lay_error *err) {
    if (o->no_play) return LAY_OK;
    struct sigaction act = {.sa_handler = interrupt}, before;
    lay_error failed = {0};
    if (!o->common.quiet) lay_terminal_note("playing; Ctrl-C stops");
    int kept = hush();
    sigaction(SIGINT, &act, &before);
    double gain = w->result.peak > LAY_LISTEN_LOUDEST ? LAY_LISTEN_LOUDEST / w->result.peak : 1;
    lay_status status = lay_sound_play(w->path, o->device, gain, stop, NULL, &failed);
    sigaction(SIGINT, &before, NULL);
    speak(kept);
    if (!o->common.quiet) lay_terminal_note(NULL);
    w->result.played = status == LAY_OK;
    w->result.stopped = interrupted != 0;
    if (status == LAY_OK) return LAY_OK;
    if (status == LAY_BAD_INPUT)
        return lay_fail(err, status, "%.200s; --devices lists those there are (the file is %.200s)", failed.message,
                        w->path);
    snprintf(why, room, "%.200s", failed.message);
    w->result.silent = why;
    return LAY_OK;
}

int lay_listen_devices(void) {
    lay_text out = {0};
    lay_error err = {0};
    int kept = hush();
    lay_status status = lay_sound_devices(&out, &err);
    speak(kept);
    if (status == LAY_OK && out.length == 0)
        lay_text_add(&out, "%s\n", lay_sound_built() ? "no sound device" : "built without PortAudio: no sound devices");
    int exit_status = status == LAY_OK ? lay_cli_print(&out) : lay_cli_finish(status, &err);
    lay_text_free(&out);
    return exit_status;
}
