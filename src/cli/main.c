/* layshaft: which part of a transmission makes the noise. The table of commands and what stands before them. */
#include <signal.h>
#include <stdio.h>
#include <string.h>

#include "commands.h"
#include "options.h"

typedef struct command {
    const char *name;
    int (*run)(int argc, char **argv);
    const char *operands, *about;
} command;

static const command commands[] = {
    {"unit", lay_cmd_unit, "NEW", "unit file from plain questions"},
    {"orders", lay_cmd_orders, "UNIT", "expected orders of every part in every gear"},
    {"plan", lay_cmd_plan, "UNIT", "the fewest recordings that tell every part"},
    {"record", lay_cmd_record, "JOB", "recordings from a sound device, with a row for each"},
    {"watch", lay_cmd_watch, "UNIT", "levels of every part while it turns"},
    {"speed", lay_cmd_speed, "JOB", "shaft speed over time and how it was found"},
    {"diagnose", lay_cmd_diagnose, "JOB", "verdict on a job or on recordings, with a report"},
    {"listen", lay_cmd_listen, "JOB", "hear one part alone, or the recording without it"},
    {"compare", lay_cmd_compare, "BEFORE", "what changed between two jobs, part by part"},
    {"baseline", lay_cmd_baseline, "OUT", "limits learnt from good units"},
    {"verify", lay_cmd_verify, "JOB", "a unit on the run-in stand: pass or fail"},
    {"found", lay_cmd_found, "JOB", "note what the teardown showed"},
    {"ledger", lay_cmd_ledger, "FOLDER", "how often the verdicts of a shop were right"},
    {"simulate", lay_cmd_simulate, "OUT", "recordings with a known fault"},
};
#define COMMANDS (sizeof commands / sizeof commands[0])

/* Words of the file formats and documents whose commands come with later versions. */
static const char *const later[] = {"convert"};

static int help(void) {
    lay_text text = {0};
    lay_text_add(&text,
                 "Usage: layshaft COMMAND [options] ...\n\n"
                 "Which mesh or bearing of a manual transmission makes the noise, from recordings.\n\nCommands:\n");
    for (size_t i = 0; i < COMMANDS; i++)
        lay_text_add(&text, "  %-9s %-6s %s\n", commands[i].name, commands[i].operands, commands[i].about);
    lay_text_add(&text, "\nOptions:\n"
                        "  --help     show this help\n"
                        "  --version  show the version\n\n"
                        "'layshaft COMMAND --help' explains a command; 'man layshaft' the files it reads.\n"
                        "Exit status: 0 done, 1 verification failed, 2 wrong usage or bad input,\n"
                        "3 device or file-system failure.\n");
    int status = lay_cli_print(&text);
    lay_text_free(&text);
    return status;
}

static int version(void) {
    lay_text text = {0};
    lay_text_add(&text, "layshaft %s\n", LAY_VERSION);
    int status = lay_cli_print(&text);
    lay_text_free(&text);
    return status;
}

static int unknown(const char *word) {
    const char *names[COMMANDS];
    for (size_t i = 0; i < sizeof later / sizeof later[0]; i++) {
        if (strcmp(word, later[i]) != 0) continue;
        fprintf(stderr, "layshaft: the command '%s' is not part of this version\n", word);
        return lay_status_exit(LAY_BAD_USAGE);
    }
    static const char *const options[] = {"--help", "--version"};
    bool option = word[0] == '-';
    for (size_t i = 0; i < COMMANDS; i++) names[i] = commands[i].name;
    const char *near = option ? lay_nearest(word, options, 2) : lay_nearest(word, names, COMMANDS);
    fprintf(stderr, "layshaft: there is no %s '%.60s'", option ? "option" : "command", word);
    if (near != NULL) fprintf(stderr, " (did you mean '%s'?)", near);
    fprintf(stderr, "\nTry 'layshaft --help'.\n");
    return lay_status_exit(LAY_BAD_USAGE);
}

int main(int argc, char **argv) {
    signal(SIGPIPE, SIG_IGN); /* a plot program or pager that goes away must not end us without a word */
    if (argc < 2) {
        fprintf(stderr, "layshaft: no command given\nTry 'layshaft --help'.\n");
        return lay_status_exit(LAY_BAD_USAGE);
    }
    if (strcmp(argv[1], "--help") == 0) return help();
    if (strcmp(argv[1], "--version") == 0) return version();
    for (size_t i = 0; i < COMMANDS; i++)
        if (strcmp(argv[1], commands[i].name) == 0) return commands[i].run(argc - 1, argv + 1);
    return unknown(argv[1]);
}
