/* A random transmission as a workshop might meet it, assembled as a unit file and read back. */
#include "random_unit.h"

#include <layshaft/sim.h>

#include <stdio.h>

static const char *const first_names[] = {"Bench",  "Alder", "Heron", "Quarry",  "Lark",    "Copper",
                                          "Harbor", "Mill",  "Slate", "Juniper", "Kestrel", "Orchard"};

lay_status lay_sim_unit(uint64_t seed, lay_unit **out, lay_error *err) {
    lay_random random;
    lay_random_seed(&random, seed ^ UINT64_C(0x756e6974)); /* its own stream: a job's draws do not disturb the unit */
    char name[64];
    int kind = lay_random_int(&random, 0, 9);
    const char *first = first_names[lay_random_int(&random, 0, (int)(sizeof first_names / sizeof first_names[0]) - 1)];
    snprintf(name, sizeof name, "%s %d", first, lay_random_int(&random, 100, 999));

    lay_text text = {0};
    lay_sim_layout layout = {0};
    if (kind < 4)
        lay_sim_transaxle(&random, name, &text, &layout);
    else
        lay_sim_countershaft_box(&random, name, kind == 9, &text, &layout);
    lay_sim_bearings(&random, &layout, &text);
    lay_sim_surroundings(&random, &layout, &text);

    lay_status status = LAY_OK;
    if (text.failed)
        status = lay_fail(err, LAY_NO_MEMORY, "no memory for a random unit");
    else
        status = lay_unit_parse(text.text, text.length, "random unit", out, err);
    lay_text_free(&text);
    return status;
}
