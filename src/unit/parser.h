/* What the files that read the unit file share: the unit being built, the places of its words, and the
 * readers of single values. Private to the unit stage. */
#ifndef LAYSHAFT_UNIT_PARSER_H
#define LAYSHAFT_UNIT_PARSER_H

#include <layshaft/unit.h>

#include "ini.h"

/* More than any transmission holds; they bound the work a hostile file can cause. */
#define UNIT_MOST_MESHES 100
#define UNIT_MOST_BODIES 120
#define UNIT_MOST_GEARS 48
#define UNIT_MOST_LOCKS 24  /* in one gear */
#define UNIT_MOST_PARTS 200 /* bearings, other rotors: each */

#define UNIT_FEWEST_TEETH 5
#define UNIT_MOST_TEETH 500
#define UNIT_MOST_ELEMENTS 200

/* One mention of a body in the file. */
struct unit_mention {
    int body;
    struct unit_slice where;
};

struct unit_parser {
    struct unit_ini ini;
    lay_unit *unit;
    struct unit_mention *mentions;
    size_t mention_count, mention_capacity;
    const struct unit_section **mesh_sections, **gear_sections; /* by index of mesh and gear */
    lay_error *err;
};

/* ---- values.c: one word of the file -> one checked number ---- */

/* The first entry with that key, NULL when there is none. */
const struct unit_entry *unit_find_entry(const struct unit_section *s, const char *key);
/* `what` names the value in messages: "teeth", "cylinders". */
lay_status unit_read_count(struct unit_parser *p, struct unit_slice s, const char *what, int least, int most, int *out);
lay_status unit_read_real(struct unit_parser *p, struct unit_slice s, const char *what, double above, double most,
                          double *out);
lay_status unit_read_length(struct unit_parser *p, struct unit_slice s, double *mm);     /* "9.5 mm", "0.3126 in" */
lay_status unit_read_angle(struct unit_parser *p, struct unit_slice s, double *degrees); /* "15 deg" */
lay_status unit_read_circumference(struct unit_parser *p, struct unit_slice s, double *m); /* "1.95 m", "1950 mm" */
lay_status unit_read_flag(struct unit_parser *p, struct unit_slice s, bool *out);

/* ---- tyre.c ---- */

/* "205/55 R16 91V" -> rolling circumference. */
lay_status unit_read_tyre(struct unit_parser *p, struct unit_slice s, double *m);
/* False when a tyre is given without pinion and ring and its body turns nearly as fast as the reference or faster: every
 * vehicle gears down, so the final drive was forgotten. */
bool unit_wheels_are_geared(const lay_unit *unit, const lay_kinematics *k);

/* ---- bodies.c ---- */

/* A body by its name. `introduce` makes an unknown name a new body, otherwise it is an error with the
 * nearest known name. */
lay_status unit_read_body(struct unit_parser *p, struct unit_slice s, bool introduce, int *out);
/* "countershaft, 27"; introduces the body. */
lay_status unit_read_wheel(struct unit_parser *p, struct unit_slice s, lay_wheel *out);
/* A body named once that hangs on nothing and is nearly spelt like another one is a slip of the pen. */
lay_status unit_check_spelling(struct unit_parser *p);

/* ---- readers of sections ---- */

lay_status unit_read_unit(struct unit_parser *p, const struct unit_section *s);
lay_status unit_read_mesh(struct unit_parser *p, const struct unit_section *s);
lay_status unit_read_gear(struct unit_parser *p, const struct unit_section *s);
lay_status unit_read_bearing(struct unit_parser *p, const struct unit_section *s);
lay_status unit_read_engine(struct unit_parser *p, const struct unit_section *s);
lay_status unit_read_axle(struct unit_parser *p, const struct unit_section *s);
lay_status unit_read_rotor(struct unit_parser *p, const struct unit_section *s);

/* ---- check.c: what only the whole file shows ---- */

lay_status unit_check_whole(struct unit_parser *p);

#define UNIT_FAIL(p, where, ...) unit_ini_fail(&(p)->ini, (where), (p)->err, __VA_ARGS__)

#endif
