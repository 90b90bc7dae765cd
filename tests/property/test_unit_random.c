/* Random gear trains: what must hold for all of them. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "support/close.h"
#include "support/unit_text.h"

#include <unit/linear.h>

#include <math.h>

#define ROUNDS 150
#define MOST_SHAFTS 26

/* A tree of shafts: each meshes with one made before it. Speeds follow by walking the tree: the slow twin. */
struct tree {
    int shafts, parent[MOST_SHAFTS], teeth[MOST_SHAFTS], partner[MOST_SHAFTS]; /* partner: teeth on the parent */
    bool internal[MOST_SHAFTS];
    double speed[MOST_SHAFTS];
};

static void grow_tree(struct tree *t, lay_random *r, int shafts, bool chain) {
    t->shafts = shafts;
    t->parent[0] = -1;
    t->speed[0] = 1;
    for (int i = 1; i < shafts; i++) {
        t->parent[i] = chain ? i - 1 : lay_random_int(r, 0, i - 1);
        t->teeth[i] = lay_random_int(r, 11, 83);
        t->partner[i] = lay_random_int(r, 11, 83);
        t->internal[i] = !chain && t->teeth[i] != t->partner[i] && lay_random_int(r, 0, 5) == 0;
        double ratio = (double)t->partner[i] / t->teeth[i];
        t->speed[i] = t->speed[t->parent[i]] * (t->internal[i] ? ratio : -ratio);
    }
}

static bool on_the_way(const struct tree *t, int mesh) {
    for (int i = t->shafts - 1; i > 0; i = t->parent[i])
        if (i == mesh) return true;
    return false;
}

/* Sections in the order given by `order` (a permutation of 0 .. shafts: 0 [unit], shafts the gear). */
static lay_unit *build(const struct tree *t, const int *order, int factor) {
    lay_text text = {0};
    for (int s = 0; s <= t->shafts; s++) {
        int i = order ? order[s] : s;
        if (i == 0)
            lay_text_add(&text, "[unit]\ndriven by = shaft 0\noutput = shaft %d\n", t->shafts - 1);
        else if (i == t->shafts)
            lay_text_add(&text, "[gear 1]\n");
        else
            lay_text_add(&text, "[mesh %d]\ndriver = shaft %d, %d\ndriven = shaft %d, %d\ninternal = %s\n", i,
                         t->parent[i], factor * t->partner[i], i, factor * t->teeth[i], t->internal[i] ? "yes" : "no");
    }
    lay_unit *u = unit_of(text.text);
    lay_text_free(&text);
    return u;
}

static int named(const lay_unit *u, const char *prefix, int i, bool mesh) {
    lay_text name = {0};
    lay_text_add(&name, "%s%d", prefix, i);
    int found = mesh ? -1 : lay_unit_body(u, name.text);
    for (size_t m = 0; mesh && m < u->mesh_count; m++)
        if (strcmp(u->meshes[m].name, name.text) == 0) found = (int)m;
    lay_text_free(&name);
    assert_true(found >= 0);
    return found;
}

static void check_against_tree(const struct tree *t, const lay_unit *u, int factor) {
    lay_kinematics k = gear_of(u, "1");
    for (int i = 0; i < t->shafts; i++) {
        int body = named(u, "shaft ", i, false);
        assert_close(k.speed[body].value, t->speed[i], 0, 1e-9);
        assert_false(k.free_body[body]);
        if (i == 0) continue;
        int mesh = named(u, "", i, true);
        assert_close(k.mesh_order[mesh], factor * t->teeth[i] * fabs(t->speed[i]), 0, 1e-9);
        assert_int_equal(k.loaded[mesh], on_the_way(t, i));
    }
    lay_kinematics_free(&k);
}

static void trees_of_shafts(void **state) {
    (void)state;
    lay_random r;
    lay_random_seed(&r, 20240611);
    for (int round = 0; round < ROUNDS; round++) {
        struct tree t;
        grow_tree(&t, &r, lay_random_int(&r, 2, 12), false);
        lay_unit *u = build(&t, NULL, 1);
        check_against_tree(&t, u, 1);
        lay_unit_free(u);
        u = build(&t, NULL, 3); /* three times the teeth: the same speeds, three times the mesh orders */
        check_against_tree(&t, u, 3);
        lay_unit_free(u);
    }
}

