/* The shaft speed found in a recording alone: what is asked of lay_track_*, against motions known in closed form. */
#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/played.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define RATE 16000.0

static played_box usual;
static lay_track_gear usual_gear;

static int setup(void **state) {
    (void)state;
    played_usual_box(&usual);
    return 0;
}

static played run_of(played_motion motion, uint64_t seed) {
    return (played){.rate = RATE, .motion = motion, .box = &usual, .noise = 0.1, .seed = seed};
}

static const played_motion run_up = {18, 52, 12, 0.001, 0.15}, steady = {33.7, 33.7, 10, 0.002, 0.15};

static lay_track_options nothing_stated(void) {
    return played_options(RATE, &usual, &usual_gear);
}

static lay_track_options stated(double hz, double sd, double to) {
    lay_track_options o = nothing_stated();
    o.stated_hz = hz;
    o.stated_sd = sd;
    o.near_low_hz = hz / to;
    o.near_high_hz = hz * to;
    return o;
}

static lay_track_result find(const lay_track_options *o, const played *p) {
    lay_track_result r;
    double *x = played_samples(p);
    if (!played_track(o, x, played_frames(p), &r)) fail_msg("nothing found");
    free(x);
    return r;
}

static void assert_right(const lay_track_result *r, const played_motion *m) {
    played_error e = played_compare(&r->shaft, m);
    assert_close(e.median, 0, 1e-3, 0);
    assert_close(e.most, 0, 5e-3, 0);
    assert_true(r->shaft.confidence >= 0.5);
}

/* ---- honesty ---- */

static void assert_unsure(const lay_track_options *o, const double *x, size_t frames, const char *what) {
    lay_track_result r = {.gear = 0};
    bool found = played_track(o, x, frames, &r);
    print_message("%s: %s, confidence %.3f\n", what, found ? "a speed" : "nothing", r.shaft.confidence);
    assert_true(!found || (r.shaft.confidence < 0.5 && r.shaft.confidence >= 0));
    lay_track_result_free(&r);
}

static void unsure_of(const lay_track_options *o, const played *p, const char *what) {
    double *x = played_samples(p);
    assert_unsure(o, x, played_frames(p), what);
    free(x);
}

static void noise_alone(void **state) {
    (void)state;
    lay_track_options free_ = nothing_stated(), about = stated(25, 0.05, 1.25);
    for (uint64_t seed = 1; seed <= 3; seed++) {
        played p = {.rate = RATE, .motion = {25, 25, 8, 0, 0}, .noise = 0.1, .seed = seed};
        unsure_of(&free_, &p, "noise");
        unsure_of(&about, &p, "noise, 1500 rpm stated");
    }
}

static void hum_alone(void **state) {
    (void)state;
    lay_track_options free_ = nothing_stated(), about = stated(25, 0.05, 1.25);
    static const double mains[] = {50, 60, 49.96, 60.05};
    for (size_t k = 0; k < 4; k++) {
        played p = {
            .rate = RATE, .motion = {25, 25, 8, 0, 0}, .noise = 0.02, .drone = 0.2, .drone_hz = mains[k], .seed = k};
        unsure_of(&free_, &p, "hum in little noise");
        unsure_of(&about, &p, "hum in little noise, 1500 rpm stated");
        p.noise = 0.1;
        unsure_of(&free_, &p, "hum");
        unsure_of(&about, &p, "hum, 1500 rpm stated");
    }
}

static void nothing_to_hear(void **state) {
    (void)state;
    enum { FRAMES = 6 * 16000 };
    double *x = lay_calloc(FRAMES, sizeof *x);
    assert_non_null(x);
    lay_track_options free_ = nothing_stated(), about = stated(25, 0.05, 1.25);
    assert_unsure(&free_, x, FRAMES, "silence");
    assert_unsure(&about, x, FRAMES, "silence, speed stated");
    for (size_t i = 0; i < FRAMES; i++) x[i] = 0.7;
    assert_unsure(&free_, x, FRAMES, "constant");
    for (size_t i = 0; i < FRAMES; i++) x[i] = NAN;
    assert_unsure(&free_, x, FRAMES, "not a number");
    for (size_t i = 0; i < FRAMES; i++) x[i] = i % 2 ? INFINITY : 1e300;
    assert_unsure(&free_, x, FRAMES, "huge");
    memset(x, 0, FRAMES * sizeof *x);
    x[FRAMES / 2] = 1;
    assert_unsure(&free_, x, FRAMES, "one click");
    free(x);
}

