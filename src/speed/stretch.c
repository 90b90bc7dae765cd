/* Where the lines of a path are heard. */
#include "solve.h"

#include <math.h>
#include <stdlib.h>

#define HEARD 0.5 /* share of the usual evidence that a frame must hold for its lines to be heard */
#define LEAST_PIECE_S 2.5

/* From frame *f on the next stretch in which the lines are heard; false when there is none. Silences of one frame are
 * bridged. */
static bool next_stretch(const lay_piece *p, size_t *f, size_t *first, size_t *end) {
    while (*f < p->frames && p->seen[*f] < HEARD) (*f)++;
    *first = *end = *f;
    while (*f < p->frames) {
        bool quiet = p->seen[*f] < HEARD, next = *f + 1 < p->frames && p->seen[*f + 1] < HEARD;
        if (quiet && next) break;
        (*f)++;
        if (!quiet) *end = *f;
    }
    return *end > *first;
}

/* A part of a chapter; it borrows the samples. */
static lay_chapter part_of(const lay_chapter *c, double from_s, double to_s) {
    lay_chapter part = *c;
    double rate = 0.5 * c->wide_rate;
    size_t first = (size_t)fmax(0, (from_s - c->start_s) * rate), last = (size_t)fmax(0, (to_s - c->start_s) * rate);
    if (last > c->narrow_count) last = c->narrow_count;
    if (first > last) first = last;
    part.start_s = c->start_s + (double)first / rate;
    part.narrow += first;
    part.wide += 2 * first;
    part.narrow_count = last - first;
    part.wide_count = 2 * (last - first) < c->wide_count - 2 * first ? 2 * (last - first) : c->wide_count - 2 * first;
    return part;
}

lay_status lay_add_piece(lay_pieces *pieces, lay_piece *p, lay_error *err) {
    lay_profile_free(&p->profile); /* pieces are kept to the end of the recording: nothing large stays */
    lay_status status = lay_grow((void **)&pieces->items, &pieces->capacity, pieces->count, sizeof *p, err);
    if (status == LAY_OK)
        pieces->items[pieces->count++] = *p;
    else
        lay_piece_free(p);
    *p = (lay_piece){.frames = 0};
    return status;
}

static lay_status add_stretch(const lay_chapter *c, const lay_track_options *o, const lay_guide *guide,
                              const lay_piece *whole, double from, double to, lay_pieces *out, lay_error *err) {
    lay_chapter part = part_of(c, from, to);
    lay_piece p = {.found = whole->found * (to - from) / (lay_chapter_end(c) - c->start_s)};
    lay_status status = lay_piece_take(&part, &whole->path, 1, &p, err);
    if (status == LAY_OK && p.path.count > 0) status = lay_piece_judge(&part, o, guide, &p, err);
    if (status == LAY_OK) return lay_add_piece(out, &p, err);
    lay_piece_free(&p);
    return status;
}

static bool broken(const lay_piece *p) {
    size_t f = 0, first, end;
    return p->frames > 0 && next_stretch(p, &f, &first, &end) && (first > 0 || end < p->frames);
}

lay_status lay_add_stretches(const lay_chapter *c, const lay_track_options *o, const lay_guide *guide, lay_piece *whole,
                             lay_pieces *out, lay_error *err) {
    if (!broken(whole)) return lay_add_piece(out, whole, err);
    lay_status status = LAY_OK;
    size_t f = 0, first, end;
    while (status == LAY_OK && next_stretch(whole, &f, &first, &end)) {
        double from = whole->first_s + ((double)first - 0.5) * whole->hop_s;
        double to = whole->first_s + ((double)end - 0.5) * whole->hop_s;
        if (first == 0) from = c->start_s;
        if (end == whole->frames) to = lay_chapter_end(c);
        if (to - from >= LEAST_PIECE_S) status = add_stretch(c, o, guide, whole, from, to, out, err);
    }
    lay_piece_free(whole);
    return status;
}
