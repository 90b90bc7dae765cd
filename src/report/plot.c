/* The only door to gnuplot: a pipe. gnuplot fed by a pipe exits 1 when any command failed, the shell gives 127 when
 * there is no gnuplot; so its exit status says all. */
#include <layshaft/report.h>

#include <stdio.h>
#include <string.h>
#include <sys/wait.h>

#include "picture.h"

/* -d: the user's own start-up file must not change the pictures. Its messages would land among ours. */
#define GNUPLOT "gnuplot -d >/dev/null 2>&1"
#define GNUPLOT_WINDOW "gnuplot -d -persist >/dev/null 2>&1"

static lay_status start(const char *command, const lay_text *script, FILE **gnuplot, bool *complete, lay_error *err) {
    *gnuplot = NULL;
    if (script->failed || script->text == NULL)
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory to draw the plots");
    *gnuplot = popen(command, "w");
    if (*gnuplot == NULL) return lay_fail(err, LAY_IO, "gnuplot could not be started, so there are no plots");
    *complete = fwrite(script->text, 1, script->length, *gnuplot) == script->length;
    *complete = fputs("exit\n", *gnuplot) >= 0 && *complete; /* it need not wait for us to close the pipe */
    *complete = fflush(*gnuplot) == 0 && *complete;
    return LAY_OK;
}

lay_status lay_gnuplot_start(const lay_text *script, FILE **gnuplot, bool *complete, lay_error *err) {
    return start(GNUPLOT, script, gnuplot, complete, err);
}

lay_status lay_gnuplot_window(const lay_text *script, lay_error *err) {
    FILE *gnuplot;
    bool complete;
    lay_error ignored;
    lay_status status = start(GNUPLOT_WINDOW, script, &gnuplot, &complete, err);
    if (status == LAY_OK && lay_gnuplot_finish(gnuplot, complete, &ignored) != LAY_OK)
        status =
            lay_fail(err, LAY_IO,
                     "gnuplot could not open a window; one that can draw windows is needed (on Debian: apt install "
                     "gnuplot-x11), the pictures of the report are there all the same");
    return status;
}

lay_status lay_gnuplot_finish(FILE *gnuplot, bool complete, lay_error *err) {
    int status = pclose(gnuplot);
    int code = status >= 0 && WIFEXITED(status) ? WEXITSTATUS(status) : -1;
    if (code == 127 || code == 126)
        return lay_fail(
            err, LAY_IO,
            "gnuplot is not installed, so there are no plots; install it with your package manager (on Debian: "
            "apt install gnuplot-nox) or pass --no-plots");
    if (code != 0 || !complete)
        return lay_fail(err, LAY_IO,
                        "gnuplot could not draw a plot (exit status %d); is the folder writable and the disk not full?",
                        code);
    return LAY_OK;
}

lay_status lay_report_gnuplot(const lay_text *script, lay_error *err) {
    FILE *gnuplot;
    bool complete;
    lay_status status = lay_gnuplot_start(script, &gnuplot, &complete, err);
    return status == LAY_OK ? lay_gnuplot_finish(gnuplot, complete, err) : status;
}