/* Half a second may tell the speed; what is sure must be right. */
static void hardly_any_recording(void **state) {
    (void)state;
    static const size_t frames[] = {0, 1, 2, 100, 2047, 2048, 4000, 8000, 16000};
    played p = run_of(steady, 3);
    lay_track_options options[] = {nothing_stated(), stated(33.7, 0.05, 1.25)};
    double *x = played_samples(&p);
    for (size_t k = 0; k < sizeof frames / sizeof frames[0]; k++)
        for (size_t o = 0; o < 2; o++) {
            lay_track_result r = {.gear = 0};
            double low, mean, high, turns;
            bool found = played_track(&options[o], x, frames[k], &r);
            assert_true(!found || (r.shaft.confidence >= 0 && r.shaft.confidence <= 1));
            if (frames[k] < 2048) assert_false(found);
            if (found && r.shaft.confidence >= 0.5) {
                lay_shaft_range(&r.shaft, &low, &mean, &high, &turns);
                assert_close(mean, 33.7, 0, 0.01);
            }
            lay_track_result_free(&r);
        }
    free(x);
}

/* Triads of notes with four harmonics, a new one every second. */
static void music(void **state) {
    (void)state;
    enum { FRAMES = 12 * 16000 };
    static const int roots[] = {0, 5, 7, 9, 2, 7, 4, 0, 5, 2, 7, 0}, triad[] = {0, 4, 7};
    double *x = lay_calloc(FRAMES, sizeof *x);
    assert_non_null(x);
    lay_random random;
    lay_random_seed(&random, 30);
    for (size_t i = 0; i < FRAMES; i++) {
        double t = (double)i / RATE, fade = fmin(1, 20 * fmin(t - floor(t), ceil(t) - t));
        x[i] = 0.01 * lay_random_normal(&random);
        for (int n = 0; n < 3; n++)
            for (int h = 1; h <= 4; h++) {
                double hz = 130.8 * exp2((roots[i / 16000] + triad[n]) / 12.0) * h;
                x[i] += fade * 0.1 / h * sin(2 * LAY_PI * hz * t);
            }
    }
    lay_track_options o = nothing_stated();
    assert_unsure(&o, x, FRAMES, "music");
    free(x);
}

/* A tenth of the samples is no number; the lines are still there. */
static void gaps_of_no_number(void **state) {
    (void)state;
    played p = run_of(steady, 5);
    double *x = played_samples(&p);
    for (size_t i = 0; i < played_frames(&p); i++)
        if (i % 1600 < 160) x[i] = NAN;
    lay_track_options o = stated(33, 0.05, 1.25);
    lay_track_result r = {.gear = 0};
    assert_true(played_track(&o, x, played_frames(&p), &r));
    assert_right(&r, &p.motion);
    lay_track_result_free(&r);
    free(x);
}

/* ---- stated speeds ---- */

static void three_per_cent_off(void **state) {
    (void)state;
    static const double off[] = {0.97, 1.03, 1.0};
    for (size_t k = 0; k < 3; k++) {
        played p = run_of(steady, 6 + k);
        lay_track_options o = stated(33.7 * off[k], 0.05, 1.25);
        lay_track_result r = find(&o, &p);
        assert_right(&r, &p.motion);
        assert_true(r.shaft.confidence > 0.9);
        lay_track_result_free(&r);
    }
}

static void clear_lines_overrule(void **state) {
    (void)state;
    static const double off[] = {1.3, 1.4};
    for (size_t k = 0; k < 2; k++) {
        played p = run_of(steady, 9);
        lay_track_options o = stated(33.7 * off[k], 0.05, 1.25);
        lay_track_result r = find(&o, &p);
        assert_right(&r, &p.motion);
        lay_track_result_free(&r);
    }
}

