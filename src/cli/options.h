/* Command line options as a table: one row gives parsing, help text and error messages.
 *
 * A command describes itself in a lay_usage and starts with
 *
 *     lay_common common;
 *     char **operands;
 *     int count;
 *     int status = lay_options_begin(&usage, argc, argv, &common, &operands, &count);
 *     if (status >= 0) return status;     (help or version was printed: 0, wrong usage was explained: 2)
 *
 * and ends with lay_cli_finish or an exit status of its own. --help, --json, --quiet and --version need no row. */
#ifndef LAYSHAFT_CLI_OPTIONS_H
#define LAYSHAFT_CLI_OPTIONS_H

#include <stdbool.h>
#include <stddef.h>

#include <layshaft/base.h>

typedef enum lay_option_type {
    LAY_OPTION_FLAG,   /* value: bool *, set to true; takes no argument */
    LAY_OPTION_TEXT,   /* value: const char **, borrowed from argv */
    LAY_OPTION_NUMBER, /* value: double *, within [low, high] when low < high */
    LAY_OPTION_COUNT,  /* value: int *, a whole number within [low, high] when low < high */
    LAY_OPTION_CHOICE  /* value: int *, index of the word in `argument`, which is "one|two|three" */
} lay_option_type;

typedef struct lay_option {
    const char *name; /* long name without dashes: "gear" */
    lay_option_type type;
    void *value;          /* left alone when the option is not given: set defaults beforehand */
    const char *argument; /* what --help calls the argument: "GEAR"; NULL for flags */
    const char *help;     /* what it does, one sentence without a full stop */
    double low, high;     /* bounds of numbers; both 0: none */
    bool *given;          /* set to true when the option was there; NULL: not wanted */
} lay_option;

/* The row of commands that read the runs of a job side by side; value: int *, 0 by default. */
#define LAY_THREADS_MOST 256
#define LAY_THREADS_ROW(value)                                                                                         \
    {                                                                                                                  \
        "threads", LAY_OPTION_COUNT, value, "N", "runs read side by side (default one per processor)", 1,              \
            LAY_THREADS_MOST, NULL                                                                                     \
    }

/* A command's own words. Lines of `synopsis` end in '\n' and leave out "layshaft NAME"; "[options]" is theirs. */
typedef struct lay_usage {
    const char *command;
    const char *synopsis;
    const char *about;    /* paragraphs for --help, wrapped by the parser */
    const char *examples; /* lines for --help, printed as they are; NULL: none */
    const lay_option *options;
    size_t option_count;
    int operands_low, operands_high; /* how many operands; high < 0: any number */
} lay_usage;

/* What every command understands. */
typedef struct lay_common {
    bool json, quiet;
    bool help, version; /* dealt with by lay_options_begin */
} lay_common;

/* The rows every command has, with the places in `common` their values go to (NULL when only the words are wanted). */
#define LAY_COMMON_ROWS 4
void lay_options_common(lay_option rows[LAY_COMMON_ROWS], lay_common *common);

/* Parse argv[1..argc-1] (argv[0] is the command's name). "--" ends options; options and operands may be mixed;
 * "--name=value" and "--name value" are the same; operands are gathered at argv[1..] and handed out as `operands`.
 * Returns -1 when the command should go on, else the exit status: 0 after --help or --version, 2 after an error
 * explained on stderr.
 */
int lay_options_begin(const lay_usage *usage, int argc, char **argv, lay_common *common, char ***operands,
                      int *operand_count);

/* The same without printing: LAY_BAD_USAGE with a sentence, or LAY_OK; operands are not counted when --help or
 * --version was there. */
lay_status lay_options_parse(const lay_usage *usage, int argc, char **argv, lay_common *common, char ***operands,
                             int *operand_count, lay_error *err);

/* The text of --help, at most 80 columns wide, appended to `out`. */
void lay_options_help(const lay_usage *usage, lay_text *out);

/* Print the error on stderr when `status` is one, and return the exit status for it. */
int lay_cli_finish(lay_status status, const lay_error *err);

/* Write text to stdout; 0, or 3 with a message on stderr when stdout cannot take it (disk full, closed pipe). */
int lay_cli_print(const lay_text *text);

/* Complain about usage in one's own words: prints "layshaft COMMAND: ..." and where to find help, returns 2. */
int lay_cli_usage_error(const lay_usage *usage, const char *fmt, ...) LAY_PRINTF(2, 3);

#endif
