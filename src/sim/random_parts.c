/* Bearings, engine, axle and belt-driven rotors of random units. */
#include "random_unit.h"

/* Bearings of a transmission's size: element and pitch diameter such that the elements fill 48 to 70 % of the pitch
 * circle. Published ball and roller bearings fill 0.48 (8 balls) to 0.60 (16 rollers) of it, worked out from the
 * element and pitch diameters given with open recordings. */
static void bearing(lay_random *random, const char *name, const char *inner, const char *outer, double pitch_mm,
                    lay_text *out) {
    int count = lay_random_int(random, 8, 15);
    double fill = lay_random_between(random, 0.48, 0.70);
    double element = pitch_mm * LAY_PI * fill / count;
    double half = 0.5 * element / pitch_mm;
    lay_text_add(out, "[bearing %s]\ninner = %s\nouter = %s\nrolling elements = %d\n", name, inner, outer, count);
    int basis = lay_random_int(random, 0, 9);
    if (basis < 6) {
        lay_text_add(out, "element diameter = %.3f mm\npitch diameter = %.2f mm\ncontact angle = 0 deg\n", element,
                     pitch_mm);
    } else if (basis < 9) {
        double spin = pitch_mm / (2.0 * element) * (1.0 - 4.0 * half * half);
        lay_text_add(out, "BPFO = %.4f\nBPFI = %.4f\nBSF = %.4f\nFTF = %.5f\n", count * (0.5 - half),
                     count * (0.5 + half), spin, 0.5 - half);
    }
    lay_text_add(out, "\n");
}

void lay_sim_bearings(lay_random *random, const lay_sim_layout *layout, lay_text *out) {
    bearing(random, "input", "input shaft", "case", lay_random_between(random, 42, 58), out);
    if (layout->middle) {
        bearing(random, "countershaft front", "countershaft", "case", lay_random_between(random, 34, 48), out);
        if (lay_random_unit(random) < 0.8)
            bearing(random, "countershaft rear", "countershaft", "case", lay_random_between(random, 34, 52), out);
    }
    if (layout->transaxle)
        bearing(random, "input rear", "input shaft", "case", lay_random_between(random, 36, 50), out);
    bearing(random, "output", layout->output, "case", lay_random_between(random, 46, 66), out);
    if (layout->pilot) bearing(random, "pilot", "mainshaft", "input shaft", lay_random_between(random, 20, 30), out);
    if (lay_random_unit(random) < 0.4)
        bearing(random, "gear needles", layout->free_shaft, layout->free_gear, lay_random_between(random, 36, 46), out);
}

typedef struct rotor_kind {
    const char *name;
    double low, high; /* ratio to the crankshaft */
    int vanes[2];     /* range of its higher order */
} rotor_kind;

static const rotor_kind rotor_kinds[] = {
    {"alternator", 2.1, 3.0, {6, 12}}, {"water pump", 0.95, 1.35, {5, 8}},   {"steering pump", 1.0, 1.45, {8, 11}},
    {"charger", 1.8, 2.7, {3, 5}},     {"cooling fan", 0.85, 1.25, {5, 11}}, {"vacuum pump", 1.1, 1.9, {3, 4}},
};

static void rotor(lay_random *random, const rotor_kind *kind, lay_text *out) {
    int vanes = lay_random_int(random, kind->vanes[0], kind->vanes[1]);
    lay_text_add(out, "[other %s]\nturns with = input shaft\nratio = %.3f\norders = 1, %d, %d\n\n", kind->name,
                 lay_random_between(random, kind->low, kind->high), vanes, 2 * vanes);
}

void lay_sim_surroundings(lay_random *random, const lay_sim_layout *layout, lay_text *out) {
    static const int cylinders[] = {3, 4, 4, 4, 5, 6, 6, 8};
    lay_text_add(out, "[engine]\ncylinders = %d\nstrokes = 4\nturns with = input shaft\n\n",
                 cylinders[lay_random_int(random, 0, 7)]);
    int pinion, ring;
    double ratio = lay_random_between(random, 3.3, 4.4);
    lay_sim_pair(random, ratio, layout->transaxle ? 86 : 52, true, &pinion, &ring);
    lay_text_add(out, "[axle]\npinion = %d\nring = %d\nturns with = %s\n\n", pinion, ring, layout->output);
    int kinds = (int)(sizeof rotor_kinds / sizeof rotor_kinds[0]), at = lay_random_int(random, 0, kinds - 1);
    for (int left = lay_random_int(random, 0, 3); left > 0; left--) {
        rotor(random, &rotor_kinds[at], out);
        at = (at + 1 + lay_random_int(random, 0, 1)) % kinds;
    }
}