static void order_of_sections_does_not_matter(void **state) {
    (void)state;
    lay_random r;
    lay_random_seed(&r, 7);
    for (int round = 0; round < ROUNDS; round++) {
        struct tree t;
        int order[MOST_SHAFTS + 1];
        grow_tree(&t, &r, lay_random_int(&r, 2, 12), false);
        for (int i = 0; i <= t.shafts; i++) order[i] = i;
        for (int i = t.shafts; i > 0; i--) {
            int j = lay_random_int(&r, 0, i), keep = order[i];
            order[i] = order[j];
            order[j] = keep;
        }
        lay_unit *u = build(&t, order, 1);
        check_against_tree(&t, u, 1);
        lay_unit_free(u);
    }
}

/* Long chains outgrow 64-bit fractions: the double twin takes over and says so. */
static void long_chains_fall_back_to_doubles(void **state) {
    (void)state;
    lay_random r;
    lay_random_seed(&r, 99);
    int inexact = 0;
    for (int round = 0; round < 20; round++) {
        struct tree t;
        grow_tree(&t, &r, MOST_SHAFTS, true);
        for (int i = 1; i < MOST_SHAFTS; i++) { /* primes that never cancel: 83^25 needs 160 bits */
            t.teeth[i] = lay_random_int(&r, 0, 1) ? 79 : 73;
            t.partner[i] = 83;
            t.speed[i] = -t.speed[i - 1] * 83 / t.teeth[i];
        }
        lay_unit *u = build(&t, NULL, 1);
        lay_kinematics k = gear_of(u, "1");
        inexact += !k.speed[named(u, "shaft ", MOST_SHAFTS - 1, false)].exact;
        for (size_t m = 0; m < k.mesh_count; m++) assert_true(k.loaded[m]);
        for (int i = 0; i < t.shafts; i++)
            assert_close(k.speed[named(u, "shaft ", i, false)].value, t.speed[i], 1e-12, 1e-9);
        lay_kinematics_free(&k);
        lay_unit_free(u);
    }
    assert_int_equal(inexact, 20);
}

/* Random whole-number systems, some with too few or dependent rows: fractions and doubles agree in everything. */
static void exact_and_double_agree(void **state) {
    (void)state;
    lay_random r;
    lay_random_seed(&r, 5);
    int exact = 0;
    for (int round = 0; round < 400; round++) {
        size_t rows = (size_t)lay_random_int(&r, 1, 6), unknowns = (size_t)lay_random_int(&r, 1, 6);
        struct unit_linear a, b;
        assert_int_equal(unit_linear_create(&a, rows, unknowns, NULL), LAY_OK);
        assert_int_equal(unit_linear_create(&b, rows, unknowns, NULL), LAY_OK);
        for (size_t i = 0; i < rows; i++)
            for (size_t j = 0; j <= unknowns; j++) {
                int v = lay_random_int(&r, 0, 2) == 0 ? 0 : lay_random_int(&r, -40, 40);
                unit_linear_add(&a, i, j, v);
                unit_linear_add(&b, i, j, v);
            }
        if (rows > 2)
            for (size_t j = 0; j <= unknowns; j++) { /* a dependent row, sometimes a contradicting one */
                int64_t v = 2 * a.given[j] - 3 * a.given[(unknowns + 1) + j] + (j == unknowns ? round % 2 : 0);
                int64_t was = a.given[(rows - 1) * (unknowns + 1) + j];
                unit_linear_add(&a, rows - 1, j, v - was);
                unit_linear_add(&b, rows - 1, j, v - was);
            }
        unit_linear_reduce(&a, true);
        unit_linear_reduce(&b, false);
        exact += a.is_exact;
        assert_false(b.is_exact);
        assert_int_equal(a.rank, b.rank);
        assert_int_equal(unit_linear_consistent(&a), unit_linear_consistent(&b));
        for (size_t j = 0; j < unknowns && unit_linear_consistent(&a); j++) {
            assert_int_equal(unit_linear_determined(&a, j), unit_linear_determined(&b, j));
            if (unit_linear_determined(&a, j))
                assert_close(unit_linear_value(&b, j).value, unit_linear_value(&a, j).value, 1e-7, 1e-7);
        }
        unit_linear_free(&a);
        unit_linear_free(&b);
    }
    assert_true(exact > 380);
}

