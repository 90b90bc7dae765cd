/* `layshaft orders` for the terminal. */
#include <layshaft/report.h>

#include <math.h>
#include <stdlib.h>

#include "orders.h"
#include "page.h"
#include "utf8.h"
#include "words.h"

/* One gear on its way to the page; borrowed. */
typedef struct view {
    const lay_unit *unit;
    const lay_orders_gear *gear;
    const lay_page *page;
    int name_columns; /* width of the column of part names */
} view;

static void title(const view *v, int gear) {
    lay_text line = {0};
    lay_text_add(&line, "Gear %s", v->unit->gears[gear].name);
    if (v->unit->output >= 0) {
        const char *output = lay_words_body(v->unit, v->unit->output);
        if (v->gear->output_order > 0.0)
            lay_text_add(&line, ": ratio %s, output order %s (%s)", lay_words_number(fabs(v->gear->ratio), 4).text,
                         lay_words_number(v->gear->output_order, 4).text, output);
        else
            lay_text_add(&line, ": no drive, the output (%s) stands still", output);
    }
    lay_page_blank(v->page);
    lay_page_heading(v->page, LAY_INK_BOLD, line.failed ? "" : line.text);
    lay_text_free(&line);
}

/* A row: name cell, four numbers of nine columns, free text cut to what is left. NaN leaves a cell empty. */
static void row(const view *v, const char *name, const double numbers[4], int number_count, const char *rest) {
    lay_text line = {0};
    lay_text_add(&line, "  ");
    lay_utf8_cell(&line, name, v->name_columns);
    for (int i = 0; i < number_count; i++)
        lay_text_add(&line, " %9.9s", isnan(numbers[i]) ? "" : lay_words_number(numbers[i], 4).text);
    lay_text_add(&line, "  ");
    lay_utf8_fit(&line, rest, v->page->width - v->name_columns - 4 - 10 * number_count);
    while (line.length > 0 && line.text[line.length - 1] == ' ') line.text[--line.length] = 0;
    if (line.failed)
        v->page->out->failed = true;
    else
        lay_page_line(v->page, LAY_INK_PLAIN, line.text);
    lay_text_free(&line);
}

static void head(const view *v, const char *first, const char *others) {
    lay_text line = {0};
    lay_text_add(&line, "  %-*s%s", v->name_columns, first, others);
    lay_page_line(v->page, LAY_INK_DIM, line.failed ? "" : line.text);
    lay_text_free(&line);
}

static void meshes(const view *v) {
    bool any = false;
    for (size_t i = 0; i < v->gear->count; i++) {
        const lay_expected *e = &v->gear->parts[i];
        if (!e->turning || (e->type != LAY_PART_MESH && e->type != LAY_PART_AXLE)) continue;
        if (!any) head(v, "mesh", "     order    driver    driven   carries torque");
        any = true;
        double numbers[4] = {e->order, e->wheel_order[0], e->wheel_order[1], NAN};
        row(v, e->name, numbers, 3, e->loaded ? " yes" : " no");
    }
}

static double known(double order) {
    return order > 0.0 ? order : NAN;
}

static void bearings(const view *v) {
    bool any = false;
    for (size_t i = 0; i < v->gear->count; i++) {
        const lay_expected *e = &v->gear->parts[i];
        if (!e->turning || e->type != LAY_PART_BEARING) continue;
        lay_text rest = {0};
        if (!any) head(v, "bearing", "      BPFO      BPFI     2xBSF       FTF");
        any = true;
        double numbers[4] = {known(e->bpfo), known(e->bpfi), known(e->bsf2), known(e->ftf)};
        lay_text_add(&rest, "%s", "");
        if (e->tolerance > 0.005) lay_text_add(&rest, "+-%s %%", lay_words_number(100.0 * e->tolerance, 0).text);
        row(v, e->name, numbers, 4, rest.failed ? "" : rest.text);
        lay_text_free(&rest);
    }
}

static void outside(const view *v) {
    bool any = false;
    for (size_t i = 0; i < v->gear->count; i++) {
        const lay_expected *e = &v->gear->parts[i];
        if (!e->turning || (e->type != LAY_PART_ENGINE && e->type != LAY_PART_ROTOR)) continue;
        lay_text rest = {0};
        double numbers[4] = {e->order, NAN, NAN, NAN};
        if (!any) head(v, "outside", "     order");
        any = true;
        if (e->type == LAY_PART_ENGINE)
            lay_text_add(&rest, "firing; multiples of %s", lay_words_number(e->cycle_order, 4).text);
        else
            lay_text_add(&rest, "turning; lines at");
        for (size_t k = 0; e->type == LAY_PART_ROTOR && k < e->multiple_count; k++)
            lay_text_add(&rest, "%s %s", k ? "," : "", lay_words_number(e->order * e->multiples[k], 3).text);
        row(v, e->name, numbers, 1, rest.failed ? "" : rest.text);
        lay_text_free(&rest);
    }
}

