/* --help from the option table, and what goes to the terminal. */
#include "options.h"

#include <errno.h>
#include <stdio.h>
#include <string.h>

#define HELP_COLUMNS 80
#define OPTION_COLUMN 26 /* where an option's explanation starts */

/* ASCII words wrapped: `column` is where the cursor stands, later lines start at `indent`. */
static void wrap(lay_text *out, const char *text, int column, int indent) {
    for (bool first = true; *text; first = false) {
        int n = (int)strcspn(text, " \n");
        if (!first && column + 1 + n > HELP_COLUMNS) {
            lay_text_add(out, "\n%*s", indent, "");
            column = indent;
            first = true;
        }
        lay_text_add(out, "%s%.*s", first ? "" : " ", n, text);
        column += n + !first;
        text += n;
        if (text[0] == '\n' && text[1] != 0) {
            lay_text_add(out, "\n\n%*s", indent, "");
            column = indent;
            text++;
            if (*text == '\n') text++;
            wrap(out, text, column, indent);
            return;
        }
        while (*text == ' ' || *text == '\n') text++;
    }
    lay_text_add(out, "\n");
}

static void option_row(lay_text *out, const lay_option *o) {
    char left[96];
    snprintf(left, sizeof left, "  --%s%s%s", o->name, o->argument ? " " : "", o->argument ? o->argument : "");
    if (strlen(left) + 2 > OPTION_COLUMN)
        lay_text_add(out, "%s\n%*s", left, OPTION_COLUMN, "");
    else
        lay_text_add(out, "%-*s", OPTION_COLUMN, left);
    wrap(out, o->help, OPTION_COLUMN, OPTION_COLUMN);
}

static void synopsis(lay_text *out, const lay_usage *usage) {
    const char *lead = "Usage: ";
    for (const char *at = usage->synopsis; *at;) {
        size_t n = strcspn(at, "\n");
        lay_text_add(out, "%slayshaft %s %.*s\n", lead, usage->command, (int)n, at);
        lead = "       ";
        at += n + (at[n] == '\n');
    }
}

void lay_options_help(const lay_usage *usage, lay_text *out) {
    lay_option common[LAY_COMMON_ROWS];
    lay_options_common(common, NULL);
    synopsis(out, usage);
    lay_text_add(out, "\n");
    wrap(out, usage->about, 0, 0);
    lay_text_add(out, "\nOptions:\n");
    for (size_t i = 0; i < usage->option_count; i++) option_row(out, &usage->options[i]);
    for (size_t i = 0; i < LAY_COMMON_ROWS; i++) option_row(out, &common[i]);
    if (usage->examples != NULL) lay_text_add(out, "\nExamples:\n%s", usage->examples);
}

int lay_cli_finish(lay_status status, const lay_error *err) {
    char text[2048];
    if (status == LAY_OK) return 0;
    lay_error_format(err, text, sizeof text);
    fprintf(stderr, "%s%s", err->file[0] ? "" : "layshaft: ", text);
    return lay_status_exit(status);
}

int lay_cli_print(const lay_text *text) {
    if (text->failed) {
        fprintf(stderr, "layshaft: %s\n", lay_status_text(LAY_NO_MEMORY));
        return lay_status_exit(LAY_NO_MEMORY);
    }
    errno = 0;
    bool whole = text->text == NULL || fwrite(text->text, 1, text->length, stdout) == text->length;
    if (whole && fflush(stdout) == 0) return 0;
    if (errno != EPIPE) fprintf(stderr, "layshaft: standard output cannot be written: %s\n", strerror(errno));
    return lay_status_exit(LAY_IO);
}

int lay_cli_usage_error(const lay_usage *usage, const char *fmt, ...) {
    va_list args;
    fprintf(stderr, "layshaft %s: ", usage->command);
    va_start(args, fmt);
    vfprintf(stderr, fmt, args);
    va_end(args);
    lay_text lines = {0};
    synopsis(&lines, usage);
    fprintf(stderr, "\n%sTry 'layshaft %s --help'.\n", lines.failed ? "" : lines.text, usage->command);
    lay_text_free(&lines);
    return lay_status_exit(LAY_BAD_USAGE);
}
