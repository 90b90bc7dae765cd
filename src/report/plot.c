/* The only door to gnuplot: a pipe. gnuplot fed by a pipe exits 1 when any command failed, the shell gives 127 when
 * there is no gnuplot; so its exit status says all. */
#include <layshaft/report.h>

#include <stdio.h>
#include <string.h>
#include <sys/wait.h>

/* -d: the user's own start-up file must not change the pictures. Its messages would land among ours. */
#define GNUPLOT "gnuplot -d >/dev/null 2>&1"

lay_status lay_report_gnuplot(const lay_text *script, lay_error *err) {
    if (script->failed || script->text == NULL)
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory to draw the plots");
    FILE *pipe = popen(GNUPLOT, "w");
    if (pipe == NULL) return lay_fail(err, LAY_IO, "gnuplot could not be started, so there are no plots");
    size_t sent = fwrite(script->text, 1, script->length, pipe);
    int status = pclose(pipe);
    int code = status >= 0 && WIFEXITED(status) ? WEXITSTATUS(status) : -1;
    if (code == 127 || code == 126)
        return lay_fail(
            err, LAY_IO,
            "gnuplot is not installed, so there are no plots; install it with your package manager (on Debian: "
            "apt install gnuplot-nox) or pass --no-plots");
    if (code != 0 || sent != script->length)
        return lay_fail(err, LAY_IO,
                        "gnuplot could not draw a plot (exit status %d); is the folder writable and the disk not full?",
                        code);
    return LAY_OK;
}
