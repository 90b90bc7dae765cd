#include "tally.h"

#include <string.h>

static void count_faulty(fleet_counts *c, const fleet_result *r) {
    bool named = r->outcome == LAY_ATTENTION;
    c->faulty++;
    c->part += named && r->right_part;
    c->kind += named && r->right_kind;
    c->body += named && r->right_body;
    c->listed += named && r->listed;
    c->faulty_unsure += r->outcome == LAY_INCONCLUSIVE;
    c->faulty_clear += r->outcome == LAY_CLEAR;
    c->faulty_outside += r->outcome == LAY_OUTSIDE;
}

/* The same job with and without tach: what the missing tach costs. */
static void count_pair(fleet_counts *c, const fleet_result *r) {
    if (!r->twin.there) return;
    bool with = r->twin.outcome == LAY_ATTENTION, without = r->outcome == LAY_ATTENTION;
    if (r->truth == LAY_ATTENTION) {
        c->paired++;
        c->part_with_tach += with && r->twin.right_part;
        c->part_both += with && r->twin.right_part && without && r->right_part;
    }
    if (r->truth == LAY_CLEAR) {
        c->paired_healthy++;
        c->accused_with_tach += with;
        c->accused_without += without;
    }
}

static void count(fleet_counts *c, const fleet_result *r) {
    c->jobs++;
    c->simulate_s += r->simulate_s;
    c->diagnose_s += r->diagnose_s;
    c->recorded_s += r->recorded_s;
    c->failed += r->failed;
    c->faulty_parts += r->faulty_parts;
    c->faulty_cleared += r->faulty_cleared;
    c->sound_parts += r->sound_parts;
    c->sound_cleared += r->sound_cleared;
    if (r->failed || r->run_count == 0) return;
    count_pair(c, r);
    if (r->truth == LAY_ATTENTION) count_faulty(c, r);
    if (r->truth == LAY_OUTSIDE) {
        c->outside++;
        c->outside_said += r->outcome == LAY_OUTSIDE;
        c->outside_part += r->outcome == LAY_OUTSIDE && r->right_part;
        c->outside_unsure += r->outcome == LAY_INCONCLUSIVE;
        c->outside_accused += r->outcome == LAY_ATTENTION;
    }
    if (r->truth == LAY_CLEAR) {
        c->healthy++;
        c->accused += r->outcome == LAY_ATTENTION;
        c->healthy_outside += r->outcome == LAY_OUTSIDE;
        c->healthy_unsure += r->outcome == LAY_INCONCLUSIVE;
    }
}

void fleet_tally_add(fleet_tally *tally, const fleet_result *r) {
    count(&tally->all, r);
    count(&tally->world[r->world], r);
    count(&tally->by_kind[r->fault_kind], r);
    fleet_impulses_add(&tally->impulses, r);
    fleet_conditions_add(&tally->conditions, r);
    fleet_speed_add(&tally->speed, r->world, r->speeds, r->speed_count);
    for (int i = 0; i < r->suspect_count && !r->failed; i++) {
        int bin = (int)(r->probability[i] * FLEET_BINS);
        bin = bin < 0 ? 0 : bin >= FLEET_BINS ? FLEET_BINS - 1 : bin;
        tally->suspects[bin]++;
        tally->right[bin] += r->right[i];
        tally->probability[bin] += r->probability[i];
    }
}

static void share(FILE *out, int part, int whole) {
    if (whole > 0)
        fprintf(out, " %d/%d (%.0f %%) |", part, whole, 100.0 * part / whole);
    else
        fprintf(out, " - |");
}

static void print_row(FILE *out, const char *name, const fleet_counts *c) {
    if (c->jobs == 0) return;
    fprintf(out, "| %s | %d | %d |", name, c->jobs, c->failed);
    share(out, c->part, c->faulty);
    share(out, c->kind, c->faulty);
    share(out, c->body, c->faulty);
    fprintf(out, " %d / %d / %d |", c->faulty_unsure, c->faulty_clear, c->faulty_outside);
    share(out, c->outside_said, c->outside);
    share(out, c->outside_part, c->outside);
    fprintf(out, " %d / %d |", c->outside_unsure, c->outside_accused);
    share(out, c->accused, c->healthy);
    fprintf(out, " %d / %d |", c->healthy_unsure, c->healthy_outside);
    fprintf(out, " %.2f | %.2f |\n", c->simulate_s / c->jobs, c->diagnose_s / c->jobs);
}

