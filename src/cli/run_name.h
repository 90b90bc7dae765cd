/* RUN on the command line: a row of the table of runs. */
#ifndef LAYSHAFT_CLI_RUN_NAME_H
#define LAYSHAFT_CLI_RUN_NAME_H

#include <layshaft/signal.h>

/* Row that `word` means: by its file name as the table has it, else by its number from 1, else by the end of its file
 * name after the last '/'. LAY_BAD_USAGE names the runs there are. */
lay_status lay_cli_find_run(const lay_run_table *table, const char *word, size_t *index, lay_error *err);
/* The runs for a message, appended: "1 a.wav, 2 b.wav, ...", cut after some. */
void lay_cli_list_runs(const lay_run_table *table, lay_text *out);

#endif
