#include "terminal.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

bool lay_terminal_colour(lay_colour wish) {
    const char *no = getenv("NO_COLOR"), *terminal = getenv("TERM");
    if (wish != LAY_COLOUR_AUTO) return wish == LAY_COLOUR_ALWAYS;
    if (no != NULL && *no) return false;
    return isatty(STDOUT_FILENO) && terminal != NULL && strcmp(terminal, "dumb") != 0;
}

int lay_terminal_width(void) {
    const char *columns = getenv("COLUMNS");
    long width = columns != NULL ? strtol(columns, NULL, 10) : 0;
    return width >= 60 && width <= 200 ? (int)width : 80;
}

bool lay_terminal_screen(void) {
    const char *terminal = getenv("TERM");
    return isatty(STDERR_FILENO) && terminal != NULL && strcmp(terminal, "dumb") != 0;
}

int lay_terminal_rows(void) {
    struct winsize size;
    const char *lines = getenv("LINES");
    long rows = lines != NULL ? strtol(lines, NULL, 10) : 0;
    for (int fd = STDIN_FILENO; fd <= STDERR_FILENO; fd++) /* any of them may be a file */
        if (ioctl(fd, TIOCGWINSZ, &size) == 0 && size.ws_row > 0) rows = size.ws_row;
    return rows >= 5 && rows <= 500 ? (int)rows : 24;
}

void lay_terminal_progress(size_t done, size_t count, void *user) {
    (void)user;
    if (!isatty(STDERR_FILENO)) return;
    if (done < count)
        fprintf(stderr, "\rrun %zu of %zu analysed", done, count);
    else
        fprintf(stderr, "\r\033[K");
    fflush(stderr);
}

void lay_terminal_note(const char *what) {
    if (!isatty(STDERR_FILENO)) return;
    fprintf(stderr, "\r\033[K%s", what != NULL ? what : "");
    fflush(stderr);
}

void lay_terminal_percent(const char *what, double share) {
    if (!isatty(STDERR_FILENO)) return;
    if (what != NULL)
        fprintf(stderr, "\r%s: %.0f %%", what, 100 * (share < 1 ? share : 1));
    else
        fprintf(stderr, "\r\033[K");
    fflush(stderr);
}

bool lay_terminal_display(void) {
    const char *x = getenv("DISPLAY"), *wayland = getenv("WAYLAND_DISPLAY");
    return (x && *x) || (wayland && *wayland);
}
