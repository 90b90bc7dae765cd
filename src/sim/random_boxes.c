/* Gear trains of random units. Tooth counts follow common practice: a fixed centre distance per box, so that the sum of
 * teeth varies little from pair to pair, ratios in falling steps, first gear with the smallest pinion. */
#include "random_unit.h"

#include <math.h>
#include <stdio.h>

const char *const lay_sim_ordinals[LAY_SIM_GEARS_MAX] = {"first", "second", "third", "fourth", "fifth", "sixth"};

static int common_factor(int a, int b) {
    while (b) {
        int rest = a % b;
        a = b;
        b = rest;
    }
    return a;
}

void lay_sim_pair(lay_random *random, double ratio, int sum, bool hunting, int *driver, int *driven) {
    int total = sum + lay_random_int(random, -2, 2);
    int pinion = (int)lround(total / (1.0 + ratio));
    int smallest = 12;
    if (pinion < smallest) pinion = smallest;
    int wheel = (int)lround(pinion * ratio);
    if (wheel < smallest) wheel = smallest;
    while (hunting && common_factor(pinion, wheel) > 1) wheel++;
    *driver = pinion;
    *driven = wheel;
}

static void unit_head(lay_text *out, const char *name, const char *output) {
    lay_text_add(out, "[unit]\nname = %s\ndriven by = input shaft\noutput = %s\n\n", name, output);
}

static void mesh(lay_text *out, const char *name, const char *driver, int z1, const char *driven, int z2) {
    lay_text_add(out, "[mesh %s]\ndriver = %s, %d\ndriven = %s, %d\n\n", name, driver, z1, driven, z2);
}

/* Overall ratios falling from `first` to `last` in even steps with some scatter. */
static double step_ratio(lay_random *random, double first, double last, int gear, int gears) {
    double even = first * pow(last / first, pow((double)gear / (gears - 1), 0.85));
    return gear == 0 || gear == gears - 1 ? even : even * lay_random_between(random, 0.97, 1.03);
}

static void reverse_train(lay_random *random, const char *from, const char *to_gear, double ratio, int sum,
                          lay_text *out) {
    int driver = lay_random_int(random, 12, 16), idler = lay_random_int(random, 19, 31);
    int driven = (int)lround(driver * ratio);
    if (driven > sum) driven = sum;
    mesh(out, "reverse driver", from, driver, "reverse idler", idler);
    mesh(out, "reverse driven", "reverse idler", idler, to_gear, driven);
}

/* Behind the box: planet carrier on the mainshaft, ring on the output, sun locked to the mainshaft (direct) or held
 * (overdrive). Assembly of three equal planets wants ring = sun + 2 planet and (sun + ring) / 3 whole. */
static void overdrive_train(lay_random *random, lay_text *out) {
    int sun, planet;
    do {
        sun = lay_random_int(random, 21, 36);
        planet = lay_random_int(random, 15, 24);
    } while ((2 * sun + 2 * planet) % 3 != 0);
    lay_text_add(out,
                 "[mesh overdrive sun]\ndriver = sun, %d\ndriven = planet, %d\ncarrier = mainshaft\nwheels = 3\n\n",
                 sun, planet);
    lay_text_add(out,
                 "[mesh overdrive ring]\ndriver = planet, %d\ndriven = output shaft, %d\ncarrier = mainshaft\n"
                 "internal = yes\nwheels = 3\n\n",
                 planet, sun + 2 * planet);
}

static void gear(lay_text *out, const char *name, const char *a, const char *b, const char *sun_with) {
    lay_text_add(out, "[gear %s]\nlock = %s, %s\n", name, a, b);
    if (sun_with) lay_text_add(out, "lock = sun, %s\n", sun_with);
    lay_text_add(out, "\n");
}

static void countershaft_gears(int gears, int direct, bool overdrive, lay_text *out) {
    const char *sun = overdrive ? "mainshaft" : NULL;
    char name[16], wheel[32];
    for (int i = 0; i < gears; i++) {
        snprintf(name, sizeof name, "%d", i + 1);
        snprintf(wheel, sizeof wheel, "%s gear", lay_sim_ordinals[i]);
        gear(out, name, i == direct ? "input shaft" : wheel, "mainshaft", sun);
    }
    if (overdrive) {
        snprintf(name, sizeof name, "%d", gears + 1);
        gear(out, name, "input shaft", "mainshaft", "case");
    }
    gear(out, "R", "reverse gear", "mainshaft", sun);
    gear(out, "N", "mainshaft", "case", sun);
}

