#include "gear_lines.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static void mark(lay_gear_lines *g, long line, lay_gear_line kind) {
    if (line >= 0 && (size_t)line < g->count && g->kind[line] < kind) g->kind[line] = (unsigned char)kind;
}

static void sort_lines(lay_gear_lines *g, const lay_condition_options *o) {
    int shaft = o->shaft < 0 ? 2 : o->shaft, sidebands = o->sidebands < 0 ? 1 : o->sidebands;
    for (int k = 0; k <= shaft; k++) mark(g, k, LAY_GEAR_SHAFT);
    for (size_t m = 0; m < o->mesh_count; m++) {
        long teeth = o->teeth[m], most = (long)(g->count - 1) / teeth;
        if (o->harmonics > 0 && o->harmonics < most) most = o->harmonics;
        for (long h = 1; h <= most; h++) {
            mark(g, h * teeth, LAY_GEAR_MESH);
            for (int s = 1; s <= sidebands; s++) {
                mark(g, h * teeth - s, LAY_GEAR_SIDEBAND);
                mark(g, h * teeth + s, LAY_GEAR_SIDEBAND);
            }
        }
    }
}

lay_status lay_gear_lines_init(lay_gear_lines *g, size_t points, const lay_condition_options *o, lay_error *err) {
    *g = (lay_gear_lines){.points = points, .count = points / 2 + 1};
    if (o->mesh_count == 0) return lay_fail(err, LAY_BAD_INPUT, "a wheel without teeth has no condition");
    for (size_t m = 0; m < o->mesh_count; m++) {
        if (o->teeth[m] < 1) return lay_fail(err, LAY_BAD_INPUT, "a wheel needs a tooth at least, not %d", o->teeth[m]);
        if ((size_t)o->teeth[m] + 1 >= points / 2)
            return lay_fail(err, LAY_BAD_INPUT, "a turn of %zu points cannot hold a mesh of %d teeth", points,
                            o->teeth[m]);
    }
    lay_status status = lay_fft_new(points, &g->fft, err);
    if (status != LAY_OK) return status;
    g->kind = lay_calloc(g->count, sizeof *g->kind);
    g->pairs = lay_calloc(2 * g->count, sizeof *g->pairs);
    g->work = lay_calloc(2 * g->count, sizeof *g->work);
    if (!g->kind || !g->pairs || !g->work)
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory for a wheel's condition");
    g->teeth = o->teeth[0];
    g->band = o->band > 0 ? o->band : g->teeth / 2 - 1;
    if (g->band < 1) g->band = 1;
    sort_lines(g, o);
    return LAY_OK;
}

void lay_gear_lines_free(lay_gear_lines *g) {
    lay_fft_free(g->fft);
    free(g->kind);
    free(g->pairs);
    free(g->work);
    *g = (lay_gear_lines){0};
}

void lay_gear_lines_of(lay_gear_lines *g, const double *x) {
    lay_fft_forward(g->fft, x, g->pairs);
}

void lay_gear_lines_signal(lay_gear_lines *g, lay_gear_line highest, double *out) {
    for (size_t k = 0; k < g->count; k++) {
        bool kept = g->kind[k] <= (unsigned char)highest;
        g->work[2 * k] = kept ? g->pairs[2 * k] : 0;
        g->work[2 * k + 1] = kept ? g->pairs[2 * k + 1] : 0;
    }
    lay_fft_backward(g->fft, g->work, out);
}

void lay_gear_lines_band(lay_gear_lines *g, double *in_phase, double *quadrature) {
    for (int turned = 0; turned < 2; turned++) {
        memset(g->work, 0, 2 * g->count * sizeof *g->work);
        for (int k = g->teeth - g->band; k <= g->teeth + g->band; k++) {
            if (k < 1 || (size_t)k >= g->count) continue;
            double re = g->pairs[2 * k], im = g->pairs[2 * k + 1];
            g->work[2 * k] = turned ? im : re; /* times -i: Hilbert transform */
            g->work[2 * k + 1] = turned ? -re : im;
        }
        lay_fft_backward(g->fft, g->work, turned ? quadrature : in_phase);
    }
}

double lay_gear_lines_amplitude(const lay_gear_lines *g, size_t line) {
    if (line >= g->count) return 0;
    return 2 * hypot(g->pairs[2 * line], g->pairs[2 * line + 1]) / (double)g->points;
}
