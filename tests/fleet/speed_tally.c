#include "speed.h"

#include <layshaft/dsp.h>

#include <math.h>
#include <stdlib.h>

#define ALIAS 0.02 /* a median further off is another alias, not noise */
#define NEAR 0.005

static void keep(float **list, size_t *capacity, size_t count, float value) {
    void *items = *list;
    if (lay_grow(&items, capacity, count, sizeof value, NULL) != LAY_OK) return;
    *list = items;
    (*list)[count] = value;
}

static void add(fleet_speed_sum *s, const fleet_speed *r) {
    s->runs++;
    s->failed += r->failed;
    s->found += r->found;
    s->gear_right += r->gear_right;
    s->frames += r->frames;
    s->spoken += r->spoken;
    s->within_tenth += r->within_tenth;
    s->within_half += r->within_half;
    s->void_frames += r->void_frames;
    s->cut += r->cut;
    s->shaft_anyway += r->shaft_anyway;
    s->seconds += r->seconds;
    s->took_s += r->took_s;
    if (isnan(r->median)) return;
    bool sure = r->confidence >= 0.5f;
    s->alias += r->median > ALIAS;
    s->alias_sure += r->median > ALIAS && sure;
    s->wrong += r->median > NEAR;
    s->wrong_sure += r->median > NEAR && sure;
    keep(&s->medians, &s->median_capacity, s->count, r->median);
    keep(&s->confidences, &s->confidence_capacity, s->count, r->confidence);
    s->count++;
}

void fleet_speed_add(fleet_speed_tally *tally, int world, const fleet_speed *speeds, int count) {
    for (int i = 0; i < count; i++) {
        const fleet_speed *r = &speeds[i];
        add(&tally->all, r);
        add(&tally->by_world[world], r);
        add(&tally->by_given[r->given], r);
        add(&tally->by_motion[r->sweep], r);
        if (isnan(r->median)) continue;
        int bin = (int)(r->confidence * FLEET_SPEED_BINS);
        bin = bin < 0 ? 0 : bin >= FLEET_SPEED_BINS ? FLEET_SPEED_BINS - 1 : bin;
        tally->runs[bin]++;
        tally->near[bin] += r->median < NEAR;
        tally->no_alias[bin] += r->median < ALIAS;
        tally->stated[bin] += r->confidence;
    }
}

static double median_of(const float *list, size_t count) {
    double *copy = lay_calloc(count + 1, sizeof *copy), median = NAN;
    for (size_t i = 0; i < count && copy; i++) copy[i] = list[i];
    if (copy) median = lay_median(copy, count);
    free(copy);
    return median;
}

static void percent(FILE *out, long part, long whole) {
    if (whole > 0)
        fprintf(out, " %.1f %% |", 100.0 * (double)part / (double)whole);
    else
        fprintf(out, " - |");
}

static void print_row(FILE *out, const char *name, const fleet_speed_sum *s) {
    if (s->runs == 0) return;
    fprintf(out, "| %s | %d | %d | %d |", name, s->runs, s->failed, s->found);
    percent(out, s->gear_right, s->found);
    if (s->count > 0)
        fprintf(out, " %.3f %% |", 100.0 * median_of(s->medians, s->count));
    else
        fprintf(out, " - |");
    percent(out, s->within_tenth, s->spoken);
    percent(out, s->within_half, s->spoken);
    percent(out, s->frames - s->spoken, s->frames);
    percent(out, s->cut, s->void_frames);
    percent(out, s->shaft_anyway, s->void_frames);
    fprintf(out, " %d (%d) | %d (%d) | %.2f | %.0f |\n", s->alias, s->alias_sure, s->wrong, s->wrong_sure,
            s->count > 0 ? median_of(s->confidences, s->count) : 0.0, s->took_s > 0 ? s->seconds / s->took_s : 0.0);
}

static void print_head(FILE *out, const char *first) {
    fprintf(out,
            "| %s | runs | errors | found | right gear | median error | frames < 0.1 %% | < 0.5 %% | cut wrongly | "
            "cut rightly | clutch down, shaft right | wrong alias (sure) | off > 0.5 %% (sure) | median confidence | "
            "times real time |\n"
            "|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|\n",
            first);
}

void fleet_speed_print(const fleet_speed_tally *tally, FILE *out) {
    if (tally->all.runs == 0) return;
    fprintf(out, "\n");
    print_head(out, "speed: world");
    for (int w = 0; w < LAY_WORLD_COUNT; w++) print_row(out, lay_world_name((lay_world)w), &tally->by_world[w]);
    print_row(out, "steady", &tally->by_motion[0]);
    print_row(out, "sweeping", &tally->by_motion[1]);
    print_row(out, "all", &tally->all);
    fprintf(out, "\n");
    print_head(out, "speed: given");
    for (int g = 0; g <= LAY_GIVEN_COUNT; g++)
        print_row(out, g < LAY_GIVEN_COUNT ? lay_speed_given_name((lay_speed_given)g) : "tach", &tally->by_given[g]);
    fprintf(out, "\n| confidence | runs | mean stated | within 2 %% | within 0.5 %% |\n|---|---|---|---|---|\n");
    for (int b = 0; b < FLEET_SPEED_BINS; b++)
        if (tally->runs[b] > 0)
            fprintf(out, "| %.1f..%.1f | %d | %.2f | %.2f | %.2f |\n", 1.0 * b / FLEET_SPEED_BINS,
                    (b + 1.0) / FLEET_SPEED_BINS, tally->runs[b], tally->stated[b] / tally->runs[b],
                    1.0 * tally->no_alias[b] / tally->runs[b], 1.0 * tally->near[b] / tally->runs[b]);
}

static void free_sum(fleet_speed_sum *s) {
    free(s->medians);
    free(s->confidences);
}

void fleet_speed_free(fleet_speed_tally *tally) {
    for (int w = 0; w < LAY_WORLD_COUNT; w++) free_sum(&tally->by_world[w]);
    for (int g = 0; g <= LAY_GIVEN_COUNT; g++) free_sum(&tally->by_given[g]);
    for (int m = 0; m < 2; m++) free_sum(&tally->by_motion[m]);
    free_sum(&tally->all);
}

/* A number, or null for NaN. */
static void number(FILE *out, const char *key, double value) {
    if (isnan(value))
        fprintf(out, ",\"%s\":null", key);
    else
        fprintf(out, ",\"%s\":%.6g", key, value);
}

void fleet_speed_json(const fleet_speed *speeds, int count, FILE *out) {
    for (int i = 0; i < count; i++) {
        const fleet_speed *r = &speeds[i];
        const char *given = r->given < LAY_GIVEN_COUNT ? lay_speed_given_name((lay_speed_given)r->given) : "tach";
        fprintf(out, "%s{\"run\":%d,\"given\":\"%s\",\"sweep\":%d,\"found\":%d,\"gear_right\":%d", i ? "," : "", i + 1,
                given, r->sweep, r->found, r->gear_right);
        number(out, "median", r->median);
        number(out, "p95", r->p95);
        number(out, "ratio", r->ratio);
        fprintf(out, ",\"confidence\":%.3f,\"frames\":%d,\"spoken\":%d,\"void\":%d,\"cut\":%d,\"took_s\":%.3f}",
                r->confidence, r->frames, r->spoken, r->void_frames, r->cut, r->took_s);
    }
}
