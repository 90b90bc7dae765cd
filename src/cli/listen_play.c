/* The file of `layshaft listen` to the ear. */
#include "listen.h"

#include <math.h>
#include <signal.h>
#include <stdio.h>

#include "sound.h"
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

/* A missing device is no failure: the file is there. A named one that is missing is. */
lay_status lay_listen_play(const lay_listen_options *o, lay_listening *w, char *why, size_t room, lay_error *err) {
    if (o->no_play) return LAY_OK;
    struct sigaction act = {.sa_handler = interrupt}, before;
    lay_error failed = {0};
    if (!o->common.quiet) lay_terminal_note("playing; Ctrl-C stops");
    FILE *kept = lay_sound_hush();
    sigaction(SIGINT, &act, &before);
    double gain = w->result.peak > LAY_LISTEN_LOUDEST ? LAY_LISTEN_LOUDEST / w->result.peak : 1;
    lay_status status = lay_sound_play(w->path, o->device, gain, stop, NULL, &failed);
    sigaction(SIGINT, &before, NULL);
    lay_sound_speak(kept);
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
