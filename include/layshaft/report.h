/* What a person or a program sees of a diagnosis: terminal text, JSON, plots. */
#ifndef LAYSHAFT_REPORT_H
#define LAYSHAFT_REPORT_H

#include <layshaft/judge.h>

/* Terminal text of a diagnosis, appended to `out`: verdict, first suspect with reasons and checks, what else it could
 * be, which recording would settle it, the runs with their strongest lines, warnings. No line is wider than `width`
 * columns (clamped to 60..200; 0 means 80), names of any length and script included; control characters in names never
 * reach the terminal. With `colour` headlines carry ANSI SGR codes; colour repeats what the words say. `table` and
 * `d->runs` belong together row by row. LAY_NO_MEMORY when `out` could not grow. */
LAY_API lay_status lay_report_text(const lay_unit *unit, const lay_run_table *table, const lay_diagnosis *d,
                                   bool colour, int width, lay_text *out);

/* The object of `layshaft diagnose --json`, appended to `out` and ended by a newline; indented by two spaces or on one
 * line. RFC 8259: UTF-8, '.' as decimal point whatever the locale, null for values that are not known (NaN, infinity).
 * Beyond the fixed members each line carries `class`, `body` and `rivals`, each verdict `add`. */
LAY_API lay_status lay_report_json(const lay_unit *unit, const lay_run_table *table, const lay_diagnosis *d,
                                   bool indented, lay_text *out);

/* One run's order spectrum as gnuplot commands with the data inline, appended to `out`. The picture goes to `png` and
 * `svg` (either may be NULL; paths must not hold newlines or controls: LAY_BAD_INPUT). 1200 x 600. `number` counts runs
 * from 1. */
LAY_API lay_status lay_report_plot_script(const lay_unit *unit, const lay_run_spec *spec, const lay_run_evidence *run,
                                          int number, const char *png, const char *svg, lay_text *out, lay_error *err);

/* Feed a script to gnuplot through a pipe. The caller must ignore SIGPIPE. LAY_IO when gnuplot is not installed (the
 * message says how to get it) or refuses the script. */
LAY_API lay_status lay_report_gnuplot(const lay_text *script, lay_error *err);

/* Write report.txt, report.json and, with `plots`, run-NN-spectrum.png and .svg for every usable run into `folder`,
 * which is made with its parents when missing. Files of an earlier report are replaced, pictures of runs that no longer
 * exist are removed, nothing else is touched. Pictures that fail do not stop the rest: the first reason is then in
 * `plot_error` (code LAY_OK: all drawn). `written` (NULL allowed) receives the names of the files, in the order
 * written. */
LAY_API lay_status lay_report_write(const lay_unit *unit, const lay_run_table *table, const lay_diagnosis *d,
                                    const char *folder, bool plots, lay_strings *written, lay_error *plot_error,
                                    lay_error *err);

/* What the unit can be heard at, for `layshaft orders`: per gear the ratio, the output's order, every part's orders,
 * which carry torque, and which parts cannot be told apart. `gear` -1: all gears. Text at most `width` columns; JSON on
 * one object. Orders closer than `resolution` (0: 1/64) count as the same. Gears that cannot be solved are errors. */
LAY_API lay_status lay_report_orders_text(const lay_unit *unit, int gear, double resolution, bool colour, int width,
                                          lay_text *out, lay_error *err);
LAY_API lay_status lay_report_orders_json(const lay_unit *unit, int gear, double resolution, bool indented,
                                          lay_text *out, lay_error *err);

#endif
