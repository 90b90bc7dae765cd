/* Simulated jobs in a folder of their own, diagnosed on the spot. */
#ifndef TESTS_SUPPORT_SIMULATED_H
#define TESTS_SUPPORT_SIMULATED_H

#include <jansson.h>
#include <layshaft/judge.h>
#include <layshaft/sim.h>

/* Simulate `unit` (NULL: drawn from the seed) and diagnose the recordings with the unit file `read_as` (NULL: the one
 * simulated). The folder is removed again. *used owns the unit the diagnosis borrows from: free it after the diagnosis.
 */
void simulated_diagnosis(const lay_unit *unit, const lay_sim_options *options, const char *read_as, lay_diagnosis *out,
                         lay_unit **used);

/* Simulate a random job into a scratch folder opened here (close it afterwards) and return its truth.json; the caller
 * drops the reference. */
json_t *simulated_job(const lay_sim_options *options);
/* Entry k of a run's list of speeds ("rpm" or "shaft_rpm") in the truth; 0 where it is null. */
double simulated_rpm(const json_t *run, const char *list, size_t k);

#endif
