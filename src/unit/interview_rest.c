/* What is outside the transmission, and the bearings in it. What is answered is tried at once on the whole file, so
 * that its own errors are the reasons why an answer will not do. */
#include "interview.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Add what `text` says to a section, or ask again with the reason. */
static lay_status take_or_ask(interview *iv, lay_text *section, const char *text, const char *question,
                              const char *usual, lay_text *answer, bool *taken) {
    lay_error why = {0};
    lay_status status = interview_try(iv, text, &why);
    *taken = status == LAY_OK;
    if (*taken) {
        lay_text_add(section, "%s", text);
        return LAY_OK;
    }
    if (status == LAY_NO_MEMORY) return lay_fail(iv->err, status, "not enough memory");
    return interview_again(iv, question, usual, why.message, answer);
}

/* ---- engine ---- */

static lay_status engine(interview *iv) {
    int cylinders = 0, strokes = 4;
    lay_status status = interview_number(iv, "The engine it runs with: how many cylinders? (0: none, a test stand)",
                                         "4", 0, 16, &cylinders);
    if (status != LAY_OK || cylinders == 0) return status;
    status = interview_number(iv, "Two strokes or four?", "4", 2, 4, &strokes);
    interview_add(&iv->rest, false, "\n[engine]\ncylinders = %d\nstrokes = %d\n", cylinders,
                  strokes == 3 ? 4 : strokes);
    return status;
}

/* ---- axle ---- */

#define TYRE                                                                                                           \
    "Size of the driven wheels' tyres, as on the sidewall, such as 205/55 R16? (empty:\n"                              \
    "not known; it is only needed where the road speed is noted instead of the rpm)"

static void tyre_lines(const interview *iv, const char *axle, const char *size, lay_text *out) {
    bool own = iv->layout == LAYOUT_TWO_SHAFT;
    lay_text_add(out, "\n[axle]\n%s", axle);
    if (own) lay_text_add(out, "turns with = %s             ; the final drive is among the meshes\n", iv->output);
    if (size[0]) lay_text_add(out, "tyre = %s\n", size);
}

/* An axle without teeth and without tyre says nothing. */
static lay_status axle_section(interview *iv, const char *axle) {
    lay_text answer = {0};
    bool taken = false;
    lay_status status = interview_text(iv, TYRE, "", &answer);
    while (status == LAY_OK && !taken) {
        lay_text text = {0};
        if (!answer.text[0] && !axle[0]) break;
        tyre_lines(iv, axle, answer.text, &text);
        if (text.failed)
            status = lay_fail(iv->err, LAY_NO_MEMORY, "not enough memory");
        else
            status = take_or_ask(iv, &iv->rest, text.text, TYRE, "", &answer, &taken);
        lay_text_free(&text);
    }
    lay_text_free(&answer);
    return status;
}

static lay_status axle(interview *iv) {
    static const interview_counts ask = {
        "The axle behind it: teeth of the pinion, teeth of the ring? (two numbers, ?, or -\nfor none)", 2, 3, 250,
        true};
    char lines[64] = "";
    int teeth[2] = {0};
    bool known = false, none = true;
    lay_status status = LAY_OK;
    if (iv->layout != LAYOUT_TWO_SHAFT) {
        status = interview_teeth(iv, &ask, teeth, &known, &none);
        if (known) snprintf(lines, sizeof lines, "pinion = %d\nring = %d\n", teeth[0], teeth[1]);
        if (!known && !none)
            lay_text_add(iv->open,
                         "the teeth of the axle are not known: noise from there cannot be told by its order\n");
        if (status != LAY_OK || !known) return status;
    }
    return axle_section(iv, lines);
}

/* ---- other rotors ---- */

#define ROTOR "Anything else the engine turns, such as an alternator? Its name (empty: no more)"
#define ROTOR_RATIO "How often does it turn per turn of the crank? (crank pulley / its pulley)"

static lay_status rotor(interview *iv, const char *name) {
    lay_text answer = {0};
    bool taken = false;
    lay_status status = interview_text(iv, ROTOR_RATIO, NULL, &answer);
    while (status == LAY_OK && !taken) {
        lay_text text = {0};
        lay_text_add(&text, "\n[other %s]\nturns with = input shaft\nratio = %s\n", name,
                     strpbrk(answer.text, ";#\n") ? "?" : answer.text);
        if (text.failed)
            status = lay_fail(iv->err, LAY_NO_MEMORY, "not enough memory");
        else
            status = take_or_ask(iv, &iv->rest, text.text, ROTOR_RATIO, NULL, &answer, &taken);
        lay_text_free(&text);
    }
    lay_text_free(&answer);
    return status;
}

