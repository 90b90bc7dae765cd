/* UNIT and GEAR on the command line. */
#ifndef LAYSHAFT_CLI_UNIT_NAME_H
#define LAYSHAFT_CLI_UNIT_NAME_H

#include <layshaft/unit.h>

/* The unit of a unit file, or of the job that holds one. */
lay_status lay_cli_load_unit(const char *unit_or_job, lay_unit **out, lay_error *err);
/* A gear of the unit by its name; LAY_BAD_USAGE names the gears there are. */
lay_status lay_cli_find_gear(const lay_unit *unit, const char *name, int *gear, lay_error *err);

#endif
