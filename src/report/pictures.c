/* All pictures of a diagnosis: which there are, what they are called, what is read for them. */
#include "pictures.h"

#include <stdio.h>

#include "envelope_plot.h"
#include "look_plot.h"

typedef struct run_picture {
    const lay_report_view *view;
    size_t index;
} run_picture;

static lay_status run_script(const void *subject, const char *png, const char *svg, lay_text *out, lay_error *err) {
    const run_picture *p = subject;
    return lay_report_plot_script(p->view->unit, &p->view->table->runs[p->index], &p->view->d->runs[p->index],
                                  (int)p->index + 1, png, svg, out, err);
}

typedef struct blows_picture {
    const lay_report_view *view;
    const lay_suspect *suspect;
} blows_picture;

static lay_status blows_script(const void *subject, const char *png, const char *svg, lay_text *out, lay_error *err) {
    const blows_picture *p = subject;
    return lay_envelope_script(p->view, p->suspect, png, svg, out, err);
}

/* "run-02-spectrum", "run-02-envelope" */
static void run_stem(char *out, size_t size, size_t index, const char *what) {
    snprintf(out, size, "run-%02zu-%s", index + 1, what);
}

static void draw_run(const lay_report_view *view, size_t index, lay_easel *easel) {
    run_picture picture = {view, index};
    char stem[40];
    run_stem(stem, sizeof stem, index, "spectrum");
    lay_easel_draw(easel, stem, run_script, &picture);
}

static void draw_blows(const lay_report_view *view, const lay_suspect *suspect, lay_easel *easel) {
    blows_picture picture = {view, suspect};
    char stem[40];
    run_stem(stem, sizeof stem, (size_t)suspect->best_run, "envelope");
    lay_easel_draw(easel, stem, blows_script, &picture);
}

/* ---- the closer look ---- */

#define MAP_ROWS 48
#define MAP_STEP 0.125 /* orders */

typedef struct map_picture {
    const lay_report_view *view;
    size_t run;
    const lay_order_spectrum *map;
} map_picture;

static lay_status map_script(const void *subject, const char *png, const char *svg, lay_text *out, lay_error *err) {
    const map_picture *p = subject;
    return lay_map_script(p->view, p->run, p->map, png, svg, out, err);
}

/* The recording is read once more: the map behind the verdict is too coarse in speed to look at. */
static void draw_map(const lay_report_view *view, size_t index, lay_easel *easel) {
    const lay_run_evidence *run = &view->d->runs[index];
    lay_order_spectrum map = {0};
    map_picture picture = {view, index, &map};
    char stem[40];
    run_stem(stem, sizeof stem, index, "map");
    lay_error err = {0};
    if (lay_run_order_map(view->unit, &view->table->runs[index], view->table->path, run, MAP_ROWS, MAP_STEP,
                          lay_map_max_order(run), &map, &err) == LAY_OK)
        lay_easel_draw(easel, stem, map_script, &picture);
    else
        lay_easel_fail(easel, stem, &err);
    lay_order_spectrum_free(&map);
}

typedef struct suspect_picture {
    const lay_report_view *view;
    size_t suspect;
} suspect_picture;

static lay_status cuts_script(const void *subject, const char *png, const char *svg, lay_text *out, lay_error *err) {
    const suspect_picture *p = subject;
    return lay_cuts_script(p->view, p->suspect, png, svg, out, err);
}

static lay_status turn_script(const void *subject, const char *png, const char *svg, lay_text *out, lay_error *err) {
    const suspect_picture *p = subject;
    return lay_turn_script(p->view, p->suspect, png, svg, out, err);
}

static void suspect_stem(char *out, size_t size, size_t suspect, const char *what) {
    snprintf(out, size, "suspect-%zu-%s", suspect + 1, what);
}

#define LOOKED_AT 9 /* suspects that may have pictures */

static void draw_look(const lay_report_view *view, lay_easel *easel) {
    char stem[40];
    for (size_t i = 0; i < LOOKED_AT; i++) {
        suspect_picture picture = {view, i};
        bool there = i < view->d->verdict.suspect_count;
        suspect_stem(stem, sizeof stem, i, "levels");
        if (there && lay_cuts_worth(view, i))
            lay_easel_draw(easel, stem, cuts_script, &picture);
        else
            lay_picture_remove(easel->folder, stem);
        suspect_stem(stem, sizeof stem, i, "wheels");
        if (there && lay_turn_worth(view, i))
            lay_easel_draw(easel, stem, turn_script, &picture);
        else
            lay_picture_remove(easel->folder, stem);
    }
}

/* ---- how fast ---- */

typedef struct speed_picture {
    const lay_report_view *view;
    const lay_speed_row *row;
    const lay_spectrogram *map;
} speed_picture;

static lay_status speed_script(const void *subject, const char *png, const char *svg, lay_text *out, lay_error *err) {
    const speed_picture *p = subject;
    return lay_report_speed_script(p->view->unit, p->row, p->map, png, svg, out, err);
}

