/* Pieces of which the sections of the page are made. */
#include "html.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "markup.h"
#include "words.h"

void lay_html_element(lay_text *out, const char *tag, const char *text) {
    lay_text_add(out, "<%s>", tag);
    lay_markup_text(out, text);
    lay_text_add(out, "</%s>\n", tag);
}

void lay_html_list(lay_text *out, const lay_strings *items) {
    if (items->count == 0) return;
    lay_text_add(out, "<ul>\n");
    for (size_t i = 0; i < items->count; i++) lay_html_element(out, "li", items->items[i]);
    lay_text_add(out, "</ul>\n");
}

static void field(void *user, const char *label, const char *text) {
    lay_text *out = user;
    lay_html_element(out, "dt", label);
    lay_html_element(out, "dd", text);
    if (text == NULL) out->failed = true;
}

lay_fields lay_html_fields(lay_text *out) {
    return (lay_fields){field, out};
}

void lay_html_suspect_name(lay_text *out, const lay_suspect *s) {
    bool bearing = s->kind >= LAY_KIND_OUTER && s->kind <= LAY_KIND_CAGE;
    lay_text_add(out, "%s%s", bearing ? "bearing " : "",
                 s->part != NULL ? s->part : "a source the unit file does not list");
}

/* ---- files put into the page ---- */

static bool written(const lay_html *h, const char *name) {
    for (size_t i = 0; i < h->files->count; i++)
        if (strcmp(h->files->items[i], name) == 0) return true;
    return false;
}

#define FILE_MOST (4u << 20)

/* The file as base64; false when it is not there, cannot be read, or no longer has room. */
static bool embed(lay_html *h, const char *name, const char *type, lay_text *out) {
    char *path = lay_path_join(h->options->folder, name), *bytes = NULL;
    size_t length = 0;
    lay_error ignored;
    bool fits = path != NULL && written(h, name) &&
                lay_read_file(path, FILE_MOST, &bytes, &length, &ignored) == LAY_OK && length <= h->room;
    if (fits) {
        h->room -= length;
        lay_text_add(out, "data:%s;base64,", type);
        lay_markup_base64(out, (const unsigned char *)bytes, length);
    }
    free(bytes);
    free(path);
    return fits;
}

/* For what has no room: a link to the file beside the page. */
static void beside(lay_html *h, const char *name, const char *what) {
    lay_text_add(h->out, "<p class=\"beside\"><a href=\"%s\">", name); /* our own file names: plain letters */
    lay_markup_text(h->out, what);
    lay_text_add(h->out, "</a> (%s in the report folder)</p>\n", name);
}

#define SVG_MOST 150000L /* bytes; beyond, a picture of points is smaller */

static long size_of(const lay_html *h, const char *name) {
    char *path = lay_path_join(h->options->folder, name);
    FILE *f = path != NULL ? fopen(path, "rb") : NULL;
    long size = f != NULL && fseek(f, 0, SEEK_END) == 0 ? ftell(f) : -1;
    if (f != NULL) fclose(f);
    free(path);
    return size;
}

void lay_html_picture(lay_html *h, const char *stem, const char *alternative) {
    char svg[64], png[64];
    lay_text data = {0};
    snprintf(svg, sizeof svg, "%s.svg", stem);
    snprintf(png, sizeof png, "%s.png", stem);
    if (!written(h, png)) return;
    bool drawn = size_of(h, svg) <= SVG_MOST && embed(h, svg, "image/svg+xml", &data);
    drawn = drawn || embed(h, png, "image/png", &data);
    if (drawn && !data.failed) {
        lay_text_add(h->out, "<figure><img src=\"%s\" alt=\"", data.text);
        lay_markup_text(h->out, alternative);
        lay_text_add(h->out, "\"></figure>\n");
    } else {
        beside(h, png, alternative);
    }
    lay_text_free(&data);
}

void lay_html_sound(lay_html *h, const char *file, const char *label) {
    lay_text data = {0};
    if (embed(h, file, "audio/flac", &data) && !data.failed) {
        lay_text_add(h->out, "<div class=\"sound\"><span>");
        lay_markup_text(h->out, label);
        lay_text_add(h->out, "</span><audio controls preload=\"metadata\" aria-label=\"");
        lay_markup_text(h->out, label);
        lay_text_add(h->out, "\" src=\"%s\"></audio></div>\n", data.text);
    } else {
        beside(h, file, label);
    }
    lay_text_free(&data);
}

void lay_html_headed_list(lay_text *out, const char *heading, const lay_strings *items) {
    if (items->count == 0) return;
    lay_html_element(out, "h3", heading);
    lay_html_list(out, items);
}
