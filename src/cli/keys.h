/* Single keys from the terminal, and signals that end what runs. */
#ifndef LAYSHAFT_CLI_KEYS_H
#define LAYSHAFT_CLI_KEYS_H

#include <stdbool.h>

#define LAY_KEY_NONE 0

/* Keys come at once and unseen until lay_keys_close; interrupts and hang-ups are noted instead of ending the program,
 * and it cannot be suspended. Returns whether there are keys: standard input is a terminal. */
bool lay_keys_open(void);
/* The terminal as it was. */
void lay_keys_close(void);
/* Waits for a key, at most so long; LAY_KEY_NONE when none came. Small letters only. */
int lay_keys_wait(int milliseconds);
/* Whether an interrupt, a hang-up or a request to end came since lay_keys_open. */
bool lay_keys_interrupted(void);

#endif