/* Willis 1841: (w_sun - w_c) / (w_ring - w_c) = -ring / sun, whichever member is held. */
static void epicyclic_sets(void **state) {
    (void)state;
    lay_random r;
    lay_random_seed(&r, 31);
    const char *const members[] = {"sun", "ring", "carrier"};
    for (int round = 0; round < ROUNDS; round++) {
        int sun = lay_random_int(&r, 15, 60), planet = lay_random_int(&r, 12, 40), ring = sun + 2 * planet;
        int in = lay_random_int(&r, 0, 2), out = (in + lay_random_int(&r, 1, 2)) % 3, held = 3 - in - out;
        lay_text text = {0};
        lay_text_add(&text, "[unit]\ndriven by = %s\noutput = %s\n", members[in], members[out]);
        lay_text_add(&text, "[mesh a]\ndriver = sun, %d\ndriven = planet, %d\ncarrier = carrier\n", sun, planet);
        lay_text_add(&text, "[mesh b]\ndriver = planet, %d\ndriven = ring, %d\ncarrier = carrier\ninternal = yes\n",
                     planet, ring);
        lay_text_add(&text, "[gear 1]\nlock = %s, case\n", members[held]);
        lay_unit *u = unit_of(text.text);
        lay_kinematics k = gear_of(u, "1");
        double ws = speed_of(u, &k, "sun"), wr = speed_of(u, &k, "ring"), wc = speed_of(u, &k, "carrier");
        assert_close(sun * (ws - wc), -ring * (wr - wc), 1e-9, 1e-9);
        assert_close(speed_of(u, &k, members[held]), 0, 0, 0);
        assert_close(speed_of(u, &k, members[in]), 1, 0, 0);
        assert_close(k.mesh_order[0], k.mesh_order[1], 1e-12, 1e-12);
        assert_true(k.loaded[0] && k.loaded[1]);
        lay_kinematics_free(&k);
        lay_unit_free(u);
        lay_text_free(&text);
    }
}

static void written_units_read_back(void **state) {
    (void)state;
    lay_random r;
    lay_random_seed(&r, 12);
    for (int round = 0; round < ROUNDS; round++) {
        struct tree t;
        lay_text first = {0}, second = {0}, more = {0};
        grow_tree(&t, &r, lay_random_int(&r, 2, 9), false);
        lay_unit *u = build(&t, NULL, 1);
        lay_unit_write(u, &more);
        lay_unit_free(u);
        double pitch = lay_random_between(&r, 40, 90);
        lay_text_add(&more,
                     "[bearing a]\ninner = shaft 0\nouter = case\nrolling elements = 7\nelement diameter = %.17g in\n",
                     lay_random_between(&r, 0.1, 0.6));
        lay_text_add(&more, "pitch diameter = %.17g mm\ncontact angle = %d deg\n", pitch, lay_random_int(&r, 0, 40));
        lay_text_add(&more, "[bearing b]\ninner = shaft 1\nouter = shaft 0\nrolling elements = %d\nFTF = %.17g\n",
                     lay_random_int(&r, 5, 20), lay_random_between(&r, 0.35, 0.46));
        lay_text_add(&more, "[engine]\ncylinders = %d\nstrokes = 2\n[other fan]\nratio = %.17g\norders = 1, %.17g\n",
                     lay_random_int(&r, 1, 16), lay_random_between(&r, 0.1, 9), lay_random_between(&r, 1, 30));
        u = unit_of(more.text);
        lay_unit_write(u, &first);
        lay_unit *again = unit_of(first.text);
        lay_unit_write(again, &second);
        assert_string_equal(first.text, second.text);
        assert_close(again->bearings[0].bpfo, u->bearings[0].bpfo, 0, 1e-15);
        assert_close(again->bearings[1].bpfi, u->bearings[1].bpfi, 0, 1e-15);
        assert_close(again->rotors[0].orders[1], u->rotors[0].orders[1], 0, 0);
        check_against_tree(&t, again, 1);
        lay_unit_free(u);
        lay_unit_free(again);
        lay_text_free(&first);
        lay_text_free(&second);
        lay_text_free(&more);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(trees_of_shafts),
        cmocka_unit_test(order_of_sections_does_not_matter),
        cmocka_unit_test(long_chains_fall_back_to_doubles),
        cmocka_unit_test(exact_and_double_agree),
        cmocka_unit_test(epicyclic_sets),
        cmocka_unit_test(written_units_read_back),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
