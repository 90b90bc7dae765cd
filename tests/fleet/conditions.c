#include "conditions.h"

#include <string.h>

static int row_of(fleet_conditions *c, const char *name) {
    for (int i = 0; i < c->count; i++)
        if (strcmp(c->row[i].name, name) == 0) return i;
    if (c->count == FLEET_CONDITIONS) return -1;
    snprintf(c->row[c->count].name, sizeof c->row[0].name, "%s", name);
    return c->count++;
}

void fleet_conditions_add(fleet_conditions *c, const fleet_result *result) {
    c->flanks += result->flank_said;
    c->flanks_right += result->flank_right;
    c->resonances += result->resonances;
    c->resonances_right += result->resonances_right;
    if (result->failed || !result->right_part || !result->condition[0]) return;
    int i = row_of(c, result->condition);
    if (i < 0) return;
    c->row[i].jobs++;
    for (int k = 0; k < LAY_SYMPTOM_COUNT; k++) {
        c->row[i].shown[k] += (int)(result->symptoms >> k & 1u);
        c->row[i].at_body[k] += (int)(result->symptoms_at_body >> k & 1u);
    }
}

void fleet_conditions_print(const fleet_conditions *c, FILE *out) {
    if (c->count == 0) return;
    fprintf(out, "\n| condition | jobs |");
    for (int k = 0; k < LAY_SYMPTOM_COUNT; k++) fprintf(out, " %s |", lay_symptom_name((lay_symptom_kind)k));
    fprintf(out, "\n|---|---|");
    for (int k = 0; k < LAY_SYMPTOM_COUNT; k++) fprintf(out, "---|");
    for (int i = 0; i < c->count; i++) {
        fprintf(out, "\n| %s | %d |", c->row[i].name, c->row[i].jobs);
        for (int k = 0; k < LAY_SYMPTOM_COUNT; k++) {
            fprintf(out, " %.0f %%", 100.0 * c->row[i].shown[k] / c->row[i].jobs);
            if (c->row[i].at_body[k]) fprintf(out, " (%.0f %%)", 100.0 * c->row[i].at_body[k] / c->row[i].jobs);
            fprintf(out, " |");
        }
    }
    fprintf(out, "\n(of the jobs whose part was named first; in brackets: with the right wheel)\n");
    if (c->flanks) fprintf(out, "Flank: said of %d, right of %d.\n", c->flanks, c->flanks_right);
    if (c->resonances)
        fprintf(out, "Resonances: %d of %d claims lie where the structure peaks.\n", c->resonances_right,
                c->resonances);
}
