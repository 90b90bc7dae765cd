/* layshaft unit: a unit file from plain questions. */
#include <layshaft/report.h>

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "commands.h"
#include "options.h"

typedef struct asker {
    bool person; /* answers at a terminal, and can answer anew */
    int line;    /* of the answers */
} asker;

/* The next line that is no note; false at the end. */
static bool next_line(asker *a, lay_text *out) {
    char *line = NULL;
    size_t room = 0;
    ssize_t n;
    do {
        n = getline(&line, &room, stdin);
        a->line += n >= 0;
    } while (n > 0 && line[0] == '#');
    if (n >= 0) lay_text_add(out, "%s", line);
    free(line);
    return n >= 0;
}

static void show(const lay_question *q) {
    if (q->wrong) fprintf(stderr, "That will not do: %s.\n", q->wrong);
    fprintf(stderr, "\n%s\n", q->text);
    if (q->usual && q->usual[0]) fprintf(stderr, "[%s] ", q->usual);
    fprintf(stderr, "> ");
}

static lay_status ask(void *user, const lay_question *q, lay_text *answer, lay_error *err) {
    asker *a = user;
    if (q->wrong && !a->person)
        return lay_fail(err, LAY_BAD_INPUT, "line %d of the answers will not do: %s (asked was: %.200s)", a->line,
                        q->wrong, q->text);
    if (a->person) show(q);
    if (next_line(a, answer)) return LAY_OK;
    return lay_fail(err, LAY_BAD_INPUT, "the answers end after line %d; nothing was written (asked was: %.200s)",
                    a->line, q->text);
}

/* A file that is there is never touched: made anew, or not at all. */
static lay_status write_new(const char *path, const lay_text *file, lay_error *err) {
    int fd = open(path, O_WRONLY | O_CREAT | O_EXCL, 0666);
    if (fd < 0 && errno == EEXIST)
        return lay_fail_file(err, LAY_BAD_INPUT, path, "this file is there already; choose another name");
    if (fd < 0) return lay_fail_file(err, LAY_IO, path, "the file cannot be made: %s", strerror(errno));
    FILE *f = fdopen(fd, "w");
    bool written = f && fwrite(file->text, 1, file->length, f) == file->length;
    written = f && fclose(f) == 0 && written;
    if (written) return LAY_OK;
    unlink(path);
    return lay_fail_file(err, LAY_IO, path, "the file cannot be written: %s", strerror(errno));
}

static int answer_to(const lay_common *common, const char *path, const lay_text *file, const lay_text *open,
                     const lay_text *odd) {
    lay_text out = {0};
    lay_unit *unit = NULL;
    lay_error err = {0};
    lay_status status = lay_unit_parse(file->text, file->length, path, &unit, &err);
    if (status == LAY_OK && common->json) status = lay_report_unit_json(unit, path, open, odd, false, &out);
    if (status == LAY_OK && !common->json && !common->quiet)
        status = lay_report_unit_text(unit, path, open, odd, 80, &out);
    int exit_status = status != LAY_OK ? lay_cli_finish(status, &err) : out.length > 0 ? lay_cli_print(&out) : 0;
    lay_text_free(&out);
    lay_unit_free(unit);
    return exit_status;
}

static int run(const char *path, const lay_common *common) {
    asker a = {.person = isatty(STDIN_FILENO) && isatty(STDERR_FILENO)};
    lay_text file = {0}, open = {0}, odd = {0};
    lay_error err = {0};
    lay_status status = LAY_OK;
    if (access(path, F_OK) == 0)
        status = lay_fail_file(&err, LAY_BAD_INPUT, path, "this file is there already; choose another name");
    if (status == LAY_OK) status = lay_unit_interview(ask, &a, &file, &open, &odd, &err);
    if (status == LAY_OK) status = write_new(path, &file, &err);
    int exit_status = status == LAY_OK ? answer_to(common, path, &file, &open, &odd) : lay_cli_finish(status, &err);
    lay_text_free(&file);
    lay_text_free(&open);
    lay_text_free(&odd);
    return exit_status;
}

static const char about[] =
    "Asks what is inside a transmission, in plain words, and writes a commented unit file that 'layshaft orders' "
    "takes: "
    "layout, gears, tooth counts, engine, axle, bearings. Answer ? where a count is not known yet: it stays in the "
    "file "
    "as a note, and is told. An empty answer takes what stands in brackets. Answers may come from a pipe, one a line; "
    "lines that begin with # are notes. NEW.ini must not exist.";
static const char examples[] = "  layshaft unit my-five-speed.ini\n"
                               "  layshaft unit my-five-speed.ini < answers.txt\n";

int lay_cmd_unit(int argc, char **argv) {
    lay_common common = {0};
    const lay_usage usage = {.command = "unit",
                             .synopsis = "[options] NEW.ini\n",
                             .about = about,
                             .examples = examples,
                             .operands_low = 1,
                             .operands_high = 1};
    char **operands;
    int count;
    int exit_status = lay_options_begin(&usage, argc, argv, &common, &operands, &count);
    return exit_status >= 0 ? exit_status : run(operands[0], &common);
}
