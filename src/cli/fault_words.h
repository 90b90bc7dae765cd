/* KIND:PART[:WHEEL][:FLANK] as one word on the command line. */
#ifndef LAYSHAFT_CLI_FAULT_WORDS_H
#define LAYSHAFT_CLI_FAULT_WORDS_H

#include <layshaft/sim.h>

/* Examples: "mesh:third pair:drive", "eccentric:headset:countershaft", "outer:pilot", "axle", "rotor:alternator",
 * "unknown", "none". Names in any case; errors (LAY_BAD_USAGE) suggest what was meant. Without a flank both are left
 * open (drawn). */
lay_status lay_fault_from_words(const lay_unit *unit, const char *words, lay_fault *out, lay_error *err);

#endif
