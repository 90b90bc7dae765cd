/* Layout, gears and tooth counts. */
#include "interview.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define LOW 5 /* teeth of a wheel */
#define HIGH 250

/* ---- what is written ---- */

static void pair(interview *iv, bool open, const char *name, const char *driver, int z1, const char *driven, int z2) {
    if (open)
        interview_add(&iv->train, true, "\n[mesh %s]\ndriver = %s, ?\ndriven = %s, ?\n", name, driver, driven);
    else
        interview_add(&iv->train, false, "\n[mesh %s]\ndriver = %s, %d\ndriven = %s, %d\n", name, driver, z1, driven,
                      z2);
}

static void tell_open(interview *iv, const char *what) {
    lay_text_add(iv->open, "the teeth of %s are not known: fill them in and take away the ; in front of its lines\n",
                 what);
}

/* Which bodies turn together in a gear; with an overdrive behind it both ways of holding its sun. */
static void gear(interview *iv, bool open, const char *name, const char *a, const char *b, bool overdrive) {
    bool behind = iv->layout == LAYOUT_OVERDRIVE;
    interview_add(&iv->locks, open, "\n[gear %s]\nlock = %s, %s\n", name, a, b);
    if (behind) interview_add(&iv->locks, open, "lock = sun, mainshaft\n");
    if (behind && overdrive)
        interview_add(&iv->locks, open, "\n[gear %s overdrive]\nlock = %s, %s\nlock = sun, case\n", name, a, b);
}

/* ---- gears ---- */

/* Which wheel of a pair is free until its gear is engaged. */
static lay_status free_wheel(interview *iv, int number, bool *on_input) {
    char question[200];
    int answer = 2;
    *on_input = false;
    if (iv->layout != LAYOUT_TWO_SHAFT) return LAY_OK;
    snprintf(question, sizeof question,
             "Gear %d: which of the two wheels turns freely until the gear is engaged?\n"
             "  1 the one on the input shaft\n  2 the one on the %s",
             number, iv->shaft);
    lay_status status = interview_number(iv, question, number <= 2 ? "2" : "1", 1, 2, &answer);
    *on_input = answer == 1;
    return status;
}

static void write_gear(interview *iv, int number, bool open, bool on_input, const int teeth[2], bool overdrive) {
    char mesh[32], wheel[32], name[16];
    bool two = iv->layout == LAYOUT_TWO_SHAFT;
    const char *from = two ? "input shaft" : "countershaft";
    snprintf(mesh, sizeof mesh, "%s pair", interview_ordinal(number));
    snprintf(wheel, sizeof wheel, "%s gear", interview_ordinal(number));
    snprintf(name, sizeof name, "%d", number);
    pair(iv, open, mesh, on_input ? wheel : from, teeth[0], on_input ? iv->shaft : wheel, teeth[1]);
    gear(iv, open, name, wheel, on_input ? "input shaft" : iv->shaft, overdrive);
    if (open) tell_open(iv, mesh);
    iv->ratio[number] = open ? 0 : (double)teeth[1] / teeth[0];
}

static lay_status ask_overdrive(interview *iv, int number, bool *overdrive) {
    char question[100];
    int answer = 1;
    *overdrive = false;
    if (iv->layout != LAYOUT_OVERDRIVE) return LAY_OK;
    snprintf(question, sizeof question, "Can the overdrive be engaged in gear %d?\n  1 yes\n  2 no", number);
    lay_status status = interview_number(iv, question, number + 2 > iv->gears ? "1" : "2", 1, 2, &answer);
    *overdrive = answer == 1;
    return status;
}

static lay_status one_gear(interview *iv, int number, bool cut_off) {
    char question[240], name[16];
    int teeth[2] = {0};
    bool known = false, none, on_input, overdrive;
    if (number == iv->direct) {
        lay_status status = ask_overdrive(iv, number, &overdrive);
        snprintf(name, sizeof name, "%d", number);
        if (status == LAY_OK) gear(iv, false, name, "input shaft", "mainshaft", overdrive);
        return status;
    }
    snprintf(question, sizeof question, "Gear %d: teeth on the %s, teeth on the %s? (two numbers, or ?)", number,
             iv->layout == LAYOUT_TWO_SHAFT ? "input shaft" : "countershaft", iv->shaft);
    lay_status status = interview_teeth(iv, &(interview_counts){question, 2, LOW, HIGH, false}, teeth, &known, &none);
    if (status == LAY_OK) status = free_wheel(iv, number, &on_input);
    if (status == LAY_OK) status = ask_overdrive(iv, number, &overdrive);
    if (status == LAY_OK) write_gear(iv, number, !known || cut_off, on_input, teeth, overdrive);
    return status;
}

