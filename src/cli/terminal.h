/* What the terminal can take, and progress on it. */
#ifndef LAYSHAFT_CLI_TERMINAL_H
#define LAYSHAFT_CLI_TERMINAL_H

#include <stdbool.h>
#include <stddef.h>

#define LAY_COLOUR_WORDS "auto|always|never"
typedef enum lay_colour { LAY_COLOUR_AUTO, LAY_COLOUR_ALWAYS, LAY_COLOUR_NEVER } lay_colour;

/* Whether standard output gets colour: with auto on a terminal that is not "dumb", unless the environment
 * holds a non-empty NO_COLOR (an informal convention among terminal programs). */
bool lay_terminal_colour(lay_colour wish);
/* Columns of standard output: COLUMNS from the environment, else 80. */
int lay_terminal_width(void);
/* Whether standard error is a terminal that can be drawn on. */
bool lay_terminal_screen(void);
/* Whether windows can be opened. */
bool lay_terminal_display(void);
/* Rows of the terminal: from itself, else LINES from the environment, else 24. */
int lay_terminal_rows(void);
/* "analysing run 2 of 6" on stderr, rewritten in place; nothing when stderr is no terminal. A lay_progress. */
void lay_terminal_progress(size_t done, size_t count, void *user);
/* Likewise what is going on, without an end in sight; NULL takes it away. */
void lay_terminal_note(const char *what);
/* "WHAT: 42 %", likewise; NULL takes it away. */
void lay_terminal_percent(const char *what, double share);

#endif
