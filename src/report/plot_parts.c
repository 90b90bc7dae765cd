#include "plot_parts.h"

#include "utf8.h"

static void in_quotes(lay_text *out, const char *s) {
    lay_text_add(out, "'"); /* in single quotes nothing but the quote itself is special */
    for (const char *c = s; c != NULL && *c; c++) lay_text_add(out, *c == '\'' ? "''" : "%c", *c);
    lay_text_add(out, "'");
}

void lay_plot_quoted(lay_text *out, const char *s) {
    lay_text clean = {0};
    lay_utf8_clean(&clean, s);
    in_quotes(out, clean.text);
    if (clean.failed) out->failed = true;
    lay_text_free(&clean);
}

lay_status lay_plot_check_path(const char *path, lay_error *err) {
    for (const char *c = path; c != NULL && *c; c++)
        if ((unsigned char)*c < 0x20 || *c == 0x7F)
            return lay_fail_file(err, LAY_BAD_INPUT, path,
                                 "the folder's name holds control characters, so no plot can be written there; "
                                 "choose another with --output");
    return LAY_OK;
}

/* Which window systems a gnuplot has is its own affair: it chooses, and we only say how large. */
static void begin_window(lay_text *out, int width, int height) {
    lay_text_add(out,
                 "if (GPVAL_TERM eq 'unknown') { exit status 1 }\n"
                 "if (strstrt(' x11 qt wxt ', ' '.GPVAL_TERM.' ') > 0) { eval 'set terminal '.GPVAL_TERM.' size %d,%d "
                 "persist' }\n",
                 width, height);
}

void lay_plot_begin(lay_text *out, lay_picture_kind kind, int width, int height, const char *path) {
    if (kind == LAY_PICTURE_WINDOW) {
        begin_window(out, width, height);
        return;
    }
    if (kind == LAY_PICTURE_PNG)
        lay_text_add(out,
                     "if (strstrt(GPVAL_TERMINALS, 'pngcairo') > 0) { set terminal pngcairo size %d,%d font 'Sans,13' "
                     "} else { set terminal png size %d,%d }",
                     width, height, width, height);
    else
        lay_text_add(out, "set terminal svg size %d,%d font 'Sans,13' background '#ffffff'", width, height);
    lay_text_add(out, "\nset output ");
    in_quotes(out, path);
    lay_text_add(out, "\n");
}

void lay_plot_end(lay_text *out) {
    lay_text_add(out, "unset output\n");
}
