/* What `layshaft listen` says of the file it wrote. */
#include <layshaft/report.h>

#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/diagnosis.h"

#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static lay_run_spec spec;
static lay_part_orders orders;
static lay_ring_band ring;
static const lay_expected part = {.type = LAY_PART_MESH, .name = "third pair", .turning = true};

static lay_listen_result plain(void) {
    spec = (lay_run_spec){.file = BORROWED("third.wav")};
    orders = (lay_part_orders){
        .items = {{17.25, 1, 0, -1, 20, NULL}, {69, 4, 0, -1, 9, "headset"}}, .count = 2, .part = &part, .body = -1};
    ring = (lay_ring_band){2000, 3000, 3.58, 12, true};
    return (lay_listen_result){.spec = &spec,
                               .number = 2,
                               .name = "third pair",
                               .orders = &orders,
                               .ring = &ring,
                               .width = 0.12,
                               .mean_hz = 35,
                               .share_db = -12.04,
                               .peak = 0.3,
                               .file = "job/report/listen-02-third-pair.wav"};
}

static void says(const lay_listen_result *r, const char *words) {
    lay_text out = {0};
    assert_int_equal(lay_report_listen_text(r, false, 80, &out), LAY_OK);
    for (const char *at = out.text; *at; at += strcspn(at, "\n") + 1) assert_true(strcspn(at, "\n") <= 80);
    if (!strstr(out.text, words)) fail_msg("'%s' is missing from:\n%s", words, out.text);
    lay_text_free(&out);
}

static void a_part(void **state) {
    (void)state;
    lay_listen_result r = plain();
    says(&r, "Run 2, third.wav: only third pair\n"
             "   Orders        17.250, 69.000\n"
             "   Width         0.120 orders, 4.2 Hz at mean speed\n"
             "   Also there    headset at 69.000: same order, cannot be told apart\n"
             "   Share         the part lies 12.0 dB below the whole recording\n"
             "   Level         as recorded\n"
             "   File          job/report/listen-02-third-pair.wav\n");
    r.without = true;
    says(&r, "Run 2, third.wav: all but third pair\n");
    orders.part = NULL;
    says(&r, "all but the body third pair\n");
}

static void an_order(void **state) {
    (void)state;
    lay_listen_result r = plain();
    orders.count = 1;
    r.name = NULL;
    says(&r, "Run 2, third.wav: only order 17.250\n   Order         17.250\n");
    orders.items[0].above_floor_db = NAN;
    says(&r, "   Heard         nothing stands out of the noise at this order in this run\n");
}

static void a_bearing(void **state) {
    (void)state;
    lay_listen_result r = plain();
    orders.count = 0;
    r.name = "front";
    says(&r, "only the bearing front\n   Band          2000 to 3000 Hz, where blows at its rate stand out");
    says(&r, "all other noise of that band");
    ring.blows = false;
    says(&r, "2000 to 3000 Hz, a guess: no blows at its rate");
}

/* Each other part once, with some of its orders. */
static void many_shared_orders(void **state) {
    (void)state;
    lay_listen_result r = plain();
    for (int k = 0; k < 7; k++) orders.items[k] = (lay_part_order){k + 1, 1, 0, -1, 9, k == 2 ? "axle" : "engine"};
    orders.count = 7;
    says(&r, "engine at 1.000, 2.000, 4.000, 5.000 and 2 more; axle at 3.000:");
}

static void levels(void **state) {
    (void)state;
    lay_listen_result r = plain();
    r.asked_db = r.lift_db = 20;
    says(&r, "Level         lifted by 20.0 dB\n");
    r.asked_db = 60;
    says(&r, "lifted by 20.0 dB; the 60.0 dB asked for were turned down by\n                 40.0 dB, or");
    r.asked_db = r.lift_db = -10;
    says(&r, "Level         lowered by 10.0 dB\n");
    r.asked_db = r.lift_db = 0;
    r.peak = 1.5;
    says(&r, "as recorded; above full scale in places");
    r.share_db = NAN;
    r.unsure = true;
    says(&r, "the speed of this run was not surely found");
}

static void playing(void **state) {
    (void)state;
    lay_listen_result r = plain();
    lay_text out = {0};
    r.played = true;
    assert_int_equal(lay_report_listen_played(&r, false, 80, &out), LAY_OK);
    assert_int_equal(out.length, 0);
    r.played = false;
    r.silent = "there is no sound device to play on";
    assert_int_equal(lay_report_listen_played(&r, false, 80, &out), LAY_OK);
    assert_string_equal(out.text, "   Not played    there is no sound device to play on\n");
    lay_text_free(&out);
}

static json_t *json_of(const lay_listen_result *r) {
    lay_text out = {0};
    json_error_t err;
    assert_int_equal(lay_report_listen_json(fixture_unit, r, false, &out), LAY_OK);
    json_t *root = json_loads(out.text, JSON_REJECT_DUPLICATES, &err);
    if (!root) fail_msg("%s in %s", err.text, out.text);
    lay_text_free(&out);
    return root;
}

static void json(void **state) {
    (void)state;
    lay_listen_result r = plain();
    r.asked_db = 60;
    r.lift_db = 20;
    json_t *root = json_of(&r), *items = json_object_get(root, "orders");
    assert_int_equal(json_integer_value(json_object_get(root, "run")), 2);
    assert_string_equal(json_string_value(json_object_get(root, "part")), "third pair");
    assert_int_equal(json_array_size(items), 2);
    assert_string_equal(json_string_value(json_object_get(json_array_get(items, 1), "shared_with")), "headset");
    assert_close(json_number_value(json_object_get(root, "lift_asked_db")), 60, 1e-9, 0);
    assert_close(json_number_value(json_object_get(root, "lift_db")), 20, 1e-9, 0);
    assert_int_equal(json_array_size(json_object_get(root, "band_hz")), 0);
    assert_null(json_object_get(root, "blows"));
    assert_true(json_is_true(json_object_get(root, "speed_sure")));
    assert_true(json_is_false(json_object_get(root, "played")));
    json_decref(root);
    orders.count = 0;
    root = json_of(&r);
    assert_close(json_number_value(json_array_get(json_object_get(root, "band_hz"), 1)), 3000, 0, 0);
    assert_true(json_is_true(json_object_get(root, "blows")));
    assert_true(json_is_null(json_object_get(root, "width_orders")));
    json_decref(root);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_part),    cmocka_unit_test(an_order),
        cmocka_unit_test(a_bearing), cmocka_unit_test(many_shared_orders),
        cmocka_unit_test(levels),    cmocka_unit_test(playing),
        cmocka_unit_test(json),
    };
    return cmocka_run_group_tests(tests, fixture_unit_make, fixture_unit_free);
}
