/* What stands beside what along the shafts of a unit's drawing. The unit file gives no lengths: pairs stand in the
 * order of the file, wheels beside the shaft they belong to, bearings at the ends that their names or their order
 * suggest. */
#include "layout.h"

#include <ctype.h>
#include <math.h>
#include <string.h>

/* ---- wheels that are one ---- */

static const lay_wheel *wheel_of(const lay_unit *unit, size_t i) {
    const lay_mesh *m = &unit->meshes[i / 2];
    return i % 2 == 0 ? &m->driver : &m->driven;
}

static int mate_axis(const lay_layout *l, size_t i) {
    return l->bodies[l->wheels[i ^ 1].body].axis;
}

/* Two wheels with as many teeth on one body are the same wheel where they mesh towards different axes, or where one
 * planet runs between sun and ring; else they are two wheels beside each other. */
static bool same_wheel(const lay_unit *unit, const lay_layout *l, size_t a, size_t b) {
    const lay_wheel *wa = wheel_of(unit, a), *wb = wheel_of(unit, b);
    if (wa->body != wb->body || wa->teeth != wb->teeth) return false;
    return mate_axis(l, a) != mate_axis(l, b) || l->bodies[wa->body].planet;
}

/* Two columns would hide a wheel when they became one. */
static bool would_hide(const lay_unit *unit, const lay_layout *l, int *root, int a, int b) {
    for (size_t i = 0; i < 2 * unit->mesh_count; i++)
        for (size_t k = 0; k < 2 * unit->mesh_count; k++) {
            if (lay_root(root, (int)(i / 2)) != a || lay_root(root, (int)(k / 2)) != b) continue;
            const lay_wheel *x = wheel_of(unit, i), *y = wheel_of(unit, k);
            bool one_axis = l->bodies[x->body].axis == l->bodies[y->body].axis;
            bool epicyclic = unit->meshes[i / 2].carrier != LAY_CASE && unit->meshes[k / 2].carrier != LAY_CASE;
            if (one_axis && !epicyclic && (x->body != y->body || x->teeth != y->teeth)) return true;
        }
    return false;
}

static bool locks(const lay_unit *unit, int body) {
    for (size_t g = 0; g < unit->gear_count; g++)
        for (size_t k = 0; k < unit->gears[g].lock_count; k++)
            if (unit->gears[g].locks[k].a == body || unit->gears[g].locks[k].b == body) return true;
    return body == unit->reference || body == unit->output;
}

static void join_same(const lay_unit *unit, lay_layout *l, int *root, bool of_idlers) {
    for (size_t a = 0; a < 2 * unit->mesh_count; a++)
        for (size_t b = 0; b < a; b++) {
            int ra = lay_root(root, (int)(a / 2)), rb = lay_root(root, (int)(b / 2));
            if (!same_wheel(unit, l, a, b) || locks(unit, l->wheels[a].body) == of_idlers) continue;
            if (ra != rb && would_hide(unit, l, root, ra, rb)) continue;
            lay_join(root, ra, rb);
            l->wheels[a].again = true;
        }
}

/* Idlers and planets are surely one wheel; a wheel of a shaft may be two that are alike. */
static void join_columns(const lay_unit *unit, lay_layout *l, int *root) {
    for (size_t i = 0; i < unit->mesh_count; i++) root[i] = (int)i;
    join_same(unit, l, root, true);
    join_same(unit, l, root, false);
}

/* ---- which body rides on which ---- */

static bool has_case_bearing(const lay_unit *unit, int body) {
    for (size_t i = 0; i < unit->bearing_count; i++) {
        const lay_bearing *b = &unit->bearings[i];
        if ((b->inner == body && b->outer == LAY_CASE) || (b->outer == body && b->inner == LAY_CASE)) return true;
    }
    return false;
}