/* At these speeds the engine's orders lie on multiples of the mains' frequency. */
static void engines_in_step_with_the_mains(void **state) {
    (void)state;
    static const double hz[] = {25, 25.02, 30, 50};
    for (size_t k = 0; k < 4; k++) {
        played p = run_of((played_motion){hz[k], hz[k], 10, 0.001, 0.15}, 60 + k);
        lay_track_options o = stated(hz[k] * 1.02, 0.05, 1.25);
        lay_track_result r = find(&o, &p);
        assert_right(&r, &p.motion);
        lay_track_result_free(&r);
    }
}

/* Nothing is looked for outside the limits. */
static void limits_are_kept(void **state) {
    (void)state;
    played p = run_of(run_up, 10);
    lay_track_options o = nothing_stated();
    double low, mean, high, turns;
    o.low_hz = 60;
    o.high_hz = 130;
    lay_track_result r = find(&o, &p);
    lay_shaft_range(&r.shaft, &low, &mean, &high, &turns);
    assert_true(mean > 60 && mean < 130);
    lay_track_result_free(&r);
    o.low_hz = 15;
    o.high_hz = 60;
    r = find(&o, &p);
    assert_right(&r, &p.motion);
    lay_track_result_free(&r);
}

/* ---- gears ---- */

/* Gear g: headset 23 to a countershaft of order 23/36, and a pair of its own. Gear 3 is gear 0 once more. */
static const double pairs[] = {17.25, 23.0 / 36 * 33, 23.0 / 36 * 19, 17.25};
static played_box boxes[4];
static lay_track_gear gears[4];

static lay_track_options some_gears(size_t count) {
    lay_track_options o = nothing_stated();
    for (size_t g = 0; g < count; g++) {
        boxes[g] = (played_box){.line_count = 0};
        played_add_engine(&boxes[g], 0.2);
        played_add_mesh(&boxes[g], 23, 0.04);
        played_add_mesh(&boxes[g], pairs[g], 0.05);
        gears[g] = (lay_track_gear){boxes[g].orders, boxes[g].order_count, 1};
    }
    o.gears = gears;
    o.gear_count = count;
    return o;
}

static double sum_of(const lay_track_result *r, size_t count) {
    double sum = 0;
    for (size_t g = 0; g < count; g++) {
        assert_true(r->gear_probability[g] >= 0);
        assert_true(r->gear_probability[g] <= r->gear_probability[r->gear]);
        sum += r->gear_probability[g];
    }
    return sum;
}

static void the_gear_is_found(void **state) {
    (void)state;
    for (size_t count = 2; count <= 3; count++)
        for (size_t right = 0; right < count; right++) {
            lay_track_options o = some_gears(count);
            played p = run_of(right % 2 ? run_up : steady, 11 + right);
            p.box = &boxes[right];
            lay_track_result r = find(&o, &p);
            assert_right(&r, &p.motion);
            assert_int_equal(r.gear, right);
            assert_true(r.gear_probability[right] > 0.5);
            assert_true(sum_of(&r, count) <= 1 + 1e-9);
            lay_track_result_free(&r);
        }
}

static void twin_gears_share(void **state) {
    (void)state;
    lay_track_options o = some_gears(4);
    played p = run_of(run_up, 15);
    p.box = &boxes[0];
    lay_track_result r = find(&o, &p);
    assert_right(&r, &p.motion);
    assert_close(r.gear_probability[0], r.gear_probability[3], 1e-6, 0);
    assert_close(r.gear_probability[0], 0.5, 0.05, 0);
    assert_true(sum_of(&r, 4) <= 1 + 1e-9);
    lay_track_result_free(&r);
}

static void exact_shaft(const played_motion *m, lay_shaft *s) {
    size_t n = (size_t)(m->seconds * 50);
    *s = (lay_shaft){.count = n, .segment_count = 1, .confidence = 1};
    s->time = lay_calloc(n, sizeof(double));
    s->turns = lay_calloc(n, sizeof(double));
    s->hz = lay_calloc(n, sizeof(double));
    s->segment_start = lay_calloc(1, sizeof(size_t));
    assert_true(s->time && s->turns && s->hz && s->segment_start);
    for (size_t i = 0; i < n; i++) {
        s->time[i] = m->seconds * (double)i / (double)(n - 1);
        s->turns[i] = played_turns(m, s->time[i]);
        s->hz[i] = played_hz(m, s->time[i]);
    }
}

