/* How crank and input shaft turn through one run. As long as nothing happens both follow the profile; a gear shift, a
 * clutch pressed, a blip, a stop part them for a while. */
#ifndef LAYSHAFT_SIM_TRIP_H
#define LAYSHAFT_SIM_TRIP_H

#include "profile.h"

/* A stretch of one curve: the profile times `scale`, or (scale 0) a smooth passage from one speed to another. */
typedef struct lay_sim_piece {
    double start, end;     /* s */
    double scale;          /* of the profile; 0: a passage */
    double from_hz, to_hz; /* passage */
    double turns;          /* at the start */
} lay_sim_piece;

#define LAY_SIM_PIECES 14

/* Speed over time in closed form. Without pieces it is the profile itself. */
typedef struct lay_sim_curve {
    lay_sim_piece piece[LAY_SIM_PIECES];
    size_t count;
} lay_sim_curve;

/* Follow `scale` times the profile until `until` (s). */
void lay_sim_curve_follow(lay_sim_curve *curve, const lay_sim_profile *profile, double until, double scale);
/* Pass from where the curve stands (at the very start: from `to_hz` itself) to `to_hz` (turns/s) within `seconds`. */
void lay_sim_curve_pass(lay_sim_curve *curve, const lay_sim_profile *profile, double seconds, double to_hz);
/* s until which the curve is laid. */
double lay_sim_curve_end(const lay_sim_curve *curve);
void lay_sim_curve_at(const lay_sim_curve *curve, const lay_sim_profile *profile, double t, double *turns, double *hz);

typedef enum lay_sim_event_kind {
    LAY_SIM_SHIFT,  /* the recording begins in the next lower gear */
    LAY_SIM_START,  /* the vehicle stands with the engine idling, then pulls away */
    LAY_SIM_CLUTCH, /* clutch down, the engine idles while the vehicle rolls */
    LAY_SIM_BLIP,   /* the same with a burst of throttle */
    LAY_SIM_STOP,   /* clutch down, to a standstill */
    LAY_SIM_OFF,    /* the engine is switched off */
    LAY_SIM_SPEECH, /* somebody talks */
    LAY_SIM_MUSIC
} lay_sim_event_kind;

typedef struct lay_sim_event {
    lay_sim_event_kind kind;
    double from, to; /* s */
    double open;     /* s at which the clutch opens; it closes at `to` */
    bool parts;      /* the crank is not the input shaft, or the gear is another one */
} lay_sim_event;

#define LAY_SIM_EVENTS_MAX 6

typedef struct lay_sim_trip {
    lay_sim_curve shaft, crank;
    lay_sim_event events[LAY_SIM_EVENTS_MAX];
    size_t event_count;
    double geared_at; /* s at which the stated gear goes in; 0: from the start */
} lay_sim_trip;

/* Word of an event for truth.json. */
const char *lay_sim_event_name(lay_sim_event_kind kind);

/* Everything that moves, at one time. */
typedef struct lay_sim_moment {
    double turns, hz;             /* reference shaft: turns since the start, turns/s */
    double crank_turns, crank_hz; /* the engine */
    double road_hz;               /* speed the shaft would have in the stated gear: what the wheels do */
    double load;
    double geared; /* 0 in the lower gear, 1 in the stated one, between them for the moment of the change */
} lay_sim_moment;

void lay_sim_trip_at(const lay_sim_trip *trip, const lay_sim_profile *profile, double t, lay_sim_moment *out);
/* Speed of the reference shaft in turns/s while the stated gear is in; 0 where it is not or the shaft all but stands.
 */
double lay_sim_trip_shaft_hz(const lay_sim_trip *trip, const lay_sim_profile *profile, double t);
/* The same where crank and shaft also turn as one, else 0. */
double lay_sim_trip_joined_hz(const lay_sim_trip *trip, const lay_sim_profile *profile, double t);

#endif
