#include "picture.h"

#include <layshaft/report.h>

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static bool place_make(lay_picture_place *p, const char *folder, const char *stem, const char *extension) {
    char draft[64];
    snprintf(p->name, sizeof p->name, "%s.%s", stem, extension);
    snprintf(draft, sizeof draft, ".%s.draft", p->name);
    p->final = lay_path_join(folder, p->name);
    p->draft = lay_path_join(folder, draft);
    return p->final != NULL && p->draft != NULL;
}

static void place_free(lay_picture_place *p) {
    free(p->final);
    free(p->draft);
    *p = (lay_picture_place){0};
}

/* The draft takes its place when drawn, else both go. */
static lay_status settle(const lay_picture_place *p, lay_status drawn, lay_strings *written, lay_error *err) {
    if (p->final == NULL || p->draft == NULL) return drawn;
    if (drawn == LAY_OK && rename(p->draft, p->final) != 0)
        drawn = lay_fail_file(err, LAY_IO, p->final, "the picture could not be put in place: %s", strerror(errno));
    if (drawn == LAY_OK && written != NULL) drawn = lay_strings_add(written, err, "%s", p->name);
    if (drawn != LAY_OK) {
        unlink(p->draft);
        unlink(p->final);
    }
    return drawn;
}

static void note(lay_easel *e, const lay_error *why) {
    if (e->first.code == LAY_OK) e->first = *why;
}

static void settle_both(lay_easel *e, lay_picture_place *png, lay_picture_place *svg, lay_status drawn,
                        lay_error *err) {
    lay_status first = settle(png, drawn, e->written, err);
    lay_status second = settle(svg, drawn, e->written, err);
    if (drawn != LAY_OK || first != LAY_OK || second != LAY_OK) note(e, err);
    place_free(png);
    place_free(svg);
}

static void wait_for_oldest(lay_easel *e) {
    lay_error err = {0};
    size_t at = e->oldest;
    lay_status drawn = lay_gnuplot_finish(e->slots[at].gnuplot, e->slots[at].complete, &err);
    e->slots[at].gnuplot = NULL;
    e->oldest = (at + 1) % LAY_EASELS;
    e->count--;
    settle_both(e, &e->slots[at].png, &e->slots[at].svg, drawn, &err);
}

void lay_easel_draw(lay_easel *e, const char *stem, lay_picture_script script, const void *subject) {
    lay_text text = {0};
    lay_error err = {0};
    if (e->count == LAY_EASELS) wait_for_oldest(e);
    size_t at = (e->oldest + e->count) % LAY_EASELS;
    bool made = place_make(&e->slots[at].png, e->folder, stem, "png");
    made = place_make(&e->slots[at].svg, e->folder, stem, "svg") && made;
    lay_status status = made ? LAY_OK : lay_fail(&err, LAY_NO_MEMORY, "not enough memory to draw the plots");
    if (status == LAY_OK) status = script(subject, e->slots[at].png.draft, e->slots[at].svg.draft, &text, &err);
    if (status == LAY_OK) status = lay_gnuplot_start(&text, &e->slots[at].gnuplot, &e->slots[at].complete, &err);
    if (status == LAY_OK)
        e->count++;
    else
        settle_both(e, &e->slots[at].png, &e->slots[at].svg, status, &err);
    lay_text_free(&text);
}

void lay_easel_fail(lay_easel *e, const char *stem, const lay_error *why) {
    note(e, why);
    lay_picture_remove(e->folder, stem);
}

lay_status lay_easel_end(lay_easel *e, lay_error *err) {
    while (e->count > 0) wait_for_oldest(e);
    if (e->first.code != LAY_OK && err != NULL) *err = e->first;
    return e->first.code;
}

void lay_picture_remove(const char *folder, const char *stem) {
    lay_picture_place png = {0}, svg = {0};
    if (place_make(&png, folder, stem, "png")) unlink(png.final);
    if (place_make(&svg, folder, stem, "svg")) unlink(svg.final);
    place_free(&png);
    place_free(&svg);
}