static void known_speed_tells_the_gear(void **state) {
    (void)state;
    for (size_t right = 0; right < 3; right++) {
        lay_track_options o = some_gears(3);
        played p = run_of(right % 2 ? run_up : steady, 20 + right);
        lay_shaft shaft;
        exact_shaft(&p.motion, &shaft);
        p.box = &boxes[right];
        o.known = &shaft;
        lay_track_result r = find(&o, &p);
        assert_int_equal(r.gear, right);
        assert_true(r.gear_probability[right] > 0.6);
        assert_true(sum_of(&r, 3) <= 1 + 1e-9);
        played_error e = played_compare(&r.shaft, &p.motion);
        assert_close(e.most, 0, 2e-3, 0);
        lay_track_result_free(&r);
        lay_shaft_free(&shaft);
    }
}

/* One tone alone tells no speed, but with the speed known it tells the gear. */
static void known_speed_and_one_tone(void **state) {
    (void)state;
    for (size_t right = 0; right < 3; right++) {
        lay_track_options o = some_gears(3);
        played_box tone = {.lines = {{pairs[right], 0.1}}, .line_count = 1};
        played p = {.rate = RATE, .motion = steady, .box = &tone, .noise = 0.1, .seed = 25 + right};
        lay_shaft shaft;
        exact_shaft(&p.motion, &shaft);
        o.known = &shaft;
        lay_track_result r = find(&o, &p);
        assert_int_equal(r.gear, right);
        assert_close(played_compare(&r.shaft, &p.motion).most, 0, 3e-3, 0);
        lay_track_result_free(&r);
        lay_shaft_free(&shaft);
    }
}

/* ---- long recordings ---- */

/* Angle and speed between points 0.05 s apart, seams of chapters included. */
static void assert_seamless(const lay_shaft *s, const played_motion *m) {
    double turns, hz, before = 0, before_hz = 0;
    size_t hint = 0;
    assert_int_equal(s->segment_count, 1);
    for (double t = 1; t < m->seconds - 1; t += 0.05) {
        assert_true(lay_shaft_at(s, t, &hint, &turns, &hz));
        if (before > 0) {
            assert_close(turns - before, played_turns(m, t) - played_turns(m, t - 0.05), 0, 1.5e-3);
            assert_close(hz / before_hz, played_hz(m, t) / played_hz(m, t - 0.05), 1e-3, 0);
        }
        before = turns;
        before_hz = hz;
    }
}

static void a_recording_of_four_minutes(void **state) {
    (void)state;
    played p = {.rate = 8000, .motion = {30, 30, 250, 0.3, 1.0 / 120}, .box = &usual, .noise = 0.1, .seed = 31};
    lay_track_options o = played_options(8000, &usual, &usual_gear);
    lay_track_result r = find(&o, &p);
    played_error e = played_compare(&r.shaft, &p.motion);
    print_message("250 s: median %.4f %%, 95 %% below %.4f %%, angle at order 100 %.2f rms, confidence %.3f\n",
                  100 * e.median, 100 * e.most, e.angle_rms, r.shaft.confidence);
    assert_right(&r, &p.motion);
    assert_true(e.covered > 0.99);
    assert_seamless(&r.shaft, &p.motion);
    assert_true(r.shaft.count < 250 * 40); /* memory: some knots a second */
    lay_track_result_free(&r);
}

static void assert_same(const lay_shaft *a, const lay_shaft *b) {
    assert_int_equal(a->count, b->count);
    assert_int_equal(a->segment_count, b->segment_count);
    assert_memory_equal(a->time, b->time, a->count * sizeof *a->time);
    assert_memory_equal(a->turns, b->turns, a->count * sizeof *a->turns);
    assert_memory_equal(a->hz, b->hz, a->count * sizeof *a->hz);
    assert_memory_equal(&a->confidence, &b->confidence, sizeof a->confidence);
}

