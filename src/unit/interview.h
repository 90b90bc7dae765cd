/* Questions and answers that become a unit file; private to the stage. */
#ifndef LAYSHAFT_UNIT_INTERVIEW_H
#define LAYSHAFT_UNIT_INTERVIEW_H

#include <layshaft/unit.h>

#define INTERVIEW_GEARS 10 /* forward, at most */

typedef enum interview_layout {
    LAYOUT_COUNTERSHAFT,
    LAYOUT_TWO_SHAFT,
    LAYOUT_OVERDRIVE,
    LAYOUT_COUNT
} interview_layout;

typedef struct interview {
    lay_ask ask;
    void *user;
    lay_error *err;
    lay_text *open, *odd; /* of the caller */
    interview_layout layout;
    int gears, direct;                     /* direct: which gear is, 0 none */
    const char *shaft, *output;            /* the shaft the gear wheels bring torque to; what leaves the unit */
    double ratio[INTERVIEW_GEARS + 1];     /* of the pairs alone; 0: not known */
    lay_text name;                         /* of the unit */
    lay_text train, locks, rest, bearings; /* sections of the file */
} interview;

/* ---- interview_ask.c: one question, asked again until the answer will do ---- */

/* The answer as it is, without blanks around. */
lay_status interview_text(interview *iv, const char *question, const char *usual, lay_text *answer);
/* A name that can stand in a unit file; empty only where `usual` is "". */
lay_status interview_name(interview *iv, const char *question, const char *usual, lay_text *answer);
/* A whole number in [low, high]. */
lay_status interview_number(interview *iv, const char *question, const char *usual, int low, int high, int *out);
/* Exactly `count` tooth counts in [low, high]; *known is false for '?', *none true for '-' where that is `allowed`. */
typedef struct interview_counts {
    const char *question;
    int count, low, high;
    bool may_be_none;
} interview_counts;
lay_status interview_teeth(interview *iv, const interview_counts *ask, int *out, bool *known, bool *none);
/* Asks again, with the reason; to be used with the answer of one of the above. */
lay_status interview_again(interview *iv, const char *question, const char *usual, const char *wrong, lay_text *answer);

/* ---- what is written ---- */

/* Append lines to a section of the file; behind "; " when they are still open. */
void interview_add(lay_text *section, bool open, const char *fmt, ...) LAY_PRINTF(3, 4);
/* "first", ..., "tenth". */
const char *interview_ordinal(int gear);
/* The file as it stands, with `more` at its end (NULL: nothing). */
void interview_compile(const interview *iv, const char *more, lay_text *out);
/* Whether that parses and all gears solve: LAY_BAD_INPUT with the reason in `why`. */
lay_status interview_try(const interview *iv, const char *more, lay_error *why);

/* ---- the questions ---- */

lay_status interview_train(interview *iv);   /* interview_train.c: layout, gears, teeth */
lay_status interview_outside(interview *iv); /* interview_rest.c: engine, axle, other rotors */
lay_status interview_bearings(interview *iv);

#endif
