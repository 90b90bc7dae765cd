/* Names of bodies: introduced by [unit] and the meshes, looked up by everything else. */
#include "parser.h"

#include <stdlib.h>
#include <string.h>

static lay_status remember(struct unit_parser *p, struct unit_slice where, int body) {
    lay_status status =
        lay_grow((void **)&p->mentions, &p->mention_capacity, p->mention_count, sizeof *p->mentions, p->err);
    if (status == LAY_OK) p->mentions[p->mention_count++] = (struct unit_mention){.body = body, .where = where};
    return status;
}

static int find_body(const lay_unit *unit, struct unit_slice name) {
    for (size_t i = 0; i < unit->body_count; i++)
        if (unit_slice_is(name, unit->bodies[i].name)) return (int)i;
    return -1;
}

static lay_status unknown_body(struct unit_parser *p, struct unit_slice s) {
    const char *names[UNIT_MOST_BODIES];
    size_t count = p->unit->body_count;
    for (size_t i = 0; i < count; i++) names[i] = p->unit->bodies[i].name;
    char *word = unit_slice_text(s);
    if (!word) return lay_fail(p->err, LAY_NO_MEMORY, "not enough memory to read the unit file");
    const char *near = lay_nearest(word, names, count);
    free(word);
    if (near) return UNIT_FAIL(p, s, "no body called '%.*s' (did you mean '%s'?)", UNIT_SLICE(s), near);
    lay_text list = {0};
    for (size_t i = 0; i < count; i++) lay_text_add(&list, "%s%s", i ? ", " : "", names[i]);
    lay_status status =
        UNIT_FAIL(p, s, "no body called '%.*s': bodies come from [unit] and the meshes; there are %.300s",
                  UNIT_SLICE(s), list.failed || !list.text ? "others" : list.text);
    lay_text_free(&list);
    return status;
}

static lay_status add_body(struct unit_parser *p, struct unit_slice s, int *out) {
    lay_unit *unit = p->unit;
    if (unit->body_count >= UNIT_MOST_BODIES)
        return UNIT_FAIL(p, s, "there are more than %d bodies: no transmission has so many", UNIT_MOST_BODIES);
    char *name = unit_slice_text(s);
    if (!name) return lay_fail(p->err, LAY_NO_MEMORY, "not enough memory to read the unit file");
    *out = (int)unit->body_count;
    unit->bodies[unit->body_count++].name = name;
    return LAY_OK;
}

lay_status unit_read_body(struct unit_parser *p, struct unit_slice s, bool introduce, int *out) {
    double number;
    if (s.length == 0) return UNIT_FAIL(p, s, "the name of a body is missing here, such as 'input shaft'");
    if (s.length > 80) return UNIT_FAIL(p, s, "this name is too long: at most 80 characters");
    if (memchr(s.at, ',', s.length)) return UNIT_FAIL(p, s, "one body is wanted here, without a comma");
    int body = find_body(p->unit, s);
    if (body < 0) {
        if (!introduce) return unknown_body(p, s);
        char *text = unit_slice_text(s);
        bool digits = text && lay_parse_number(text, &number);
        free(text);
        if (digits)
            return UNIT_FAIL(p, s, "'%.*s' is a number where the name of a body is wanted: body first, then teeth",
                             UNIT_SLICE(s));
        lay_status status = add_body(p, s, &body);
        if (status != LAY_OK) return status;
    }
    *out = body;
    return remember(p, s, body);
}

lay_status unit_read_wheel(struct unit_parser *p, struct unit_slice s, lay_wheel *out) {
    struct unit_slice rest = s, name = s, teeth = s;
    unit_slice_next(&rest, &name);
    if (!unit_slice_next(&rest, &teeth))
        return UNIT_FAIL(p, s, "the number of teeth is missing: write 'body, teeth', such as 'countershaft, 27'");
    if (rest.at) return UNIT_FAIL(p, s, "too many commas: write 'body, teeth', such as 'countershaft, 27'");
    lay_status status = unit_read_body(p, name, true, &out->body);
    if (status != LAY_OK) return status;
    return unit_read_count(p, teeth, "teeth", UNIT_FEWEST_TEETH, UNIT_MOST_TEETH, &out->teeth);
}
