#define _XOPEN_SOURCE 700 /* getline */

#include "job_list.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "options.h"
#include "report/json.h"

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
    lay_json out = {.out = &line};
    lay_status status = one(folder, &json, user, &err);
    lay_json_open_object(&out, NULL);
    lay_json_string(&out, "job", folder);
    lay_json_integer(&out, "exit", lay_status_exit(status));
    if (status != LAY_OK) {
        char words[1200];
        lay_error_format(&err, words, sizeof words);
        words[strcspn(words, "\n")] = 0; /* what follows shows the place in the file */
        lay_json_string(&out, "error", words);
    }
    if (json.length > 0 && json.text[json.length - 1] == '\n') json.text[--json.length] = 0;
    if (json.length > 0) lay_text_add(&line, ", \"%s\": %s", name, json.text);
    lay_json_close_object(&out);
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