/* The speed as the evidence holds it, all borrowed. */
static lay_run_speed speed_of(const lay_run_evidence *run) {
    return (lay_run_speed){.found = run->shaft.segment_count > 0,
                           .shaft = run->shaft,
                           .gear = run->gear,
                           .duration_s = run->duration_s,
                           .warnings = run->warnings};
}

static bool speed_worth(const lay_run_evidence *run) {
    return run->duration_s > 0 && run->shaft.segment_count > 0;
}

static void draw_speed(const lay_report_view *view, size_t index, lay_easel *easel) {
    lay_run_speed speed = speed_of(&view->d->runs[index]);
    lay_speed_row row = {.spec = &view->table->runs[index], .speed = &speed, .number = index + 1};
    lay_stft_options options = lay_report_speed_map(view->unit, &speed);
    lay_spectrogram map = {0};
    speed_picture picture = {view, &row, &map};
    lay_error err = {0};
    char stem[40];
    run_stem(stem, sizeof stem, index, "speed");
    if (lay_run_spectrogram(view->unit, row.spec, view->table->path, &options, &map, &err) == LAY_OK)
        lay_easel_draw(easel, stem, speed_script, &picture);
    else
        lay_easel_fail(easel, stem, &err);
    lay_spectrogram_free(&map);
}

/* ---- all of them ---- */

#define OLD_PICTURES 999 /* runs an earlier report may have drawn */

static void remove_of_run(const lay_report_view *view, const char *folder, size_t i, bool plots, bool blows) {
    static const char *const kinds[] = {"spectrum", "envelope", "map", "speed"};
    const lay_run_evidence *run = plots && i < lay_report_run_count(view) ? &view->d->runs[i] : NULL;
    bool stays[] = {run && run->spectrum.bins > 1, blows, run && lay_map_worth(run), run && speed_worth(run)};
    char stem[40];
    for (size_t k = 0; k < sizeof kinds / sizeof kinds[0]; k++) {
        run_stem(stem, sizeof stem, i, kinds[k]);
        if (!stays[k]) lay_picture_remove(folder, stem);
    }
}

void lay_pictures_remove_old(const lay_report_view *view, const char *folder, bool plots) {
    const lay_suspect *blows = plots ? lay_envelope_suspect(view) : NULL;
    char stem[40];
    for (size_t i = 0; i < OLD_PICTURES; i++)
        remove_of_run(view, folder, i, plots, blows != NULL && (size_t)blows->best_run == i);
    for (size_t i = 0; !plots && i < LOOKED_AT; i++) {
        suspect_stem(stem, sizeof stem, i, "levels");
        lay_picture_remove(folder, stem);
        suspect_stem(stem, sizeof stem, i, "wheels");
        lay_picture_remove(folder, stem);
    }
}

void lay_pictures_draw(const lay_report_view *view, lay_easel *easel) {
    const lay_suspect *blows = lay_envelope_suspect(view);
    for (size_t i = 0; i < lay_report_run_count(view); i++) {
        const lay_run_evidence *run = &view->d->runs[i];
        if (run->spectrum.bins > 1) draw_run(view, i, easel);
        if (lay_map_worth(run)) draw_map(view, i, easel);
        if (speed_worth(run)) draw_speed(view, i, easel);
    }
    if (blows != NULL) draw_blows(view, blows, easel);
    draw_look(view, easel);
}

/* ---- in windows ---- */

/* The run that shows the first suspect best, else the first that can be shown; -1 none. */
static int run_shown(const lay_report_view *view) {
    const lay_verdict *v = &view->d->verdict;
    size_t best = v->suspect_count > 0 && v->suspects[0].best_run >= 0 ? (size_t)v->suspects[0].best_run : 0;
    if (best < lay_report_run_count(view) && view->d->runs[best].spectrum.bins > 1) return (int)best;
    for (size_t i = 0; i < lay_report_run_count(view); i++)
        if (view->d->runs[i].spectrum.bins > 1) return (int)i;
    return -1;
}

static lay_status show(lay_picture_script script, const void *subject, lay_error *err) {
    lay_text text = {0};
    lay_status status = script(subject, NULL, NULL, &text, err);
    if (status == LAY_OK) status = lay_gnuplot_window(&text, err);
    lay_text_free(&text);
    return status;
}

lay_status lay_report_show(const lay_unit *unit, const lay_run_table *table, const lay_diagnosis *d, lay_error *err) {
    const lay_report_view view = {unit, table, d};
    const lay_suspect *blows = lay_envelope_suspect(&view);
    int run = run_shown(&view);
    lay_status status = LAY_OK;
    if (run >= 0) status = show(run_script, &(run_picture){&view, (size_t)run}, err);
    if (status == LAY_OK && blows != NULL) status = show(blows_script, &(blows_picture){&view, blows}, err);
    if (status == LAY_OK && d->verdict.suspect_count > 0 && lay_cuts_worth(&view, 0))
        status = show(cuts_script, &(suspect_picture){&view, 0}, err);
    return status;
}
