/* The report folder: what is written where, what an earlier report left behind. */
#include <layshaft/report.h>

#include <stdio.h>
#include <stdlib.h>

#include "envelope_plot.h"
#include "look_plot.h"
#include "picture.h"
#include "text.h"

static lay_status write_one(const char *folder, const char *name, const lay_text *text, lay_strings *written,
                            lay_error *err) {
    char *path = lay_path_join(folder, name);
    if (path == NULL) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to write the report");
    lay_status status = lay_write_file(path, text->text, text->length, err);
    if (status == LAY_OK && written != NULL) status = lay_strings_add(written, err, "%s", name);
    free(path);
    return status;
}

static lay_status write_texts(const lay_unit *unit, const lay_run_table *table, const lay_diagnosis *d,
                              const char *folder, lay_strings *written, lay_error *err) {
    lay_text text = {0}, json = {0};
    lay_status status = lay_report_text(unit, table, d, false, 80, &text);
    if (status == LAY_OK) status = lay_report_json(unit, table, d, true, &json);
    if (status != LAY_OK) lay_fail(err, status, "not enough memory to write the report");
    if (status == LAY_OK) status = write_one(folder, "report.txt", &text, written, err);
    if (status == LAY_OK) status = write_one(folder, "report.json", &json, written, err);
    lay_text_free(&text);
    lay_text_free(&json);
    return status;
}

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

static void draw_run(const lay_report_view *view, size_t index, const char *folder, lay_strings *written,
                     lay_error *err) {
    run_picture picture = {view, index};
    char stem[40];
    run_stem(stem, sizeof stem, index, "spectrum");
    lay_picture_draw(folder, stem, run_script, &picture, written, err);
}

static void draw_blows(const lay_report_view *view, const lay_suspect *suspect, const char *folder,
                       lay_strings *written, lay_error *err) {
    blows_picture picture = {view, suspect};
    char stem[40];
    run_stem(stem, sizeof stem, (size_t)suspect->best_run, "envelope");
    lay_picture_draw(folder, stem, blows_script, &picture, written, err);
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
static void draw_map(const lay_report_view *view, size_t index, const char *folder, lay_strings *written,
                     lay_error *err) {
    const lay_run_evidence *run = &view->d->runs[index];
    lay_order_spectrum map = {0};
    map_picture picture = {view, index, &map};
    char stem[40];
    run_stem(stem, sizeof stem, index, "map");
    if (lay_run_order_map(view->unit, &view->table->runs[index], view->table->path, run, MAP_ROWS, MAP_STEP,
                          lay_map_max_order(run), &map, err) == LAY_OK)
        lay_picture_draw(folder, stem, map_script, &picture, written, err);
    else
        lay_picture_remove(folder, stem);
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

static void draw_look(const lay_report_view *view, const char *folder, lay_strings *written, lay_error *err) {
    char stem[40];
    for (size_t i = 0; i < LOOKED_AT; i++) {
        suspect_picture picture = {view, i};
        bool there = i < view->d->verdict.suspect_count;
        suspect_stem(stem, sizeof stem, i, "levels");
        if (there && lay_cuts_worth(view, i))
            lay_picture_draw(folder, stem, cuts_script, &picture, written, err);
        else
            lay_picture_remove(folder, stem);
        suspect_stem(stem, sizeof stem, i, "wheels");
        if (there && lay_turn_worth(view, i))
            lay_picture_draw(folder, stem, turn_script, &picture, written, err);
        else
            lay_picture_remove(folder, stem);
    }
}

/* ---- all of them ---- */

#define OLD_PICTURES 999 /* runs an earlier report may have drawn */

/* Pictures of an earlier report that this one does not draw anew; `blows`: the suspect that gets a picture, or NULL. */
static void remove_old(const lay_report_view *view, const char *folder, bool plots, const lay_suspect *blows) {
    char stem[40];
    for (size_t i = 0; i < OLD_PICTURES; i++) {
        bool spectrum = plots && i < lay_report_run_count(view) && view->d->runs[i].spectrum.bins > 1;
        bool envelope = blows != NULL && (size_t)blows->best_run == i;
        run_stem(stem, sizeof stem, i, "spectrum");
        if (!spectrum) lay_picture_remove(folder, stem);
        run_stem(stem, sizeof stem, i, "envelope");
        if (!envelope) lay_picture_remove(folder, stem);
        bool map = plots && i < lay_report_run_count(view) && lay_map_worth(&view->d->runs[i]);
        run_stem(stem, sizeof stem, i, "map");
        if (!map) lay_picture_remove(folder, stem);
    }
    for (size_t i = 0; !plots && i < LOOKED_AT; i++) {
        suspect_stem(stem, sizeof stem, i, "levels");
        lay_picture_remove(folder, stem);
        suspect_stem(stem, sizeof stem, i, "wheels");
        lay_picture_remove(folder, stem);
    }
}

/* The first reason why one could not be drawn goes to `first`. */
static void draw_all(const lay_report_view *view, const lay_suspect *blows, const char *folder, lay_strings *written,
                     lay_error *first) {
    for (size_t i = 0; i < lay_report_run_count(view); i++) {
        lay_error failed = {0};
        if (view->d->runs[i].spectrum.bins > 1) draw_run(view, i, folder, written, &failed);
        if (lay_map_worth(&view->d->runs[i])) draw_map(view, i, folder, written, &failed);
        if (first->code == LAY_OK) *first = failed;
    }
    lay_error failed = {0};
    if (blows != NULL) draw_blows(view, blows, folder, written, &failed);
    draw_look(view, folder, written, &failed);
    if (first->code == LAY_OK) *first = failed;
}

lay_status lay_report_write(const lay_unit *unit, const lay_run_table *table, const lay_diagnosis *d,
                            const char *folder, bool plots, lay_strings *written, lay_error *plot_error,
                            lay_error *err) {
    lay_report_view view = {unit, table, d};
    lay_error first = {0};
    lay_status status = lay_make_folder(folder, err);
    if (status == LAY_OK) status = write_texts(unit, table, d, folder, written, err);
    if (status != LAY_OK) return status;
    const lay_suspect *blows = plots ? lay_envelope_suspect(&view) : NULL;
    remove_old(&view, folder, plots, blows);
    if (plots) draw_all(&view, blows, folder, written, &first);
    if (plot_error != NULL) *plot_error = first;
    return LAY_OK;
}
