/* What a mechanic is told of a bearing or a tooth that strikes: how often, where, in which recordings, what speaks
 * against it, and what to look at. */
#include "judge/strike_words.h"

#include "support/cmocka_all.h"
#include "support/diagnosis.h"
#include "support/evidence.h"
#include "support/unit_text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define RUNS 2
#define COUNTERSHAFT (23.0 / 36)
/* 9 elements of 9.5 mm on 46 mm: n/2 (1 -+ d/D), D/d (1 - (d/D)^2), (1 - d/D) / 2 (SNFA bearing catalogue). */
#define BPFO 3.5707
#define BPFI 5.4293
#define BSF2 4.6356
#define FTF 0.39674

/* Everything a sentence may need; parts of it are changed by each test. */
typedef struct told {
    lay_unit *unit;
    lay_hypothesis hypothesis;
    lay_score score;
    lay_run_evidence runs[RUNS];
    lay_blows blows;
    lay_strike_common common;
    lay_strike at[RUNS];
    lay_strings words;
} told;

/* Two runs of third gear; blows of 27, 22 and 16 dB in a band of 6250 to 8750 Hz. */
static void make(told *t, const char *unit_text, lay_kind kind, double per_turn) {
    *t = (told){.unit = unit_of(unit_text)};
    bool chip = kind == LAY_KIND_CHIP;
    t->hypothesis = (lay_hypothesis){.kind = kind, .type = chip ? LAY_PART_MESH : LAY_PART_BEARING, .wheel = -1};
    t->score = (lay_score){.observed = true, .runs = RUNS, .level_db = 50, .quiet_db = NAN};
    for (int r = 0; r < RUNS; r++) {
        evidence_make(&t->runs[r], t->unit, "3", NULL, 0);
        t->runs[r].envelope.step = 1.0 / 64;
        t->at[r] = (lay_strike){.valid = true, .score = 50, .elsewhere = 5, .lines = 3};
    }
    t->blows = (lay_blows){.lines = 3, .level_db = {27, 22, 16}, .low_hz = 6248, .high_hz = 8753, .angle = NAN};
    t->blows.order = per_turn * COUNTERSHAFT * (1 - 0.004);
    t->blows.slip = -0.004;
    t->blows.hz = t->blows.order * t->runs[0].mean_hz;
    t->common = (lay_strike_common){.runs = RUNS, .flank = LAY_FLANK_ANY};
}

static void drop(told *t) {
    for (int r = 0; r < RUNS; r++) lay_run_evidence_free(&t->runs[r]);
    lay_strings_free(&t->words);
    lay_unit_free(t->unit);
}

static lay_finding finding_of(const told *t) {
    return (lay_finding){.unit = t->unit,
                         .hypothesis = &t->hypothesis,
                         .score = &t->score,
                         .runs = t->runs,
                         .run_count = RUNS,
                         .blows = &t->blows,
                         .strike = &t->common,
                         .strike_at = t->at};
}

static void reasons(told *t) {
    lay_finding f = finding_of(t);
    lay_strings_free(&t->words);
    t->words = (lay_strings){0};
    assert_int_equal(lay_words_reasons(&f, &t->words, NULL), LAY_OK);
}

static void checks(told *t) {
    lay_finding f = finding_of(t);
    lay_strings_free(&t->words);
    t->words = (lay_strings){0};
    assert_int_equal(lay_words_checks(&f, &t->words, NULL), LAY_OK);
}

static bool says(const told *t, const char *words) {
    for (size_t i = 0; i < t->words.count; i++)
        if (strstr(t->words.items[i], words)) return true;
    return false;
}

static void assert_says(const told *t, const char *words) {
    if (!says(t, words)) fail_msg("not said: %s; but first: %s", words, t->words.items[0]);
}

static void an_outer_race(void **state) {
    (void)state;
    told t;
    make(&t, fixture_unit_text, LAY_KIND_OUTER, BPFO);
    reasons(&t);
    assert_says(&t, "something strikes 3.556 times per turn of 'countershaft' (BPFO 3.571, slip -0.4 %)");
    assert_says(&t, "outer race");
    assert_says(&t,
                "in gear 3 that is order 2.272, 68.2 Hz at mean speed; its multiples stand 27, 22 and 16 dB over the "
                "floor of the envelope spectrum");
    assert_says(&t, "ringing between 6250 and 8750 Hz");
    assert_says(&t, "in all 2 recordings in which this bearing turns");
    assert_false(says(&t, "against it") || says(&t, "mind:") || says(&t, "swell"));
    drop(&t);
}

