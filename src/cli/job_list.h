/* Many jobs from a list, one line of JSON for each. */
#ifndef LAYSHAFT_CLI_JOB_LIST_H
#define LAYSHAFT_CLI_JOB_LIST_H

#include <layshaft/base.h>

/* Do one job: its JSON object appended to `json`; when that is not to be had, the status and `err`. */
typedef lay_status (*lay_job_list_one)(const char *folder, lay_text *json, void *user, lay_error *err);

/* `path` names a job folder per line; "-" is standard input; empty lines and those that begin with # are passed over.
 * Each job is printed at once as {"job":FOLDER,"exit":0,NAME:{...}}, or with "error" in place of NAME; one that fails
 * does not keep the others from being done. Returns the highest exit status; 2 or 3 when the list cannot be read. */
int lay_job_list(const char *path, const char *name, lay_job_list_one one, void *user);

#endif
