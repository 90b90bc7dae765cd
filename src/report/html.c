#include "html.h"

#include "markup.h"

#define ROOM (3600u * 1024) /* bytes of pictures and sound: with a third more as base64 the page stays below 5 MB */

/* Nothing is fetched and nothing runs, whatever a name may hold. */
static const char policy[] = "default-src 'none'; img-src data:; media-src data:; style-src 'unsafe-inline'";

void lay_html_begin(lay_text *out, const char *title) {
    lay_text_add(out,
                 "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
                 "<meta http-equiv=\"Content-Security-Policy\" content=\"%s\">\n"
                 "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>",
                 policy);
    lay_markup_text(out, title);
    lay_text_add(out, "</title>\n<style>\n%s</style>\n</head>\n<body>\n", lay_html_style);
}

void lay_html_end(lay_text *out, const char *advice) {
    lay_text_add(out, "</main>\n<footer><p>%s</p>\n<p>layshaft %s</p></footer>\n</body>\n</html>\n", advice,
                 LAY_VERSION);
}

static void top(const lay_html *h) {
    const lay_report_options *o = h->options;
    lay_text_add(h->out, "<header><p>");
    lay_markup_format(h->out, "%s%s%s%s%s", h->view->unit->name, o->job != NULL ? " · job " : "",
                      o->job != NULL ? o->job : "", o->date != NULL ? " · " : "", o->date != NULL ? o->date : "");
    lay_text_add(h->out,
                 "</p>\n<nav aria-label=\"Sections\"><a href=\"#evidence\">Evidence</a> <a "
                 "href=\"#sheet\">Inspection sheet</a> <a href=\"#runs\">Recordings</a></nav></header>\n<main>\n");
}

lay_status lay_html_write(const lay_report_view *view, const lay_report_options *options, const lay_strings *files,
                          const lay_clips *clips, lay_text *out, lay_error *err) {
    lay_html h = {view, options, files, clips, ROOM, out};
    lay_text title = {0};
    lay_text_add(&title, "%s: noise diagnosis", view->unit->name);
    lay_html_begin(out, title.failed ? "" : title.text);
    lay_text_free(&title);
    top(&h);
    lay_status status = lay_html_first(&h, err);
    if (status != LAY_OK) return status;
    lay_html_suspects(&h);
    lay_html_sheet(&h);
    lay_html_runs(&h);
    lay_html_end(out,
                 "This verdict is advice on where to look when the unit is opened. It is never a certificate that a "
                 "part is good or bad: inspect before you replace.");
    return out->failed ? lay_fail(err, LAY_NO_MEMORY, "not enough memory for the page") : LAY_OK;
}
