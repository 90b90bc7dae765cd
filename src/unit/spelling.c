/* A slip of the pen in a mesh does not look like an error: it makes a new body that nothing drives. */
#include "parser.h"

#include <string.h>

/* Follow the meshes (carriers included, the case not): bodies with one number are geared together. */
static void number_groups(const lay_unit *unit, int *group) {
    for (size_t i = 0; i < unit->body_count; i++) group[i] = (int)i;
    for (bool changed = true; changed;) {
        changed = false;
        for (size_t m = 0; m < unit->mesh_count; m++) {
            const lay_mesh *mesh = &unit->meshes[m];
            int members[3] = {mesh->driver.body, mesh->driven.body, mesh->carrier};
            int least = group[members[0]];
            for (int k = 1; k < 3; k++)
                if (members[k] != LAY_CASE && group[members[k]] < least) least = group[members[k]];
            for (int k = 0; k < 3; k++)
                if (members[k] != LAY_CASE && group[members[k]] != least) {
                    group[members[k]] = least;
                    changed = true;
                }
        }
    }
}

static bool is_digit(char c) {
    return c >= '0' && c <= '9';
}

/* "gear 1" and "gear 2", "sun a" and "sun b" are two things, however alike. */
static bool numbered_apart(const char *a, const char *b) {
    size_t na = strlen(a), nb = strlen(b);
    if (na >= 2 && nb >= 2 && a[na - 2] == ' ' && b[nb - 2] == ' ' && a[na - 1] != b[nb - 1]) return true;
    for (;;) {
        while (*a && !is_digit(*a)) a++;
        while (*b && !is_digit(*b)) b++;
        if (*a != *b) return true;
        if (!*a) return false;
        a++;
        b++;
    }
}

static size_t count_mentions(const struct unit_parser *p, int body, struct unit_slice *first) {
    size_t n = 0;
    for (size_t i = 0; i < p->mention_count; i++) {
        if (p->mentions[i].body != body) continue;
        if (n++ == 0) *first = p->mentions[i].where;
    }
    return n;
}

/* The body of another group that the name of `body` was probably meant to be. */
static const char *meant(const struct unit_parser *p, const int *group, int body) {
    const lay_unit *unit = p->unit;
    const char *names[UNIT_MOST_BODIES];
    size_t count = 0;
    for (size_t i = 1; i < unit->body_count; i++)
        if (group[i] != group[body] && !numbered_apart(unit->bodies[i].name, unit->bodies[body].name))
            names[count++] = unit->bodies[i].name;
    return lay_nearest(unit->bodies[body].name, names, count);
}

/* Bodies named once, either those geared to the reference or those that are not. */
static lay_status check_group(struct unit_parser *p, const int *group, bool with_reference) {
    for (size_t i = 1; i < p->unit->body_count; i++) {
        struct unit_slice where = {0};
        if ((group[i] == group[p->unit->reference]) != with_reference) continue;
        if (count_mentions(p, (int)i, &where) != 1) continue;
        const char *other = meant(p, group, (int)i);
        if (other) return UNIT_FAIL(p, where, "no body called '%.*s' (did you mean '%s'?)", UNIT_SLICE(where), other);
    }
    return LAY_OK;
}

/* What the reference does not drive is looked at first: when both spellings stand there once, that one is wrong. */
lay_status unit_check_spelling(struct unit_parser *p) {
    int group[UNIT_MOST_BODIES];
    number_groups(p->unit, group);
    lay_status status = check_group(p, group, false);
    return status == LAY_OK ? check_group(p, group, true) : status;
}