/* Bodies that it can be locked to, the case left out. */
static int partners_of(const lay_unit *unit, int body) {
    int n = 0;
    for (int other = 1; other < (int)unit->body_count; other++) {
        bool locked = false;
        for (size_t g = 0; g < unit->gear_count; g++)
            for (size_t k = 0; k < unit->gears[g].lock_count; k++) {
                const lay_lock *lock = &unit->gears[g].locks[k];
                locked |= (lock->a == body && lock->b == other) || (lock->b == body && lock->a == other);
            }
        n += locked;
    }
    return n;
}

/* How much of a shaft a body is, rather than a wheel on one. */
static int shaftness(const lay_unit *unit, int body) {
    bool end = body == unit->reference || body == unit->output;
    return (end ? 1000 : 0) + (has_case_bearing(unit, body) ? 100 : 0) + partners_of(unit, body);
}

static void ride(const lay_unit *unit, lay_layout *l, int a, int b) {
    if (a == LAY_CASE || b == LAY_CASE || l->bodies[a].axis != l->bodies[b].axis) return;
    int wheel = shaftness(unit, a) < shaftness(unit, b) ? a : b, shaft = wheel == a ? b : a;
    if (shaftness(unit, wheel) > 1 || shaftness(unit, wheel) == shaftness(unit, shaft)) return;
    int host = l->bodies[wheel].host;
    if (host == LAY_NOWHERE || shaftness(unit, shaft) > shaftness(unit, host)) l->bodies[wheel].host = shaft;
}

static void find_hosts(const lay_unit *unit, lay_layout *l) {
    for (size_t b = 0; b < unit->body_count; b++) l->bodies[b].host = LAY_NOWHERE;
    for (size_t g = 0; g < unit->gear_count; g++)
        for (size_t k = 0; k < unit->gears[g].lock_count; k++)
            ride(unit, l, unit->gears[g].locks[k].a, unit->gears[g].locks[k].b);
    for (size_t i = 0; i < unit->bearing_count; i++) ride(unit, l, unit->bearings[i].inner, unit->bearings[i].outer);
}

static int shaft_under(const lay_layout *l, int body) {
    int shaft = body;
    for (int hops = 0; l->bodies[shaft].host != LAY_NOWHERE && hops < 8; hops++) shaft = l->bodies[shaft].host;
    return shaft;
}

/* ---- the order of the columns ---- */

/* Along the reference's axis the reference comes first and the output last. */
static int body_rank(const lay_unit *unit, const lay_layout *l, int body) {
    if (l->bodies[body].axis != l->bodies[unit->reference].axis) return 0;
    int shaft = shaft_under(l, body);
    return shaft == unit->reference ? 1 : shaft == unit->output ? 3 : 2;
}

static int column_rank(const lay_unit *unit, const lay_layout *l, int *root, int column) {
    int rank = 0;
    for (size_t i = 0; i < unit->mesh_count; i++) {
        if (lay_root(root, (int)i) != column) continue;
        int driver = body_rank(unit, l, unit->meshes[i].driver.body);
        int driven = body_rank(unit, l, unit->meshes[i].driven.body);
        if (driver > rank) rank = driver;
        if (driven > rank) rank = driven;
    }
    return rank;
}

static void order_columns(const lay_unit *unit, lay_layout *l, int *root) {
    for (int rank = 0; rank <= 3; rank++)
        for (size_t i = 0; i < unit->mesh_count; i++) {
            if (lay_root(root, (int)i) != (int)i || column_rank(unit, l, root, (int)i) != rank) continue;
            for (size_t k = i; k < unit->mesh_count; k++)
                if (lay_root(root, (int)k) == (int)i) l->column[k] = l->column_count;
            l->column_count++;
        }
}

/* ---- ends of the bodies ---- */

static void widen(lay_drawn_body *b, double left, double right) {
    b->left = fmin(b->left, left);
    b->right = fmax(b->right, right);
}

