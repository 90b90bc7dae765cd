/* A unit file from questions: the three units of the repository come out of answers to them; what is wrong is asked
 * again, what is unknown stays open, and whatever is answered, the file can be used. */
#include <layshaft/unit.h>

#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/unit_text.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef struct script {
    const char *at; /* answers, one a line; NULL: at random */
    lay_random random;
    int asked, again;
} script;

static lay_status answer(void *user, const lay_question *q, lay_text *out, lay_error *err) {
    script *s = user;
    s->asked++;
    s->again += q->wrong != NULL;
    assert_true(q->text[0] && strlen(q->text) < 400);
    if (!*s->at) return lay_fail(err, LAY_BAD_INPUT, "no more answers: %s", q->text);
    size_t n = strcspn(s->at, "\n");
    lay_text_add(out, "%.*s", (int)n, s->at);
    s->at += n + (s->at[n] == '\n');
    return LAY_OK;
}

typedef struct outcome {
    lay_text file, open, odd;
    int again;
} outcome;

static lay_status interview(const char *answers, outcome *o, lay_error *err) {
    script s = {.at = answers};
    *o = (outcome){{0}, {0}, {0}, 0};
    lay_status status = lay_unit_interview(answer, &s, &o->file, &o->open, &o->odd, err);
    o->again = s.again;
    return status;
}

static void forget(outcome *o) {
    lay_text_free(&o->file);
    lay_text_free(&o->open);
    lay_text_free(&o->odd);
}

static lay_unit *made(const char *answers, outcome *o) {
    lay_error err = {0};
    if (interview(answers, o, &err) != LAY_OK) fail_msg("%s", err.message);
    return unit_of(o->file.text);
}

/* Same gears, and in each the same orders of all meshes. */
static void same_orders(const lay_unit *unit, const char *file) {
    char path[512];
    lay_unit *other;
    lay_error err = {0};
    snprintf(path, sizeof path, LAYSHAFT_SOURCE_DIR "/recordings/units/%s.ini", file);
    assert_int_equal(lay_unit_load(path, &other, &err), LAY_OK);
    assert_int_equal(unit->gear_count, other->gear_count);
    assert_int_equal(unit->mesh_count, other->mesh_count);
    for (size_t g = 0; g < other->gear_count; g++) {
        lay_kinematics a = gear_of(unit, other->gears[g].name), b = gear_of(other, other->gears[g].name);
        for (size_t m = 0; m < unit->mesh_count; m++) {
            size_t k = 0; /* the same two tooth counts */
            while (k < other->mesh_count && (other->meshes[k].driver.teeth != unit->meshes[m].driver.teeth ||
                                             other->meshes[k].driven.teeth != unit->meshes[m].driven.teeth))
                k++;
            assert_true(k < other->mesh_count);
            assert_close(a.mesh_order[m], b.mesh_order[k], 0, 1e-12);
            assert_int_equal(a.loaded[m], b.loaded[k]);
        }
        lay_kinematics_free(&a);
        lay_kinematics_free(&b);
    }
    lay_unit_free(other);
}

static void test_countershaft(void **state) {
    (void)state;
    outcome o;
    lay_unit *unit =
        made("Box\n1\n5\n4\n23 36\n15 37\n22, 31\n27/26\n34 : 19\n14 23 37\n4\n4\n11 41\n\n"
             "alternator\n2.7\n\ncountershaft front\n\n\n13 7.5 40 0\npilot\nmainshaft\ninput shaft\n14\n\n",
             &o);
    same_orders(unit, "five-speed");
    assert_int_equal(unit->bearing_count, 2);
    assert_int_equal(unit->bearings[1].basis, LAY_BEARING_COUNT_ONLY);
    assert_int_equal(unit->rotor_count, 1);
    assert_int_equal(o.open.length, 0);
    assert_int_equal(o.odd.length, 0);
    assert_int_equal(o.again, 0);
    lay_unit_free(unit);
    forget(&o);
}

static void test_transaxle(void **state) {
    (void)state;
    outcome o;
    lay_unit *unit = made("Transaxle\n2\n5\n18 61\n11 38\n2\n19 37\n2\n28 37\n1\n33 31\n1\n39 29\n1\n12 29 41\n4\n4\n"
                          "195/65 R15\n\n\n",
                          &o);
    same_orders(unit, "transaxle");
    assert_true(unit->axle.rolling_m > 1.5 && !unit->axle.present);
    assert_non_null(strstr(o.open.text, "no bearing"));
    lay_unit_free(unit);
    forget(&o);
}

static void test_overdrive(void **state) {
    (void)state;
    outcome o;
    lay_unit *unit =
        made("Overdrive\n3\n4\n4\n21 34\n17 35\n2\n23 30\n2\n29 25\n1\n1\n16 23 35\n24 18 60 3\n6\n4\n-\n\n\n", &o);
    same_orders(unit, "four-speed-overdrive");
    lay_unit_free(unit);
    forget(&o);
}

