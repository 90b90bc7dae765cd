/* Clocks that nobody sets. */
#ifndef LAYSHAFT_CLI_CLOCK_H
#define LAYSHAFT_CLI_CLOCK_H

/* Seconds, from some moment on, that stand still while the computer is suspended. */
double lay_clock_s(void);
/* How far a clock that runs on meanwhile is ahead of that one; 0 where there is none. */
double lay_clock_gap_s(void);

#endif