static void find_ends(const lay_unit *unit, lay_layout *l) {
    for (size_t b = 0; b < unit->body_count; b++) {
        l->bodies[b].left = INFINITY;
        l->bodies[b].right = -INFINITY;
    }
    for (size_t i = 0; i < unit->mesh_count; i++) {
        double at = (double)l->column[i];
        for (size_t w = 2 * i; w < 2 * i + 2; w++) {
            int body = l->wheels[w].body, shaft = shaft_under(l, body);
            widen(&l->bodies[body], at + 0.1, at + 0.9);
            if (shaft != body) widen(&l->bodies[shaft], at + 0.02, at + 0.98);
        }
        if (unit->meshes[i].carrier != LAY_CASE) widen(&l->bodies[unit->meshes[i].carrier], at + 0.1, at + 0.9);
    }
    double end = (double)l->column_count;
    widen(&l->bodies[unit->reference], -0.6, -0.5);
    if (unit->output >= 0) widen(&l->bodies[unit->output], end + 0.5, end + 0.6);
}

/* A body without wheels lies where it is held, or it is not drawn. */
static void lay_bare_bodies(const lay_unit *unit, lay_layout *l) {
    double end = (double)l->column_count;
    for (size_t b = 1; b < unit->body_count; b++) {
        lay_drawn_body *body = &l->bodies[b];
        if (body->left > body->right && has_case_bearing(unit, (int)b)) widen(body, end - 0.4, end + 0.4);
    }
}

/* ---- bearings ---- */

static bool says(const char *name, const char *word) {
    size_t n = strlen(word);
    for (const char *at = name; *at; at++) {
        size_t k = 0;
        while (k < n && at[k] && tolower((unsigned char)at[k]) == word[k]) k++;
        if (k == n) return true;
    }
    return false;
}

/* The `number`th of `count` bearings between a shaft and the case. */
static double along(const lay_drawn_body *body, const char *name, int number, int count) {
    double left = body->left + 0.12, right = body->right - 0.12;
    bool front = says(name, "front") || says(name, "input"), rear = says(name, "rear");
    if (count == 1) return rear && !front ? right : left;
    if (count == 2 && rear != front) return rear ? right : left;
    return left + (right - left) * number / (count - 1);
}

static int held_in_case(const lay_bearing *b) {
    return b->outer == LAY_CASE ? b->inner : b->inner == LAY_CASE ? b->outer : LAY_NOWHERE;
}

static double case_bearing(const lay_unit *unit, const lay_layout *l, size_t index) {
    int body = held_in_case(&unit->bearings[index]), number = 0, count = 0;
    for (size_t i = 0; i < unit->bearing_count; i++) {
        if (held_in_case(&unit->bearings[i]) != body) continue;
        number += i < index;
        count++;
    }
    return along(&l->bodies[body], unit->bearings[index].name, number, count);
}

/* Between two bodies: in the wheel that rides on the other, or where the two shafts meet. */
static double between(const lay_layout *l, const lay_bearing *b) {
    const lay_drawn_body *inner = &l->bodies[b->inner], *outer = &l->bodies[b->outer];
    if (inner->host == b->outer) return 0.5 * (inner->left + inner->right);
    if (outer->host == b->inner || inner->planet) return 0.5 * (outer->left + outer->right);
    return 0.5 * (fmax(inner->left, outer->left) + fmin(inner->right, outer->right));
}

void lay_layout_columns(const lay_unit *unit, lay_layout *l, int *root) {
    join_columns(unit, l, root);
    find_hosts(unit, l);
    order_columns(unit, l, root);
    find_ends(unit, l);
    lay_bare_bodies(unit, l);
    for (size_t i = 0; i < unit->bearing_count; i++) {
        const lay_bearing *b = &unit->bearings[i];
        double at = held_in_case(b) != LAY_NOWHERE ? case_bearing(unit, l, i) : between(l, b);
        l->bearing_at[i] = isfinite(at) ? at : NAN;
    }
}