lay_status interview_outside(interview *iv) {
    lay_text name = {0};
    lay_status status = engine(iv);
    if (status == LAY_OK) status = axle(iv);
    if (status == LAY_OK) status = interview_name(iv, ROTOR, "", &name);
    while (status == LAY_OK && name.text[0]) {
        status = rotor(iv, name.text);
        if (status == LAY_OK) status = interview_name(iv, ROTOR, "", &name);
    }
    lay_text_free(&name);
    return status;
}

/* ---- bearings ---- */

#define BEARING "A bearing that you know? Its name, such as 'countershaft front' (empty: no more)"
#define INNER "Which shaft or wheel is its inner ring on?"
#define OUTER "What holds its outer ring? (the case, or the body it turns in)"
#define SIZES                                                                                                          \
    "Its rolling elements: number, diameter in mm, pitch diameter in mm, contact angle\n"                              \
    "in degrees (0 for deep-groove balls and cylindrical rollers)? The number alone\nwill do, or ?"

/* "9 9.5 46 0" or "9" as lines of a unit file. */
static void size_lines(const char *answer, lay_text *out) {
    static const char *const keys[][2] = {
        {"rolling elements", ""}, {"element diameter", " mm"}, {"pitch diameter", " mm"}, {"contact angle", " deg"}};
    static const char between[] = " \t,/";
    for (size_t k = 0; k < sizeof keys / sizeof keys[0]; k++) {
        answer += strspn(answer, between);
        size_t n = strcspn(answer, between);
        if (n == 0) return;
        lay_text_add(out, "%s = %.*s%s\n", keys[k][0], (int)n, answer, keys[k][1]);
        answer += n;
    }
}

typedef struct bearing {
    lay_text name, inner, outer, sizes;
} bearing;

static lay_status ask_bearing(interview *iv, bearing *b) {
    lay_status status = interview_name(iv, INNER, "countershaft", &b->inner);
    if (status == LAY_OK) status = interview_name(iv, OUTER, "case", &b->outer);
    if (status == LAY_OK) status = interview_text(iv, SIZES, "?", &b->sizes);
    return status;
}

static void tell_open(interview *iv, const bearing *b) {
    interview_add(&iv->bearings, true, "\n[bearing %s]\ninner = %s\nouter = %s\nrolling elements = ?\n", b->name.text,
                  b->inner.text, b->outer.text);
    lay_text_add(iv->open, "the bearing '%s' needs at least the number of its rolling elements\n", b->name.text);
}

/* An error may be about any of the three answers: all are asked again, the first with the reason. */
static lay_status settle(interview *iv, bearing *b) {
    bool taken = false;
    lay_status status = ask_bearing(iv, b);
    while (status == LAY_OK && !taken) {
        lay_text text = {0};
        if (strpbrk(b->sizes.text, "?;#")) {
            tell_open(iv, b);
            return LAY_OK;
        }
        lay_text_add(&text, "\n[bearing %s]\ninner = %s\nouter = %s\n", b->name.text, b->inner.text, b->outer.text);
        size_lines(b->sizes.text, &text);
        if (text.failed)
            status = lay_fail(iv->err, LAY_NO_MEMORY, "not enough memory");
        else
            status = take_or_ask(iv, &iv->bearings, text.text, INNER, "countershaft", &b->inner, &taken);
        if (status == LAY_OK && !taken) status = interview_name(iv, OUTER, "case", &b->outer);
        if (status == LAY_OK && !taken) status = interview_text(iv, SIZES, "?", &b->sizes);
        lay_text_free(&text);
    }
    return status;
}

lay_status interview_bearings(interview *iv) {
    lay_status status = LAY_OK;
    for (bool more = true; more && status == LAY_OK;) {
        bearing b = {{0}, {0}, {0}, {0}};
        status = interview_name(iv, BEARING, "", &b.name);
        more = status == LAY_OK && b.name.text[0];
        if (more) status = settle(iv, &b);
        lay_text_free(&b.name);
        lay_text_free(&b.inner);
        lay_text_free(&b.outer);
        lay_text_free(&b.sizes);
    }
    if (status == LAY_OK && iv->bearings.length == 0)
        lay_text_add(iv->open, "no bearing is listed: a bearing that is not in the file cannot be named\n");
    return status;
}
