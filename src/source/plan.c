#include "plan.h"

#include <math.h>

double lay_plan_max_order(const lay_expected *expected, size_t count) {
    double top = 0;
    for (size_t i = 0; i < count; i++) {
        const lay_expected *e = &expected[i];
        if (e->type == LAY_PART_MESH || e->type == LAY_PART_AXLE) top = fmax(top, e->order);
        for (size_t j = 0; j < e->multiple_count; j++) top = fmax(top, e->multiples[j] * e->order);
    }
    return fmin(400, fmax(150, 4.1 * top));
}

/* Smallest distance of two different base lines that could be mistaken for one another. */
static double smallest_gap(const lay_expected *expected, size_t count) {
    double gap = 1;
    for (size_t i = 0; i < count; i++)
        for (size_t j = i + 1; j < count; j++) {
            bool toothed = expected[i].type == LAY_PART_MESH && expected[j].type == LAY_PART_MESH;
            double d = fabs(expected[i].order - expected[j].order);
            if (toothed && expected[i].order > 0 && expected[j].order > 0 && d > 1e-6) gap = fmin(gap, d);
        }
    return gap;
}

double lay_plan_resolution(const lay_expected *expected, size_t count, double revolutions) {
    double wanted = smallest_gap(expected, count) / 6; /* main lobe of Hann is four bins wide */
    double resolution = 1.0 / 32;
    while (resolution > wanted && resolution > 1.0 / 128) resolution /= 2;
    while (resolution < 1.0 / 8 && revolutions * resolution < 5)
        resolution *= 2; /* 5 lengths: 9 segments at half overlap */
    return resolution;
}

/* ---- what may be heard while the speed is sought ---- */

typedef struct track_list {
    lay_track_order *orders;
    size_t count;
} track_list;

static void hear(track_list *list, double order, double heard, bool engine) {
    for (size_t i = 0; i < list->count; i++)
        if (list->orders[i].engine == engine && fabs(list->orders[i].order - order) < 1e-6) {
            list->orders[i].heard = fmax(list->orders[i].heard, heard);
            return;
        }
    if (order > 1e-6 && list->count < LAY_PLAN_ORDERS)
        list->orders[list->count++] = (lay_track_order){order, heard, engine};
}

static void hear_engine(track_list *list, const lay_expected *e) {
    static const double firing[] = {0.8, 0.6, 0.5, 0.4, 0.3, 0.2, 0.15};
    for (int h = 1; h <= 32; h++) hear(list, h * e->order, firing[h < 7 ? h - 1 : 6], true);
    for (double m = e->cycle_order; m < 4 * e->order + 1e-6; m += e->cycle_order)
        hear(list, m, fabs(m - round(m)) < 1e-6 ? 0.3 : 0.12, true);
}

size_t lay_plan_track_orders(const lay_unit *unit, const lay_kinematics *k, const lay_expected *expected, size_t count,
                             lay_track_order *orders) {
    static const double loaded[] = {0.6, 0.4, 0.25}, idle[] = {0.2, 0.1, 0.05};
    track_list list = {orders, 0};
    for (size_t i = 0; i < count; i++)
        if (expected[i].turning && expected[i].type == LAY_PART_ENGINE) hear_engine(&list, &expected[i]);
    for (size_t i = 0; i < count; i++) {
        const lay_expected *e = &expected[i];
        const double *heard = e->loaded ? loaded : idle;
        if (!e->turning) continue;
        if (e->type == LAY_PART_MESH || e->type == LAY_PART_AXLE)
            for (int h = 1; h <= 3; h++) hear(&list, h * e->order, heard[h - 1], false);
        bool with_engine =
            e->type == LAY_PART_ROTOR && unit->engine.present && unit->rotors[e->index].body == unit->engine.body;
        for (size_t m = 0; m < e->multiple_count; m++) hear(&list, e->multiples[m] * e->order, 0.2, with_engine);
    }
    for (size_t b = 1; b < k->body_count; b++)
        if (!k->free_body[b])
            for (int h = 1; h <= 2; h++) hear(&list, h * fabs(k->speed[b].value), 0.1, false);
    return list.count;
}
