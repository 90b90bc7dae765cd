/* Sound devices and what the sound system says on its own. */
#ifndef LAYSHAFT_CLI_SOUND_H
#define LAYSHAFT_CLI_SOUND_H

#include <stdbool.h>
#include <stdio.h>

/* The sound system writes of its own troubles to standard error; ours says them in plain words. From here on nothing
 * written there is seen, but what is written to the stream returned (NULL when that could not be had). */
FILE *lay_sound_hush(void);
/* All is seen again; closes the stream. */
void lay_sound_speak(FILE *kept);
/* Print the devices that record, or those that play; returns the exit status. */
int lay_sound_print_devices(bool inputs);

#endif
