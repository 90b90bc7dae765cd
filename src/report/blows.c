#include "blows.h"

#include <math.h>
#include <string.h>

#include "words.h"

bool lay_blows_known(const lay_report_view *view, const lay_suspect *s) {
    if (s->blows.lines <= 0 || s->blows.lines > LAY_STRIKE_LINES) return false;
    if (s->best_run < 0 || (size_t)s->best_run >= lay_report_run_count(view)) return false;
    return s->blows.band >= 0 && (size_t)s->blows.band < view->d->runs[s->best_run].envelope.band_count;
}

bool lay_blows_swing_only(const lay_suspect *s) {
    return s->kind == LAY_KIND_ELEMENT && s->blows.lines > LAY_STRIKE_RING_LINES;
}

/* The part in the run that shows it best. */
static const lay_expected *expected_of(const lay_run_evidence *run, const lay_suspect *s) {
    lay_part_type type = s->kind == LAY_KIND_CHIP ? LAY_PART_MESH : LAY_PART_BEARING;
    for (size_t i = 0; s->part != NULL && i < run->expected_count; i++)
        if (run->expected[i].type == type && strcmp(run->expected[i].name, s->part) == 0) return &run->expected[i];
    return NULL;
}

lay_turner lay_blows_turner(const lay_report_view *view, const lay_suspect *s) {
    const lay_run_evidence *run = &view->d->runs[s->best_run];
    const lay_expected *e = expected_of(run, s);
    if (s->kind == LAY_KIND_CHIP) return (lay_turner){s->body != NULL ? s->blows.order : 0, s->body, NULL};
    if (e == NULL) return (lay_turner){0, NULL, NULL};
    return lay_bearing_turner(view->unit, e, s->kind == LAY_KIND_CAGE || lay_blows_swing_only(s));
}

const char *lay_blows_place(lay_kind kind) {
    switch (kind) {
    case LAY_KIND_OUTER:
        return "outer race";
    case LAY_KIND_INNER:
        return "inner race";
    case LAY_KIND_ELEMENT:
        return "ball or roller";
    case LAY_KIND_CAGE:
        return "cage";
    default:
        return "tooth";
    }
}

void lay_blows_band(const lay_blows *blows, lay_text *out) {
    lay_text_add(out, "%s to %s Hz", lay_words_number(10 * round(blows->low_hz / 10), 0).text,
                 lay_words_number(10 * round(blows->high_hz / 10), 0).text);
}