static lay_status reverse(interview *iv, bool cut_off) {
    char question[320], first[48], second[48];
    const char *from = iv->layout == LAYOUT_TWO_SHAFT ? "input shaft" : "countershaft";
    int teeth[3] = {0};
    bool known = false, none = false;
    snprintf(question, sizeof question,
             "Reverse: teeth on the %s, on the idler, on the reverse wheel of the %s?\n(three numbers, ?, or - for a "
             "reverse that is made otherwise)",
             from, iv->shaft);
    lay_status status = interview_teeth(iv, &(interview_counts){question, 3, LOW, HIGH, true}, teeth, &known, &none);
    if (status != LAY_OK || none) return status;
    bool open = !known || cut_off;
    snprintf(first, sizeof first, "reverse %s", from);
    snprintf(second, sizeof second, "reverse %s", iv->shaft);
    pair(iv, open, first, from, teeth[0], "reverse idler", teeth[1]);
    pair(iv, open, second, "reverse idler", teeth[1], "reverse gear", teeth[2]);
    gear(iv, open, "R", "reverse gear", iv->shaft, false);
    if (open) tell_open(iv, "the reverse train");
    return LAY_OK;
}

/* Each gear is longer than the one below it. */
static void check_ratios(interview *iv) {
    double before = 0;
    int lower = 0;
    for (int i = 1; i <= iv->gears; i++) {
        if (!(iv->ratio[i] > 0)) continue;
        if (before > 0 && iv->ratio[i] >= before)
            lay_text_add(iv->odd, "gear %d would be shorter than gear %d: are its two counts swapped?\n", i, lower);
        before = iv->ratio[i];
        lower = i;
    }
}

static lay_status all_gears(interview *iv, bool cut_off) {
    lay_status status = LAY_OK;
    for (int i = 1; i <= iv->gears && status == LAY_OK; i++) status = one_gear(iv, i, cut_off);
    if (status == LAY_OK) status = reverse(iv, cut_off);
    check_ratios(iv);
    return status;
}

/* ---- layouts ---- */

static lay_status ask_direct(interview *iv) {
    char usual[16];
    snprintf(usual, sizeof usual, "%d", iv->gears < 4 ? iv->gears : 4);
    return interview_number(iv, "Which gear is direct, input shaft locked to mainshaft? (0: none)", usual, 0, iv->gears,
                            &iv->direct);
}

static lay_status headset(interview *iv, bool *known) {
    static const interview_counts ask = {"Headset, the pair that drives the countershaft: teeth on the input shaft,\n"
                                         "teeth on the countershaft? (two numbers, or ?)",
                                         2, LOW, HIGH, false};
    int teeth[2] = {0};
    bool none;
    lay_status status = interview_teeth(iv, &ask, teeth, known, &none);
    if (status != LAY_OK) return status;
    pair(iv, !*known, "headset", "input shaft", teeth[0], "countershaft", teeth[1]);
    if (!*known) tell_open(iv, "the headset, and with it every pair on the countershaft,");
    return LAY_OK;
}

static lay_status countershaft(interview *iv) {
    bool known = false;
    iv->shaft = "mainshaft";
    iv->output = iv->layout == LAYOUT_OVERDRIVE ? "output shaft" : "mainshaft";
    lay_status status = ask_direct(iv);
    if (status == LAY_OK) status = headset(iv, &known);
    if (status == LAY_OK && !known && iv->direct == 0) /* nothing at all could be computed */
        return lay_fail(
            iv->err, LAY_BAD_INPUT,
            "without the headset's teeth and without a direct gear no order can be computed: count them first");
    if (status == LAY_OK) status = all_gears(iv, !known);
    return status;
}

