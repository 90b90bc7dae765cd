/* Clocks that nobody sets, and the one on the wall. */
#ifndef LAYSHAFT_CLI_CLOCK_H
#define LAYSHAFT_CLI_CLOCK_H

/* Seconds, from some moment on, that stand still while the computer is suspended. */
double lay_clock_s(void);
/* How far a clock that runs on meanwhile is ahead of that one; 0 where there is none. */
double lay_clock_gap_s(void);

/* The local time, "2026-11-27 10:12". */
typedef struct lay_moment {
    char text[24];
} lay_moment;
lay_moment lay_clock_moment(void);

#endif
