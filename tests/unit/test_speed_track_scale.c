/* Which speed and gear a path stands for, and how chapters agree on it. */
#include "speed/join.h"
#include "speed/scale.h"
#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/played_chapter.h"

#include <math.h>
#include <stdlib.h>

#define RATE 16000.0

/* ---- the scale ---- */

/* A profile of 40 frames of three seconds along a path of 25 turns/s: noise, and lines at the box's orders times
 * `factor`, as high over it as their power. */
static lay_profile profile_of(const played_box *box, double factor) {
    const double bin = 1.0 / 3 / 25;
    lay_profile p = {.step = bin / 4, .count = 24000};
    p.mean = lay_calloc(p.count, sizeof *p.mean);
    p.frames = lay_calloc(p.count, sizeof *p.frames);
    assert_true(p.mean && p.frames);
    lay_random random;
    lay_random_seed(&random, 9);
    for (size_t i = 0; i < p.count; i++) {
        p.frames[i] = 40;
        p.mean[i] = (float)(1 + lay_random_normal(&random) / sqrt(20)); /* half overlap: some 20 are free */
    }
    for (size_t k = 0; k < box->line_count; k++)
        for (size_t i = 0; i < p.count; i++) {
            double off = ((double)i * p.step - box->lines[k].order * factor) / bin;
            double height = 1e4 * box->lines[k].amplitude * box->lines[k].amplitude;
            if (fabs(off) < 2) p.mean[i] += (float)(height * exp(-1.5 * off * off));
        }
    return p;
}

static void check_scale(double factor) {
    played_box box;
    lay_track_gear gear;
    lay_scale scale;
    lay_error err = {0};
    played_usual_box(&box);
    lay_track_options options = played_options(RATE, &box, &gear);
    lay_profile p = profile_of(&box, factor);
    fine(lay_scale_find(&p, 1.0 / 3, &options, 20, 25, 30, &scale, &err), &err);
    assert_true(scale.count > 0);
    assert_close(scale.answers[0].factor, factor, 0, 5e-4);
    assert_true(scale.answers[0].probability > 0.8);
    assert_true(scale.answers[0].matched >= 7);
    double sum = 0;
    for (size_t i = 0; i < scale.count; i++) {
        sum += scale.answers[i].probability;
        if (i > 0) assert_true(scale.answers[i].probability <= scale.answers[i - 1].probability);
        assert_true(scale.answers[i].factor * 20 >= options.low_hz * 0.99 &&
                    scale.answers[i].factor * 30 <= options.high_hz * 1.01);
    }
    assert_true(sum <= 1 + 1e-9);
    lay_profile_free(&p);
}

static void scales_of_a_profile(void **state) {
    (void)state;
    check_scale(1.37);
    check_scale(1);
    check_scale(0.5);
    check_scale(2);
    check_scale(0.6667);
}

static void noise_has_no_scale(void **state) {
    (void)state;
    played_box box, silent = {.line_count = 0};
    lay_track_gear gear;
    lay_scale scale;
    lay_error err = {0};
    played_usual_box(&box);
    lay_track_options options = played_options(RATE, &box, &gear);
    lay_profile p = profile_of(&silent, 1);
    fine(lay_scale_find(&p, 1.0 / 3, &options, 20, 25, 30, &scale, &err), &err);
    for (size_t i = 0; i < scale.count; i++) assert_true(scale.answers[i].probability < 0.5);
    lay_profile_free(&p);
}

/* Lines at random orders, which no speed explains. */
static void strange_lines_have_no_sure_scale(void **state) {
    (void)state;
    int sure = 0, offered = 0;
    double left = 0; /* for none of the answers */
    for (uint64_t seed = 0; seed < 12; seed++) {
        played_box box, strange = {.line_count = 6};
        lay_track_gear gear;
        lay_scale scale;
        lay_error err = {0};
        lay_random random;
        lay_random_seed(&random, seed);
        for (size_t k = 0; k < strange.line_count; k++)
            strange.lines[k] = (played_line){lay_random_between(&random, 1, 50), 0.05};
        played_usual_box(&box);
        lay_track_options options = played_options(RATE, &box, &gear);
        lay_profile p = profile_of(&strange, 1);
        fine(lay_scale_find(&p, 1.0 / 3, &options, 20, 25, 30, &scale, &err), &err);
        offered += scale.count > 0;
        left += 1.0 / 12;
        for (size_t i = 0; i < scale.count; i++) left -= scale.answers[i].probability / 12;
        sure += scale.count > 0 && scale.answers[0].probability >= 0.5;
        lay_profile_free(&p);
    }
    print_message("strange lines: sure %d of %d, %.0f %% left for none\n", sure, offered, 100 * left);
    assert_int_equal(offered, 12);
    assert_true(sure <= 1);
    assert_true(left > 0.1);
}

/* ---- joining chapters ---- */

