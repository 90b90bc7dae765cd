/* The report folder: what is written where, what an earlier report left behind. */
#include <layshaft/report.h>

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "text.h"

static lay_status make_folder(const char *path, lay_error *err) {
    struct stat st;
    if (mkdir(path, 0777) == 0 || (errno == EEXIST && stat(path, &st) == 0 && S_ISDIR(st.st_mode))) return LAY_OK;
    return lay_fail_file(err, LAY_IO, path, "the report folder could not be made: %s; choose another with --output",
                         errno == EEXIST ? "a file has that name" : strerror(errno));
}

/* The folder with its parents. */
static lay_status make_folders(const char *path, lay_error *err) {
    char *part = lay_strdup(path);
    lay_status status = LAY_OK;
    if (*path == 0) status = lay_fail(err, LAY_BAD_INPUT, "the report folder has no name");
    if (status != LAY_OK) goto done;
    if (part == NULL) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to write the report");
    for (char *slash = strchr(part + 1, '/'); slash != NULL && status == LAY_OK; slash = strchr(slash + 1, '/')) {
        *slash = 0;
        status = make_folder(part, err);
        *slash = '/';
    }
    if (status == LAY_OK) status = make_folder(path, err);
done:
    free(part);
    return status;
}

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

/* Where one run's picture goes and where gnuplot draws it first, so that a failure never leaves half a picture. */
typedef struct picture_path {
    char name[48];
    char *final, *draft;
} picture_path;

static bool picture_path_make(picture_path *p, const char *folder, size_t number, const char *extension) {
    char draft[64];
    snprintf(p->name, sizeof p->name, "run-%02zu-spectrum.%s", number, extension);
    snprintf(draft, sizeof draft, ".%s.draft", p->name);
    p->final = lay_path_join(folder, p->name);
    p->draft = lay_path_join(folder, draft);
    return p->final != NULL && p->draft != NULL;
}

static void picture_path_free(picture_path *p) {
    free(p->final);
    free(p->draft);
}

/* The draft takes its place when drawn, else both go: an old picture must not pass for this report's. */
static lay_status picture_settle(const picture_path *p, lay_status drawn, lay_strings *written, lay_error *err) {
    if (drawn == LAY_OK && rename(p->draft, p->final) != 0)
        drawn = lay_fail_file(err, LAY_IO, p->final, "the picture could not be put in place: %s", strerror(errno));
    if (drawn == LAY_OK && written != NULL) drawn = lay_strings_add(written, err, "%s", p->name);
    if (drawn != LAY_OK) {
        unlink(p->draft);
        unlink(p->final);
    }
    return drawn;
}

static lay_status draw_run(const lay_report_view *view, size_t index, const char *folder, lay_strings *written,
                           lay_error *err) {
    picture_path png = {0}, svg = {0};
    lay_text script = {0};
    lay_status status = LAY_NO_MEMORY;
    if (!picture_path_make(&png, folder, index + 1, "png") || !picture_path_make(&svg, folder, index + 1, "svg")) {
        lay_fail(err, status, "not enough memory to draw the plots");
        goto done;
    }
    status = lay_report_plot_script(view->unit, &view->table->runs[index], &view->d->runs[index], (int)index + 1,
                                    png.draft, svg.draft, &script, err);
    if (status == LAY_OK) status = lay_report_gnuplot(&script, err);
    lay_status first = picture_settle(&png, status, written, err);
    lay_status second = picture_settle(&svg, status, written, err);
    if (status == LAY_OK) status = first != LAY_OK ? first : second;
done:
    lay_text_free(&script);
    picture_path_free(&png);
    picture_path_free(&svg);
    return status;
}

static void remove_picture(const char *folder, size_t number, const char *extension) {
    picture_path p = {0};
    if (picture_path_make(&p, folder, number, extension)) unlink(p.final);
    picture_path_free(&p);
}

#define OLD_PICTURES 999 /* runs an earlier report may have drawn */

/* Pictures of an earlier report that this one does not draw anew. */
static void remove_old(const lay_report_view *view, const char *folder, bool plots) {
    for (size_t i = 0; i < OLD_PICTURES; i++) {
        if (plots && i < lay_report_run_count(view) && view->d->runs[i].spectrum.bins > 1) continue;
        remove_picture(folder, i + 1, "png");
        remove_picture(folder, i + 1, "svg");
    }
}

lay_status lay_report_write(const lay_unit *unit, const lay_run_table *table, const lay_diagnosis *d,
                            const char *folder, bool plots, lay_strings *written, lay_error *plot_error,
                            lay_error *err) {
    lay_report_view view = {unit, table, d};
    lay_error first = {0};
    lay_status status = make_folders(folder, err);
    if (status == LAY_OK) status = write_texts(unit, table, d, folder, written, err);
    if (status != LAY_OK) return status;
    remove_old(&view, folder, plots);
    for (size_t i = 0; plots && i < lay_report_run_count(&view); i++) {
        lay_error failed = {0};
        if (d->runs[i].spectrum.bins > 1) draw_run(&view, i, folder, written, &failed);
        if (first.code == LAY_OK) first = failed;
    }
    if (plot_error != NULL) *plot_error = first;
    return LAY_OK;
}