static void other_defects_have_their_own_names(void **state) {
    (void)state;
    told t;
    make(&t, fixture_unit_text, LAY_KIND_INNER, BPFI);
    t.blows.swing_order = COUNTERSHAFT;
    t.blows.side_db = 12;
    reasons(&t);
    assert_says(&t, "(BPFI 5.429, slip -0.4 %)");
    assert_says(&t, "swell and fade once per turn of 'countershaft' (sidebands of 12 dB)");
    t.blows.side_db = 2; /* noise */
    reasons(&t);
    assert_false(says(&t, "swell"));
    drop(&t);
    make(&t, fixture_unit_text, LAY_KIND_ELEMENT, BSF2);
    t.blows.swing_order = FTF * COUNTERSHAFT;
    t.blows.side_db = 12;
    reasons(&t);
    assert_says(&t, "(2 x BSF 4.636, slip");
    assert_says(&t, "once per turn of the cage");
    assert_says(&t, "mind: a worn cage");
    drop(&t);
    make(&t, fixture_unit_text, LAY_KIND_CAGE, FTF);
    t.blows.lines = 8;
    for (int k = 3; k < 8; k++) t.blows.level_db[k] = 10;
    reasons(&t);
    assert_says(&t, "(FTF 0.397, slip");
    assert_says(&t, "8 of its multiples stand 10 to 27 dB");
    assert_says(&t, "against it: a damaged ball or roller");
    drop(&t);
}

/* An element may show by the swing of its cage alone; then nothing "strikes". */
static void an_element_that_only_swings(void **state) {
    (void)state;
    told t;
    make(&t, fixture_unit_text, LAY_KIND_ELEMENT, FTF);
    t.hypothesis.multiple = 1;
    t.blows.lines = 8;
    reasons(&t);
    assert_says(&t, "the noise swells and fades 0.395 times per turn of 'countershaft' (FTF 0.397");
    assert_says(&t, "its first multiples stand 27, 22 and 16 dB");
    assert_says(&t, "against it: a worn cage");
    assert_false(says(&t, "strikes") || says(&t, "each blow"));
    drop(&t);
}

static void what_speaks_against(void **state) {
    (void)state;
    told t;
    make(&t, fixture_unit_text, LAY_KIND_OUTER, BPFO);
    t.runs[0].sensor = LAY_SENSOR_MIC;
    reasons(&t);
    assert_says(&t, "mind: a microphone hears only what the air carries");
    t.at[1].score = 6; /* no more than elsewhere */
    reasons(&t);
    assert_says(&t, "against it: it is there in 1 of 2 recordings");
    t.common.runs = 1;
    for (int k = 0; k < 3; k++) t.blows.level_db[k] = 6;
    reasons(&t);
    assert_says(&t, "against it: only one recording can show it");
    assert_says(&t, "against it: its lines are weak, 6 dB on average");
    t.blows.order = 3.01 * COUNTERSHAFT; /* a bin from three per turn */
    reasons(&t);
    assert_says(&t, "so near to 3 per turn");
    drop(&t);
}

/* A bearing known by its number of rolling elements alone: 0.4 n, and no slip can be told. */
static void a_bearing_without_geometry(void **state) {
    (void)state;
    told t;
    make(&t,
         "[unit]\nname = rig\ndriven by = shaft\noutput = out\n[mesh pair]\ndriver = shaft, 20\ndriven = out, 30\n"
         "[gear 3]\n[bearing front]\ninner = shaft\nouter = case\nrolling elements = 9\n",
         LAY_KIND_OUTER, 3.6 / COUNTERSHAFT);
    reasons(&t);
    assert_says(&t, "(BPFO about 3.60, from the number of rolling elements)");
    assert_says(&t, "mind: the unit file gives only the number of rolling elements");
    assert_false(says(&t, "slip"));
    drop(&t);
}

/* In third gear the mainshaft turns (23 x 27) / (36 x 29) as fast as the input shaft: 3.5707 blows per relative turn.
 */
