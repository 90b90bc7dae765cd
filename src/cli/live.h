/* Sound from a device while one looks on: meters, the tach, keys, time. */
#ifndef LAYSHAFT_CLI_LIVE_H
#define LAYSHAFT_CLI_LIVE_H

#include <stdio.h>

#include <layshaft/report.h>
#include <layshaft/signal.h>
#include <layshaft/speed.h>

typedef enum lay_live_end {
    LAY_LIVE_TIME,   /* so many seconds came */
    LAY_LIVE_KEY,    /* a key that was waited for */
    LAY_LIVE_QUIT,   /* q or Esc */
    LAY_LIVE_SIGNAL, /* Ctrl-C and the like */
    LAY_LIVE_DEVICE  /* the device or the disk gives up; lay_live_close tells why */
} lay_live_end;

typedef struct lay_live_options {
    lay_capture_options capture;
    const char *path; /* NULL: only meters */
    int tach_channel; /* from 1, 0: none */
    lay_tach_options tach;
    double seconds; /* no more of it is taken; 0: no end */
    FILE *screen;   /* where meters are drawn; NULL: nowhere */
    bool colour;
} lay_live_options;

typedef struct lay_live {
    const lay_live_options *options;
    lay_capture *capture;
    lay_capture_state state;
    lay_meter_channel *channels;
    double *peaks, *held_at, *ear;
    lay_tach_live *tach;
    lay_tach_look look;
    bool tach_good;
    char tach_trouble[160];
    double tach_at;                        /* when it was last looked at, s of the monotonic clock */
    int drawn;                             /* lines on the screen */
    int key;                               /* the one that ended lay_live_run */
    double slept_s, slept_at_s, clock_gap; /* the machine was suspended so long, at that second of the recording */
} lay_live;

/* Start the device. Keys are open (keys.h) and the sound system is hushed (sound.h). */
lay_status lay_live_open(const lay_live_options *options, lay_live *live, lay_error *err);
/* Go on until one of `keys` is pressed (NULL: none ends it), or `seconds` are over (0: open), or it ends otherwise. */
lay_live_end lay_live_run(lay_live *live, const char *what, const char *keys, const char *help, double seconds);
/* Stop the device; live->state is what there is at last. Takes the meters off the screen. Frees; may be called again.
 */
lay_status lay_live_close(lay_live *live, lay_error *err);

#endif