static lay_status two_shaft(interview *iv) {
    static const interview_counts ask = {"Final drive: teeth of the pinion on the output shaft, teeth of the ring on "
                                         "the\ndifferential? (two numbers, or ?)",
                                         2, LOW, HIGH, false};
    int teeth[2] = {0};
    bool known, none;
    iv->shaft = "output shaft";
    lay_status status = interview_teeth(iv, &ask, teeth, &known, &none);
    if (status != LAY_OK) return status;
    iv->output = known ? "differential" : "output shaft";
    status = all_gears(iv, false);
    pair(iv, !known, "final drive", "output shaft", teeth[0], "differential", teeth[1]);
    if (!known) tell_open(iv, "the final drive (then name the differential as output)");
    return status;
}

#define OVERDRIVE                                                                                                      \
    "Overdrive: teeth of sun, planet and ring, number of planets? (four numbers; the\n"                                \
    "mainshaft turns the planet carrier, the ring drives the output shaft)"

static void write_overdrive(interview *iv, const int n[4]) {
    interview_add(
        &iv->train, false,
        "\n[mesh overdrive sun]              ; planets run round the sun; held still it makes the output faster\n"
        "driver = planet, %d\ndriven = sun, %d\ncarrier = mainshaft\nwheels = %d\n"
        "\n[mesh overdrive ring]\ndriver = planet, %d\ndriven = output shaft, %d\ncarrier = mainshaft\n"
        "internal = yes\nwheels = %d\n",
        n[1], n[0], n[3], n[1], n[2], n[3]);
}

/* Without it nothing reaches the output: it has to be known, and to fit together. */
static lay_status overdrive(interview *iv) {
    static const interview_counts ask = {OVERDRIVE, 4, 1, HIGH, false};
    int n[4] = {0};
    bool known = false, none;
    lay_status status = interview_teeth(iv, &ask, n, &known, &none);
    while (status == LAY_OK) {
        char wrong[160] = "";
        lay_text answer = {0};
        if (!known)
            snprintf(wrong, sizeof wrong,
                     "the overdrive's teeth have to be known: nothing reaches the output without it");
        else if (n[0] < LOW || n[1] < LOW || abs(n[2] - n[0] - 2 * n[1]) > 4)
            snprintf(wrong, sizeof wrong, "a sun of %d and planets of %d need a ring of %d teeth", n[0], n[1],
                     n[0] + 2 * n[1]);
        else if (n[3] > 12 || (n[0] + n[2]) % n[3] != 0)
            snprintf(wrong, sizeof wrong, "%d planets cannot be put in evenly: sun + ring must be a multiple of them",
                     n[3]);
        if (!wrong[0]) break;
        status = interview_again(iv, OVERDRIVE, NULL, wrong, &answer);
        known = status == LAY_OK &&
                sscanf(answer.text, "%d%*[ ,]%d%*[ ,]%d%*[ ,]%d", &n[0], &n[1], &n[2], &n[3]) == 4 && n[3] > 0;
        lay_text_free(&answer);
    }
    if (status == LAY_OK) write_overdrive(iv, n);
    return status;
}

static void neutral(interview *iv) {
    interview_add(&iv->locks, false,
                  "\n[gear N]                          ; engine running, the wheels stand on the ground\n");
    if (iv->layout == LAYOUT_OVERDRIVE) interview_add(&iv->locks, false, "lock = sun, mainshaft\n");
    interview_add(&iv->locks, false, "lock = %s, case\n", iv->output);
}

lay_status interview_train(interview *iv) {
    int layout = 1;
    lay_status status =
        interview_number(iv,
                         "How is it laid out?\n"
                         "  1 countershaft box: input shaft and mainshaft in line, countershaft beside\n"
                         "  2 two-shaft transaxle: every gear one pair, with the final drive inside\n"
                         "  3 as 1, with an epicyclic overdrive behind it",
                         "1", 1, LAYOUT_COUNT, &layout);
    iv->layout = (interview_layout)(layout - 1);
    if (status == LAY_OK)
        status =
            interview_number(iv, "How many forward gears, overdrive not counted?", "5", 1, INTERVIEW_GEARS, &iv->gears);
    if (status != LAY_OK) return status;
    status = iv->layout == LAYOUT_TWO_SHAFT ? two_shaft(iv) : countershaft(iv);
    if (status == LAY_OK && iv->layout == LAYOUT_OVERDRIVE) status = overdrive(iv);
    if (status == LAY_OK) neutral(iv);
    return status;
}
