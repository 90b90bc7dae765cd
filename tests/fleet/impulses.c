#include "impulses.h"

#include <string.h>

bool fleet_impulsive(int kind) {
    return kind == LAY_FAULT_CHIP || (kind >= LAY_FAULT_OUTER && kind <= LAY_FAULT_CAGE);
}

fleet_mark fleet_impulse_mark(const fleet_result *r) {
    switch (r->outcome) {
    case LAY_CLEAR:
        return FLEET_CALLED_CLEAR;
    case LAY_INCONCLUSIVE:
        return FLEET_UNSURE;
    case LAY_OUTSIDE:
        return FLEET_CALLED_OUTSIDE;
    default:
        break;
    }
    if (!r->right_part) return FLEET_WRONG_PART;
    if (!r->right_kind) return FLEET_WRONG_KIND;
    return r->right_body ? FLEET_RIGHT : FLEET_WRONG_BODY;
}

static bool accuses_of_impacts(const fleet_result *r) {
    for (int k = 0; k < LAY_FAULT_COUNT; k++)
        if (fleet_impulsive(k) && strcmp(r->first_kind, lay_fault_kind_name((lay_fault_kind)k)) == 0) return true;
    return false;
}

void fleet_impulses_add(fleet_impulses *sums, const fleet_result *r) {
    if (r->failed || r->run_count == 0) return;
    if (r->truth == LAY_CLEAR) {
        bool accused = r->outcome == LAY_ATTENTION;
        sums->healthy[r->world]++;
        sums->accused[r->world] += accused;
        sums->accused_of_impacts[r->world] += accused && accuses_of_impacts(r);
    }
    if (!fleet_impulsive(r->fault_kind)) return;
    fleet_impulse_counts *c = &sums->by[r->fault_kind][r->world];
    fleet_mark mark = fleet_impulse_mark(r);
    c->jobs++;
    c->part += r->outcome == LAY_ATTENTION && r->right_part;
    c->marks[mark]++;
    c->with_twins += r->twin_count > 0;
    c->twins_named += r->twin_count > 0 && mark == FLEET_RIGHT && r->twins_named;
}

static void add(fleet_impulse_counts *sum, const fleet_impulse_counts *c) {
    sum->jobs += c->jobs;
    sum->part += c->part;
    for (int m = 0; m < FLEET_MARK_COUNT; m++) sum->marks[m] += c->marks[m];
    sum->with_twins += c->with_twins;
    sum->twins_named += c->twins_named;
}

static void share(FILE *out, int part, int whole) {
    if (whole > 0)
        fprintf(out, " %d/%d (%.0f %%) |", part, whole, 100.0 * part / whole);
    else
        fprintf(out, " - |");
}

static void print_row(FILE *out, const char *kind, const char *world, const fleet_impulse_counts *c) {
    if (c->jobs == 0) return;
    fprintf(out, "| %s | %s |", kind, world);
    share(out, c->marks[FLEET_RIGHT], c->jobs);
    share(out, c->part, c->jobs);
    for (int m = FLEET_CALLED_CLEAR; m < FLEET_MARK_COUNT; m++) fprintf(out, " %d |", c->marks[m]);
    share(out, c->twins_named, c->with_twins);
    fprintf(out, "\n");
}

/* One kind in every world, and in all of them when it occurs in several. */
static void print_kind(FILE *out, const char *name, const fleet_impulse_counts *by_world) {
    fleet_impulse_counts all = {0};
    int worlds = 0;
    for (int w = 0; w < LAY_WORLD_COUNT; w++) {
        print_row(out, name, lay_world_name((lay_world)w), &by_world[w]);
        add(&all, &by_world[w]);
        worlds += by_world[w].jobs > 0;
    }
    if (worlds > 1) print_row(out, name, "all", &all);
}

static void print_healthy(const fleet_impulses *sums, FILE *out) {
    int healthy = 0, accused = 0, of_impacts = 0;
    for (int w = 0; w < LAY_WORLD_COUNT; w++) {
        healthy += sums->healthy[w];
        accused += sums->accused[w];
        of_impacts += sums->accused_of_impacts[w];
    }
    if (healthy == 0) return;
    fprintf(out, "\nHealthy: %d accused of %d, %d of them of impacts (", accused, healthy, of_impacts);
    for (int w = 0; w < LAY_WORLD_COUNT; w++)
        fprintf(out, "%s%s %d of %d", w ? ", " : "", lay_world_name((lay_world)w), sums->accused_of_impacts[w],
                sums->healthy[w]);
    fprintf(out, ").\n");
}

void fleet_impulses_print(const fleet_impulses *sums, FILE *out) {
    fleet_impulse_counts bearings[LAY_WORLD_COUNT] = {0};
    int jobs = 0;
    for (int k = 0; k < LAY_FAULT_COUNT; k++)
        for (int w = 0; w < LAY_WORLD_COUNT; w++) {
            jobs += sums->by[k][w].jobs;
            if (k != LAY_FAULT_CHIP) add(&bearings[w], &sums->by[k][w]);
        }
    if (jobs == 0) return;
    fprintf(out,
            "\n| strikes | world | right part and kind first | right part first | clear | unsure | outside | wrong "
            "part | wrong kind | wrong wheel | twins all named |\n|---|---|---|---|---|---|---|---|---|---|---|\n");
    for (int k = 0; k < LAY_FAULT_COUNT; k++) print_kind(out, lay_fault_kind_name((lay_fault_kind)k), sums->by[k]);
    print_kind(out, "bearings", bearings);
    print_healthy(sums, out);
}