static void a_bearing_between_two_shafts(void **state) {
    (void)state;
    told t;
    lay_text text = {0};
    lay_text_add(&text,
                 "%s[bearing pilot]\ninner = mainshaft\nouter = input shaft\nrolling elements = 9\nelement "
                 "diameter = 9.5 mm\npitch diameter = 46 mm\n",
                 fixture_unit_text);
    double relative = 1 - 23.0 * 27 / (36 * 29);
    make(&t, text.text, LAY_KIND_OUTER, BPFO * relative / COUNTERSHAFT);
    t.hypothesis.index = 1;
    reasons(&t);
    assert_says(&t, "3.556 times per turn of 'mainshaft' against 'input shaft'");
    lay_text_free(&text);
    drop(&t);
}

enum { HEADSET, THIRD };

static void make_chip(told *t, int wheel) {
    make(t, fixture_unit_text, LAY_KIND_CHIP, 1 / (1 - 0.004));
    t->blows.slip = 0;
    t->blows.lines = 6;
    for (int k = 0; k < 6; k++) t->blows.level_db[k] = k == 1 ? (double)NAN : 12.0 + k;
    t->hypothesis.index = THIRD;
    t->hypothesis.wheel = wheel;
    t->score.level_db = 14;
}

static void a_chipped_tooth(void **state) {
    (void)state;
    told t;
    make_chip(&t, 0);
    t.common.flank = LAY_FLANK_DRIVE;
    t.score.quiet_db = 2;
    reasons(&t);
    assert_says(&t, "knocks once per turn of 'countershaft'");
    assert_says(&t, "5 of its multiples stand 12 to 17 dB over the noise when the envelope is averaged turn by turn");
    assert_says(&t, "in all 2 recordings that load this pair on the drive flank");
    assert_says(&t, "its lines are 12 dB lower where that flank carries no torque");
    assert_false(says(&t, "degrees") || says(&t, "against it"));
    t.score.quiet_db = 13;
    reasons(&t);
    assert_says(&t, "against it: its lines are no lower");
    drop(&t);
}

/* Teeth are counted from the pulse only where the tach looks at the body that carries the wheel. */
static void the_place_of_the_tooth(void **state) {
    (void)state;
    told t;
    make_chip(&t, 0);
    t.blows.angle = 1.0 / 3;
    t.runs[0].tach_body = lay_unit_body(t.unit, "countershaft");
    reasons(&t);
    assert_says(&t, "about 120 degrees after the tach pulse: some 9 of 27 teeth on from the tooth that is in mesh");
    t.runs[0].tach_body = -1; /* the input shaft */
    reasons(&t);
    assert_says(&t, "about 120 degrees after the tach pulse");
    assert_false(says(&t, "teeth on"));
    drop(&t);
}

/* Which wheel, which mate and which flank; what is done with bearings of each kind. */
static void what_to_look_at(void **state) {
    (void)state;
    static const struct {
        lay_kind kind;
        const char *words;
    } own[] = {{LAY_KIND_OUTER, "turn the outer one slowly by hand"},
               {LAY_KIND_INNER, "turn the inner one slowly by hand"},
               {LAY_KIND_ELEMENT, "turn every ball or roller in its pocket"},
               {LAY_KIND_CAGE, "worn pockets, cracked bars"}};
    told t;
    for (size_t i = 0; i < 4; i++) {
        make(&t, fixture_unit_text, own[i].kind, BPFO);
        checks(&t);
        for (size_t k = 0; k < 4; k++)
            if (says(&t, own[k].words) != (i == k)) fail_msg("%s: '%s'", lay_kind_name(own[i].kind), own[k].words);
        assert_says(&t, "never use again a bearing that feels rough");
        assert_says(&t, "engine off");
        drop(&t);
    }
    make_chip(&t, 1);
    t.common.flank = LAY_FLANK_COAST;
    checks(&t);
    assert_says(&t, "the wheel of 29 teeth on 'third gear' tooth by tooth, on the coast flank");
    assert_says(&t, "its mate of 27 teeth on 'countershaft'");
    assert_says(&t, "keep fingers out of the mesh");
    drop(&t);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(an_outer_race),
                                       cmocka_unit_test(other_defects_have_their_own_names),
                                       cmocka_unit_test(an_element_that_only_swings),
                                       cmocka_unit_test(what_speaks_against),
                                       cmocka_unit_test(a_bearing_without_geometry),
                                       cmocka_unit_test(a_bearing_between_two_shafts),
                                       cmocka_unit_test(a_chipped_tooth),
                                       cmocka_unit_test(the_place_of_the_tooth),
                                       cmocka_unit_test(what_to_look_at)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
