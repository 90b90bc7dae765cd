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

typedef struct order_list {
    double *orders, *weights;
    size_t count;
} order_list;

static void add(order_list *list, double order, double weight) {
    if (order > 0 && list->count < LAY_PLAN_ORDERS) {
        list->orders[list->count] = order;
        list->weights[list->count++] = weight;
    }
}

size_t lay_plan_speed_orders(const lay_kinematics *k, const lay_expected *expected, size_t count, double *orders,
                             double *weights) {
    order_list list = {orders, weights, 0};
    bool toothed = false;
    for (size_t i = 0; i < count; i++) {
        const lay_expected *e = &expected[i];
        if (!e->turning) continue;
        if (e->type == LAY_PART_MESH || e->type == LAY_PART_AXLE)
            for (int h = 1; h <= 3; h++) add(&list, h * e->order, (e->loaded ? 1.0 : 0.3) / h);
        toothed = toothed || e->type == LAY_PART_MESH;
        if (e->type == LAY_PART_ENGINE)
            for (int h = 1; h <= 6; h++) add(&list, h * e->order, 1);
    }
    for (size_t b = 1; b < k->body_count; b++) {
        double turn = fabs(k->speed[b].value);
        if (k->free_body[b] || turn < 1e-9) continue;
        for (int h = 1; h <= 3; h++) add(&list, h * turn, 0.3);
        for (int h = 4; h <= 6 && !toothed; h++) add(&list, h * turn, 0.01); /* bearing rigs: bear out, do not lead */
    }
    return list.count;
}
