#define _XOPEN_SOURCE 700 /* getline */

#include "job_list.h"

#include <layshaft/report.h>

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "options.h"

/* The name on a line, without blanks at its end; NULL: none. */
static char *name_on(char *line) {
    size_t length = strlen(line);
    while (length > 0 && strchr(" \t\r\n", line[length - 1])) line[--length] = 0;
    line += strspn(line, " \t");
    return line[0] == 0 || line[0] == '#' ? NULL : line;
}

static int print_one(const char *folder, const char *name, lay_job_list_one one, void *user) {
    lay_text json = {0}, line = {0};
    lay_error err = {0};
    lay_status status = one(folder, &json, user, &err);
    lay_report_job_line(folder, status, &err, name, &json, &line);
    int printed = lay_cli_print(&line);
    lay_text_free(&json);
    lay_text_free(&line);
    return printed != 0 ? printed : lay_status_exit(status);
}

int lay_job_list(const char *path, const char *name, lay_job_list_one one, void *user) {
    lay_error err = {0};
    bool standard = strcmp(path, "-") == 0;
    FILE *list = standard ? stdin : fopen(path, "r");
    if (!list) return lay_cli_finish(lay_fail_open(&err, path), &err);
    char *line = NULL;
    size_t room = 0;
    int worst = 0;
    errno = 0;
    while (getline(&line, &room, list) >= 0) {
        char *folder = name_on(line);
        int exit_status = folder ? print_one(folder, name, one, user) : 0;
        if (exit_status > worst) worst = exit_status;
        errno = 0;
    }
    if (ferror(list)) {
        lay_status status = lay_fail_file(&err, LAY_IO, path, "cannot be read: %s", strerror(errno));
        if (lay_cli_finish(status, &err) > worst) worst = lay_status_exit(status);
    }
    free(line);
    if (!standard) fclose(list);
    return worst;
}
