/* Units for tests, from text in the test itself. */
#ifndef TESTS_SUPPORT_UNIT_TEXT_H
#define TESTS_SUPPORT_UNIT_TEXT_H

#include <layshaft/unit.h>

/* Parse or fail the test with the error shown. Free with lay_unit_free. */
lay_unit *unit_of(const char *text);
/* Solve a gear by its name, or fail the test. Free with lay_kinematics_free. */
lay_kinematics gear_of(const lay_unit *unit, const char *gear);
/* Speed of a body by its name. */
double speed_of(const lay_unit *unit, const lay_kinematics *k, const char *body);
/* The expected part of a gear by its name (type included), copied out; fails the test when there is none. */
lay_expected part_of(const lay_unit *unit, const lay_kinematics *k, lay_part_type type, const char *name);

#endif
