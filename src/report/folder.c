/* The report folder: what is written where, what an earlier report left behind. */
#include <layshaft/report.h>

#include <stdlib.h>
#include <string.h>

#include "clips.h"
#include "drawing.h"
#include "html.h"
#include "lines_csv.h"
#include "pictures.h"

typedef struct folder {
    lay_report_view view;
    const lay_report_options *options;
    lay_strings *written;
    lay_clips clips[LAY_HTML_SUSPECTS];
} folder;

static lay_status write_one(const folder *f, const char *name, const lay_text *text, lay_error *err) {
    char *path = lay_path_join(f->options->folder, name);
    if (path == NULL || text->failed) {
        free(path);
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory to write the report");
    }
    lay_status status = lay_write_file(path, text->length > 0 ? text->text : "", text->length, err);
    if (status == LAY_OK) status = lay_strings_add(f->written, err, "%s", name);
    free(path);
    return status;
}

static lay_status write_texts(const folder *f, lay_error *err) {
    const lay_report_view *v = &f->view;
    lay_text text = {0}, json = {0}, lines = {0};
    lay_report_text(v->unit, v->table, v->d, false, 80, &text);
    lay_report_json(v->unit, v->table, v->d, true, &json);
    lay_lines_csv(v, &lines);
    lay_status status = write_one(f, "report.txt", &text, err);
    if (status == LAY_OK) status = write_one(f, "report.json", &json, err);
    if (status == LAY_OK) status = write_one(f, "lines.csv", &lines, err);
    lay_text_free(&text);
    lay_text_free(&json);
    lay_text_free(&lines);
    return status;
}

/* The first reason why sound or a picture is missing; the report does without. */
static void write_clips(folder *f, lay_error *first) {
    for (size_t i = 0; i < LAY_HTML_SUSPECTS; i++) {
        lay_error err = {0};
        lay_clips_remove(&f->view, i, f->options->folder);
        if (!f->options->clips || !lay_clips_worth(&f->view, i)) continue;
        lay_status status = lay_clips_write(&f->view, i, f->options->folder, f->written, &f->clips[i], &err);
        if (status != LAY_OK && first->code == LAY_OK) *first = err;
    }
}

static lay_status write_html(const folder *f, lay_error *err) {
    lay_text page = {0};
    lay_status status = lay_html_write(&f->view, f->options, f->written, f->clips, &page, err);
    if (status == LAY_OK) status = write_one(f, "report.html", &page, err);
    lay_text_free(&page);
    return status;
}

static lay_status write_all(folder *f, lay_error *first, lay_error *err) {
    lay_easel easel = {.folder = f->options->folder, .written = f->written};
    lay_status status = write_texts(f, err);
    if (status != LAY_OK) return status;
    lay_pictures_remove_old(&f->view, f->options->folder, f->options->plots);
    if (f->options->plots) lay_pictures_draw(&f->view, &easel);
    write_clips(f, first); /* while gnuplot is at work */
    lay_error picture = {0};
    lay_easel_end(&easel, &picture);
    if (first->code == LAY_OK) *first = picture;
    return write_html(f, err);
}

lay_status lay_report_write(const lay_unit *unit, const lay_run_table *table, const lay_diagnosis *d,
                            const lay_report_options *options, lay_strings *written, lay_error *missing,
                            lay_error *err) {
    lay_strings own = {0};
    lay_error first = {0};
    folder f = {.view = {unit, table, d}, .options = options, .written = written != NULL ? written : &own};
    lay_status status = lay_make_folder(options->folder, err);
    if (status == LAY_OK) status = write_all(&f, &first, err);
    if (missing != NULL) *missing = first;
    lay_strings_free(&own);
    return status;
}