static void blocks_do_not_matter(void **state) {
    (void)state;
    static const size_t blocks[] = {1, 777, 8192};
    played p = run_of(run_up, 32);
    double *x = played_samples(&p);
    size_t frames = played_frames(&p);
    lay_track_options o = nothing_stated();
    lay_track_result whole, pieces;
    assert_true(played_track_blocks(&o, x, frames, frames, &whole));
    for (size_t k = 0; k < sizeof blocks / sizeof blocks[0]; k++) {
        assert_true(played_track_blocks(&o, x, frames, blocks[k], &pieces));
        assert_same(&pieces.shaft, &whole.shaft);
        lay_track_result_free(&pieces);
    }
    lay_track_result_free(&whole);
    free(x);
}

/* ---- channels, gain, time, pitch ---- */

static void a_channel_of_noise_does_no_harm(void **state) {
    (void)state;
    for (int first = 0; first <= 1; first++) {
        played p = run_of(run_up, 40), noise = {.rate = RATE, .motion = run_up, .noise = 0.3, .seed = 41};
        size_t frames = played_frames(&p);
        double *x = lay_calloc(2 * frames, sizeof *x);
        assert_non_null(x);
        played_fill(&p, x + first, 2);
        played_fill(&noise, x + 1 - first, 2);
        lay_track_options o = nothing_stated();
        o.channels = 2;
        lay_track_result r;
        assert_true(played_track(&o, x, frames, &r));
        assert_right(&r, &p.motion);
        lay_track_result_free(&r);
        free(x);
    }
}

static void gain_does_not_matter(void **state) {
    (void)state;
    static const double gains[] = {1e-3, 1000};
    played p = run_of(run_up, 42);
    lay_track_options o = nothing_stated();
    lay_track_result one = find(&o, &p);
    for (size_t k = 0; k < 2; k++) {
        p.gain = gains[k];
        lay_track_result other = find(&o, &p);
        assert_int_equal(one.shaft.count, other.shaft.count);
        for (size_t i = 0; i < one.shaft.count; i++) assert_close(other.shaft.hz[i], one.shaft.hz[i], 0, 1e-6);
        assert_close(other.shaft.confidence, one.shaft.confidence, 1e-3, 0);
        lay_track_result_free(&other);
    }
    lay_track_result_free(&one);
}

/* The recording begins later: the same speeds, earlier. */
static void a_later_start(void **state) {
    (void)state;
    const double later = 1.37;
    played p = run_of(run_up, 43);
    lay_track_options o = nothing_stated();
    double *x = played_samples(&p), turns, a, b;
    size_t skip = (size_t)(later * RATE), frames = played_frames(&p);
    lay_track_result whole, cut;
    assert_true(played_track(&o, x, frames, &whole));
    assert_true(played_track(&o, x + skip, frames - skip, &cut));
    for (double t = 0.5; t < p.motion.seconds - later - 0.5; t += 0.1) {
        assert_true(lay_shaft_at(&whole.shaft, t + later, NULL, &turns, &a));
        assert_true(lay_shaft_at(&cut.shaft, t, NULL, &turns, &b));
        assert_close(b, a, 0, 2e-3);
    }
    lay_track_result_free(&whole);
    lay_track_result_free(&cut);
    free(x);
}

/* The same samples at twice the rate: everything turns twice as fast. */
static void played_twice_as_fast(void **state) {
    (void)state;
    played p = {.rate = 8000, .motion = {12, 26, 20, 0, 0}, .box = &usual, .noise = 0.05, .seed = 44};
    lay_track_options o = played_options(8000, &usual, &usual_gear);
    double *x = played_samples(&p), turns, a, b;
    lay_track_result slow, fast;
    assert_true(played_track(&o, x, played_frames(&p), &slow));
    o.rate = 16000;
    assert_true(played_track(&o, x, played_frames(&p), &fast));
    assert_right(&slow, &p.motion);
    assert_true(fast.shaft.confidence >= 0.5);
    for (double t = 0.5; t < 9.5; t += 0.1) {
        assert_true(lay_shaft_at(&slow.shaft, 2 * t, NULL, &turns, &a));
        assert_true(lay_shaft_at(&fast.shaft, t, NULL, &turns, &b));
        assert_close(b, 2 * a, 0, 1.5e-3);
    }
    lay_track_result_free(&slow);
    lay_track_result_free(&fast);
    free(x);
}