/* Wrong answers are asked again with the reason, and do no harm. */
static void test_again(void **state) {
    (void)state;
    outcome o;
    lay_unit *unit = made("a;b\nBox\n7\n1\nfive\n2\n9\n0\n23\n23 36\n15 x\n15 37\n30 2\n30 20\n14 23\n-\n99\n4\n4\n"
                          "11 41 5\n11 41\nbig wheels\n205/55 R16\n\nfront\nthird gear\n\n9 9.5 46 0\ncountershaft\n\n"
                          "9 9.5 4 0\ncountershaft\ncase\n9 9.5 46 0\n\n",
                          &o);
    assert_int_equal(o.again, 13);
    assert_int_equal(unit->mesh_count, 3);
    assert_int_equal(unit->bearing_count, 1);
    assert_close(unit->bearings[0].pitch_mm, 46, 0, 0);
    lay_unit_free(unit);
    forget(&o);
}

static void test_unknown(void **state) {
    (void)state;
    outcome o;
    lay_unit *unit = made("Box\n1\n4\n4\n?\n15 37\n?\n27 26\n?\n0\n?\n\nloose\n\n\n?\n\n", &o);
    assert_int_equal(unit->mesh_count, 0); /* without the headset nothing turns the countershaft */
    assert_int_equal(unit->gear_count, 2); /* direct and neutral */
    const char *const told[] = {"the headset", "second pair", "reverse train", "teeth of the axle", "bearing 'loose'"};
    for (size_t i = 0; i < 5; i++)
        if (strstr(o.open.text, told[i]) == NULL) fail_msg("not told: %s", told[i]);
    assert_non_null(strstr(o.file.text, "; [mesh second pair]\n; driver = countershaft, ?\n"));
    assert_non_null(strstr(o.file.text, "; [mesh third pair]\n"));
    lay_unit_free(unit);
    forget(&o);
}

static void test_odd(void **state) {
    (void)state;
    outcome o;
    lay_unit *unit = made("Box\n1\n3\n3\n23 36\n37 15\n22 31\n-\n0\n-\n\n\n", &o);
    assert_non_null(strstr(o.odd.text, "gear 2 would be shorter than gear 1"));
    lay_unit_free(unit);
    forget(&o);
}

/* The answers end: an error, and no file. */
static void test_ends(void **state) {
    (void)state;
    outcome o;
    lay_error err = {0};
    assert_int_equal(interview("Box\n1\n4\n", &o, &err), LAY_BAD_INPUT);
    assert_int_equal(o.file.length, 0);
    forget(&o);
    assert_int_equal(interview("Box\n1\n4\n0\n?\n", &o, &err), LAY_BAD_INPUT);
    assert_non_null(strstr(err.message, "count them first"));
    forget(&o);
}

/* ---- at random ---- */

static lay_status anything(void *user, const lay_question *q, lay_text *out, lay_error *err) {
    static const char *const words[] = {"",
                                        "1",
                                        "2",
                                        "3",
                                        "4",
                                        "5",
                                        "?",
                                        "-",
                                        "23 36",
                                        "27 26",
                                        "18 61",
                                        "14 23 37",
                                        "24 18 60 3",
                                        "24 18 60 5",
                                        "9 9.5 46 0",
                                        "9",
                                        "0.5",
                                        "205/55 R16",
                                        "countershaft",
                                        "mainshaft",
                                        "case",
                                        "third gear",
                                        "input shaft",
                                        "x;y",
                                        "[a]",
                                        "name",
                                        "0"};
    script *s = user;
    (void)q;
    if (++s->asked > 600) return lay_fail(err, LAY_BAD_INPUT, "enough");
    lay_text_add(out, "%s", words[lay_random_int(&s->random, 0, (int)(sizeof words / sizeof words[0]) - 1)]);
    return LAY_OK;
}

static void test_random(void **state) {
    (void)state;
    int files = 0;
    for (uint64_t seed = 1; seed <= 120; seed++) {
        script s = {0};
        outcome o = {{0}, {0}, {0}, 0};
        lay_error err = {0};
        lay_random_seed(&s.random, seed);
        if (lay_unit_interview(anything, &s, &o.file, &o.open, &o.odd, &err) == LAY_OK) {
            lay_unit *unit = unit_of(o.file.text);
            for (size_t g = 0; g < unit->gear_count; g++) {
                lay_kinematics k = gear_of(unit, unit->gears[g].name);
                lay_kinematics_free(&k);
            }
            lay_unit_free(unit);
            files++;
        } else if (strstr(err.message, "enough") == NULL && strstr(err.message, "count them first") == NULL) {
            fail_msg("seed %llu: %s", (unsigned long long)seed, err.message);
        }
        forget(&o);
    }
    if (files < 10) fail_msg("%d files", files);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_countershaft), cmocka_unit_test(test_transaxle),
                                       cmocka_unit_test(test_overdrive),    cmocka_unit_test(test_again),
                                       cmocka_unit_test(test_unknown),      cmocka_unit_test(test_odd),
                                       cmocka_unit_test(test_ends),         cmocka_unit_test(test_random)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