void lay_sim_countershaft_box(lay_random *random, const char *name, bool overdrive, lay_text *out,
                              lay_sim_layout *layout) {
    int gears = overdrive ? 4 : lay_random_int(random, 4, 6);
    int direct = gears == 4 ? 3 : gears == 5 ? lay_random_int(random, 3, 4) : lay_random_int(random, 4, 5);
    bool hunting = lay_random_unit(random) < 0.65;
    int sum = lay_random_int(random, 54, 66), z1, z2;
    unit_head(out, name, overdrive ? "output shaft" : "mainshaft");
    lay_sim_pair(random, lay_random_between(random, 1.25, 1.75), sum, hunting, &z1, &z2);
    mesh(out, "headset", "input shaft", z1, "countershaft", z2);
    double headset = (double)z2 / z1, first = lay_random_between(random, 3.2, 4.3);
    for (int i = 0; i < gears; i++) {
        if (i == direct) continue;
        char pair[32], wheel[32];
        double ratio =
            i < direct ? step_ratio(random, first, 1.0, i, direct + 1) : lay_random_between(random, 0.72, 0.86);
        lay_sim_pair(random, ratio / headset, sum, hunting, &z1, &z2);
        snprintf(pair, sizeof pair, "%s pair", lay_sim_ordinals[i]);
        snprintf(wheel, sizeof wheel, "%s gear", lay_sim_ordinals[i]);
        mesh(out, pair, "countershaft", z1, wheel, z2);
    }
    reverse_train(random, "countershaft", "reverse gear", first / headset, 44, out);
    if (overdrive) overdrive_train(random, out);
    countershaft_gears(gears, direct, overdrive, out);
    *layout = (lay_sim_layout){.output = overdrive ? "output shaft" : "mainshaft",
                               .middle = "countershaft",
                               .free_gear = "third gear",
                               .free_shaft = "mainshaft",
                               .pilot = true};
    if (direct == 2) layout->free_gear = "second gear";
}

void lay_sim_transaxle(lay_random *random, const char *name, lay_text *out, lay_sim_layout *layout) {
    int gears = lay_random_int(random, 4, 6), fixed = 2, sum = lay_random_int(random, 50, 62);
    bool hunting = lay_random_unit(random) < 0.8;
    double first = lay_random_between(random, 3.1, 3.9), last = lay_random_between(random, 0.68, 0.92);
    unit_head(out, name, "output shaft");
    lay_text locks = {0};
    for (int i = 0; i < gears; i++) {
        char pair[32], wheel[32], number[16];
        int z1, z2;
        lay_sim_pair(random, step_ratio(random, first, last, i, gears), sum, hunting, &z1, &z2);
        snprintf(pair, sizeof pair, "%s pair", lay_sim_ordinals[i]);
        snprintf(wheel, sizeof wheel, "%s gear", lay_sim_ordinals[i]);
        snprintf(number, sizeof number, "%d", i + 1);
        bool free_on_output = i < fixed; /* low gears are cut into the input shaft, high gears run on it */
        mesh(out, pair, free_on_output ? "input shaft" : wheel, z1, free_on_output ? wheel : "output shaft", z2);
        gear(&locks, number, wheel, free_on_output ? "output shaft" : "input shaft", NULL);
    }
    reverse_train(random, "input shaft", "reverse gear", first, 48, out);
    gear(&locks, "R", "reverse gear", "output shaft", NULL);
    gear(&locks, "N", "output shaft", "case", NULL);
    lay_text_add(out, "%s", locks.text ? locks.text : "");
    out->failed = out->failed || locks.failed;
    lay_text_free(&locks);
    *layout = (lay_sim_layout){
        .output = "output shaft", .free_gear = "third gear", .free_shaft = "input shaft", .transaxle = true};
}
