#include "picture.h"

#include <layshaft/report.h>

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* Where a picture goes and where gnuplot draws it first. */
typedef struct place {
    char name[48];
    char *final, *draft;
} place;

static bool place_make(place *p, const char *folder, const char *stem, const char *extension) {
    char draft[64];
    snprintf(p->name, sizeof p->name, "%s.%s", stem, extension);
    snprintf(draft, sizeof draft, ".%s.draft", p->name);
    p->final = lay_path_join(folder, p->name);
    p->draft = lay_path_join(folder, draft);
    return p->final != NULL && p->draft != NULL;
}

static void place_free(place *p) {
    free(p->final);
    free(p->draft);
}

/* The draft takes its place when drawn, else both go. */
static lay_status settle(const place *p, lay_status drawn, lay_strings *written, lay_error *err) {
    if (drawn == LAY_OK && rename(p->draft, p->final) != 0)
        drawn = lay_fail_file(err, LAY_IO, p->final, "the picture could not be put in place: %s", strerror(errno));
    if (drawn == LAY_OK && written != NULL) drawn = lay_strings_add(written, err, "%s", p->name);
    if (drawn != LAY_OK) {
        unlink(p->draft);
        unlink(p->final);
    }
    return drawn;
}

lay_status lay_picture_draw(const char *folder, const char *stem, lay_picture_script script, const void *subject,
                            lay_strings *written, lay_error *err) {
    place png = {0}, svg = {0};
    lay_text text = {0};
    lay_status status = LAY_NO_MEMORY;
    if (!place_make(&png, folder, stem, "png") || !place_make(&svg, folder, stem, "svg")) {
        lay_fail(err, status, "not enough memory to draw the plots");
        goto done;
    }
    status = script(subject, png.draft, svg.draft, &text, err);
    if (status == LAY_OK) status = lay_report_gnuplot(&text, err);
    lay_status first = settle(&png, status, written, err);
    lay_status second = settle(&svg, status, written, err);
    if (status == LAY_OK) status = first != LAY_OK ? first : second;
done:
    lay_text_free(&text);
    place_free(&png);
    place_free(&svg);
    return status;
}

void lay_picture_remove(const char *folder, const char *stem) {
    place png = {0}, svg = {0};
    if (place_make(&png, folder, stem, "png")) unlink(png.final);
    if (place_make(&svg, folder, stem, "svg")) unlink(svg.final);
    place_free(&png);
    place_free(&svg);
}