static void print_head(FILE *out, const char *first) {
    fprintf(out,
            "| %s | jobs | errors | faulty: right part first | right kind | right body | unsure / clear / outside | "
            "outside: recognised | right part | unsure / accused | healthy: accused | unsure / outside | simulate s | "
            "diagnose s |\n"
            "|---|---|---|---|---|---|---|---|---|---|---|---|---|---|\n",
            first);
}

static void print_pair_row(FILE *out, const char *name, const fleet_counts *c) {
    if (c->paired + c->paired_healthy == 0) return;
    fprintf(out, "| %s |", name);
    share(out, c->part_with_tach, c->paired);
    share(out, c->part, c->paired);
    fprintf(out, " %d | %d |", c->part_with_tach - c->part_both, c->part - c->part_both);
    share(out, c->accused_with_tach, c->paired_healthy);
    share(out, c->accused_without, c->paired_healthy);
    fprintf(out, "\n");
}

static void print_pairs(const fleet_tally *tally, FILE *out) {
    if (tally->all.paired + tally->all.paired_healthy == 0) return;
    fprintf(
        out,
        "\n| the same jobs | right part first with tach | without | lost | won | healthy accused with tach | without "
        "|\n|---|---|---|---|---|---|---|\n");
    for (int w = 0; w < LAY_WORLD_COUNT; w++) print_pair_row(out, lay_world_name((lay_world)w), &tally->world[w]);
    print_pair_row(out, "all", &tally->all);
}

static void print_cleared_row(FILE *out, const char *name, const fleet_counts *c) {
    if (c->faulty_parts + c->sound_parts == 0) return;
    fprintf(out, "| %s |", name);
    share(out, c->sound_cleared, c->sound_parts);
    share(out, c->faulty_cleared, c->faulty_parts);
    fprintf(out, "\n");
}

static void print_cleared(const fleet_tally *tally, FILE *out) {
    fprintf(out, "\n| fault | sound parts cleared | faulty parts cleared |\n|---|---|---|\n");
    for (int k = 0; k < LAY_FAULT_COUNT; k++)
        print_cleared_row(out, lay_fault_kind_name((lay_fault_kind)k), &tally->by_kind[k]);
    print_cleared_row(out, "all", &tally->all);
}

static void print_verdicts(const fleet_tally *tally, FILE *out) {
    print_head(out, "world");
    for (int w = 0; w < LAY_WORLD_COUNT; w++) print_row(out, lay_world_name((lay_world)w), &tally->world[w]);
    print_row(out, "all", &tally->all);
    fprintf(out, "\n");
    print_head(out, "fault");
    for (int k = 0; k < LAY_FAULT_COUNT; k++)
        print_row(out, lay_fault_kind_name((lay_fault_kind)k), &tally->by_kind[k]);
    fprintf(out, "\n| probability | suspects | mean stated | right |\n|---|---|---|---|\n");
    for (int b = 0; b < FLEET_BINS; b++)
        if (tally->suspects[b] > 0)
            fprintf(out, "| %.1f..%.1f | %d | %.2f | %.2f |\n", 1.0 * b / FLEET_BINS, (b + 1.0) / FLEET_BINS,
                    tally->suspects[b], tally->probability[b] / tally->suspects[b],
                    1.0 * tally->right[b] / tally->suspects[b]);
    print_cleared(tally, out);
    fprintf(out, "\nRecorded %.0f s; diagnosed %.0f times faster than real time.\n", tally->all.recorded_s,
            tally->all.recorded_s / tally->all.diagnose_s);
}

void fleet_tally_print(const fleet_tally *tally, FILE *out) {
    if (tally->all.recorded_s > 0) print_verdicts(tally, out);
    if (tally->all.recorded_s > 0) fleet_impulses_print(&tally->impulses, out);
    fleet_conditions_print(&tally->conditions, out);
    print_pairs(tally, out);
    fleet_speed_print(&tally->speed, out);
}

void fleet_tally_free(fleet_tally *tally) {
    fleet_speed_free(&tally->speed);
}
