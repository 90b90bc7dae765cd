/* What is inside the transmission and which orders it can make.
 * unit file -> lay_unit -> body speeds per gear -> expected orders of every part. */
#ifndef LAYSHAFT_UNIT_H
#define LAYSHAFT_UNIT_H

#include <layshaft/base.h>

#define LAY_CASE 0 /* body 0 is always the case */

/* An exact speed: num/den when `exact`, else only `value` holds (overflow of 64 bits). */
typedef struct lay_fraction {
    int64_t num, den;
    double value;
    bool exact;
} lay_fraction;

typedef struct lay_body {
    char *name;
} lay_body;

typedef struct lay_wheel {
    int body; /* index into bodies */
    int teeth;
} lay_wheel;

typedef struct lay_mesh {
    char *name; /* section's own name: "third pair" */
    lay_wheel driver, driven;
    int carrier;   /* body that carries the axes, LAY_CASE for fixed axes */
    bool internal; /* one wheel is an internal ring: both turn the same way relative to the carrier */
    int wheels;    /* planets in parallel, 1 for ordinary meshes */
    int line;      /* of the section in the file */
} lay_mesh;

typedef struct lay_lock {
    int a, b;
} lay_lock;

typedef struct lay_gear {
    char *name; /* "3", "R", "N" */
    lay_lock *locks;
    size_t lock_count;
    int line;
} lay_gear;

typedef enum lay_bearing_basis { LAY_BEARING_GEOMETRY, LAY_BEARING_MULTIPLES, LAY_BEARING_COUNT_ONLY } lay_bearing_basis;

/* Multiples are per turn of the inner ring with the outer fixed; `bsf` is the spin of one element (a
 * defect on it strikes twice per spin). `tolerance` is the relative uncertainty of the multiples. */
typedef struct lay_bearing {
    char *name;
    int inner, outer;
    lay_bearing_basis basis;
    int elements;
    double element_mm, pitch_mm, contact_deg;
    double bpfo, bpfi, bsf, ftf;
    double tolerance;
    int line;
} lay_bearing;

typedef struct lay_engine {
    bool present;
    int cylinders, strokes;
    int body; /* turns with */
} lay_engine;

typedef struct lay_axle {
    bool present;     /* it has a pinion and a ring; a unit with its final drive among the meshes states the tyre only */
    int pinion, ring; /* teeth; both 0 when not present */
    int body;         /* that the pinion turns with, or the wheels themselves when there is no pinion; -1 unknown */
    double rolling_m; /* rolling circumference of the driven wheels' tyres, 0 unknown; from the tyre's size it is good to
                       * 2 or 3 % */
} lay_axle;

typedef struct lay_rotor { /* [other alternator] */
    char *name;
    int body;
    double ratio;
    double *orders; /* per turn of the rotor; 1 when the file gives none */
    size_t order_count;
} lay_rotor;

typedef struct lay_unit {
    char *name;
    char *path; /* where it came from */
    int reference, output; /* bodies; output is -1 when not given */
    lay_body *bodies;
    size_t body_count;
    lay_mesh *meshes;
    size_t mesh_count;
    lay_gear *gears;
    size_t gear_count;
    lay_bearing *bearings;
    size_t bearing_count;
    lay_engine engine;
    lay_axle axle;
    lay_rotor *rotors;
    size_t rotor_count;
} lay_unit;

/* Read and check a unit file. Errors (LAY_BAD_INPUT) name file, line, column, show the line and say
 * what would be right; a file that is not there is LAY_BAD_INPUT too, one that cannot be read LAY_IO. Free with
 * lay_unit_free (NULL allowed). */
LAY_API lay_status lay_unit_load(const char *path, lay_unit **out, lay_error *err);
/* The same from text in memory; `path` is used in messages only. */
LAY_API lay_status lay_unit_parse(const char *text, size_t length, const char *path, lay_unit **out, lay_error *err);
LAY_API void lay_unit_free(lay_unit *unit);
/* The unit file as text that parses to an equal unit, appended to `out`. */
LAY_API void lay_unit_write(const lay_unit *unit, lay_text *out);

LAY_API int lay_unit_body(const lay_unit *unit, const char *name); /* any case; -1 when none */
LAY_API int lay_unit_gear(const lay_unit *unit, const char *name); /* any case; -1 when none */

/* Turns of every body per turn of the reference, signed, in one gear.
 * Which meshes carry the torque: those that lie on the way from reference to output (found from the
 * power flow of the linear system: unit torque in at the reference, out at the output). */
typedef struct lay_kinematics {
    int gear;
    size_t body_count, mesh_count;
    lay_fraction *speed; /* [body_count] */
    bool *free_body;     /* [body_count]: not driven in this gear (clutched off); its speed is unknown and 0 */
    bool *loaded;        /* [mesh_count] */
    bool *carries;       /* [body_count]: torque passes through the body; the case when it takes the reaction */
    double *mesh_order;  /* [mesh_count] >= 0; 0 when the mesh stands still relative to its carrier */
} lay_kinematics;