/* A path over [from, to] at `share` of 30 turns/s, rising by 0.2 turns/s per second, that offers its factor. */
static lay_piece piece_of(double from, double to, double share, double evidence) {
    enum { KNOTS = 420 };
    static double log_hz[KNOTS];
    const double hop = 0.1;
    lay_piece p = {.scale = {.count = 2, .none = 3}};
    lay_chapter c = {.start_s = from, .wide_rate = 100, .wide_count = (size_t)((to - from) * 100)};
    size_t knots = (size_t)((to - from) / hop);
    lay_error err = {0};
    assert_true(knots <= KNOTS);
    for (size_t f = 0; f < knots; f++) log_hz[f] = log(share * (30 + 0.2 * (from + ((double)f + 0.5) * hop)));
    fine(lay_chapter_shaft(&c, from + 0.5 * hop, hop, log_hz, knots, &p.path, &err), &err);
    p.scale.answers[0] = (lay_answer){.factor = 1 / share, .evidence = evidence};
    p.scale.answers[1] = (lay_answer){.factor = 0.5 / share, .evidence = 2};
    return p;
}

static void assert_joined(const lay_shaft *s, double from, double to) {
    double turns, hz, before = 0;
    for (double t = from; t < to; t += 0.1) {
        assert_true(lay_shaft_at(s, t, NULL, &turns, &hz));
        assert_close(hz, 30 + 0.2 * t, 0, 1e-3);
        if (t > from) assert_close(turns - before, 0.1 * (30 + 0.2 * (t - 0.05)), 0, 2e-3);
        before = turns;
    }
}

/* Each path is in a proportion of its own; the angle goes on over the seams. The second piece alone would be wrong. */
static void pieces_are_joined(void **state) {
    (void)state;
    lay_piece pieces[] = {piece_of(0, 20, 1, 12), piece_of(14, 40, 0.5, 1), piece_of(34, 50, 1.25, 12)};
    lay_track_result r;
    lay_error err = {0};
    fine(lay_join_pieces(pieces, 3, 1, &r, &err), &err);
    assert_int_equal(r.shaft.segment_count, 1);
    assert_joined(&r.shaft, 0.2, 49.8);
    assert_true(r.shaft.confidence > 0.9 && r.shaft.confidence <= 1);
    assert_close(r.rival_ratio, 0.5, 0, 0.01);
    assert_close(r.gear_probability[0], 1, 1e-9, 0);
    lay_track_result_free(&r);
    for (size_t k = 0; k < 3; k++) lay_piece_free(&pieces[k]);
}

/* What does not overlap is a gap; a piece without path is none. */
static void pieces_apart(void **state) {
    (void)state;
    lay_piece pieces[] = {piece_of(0, 20, 1, 12), {.frames = 0}, piece_of(25, 40, 0.5, 12)};
    lay_track_result r;
    lay_error err = {0};
    double turns, hz;
    fine(lay_join_pieces(pieces, 3, 1, &r, &err), &err);
    assert_int_equal(r.shaft.segment_count, 2);
    assert_joined(&r.shaft, 0.2, 19.8);
    assert_joined(&r.shaft, 25.2, 39.8);
    assert_false(lay_shaft_at(&r.shaft, 22, NULL, &turns, &hz));
    lay_track_result_free(&r);
    assert_int_equal(lay_join_pieces(&pieces[1], 1, 1, &r, &err), LAY_BAD_INPUT);
    assert_int_equal(r.shaft.count, 0);
    for (size_t k = 0; k < 3; k++) lay_piece_free(&pieces[k]);
}

/* A stretch in which the lines are not heard is left out, a short one is bridged. */
static void silence_is_a_gap(void **state) {
    (void)state;
    lay_piece p = piece_of(0, 40, 1, 12);
    lay_track_result r;
    lay_error err = {0};
    double turns, hz;
    p.frames = 80;
    p.first_s = 0.25;
    p.hop_s = 0.5;
    p.seen = lay_calloc(80, sizeof *p.seen);
    assert_non_null(p.seen);
    for (size_t f = 0; f < 80; f++) p.seen[f] = (f >= 20 && f < 36) || f == 60 ? 0 : 1;
    fine(lay_join_pieces(&p, 1, 1, &r, &err), &err);
    assert_int_equal(r.shaft.segment_count, 2);
    assert_true(lay_shaft_at(&r.shaft, 9, NULL, &turns, &hz) && lay_shaft_at(&r.shaft, 20, NULL, &turns, &hz));
    assert_true(lay_shaft_at(&r.shaft, 30.2, NULL, &turns, &hz));
    assert_false(lay_shaft_at(&r.shaft, 14, NULL, &turns, &hz));
    lay_track_result_free(&r);
    lay_piece_free(&p);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(scales_of_a_profile),
        cmocka_unit_test(noise_has_no_scale),
        cmocka_unit_test(strange_lines_have_no_sure_scale),
        cmocka_unit_test(pieces_are_joined),
        cmocka_unit_test(pieces_apart),
        cmocka_unit_test(silence_is_a_gap),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