/* Rates of recordings, down to what a logger makes. */
static void any_rate(void **state) {
    (void)state;
    static const double rates[] = {8000, 11025, 44100};
    for (size_t k = 0; k < 3; k++) {
        played p = run_of(run_up, 45 + k);
        p.rate = rates[k];
        p.motion.seconds = 8;
        lay_track_options o = played_options(rates[k], &usual, &usual_gear);
        lay_track_result r = find(&o, &p);
        assert_right(&r, &p.motion);
        lay_track_result_free(&r);
    }
}

static void rates_too_low(void **state) {
    (void)state;
    static const double rates[] = {0.5, 10, 60, 120, 300, 1000};
    for (size_t k = 0; k < 6; k++) {
        double x[4000];
        lay_random random;
        lay_random_seed(&random, k);
        for (size_t i = 0; i < 4000; i++) x[i] = lay_random_normal(&random);
        lay_track_options o = played_options(rates[k], &usual, &usual_gear);
        assert_unsure(&o, x, 4000, "noise at a low rate");
    }
}

/* ---- what is no question ---- */

static void refused(const lay_track_options *o) {
    lay_track *track = NULL;
    lay_error err = {0};
    assert_int_equal(lay_track_new(o, &track, &err), LAY_BAD_INPUT);
    assert_null(track);
    assert_true(err.message[0] != 0);
}

static void options_that_make_no_sense(void **state) {
    (void)state;
    lay_track_options o = nothing_stated();
    o.rate = 0, refused(&o);
    o = nothing_stated();
    o.rate = NAN, refused(&o);
    o = nothing_stated();
    o.channels = 0, refused(&o);
    o = nothing_stated();
    o.low_hz = 0, refused(&o);
    o = nothing_stated();
    o.high_hz = o.low_hz, refused(&o);
    o = nothing_stated();
    o.high_hz = INFINITY, refused(&o);
    o = nothing_stated();
    o.stated_hz = 30, refused(&o);
    o = nothing_stated();
    o.gear_count = 0, refused(&o);
    lay_track_free(NULL);
    lay_track_result_free(NULL);
}

/* A gear without a single order: nothing turns that could be heard. */
static void a_gear_without_orders(void **state) {
    (void)state;
    lay_track_gear gear = {NULL, 0, 1};
    lay_track_options o = nothing_stated();
    o.gears = &gear;
    o.firing_order = 0;
    played p = run_of(steady, 50);
    unsure_of(&o, &p, "no orders");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(noise_alone),
        cmocka_unit_test(hum_alone),
        cmocka_unit_test(nothing_to_hear),
        cmocka_unit_test(hardly_any_recording),
        cmocka_unit_test(music),
        cmocka_unit_test(gaps_of_no_number),
        cmocka_unit_test(three_per_cent_off),
        cmocka_unit_test(clear_lines_overrule),
        cmocka_unit_test(engines_in_step_with_the_mains),
        cmocka_unit_test(limits_are_kept),
        cmocka_unit_test(the_gear_is_found),
        cmocka_unit_test(twin_gears_share),
        cmocka_unit_test(known_speed_tells_the_gear),
        cmocka_unit_test(known_speed_and_one_tone),
        cmocka_unit_test(a_recording_of_four_minutes),
        cmocka_unit_test(blocks_do_not_matter),
        cmocka_unit_test(a_channel_of_noise_does_no_harm),
        cmocka_unit_test(gain_does_not_matter),
        cmocka_unit_test(a_later_start),
        cmocka_unit_test(played_twice_as_fast),
        cmocka_unit_test(any_rate),
        cmocka_unit_test(rates_too_low),
        cmocka_unit_test(options_that_make_no_sense),
        cmocka_unit_test(a_gear_without_orders),
    };
    return cmocka_run_group_tests(tests, setup, NULL);
}
