/* Files of a report folder: pictures that are there whole or not at all. */
#ifndef LAYSHAFT_REPORT_PICTURE_H
#define LAYSHAFT_REPORT_PICTURE_H

#include <layshaft/judge.h>

#include <stdio.h>

/* Appends the gnuplot script of a picture that goes to `png` and `svg`. */
typedef lay_status (*lay_picture_script)(const void *subject, const char *png, const char *svg, lay_text *out,
                                         lay_error *err);

/* Where a picture goes and where gnuplot draws it first. */
typedef struct lay_picture_place {
    char name[48];
    char *final, *draft;
} lay_picture_place;

#define LAY_EASELS 4 /* pictures that are drawn side by side */

/* Several gnuplots at work; zero it, but for the folder and the list (NULL allowed) that receives the files' names in
 * the order in which the pictures were asked for. */
typedef struct lay_easel {
    const char *folder;
    lay_strings *written;
    lay_error first; /* why a picture could not be drawn; code LAY_OK: all could */
    struct {
        lay_picture_place png, svg;
        FILE *gnuplot;
        bool complete; /* it was given the whole script */
    } slots[LAY_EASELS];
    size_t oldest, count;
} lay_easel;

/* Have `stem`.png and .svg drawn; the subject is read at once. On failure neither is left, not even of an earlier
 * report: an old picture must not pass for a new one. */
void lay_easel_draw(lay_easel *easel, const char *stem, lay_picture_script script, const void *subject);
/* Note why a picture could not even be begun, and remove what an earlier report left. */
void lay_easel_fail(lay_easel *easel, const char *stem, const lay_error *why);
/* Wait for all of them; the first failure is returned. */
lay_status lay_easel_end(lay_easel *easel, lay_error *err);

/* Removes both pictures of an earlier report. */
void lay_picture_remove(const char *folder, const char *stem);

/* plot.c: the only door to gnuplot. Feed it a script through a pipe and leave it at work; *complete: it took it all.
 * Then wait for it. */
lay_status lay_gnuplot_start(const lay_text *script, FILE **gnuplot, bool *complete, lay_error *err);
/* The same for a script that opens a window, which stays; LAY_IO where gnuplot has none to open. */
lay_status lay_gnuplot_window(const lay_text *script, lay_error *err);
lay_status lay_gnuplot_finish(FILE *gnuplot, bool complete, lay_error *err);

#endif
