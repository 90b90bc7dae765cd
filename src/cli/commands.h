/* The commands of the program. Each takes its own name as argv[0] and returns the exit status. */
#ifndef LAYSHAFT_CLI_COMMANDS_H
#define LAYSHAFT_CLI_COMMANDS_H

int lay_cmd_unit(int argc, char **argv);
int lay_cmd_orders(int argc, char **argv);
int lay_cmd_speed(int argc, char **argv);
int lay_cmd_diagnose(int argc, char **argv);
int lay_cmd_compare(int argc, char **argv);
int lay_cmd_verify(int argc, char **argv);
int lay_cmd_baseline(int argc, char **argv);
int lay_cmd_found(int argc, char **argv);
int lay_cmd_ledger(int argc, char **argv);
int lay_cmd_listen(int argc, char **argv);
int lay_cmd_plan(int argc, char **argv);
int lay_cmd_record(int argc, char **argv);
int lay_cmd_watch(int argc, char **argv);
int lay_cmd_simulate(int argc, char **argv);

#endif
