/* The names above the columns of sample CSV. */
#ifndef LAYSHAFT_SIGNAL_CSV_HEADER_H
#define LAYSHAFT_SIGNAL_CSV_HEADER_H

#include "csv_number.h"

/* Whether `name` names time (time, t, seconds, time_s, time [ms], ...); the unit in seconds into `unit`. */
bool lay_csv_is_time(lay_slice name, double *unit);

#endif