static void silent(const view *v) {
    lay_text names = {0};
    for (size_t i = 0; i < v->gear->count; i++)
        if (!v->gear->parts[i].turning) lay_text_add(&names, "%s%s", names.length ? ", " : "", v->gear->parts[i].name);
    if (names.length > 0) lay_page_wrap(v->page, LAY_INK_PLAIN, "  silent: ", names.text);
    if (names.failed) v->page->out->failed = true;
    lay_text_free(&names);
}

#define TONES_MAX 16

/* The base orders of a part, unknown ones left out. */
static size_t tones(const lay_expected *e, double out[TONES_MAX]) {
    double bearing[] = {e->bpfo, e->bpfi, e->bsf2, e->ftf};
    size_t count = 0;
    for (size_t i = 0; e->type == LAY_PART_BEARING && i < 4; i++)
        if (bearing[i] > 0.0) out[count++] = bearing[i];
    for (size_t i = 0; e->type == LAY_PART_ROTOR && i < e->multiple_count && count < TONES_MAX; i++)
        out[count++] = e->order * e->multiples[i];
    if (e->type != LAY_PART_BEARING && e->type != LAY_PART_ROTOR) out[count++] = e->order;
    return count;
}

/* The order at which two parts come closest. */
static double shared_tone(const lay_expected *a, const lay_expected *b) {
    double x[TONES_MAX], y[TONES_MAX], best = INFINITY, tone = NAN;
    size_t nx = tones(a, x), ny = tones(b, y);
    for (size_t i = 0; i < nx; i++) {
        for (size_t k = 0; k < ny; k++) {
            if (fabs(x[i] - y[k]) >= best) continue;
            best = fabs(x[i] - y[k]);
            tone = 0.5 * (x[i] + y[k]);
        }
    }
    return tone;
}

static lay_status twins(const view *v, double resolution, lay_error *err) {
    lay_orders_twin *list = NULL;
    size_t count = 0;
    lay_status status = lay_orders_twins(v->gear, resolution, &list, &count, err);
    for (size_t i = 0; i < count; i++) {
        const lay_expected *a = &v->gear->parts[list[i].a], *b = &v->gear->parts[list[i].b];
        lay_text line = {0};
        lay_text_add(&line, "%s and %s: both sound at order %s; %s", a->name, b->name,
                     lay_words_number(shared_tone(a, b), 2).text,
                     list[i].by_sidebands ? "their shafts turn at different speeds, so sidebands may tell"
                                          : "their shafts turn alike, so nothing in this gear tells them apart");
        lay_page_wrap(v->page, list[i].by_sidebands ? LAY_INK_PLAIN : LAY_INK_YELLOW,
                      "  alike: ", line.failed ? "" : line.text);
        lay_text_free(&line);
    }
    free(list);
    return status;
}

static int widest_name(const lay_orders_gear *gear, int limit) {
    int widest = 12;
    for (size_t i = 0; i < gear->count; i++) {
        int columns = lay_utf8_columns(gear->parts[i].name);
        if (columns > widest) widest = columns;
    }
    return widest < limit ? widest : limit;
}

static lay_status one_gear(const lay_unit *unit, int index, double resolution, const lay_page *page, lay_error *err) {
    lay_orders_gear gear;
    lay_status status = lay_orders_gear_make(unit, index, &gear, err);
    if (status != LAY_OK) return status;
    view v = {unit, &gear, page, widest_name(&gear, page->width - 52)};
    title(&v, index);
    meshes(&v);
    bearings(&v);
    outside(&v);
    silent(&v);
    status = twins(&v, resolution, err);
    lay_orders_gear_free(&gear);
    return status;
}

lay_status lay_report_orders_text(const lay_unit *unit, int gear, double resolution, bool colour, int width,
                                  lay_text *out, lay_error *err) {
    lay_page page = lay_page_on(out, colour, width);
    lay_text line = {0};
    lay_page_heading(&page, LAY_INK_BOLD, unit->name);
    lay_text_add(&line,
                 "Orders: events per turn of the %s. Driver and driven are the turns of the two wheels: they space "
                 "the sidebands.",
                 lay_words_body(unit, unit->reference));
    lay_page_wrap(&page, LAY_INK_DIM, "", line.failed ? "" : line.text);
    lay_text_free(&line);
    lay_status status = LAY_OK;
    for (size_t g = 0; g < unit->gear_count && status == LAY_OK; g++)
        if (gear < 0 || (size_t)gear == g) status = one_gear(unit, (int)g, resolution, &page, err);
    if (status == LAY_OK && out->failed) status = lay_fail(err, LAY_NO_MEMORY, "not enough memory to list the orders");
    return status;
}
