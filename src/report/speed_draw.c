/* The picture of a run's speed: how the recording is read for it, and where it goes. */
#include <layshaft/report.h>

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "picture.h"

#define COLUMNS 420 /* of the map, at most: what a picture can show */
#define ROWS 400    /* about so many */
#define TOP_ORDER 40.0
#define LEAST_TOP_ORDER 10.0
#define BLIND_TOP_HZ 1500.0 /* when no speed is known: where meshes of transmissions lie */
#define SHORTEST 0.03       /* s, of the window */
#define LONGEST 0.5
#define PROBES 200 /* of the speed over time */

/* The highest order shown: a little above the highest mesh under load, in direct gear above the highest that turns. */
static double top_order(const lay_unit *unit, int gear) {
    lay_kinematics k = {0};
    lay_error ignored;
    double loaded = 0, turning = 0;
    if (gear < 0 || lay_unit_solve(unit, gear, &k, &ignored) != LAY_OK) return TOP_ORDER;
    for (size_t i = 0; i < k.mesh_count; i++) {
        turning = fmax(turning, k.mesh_order[i]);
        if (k.loaded[i]) loaded = fmax(loaded, k.mesh_order[i]);
    }
    lay_kinematics_free(&k);
    double top = 1.2 * (loaded > 0 ? loaded : turning);
    return top > 0 ? fmin(fmax(top, LEAST_TOP_ORDER), TOP_ORDER) : TOP_ORDER;
}

/* How fast the shaft turns (turns/s) and how fast that changes (per second) at most, but for a few places: the outliers
 * of a broken tach must not spoil the picture. Both 0 without a speed. */
static void typical_speed(const lay_run_speed *speed, double *hz, double *rate) {
    double at[PROBES], change[PROBES], turns, step = speed->duration_s / PROBES;
    size_t count = 0, changes = 0, hint = 0;
    bool before = false;
    for (int i = 0; i < PROBES && speed->found; i++) {
        bool known = lay_shaft_at(&speed->shaft, step * (i + 0.5), &hint, &turns, &at[count]);
        if (known && before) change[changes++] = fabs(at[count] - at[count - 1]) / step;
        count += known;
        before = known;
    }
    *hz = count > 0 ? lay_quantile(at, count, 0.95) : 0;
    *rate = changes > 0 ? lay_quantile(change, changes, 0.8) : 0;
}

/* A line that moves by r Hz/s is sharpest in windows of about 1 / sqrt(r): it then moves by one bin meanwhile. */
lay_stft_options lay_report_speed_map(const lay_unit *unit, const lay_run_speed *speed) {
    double hz, rate;
    lay_stft_options o = {.window_s = 0.1, .max_hz = BLIND_TOP_HZ, .columns = COLUMNS};
    typical_speed(speed, &hz, &rate);
    if (hz > 0) {
        double order = top_order(unit, speed->gear);
        o.max_hz = 1.05 * order * hz;
        o.window_s = 1 / sqrt(fmax(0.5 * order * rate, 1e-3));
    }
    o.window_s = fmax(SHORTEST, fmin(LONGEST, fmin(o.window_s, 0.5 * ROWS / o.max_hz)));
    return o;
}

typedef struct drawing {
    const lay_unit *unit;
    const lay_speed_row *row;
    const lay_spectrogram *map;
} drawing;

static lay_status script(const void *subject, const char *png, const char *svg, lay_text *out, lay_error *err) {
    const drawing *d = subject;
    return lay_report_speed_script(d->unit, d->row, d->map, png, svg, out, err);
}

lay_status lay_report_speed_draw(const lay_unit *unit, const char *table_path, const lay_speed_row *row,
                                 const char *folder, char **path, lay_error *err) {
    lay_stft_options options = lay_report_speed_map(unit, row->speed);
    lay_spectrogram map = {0};
    char stem[32], name[40];
    *path = NULL;
    snprintf(stem, sizeof stem, "speed-%02zu", row->number);
    snprintf(name, sizeof name, "%s.png", stem);
    lay_status status = lay_make_folder(folder, err);
    if (status == LAY_OK) lay_picture_remove(folder, stem);
    if (status == LAY_OK) status = lay_run_spectrogram(unit, row->spec, table_path, &options, &map, err);
    if (status == LAY_OK) {
        lay_easel easel = {.folder = folder};
        lay_easel_draw(&easel, stem, script, &(drawing){unit, row, &map});
        status = lay_easel_end(&easel, err);
    }
    if (status == LAY_OK && (*path = lay_path_join(folder, name)) == NULL)
        status = lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    lay_spectrogram_free(&map);
    return status;
}