/* Solve one gear. Over-determined gears (locked up) are LAY_BAD_INPUT at the gear's line and name the
 * locks that contradict each other; a body the gear leaves undetermined that lies on the way to the
 * output is LAY_BAD_INPUT too, others are marked free. Free with lay_kinematics_free. */
LAY_API lay_status lay_unit_solve(const lay_unit *unit, int gear, lay_kinematics *out, lay_error *err);
LAY_API void lay_kinematics_free(lay_kinematics *k);

/* ---- what one part can be heard at ---- */

typedef enum lay_part_type { LAY_PART_MESH, LAY_PART_BEARING, LAY_PART_ENGINE, LAY_PART_AXLE, LAY_PART_ROTOR } lay_part_type;

/* One expected part in one gear. Orders are per turn of the reference, all >= 0. */
typedef struct lay_expected {
    lay_part_type type;
    int index;          /* into meshes, bearings or rotors */
    const char *name;   /* borrowed from the unit: "third pair", "engine", "axle", "alternator" */
    bool turning;       /* it makes noise at all in this gear */
    bool loaded;        /* torque passes through it in this gear */
    /* meshes and axle: mesh order, the two wheels (driver first) relative to the carrier */
    double order;       /* mesh order; bearing, rotor: relative turns inner-outer, rotor turns; engine: firing order */
    double wheel_order[2];
    int wheel_body[2];
    int teeth[2];
    double hunting_order;  /* pair repeat: order * gcd / (z1 z2) */
    int assembly_phases;   /* gcd of the tooth counts */
    /* bearings: BPFO, BPFI, 2 x BSF, FTF with the rings' real speeds; ring orders inner, outer */
    double bpfo, bpfi, bsf2, ftf;
    double ring_order[2];
    double tolerance;
    /* engine: turns per cycle 0.5 for four strokes; orders are multiples of `cycle_order` */
    double cycle_order;
    /* rotors: multiples */
    const double *multiples;
    size_t multiple_count;
} lay_expected;

/* Every part in one gear, meshes first, then bearings, engine, axle, rotors; caller frees *out with free().
 * The axle is driven by its body, the engine likewise. Never empty for a valid unit. */
LAY_API lay_status lay_unit_expect(const lay_unit *unit, const lay_kinematics *k, lay_expected **out, size_t *count,
                                   lay_error *err);

/* True when two parts make the same base order within `resolution` (orders) in this gear: they cannot be
 * told apart by their base lines; `by_sidebands` is set when their wheels turn at different speeds, so that
 * sidebands may still tell (NULL allowed). Bearings compare every defect order both know, with the tolerances
 * of both added to the resolution; a part that stands still is never the same as another. */
LAY_API bool lay_expected_same(const lay_expected *a, const lay_expected *b, double resolution, bool *by_sidebands);

/* Ratio input / output of the gear: reference turns per output turn, negative when the output turns the other way
 * (0 when it stands, is free or is not given). */
LAY_API double lay_unit_ratio(const lay_unit *unit, const lay_kinematics *k);

/* Turns of the reference per second at a road speed in m/s in this gear, without slip: road speed / circumference x
 * ring / pinion / turns of the axle's body per turn of the reference. 0 when it cannot be had: no tyre or circumference in
 * the unit file, the axle's body stands or turns freely in this gear (neutral), a speed that is not above 0. */
LAY_API double lay_unit_reference_hz(const lay_unit *unit, const lay_kinematics *k, double road_speed_ms);

/* ---- a unit file from questions ---- */

typedef struct lay_question {
    const char *text;  /* one or several lines, without a question mark of the terminal's own */
    const char *usual; /* taken for an empty answer; NULL: it has to be answered */
    const char *wrong; /* why the answer before would not do; NULL: it is asked for the first time */
} lay_question;
/* Append the answer to `answer`; an error ends the interview. Where nobody can answer anew, a question with `wrong` is
 * an error of the caller's own. */
typedef lay_status (*lay_ask)(void *user, const lay_question *question, lay_text *answer, lay_error *err);

/* Ask for layout, gears, tooth counts, what is outside and bearings, and append a commented unit file to `file`: it
 * parses, and every gear in it can be solved. What is not known ('?') stays in it as a comment and is told in `open`,
 * a sentence a line. What looks odd, such as a gear that is shorter than the one below it, goes to `odd` likewise. */
LAY_API lay_status lay_unit_interview(lay_ask ask, void *user, lay_text *file, lay_text *open, lay_text *odd,
                                      lay_error *err);

#endif
