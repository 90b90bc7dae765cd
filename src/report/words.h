/* The words of a report: enumerations and numbers in the language of the workshop. */
#ifndef LAYSHAFT_REPORT_WORDS_H
#define LAYSHAFT_REPORT_WORDS_H

#include <layshaft/judge.h>

/* A number with a fixed count of decimals and '.' as point whatever the locale; "-" when it is not finite. */
typedef struct lay_decimal {
    char text[32];
} lay_decimal;
lay_decimal lay_words_number(double value, int decimals);

/* "almost certain", "very likely", ... and "94 %", "over 99 %", "under 1 %". */
const char *lay_words_sure(double probability);
lay_decimal lay_words_percent(double probability);
/* "gear whine of the tooth mesh", "damage on the outer race", ... */
const char *lay_words_kind(lay_kind kind);
/* The verdict as one headline. */
const char *lay_words_outcome(lay_outcome outcome);
/* "drive", ..., "load not stated". */
const char *lay_words_load(lay_load load);
const char *lay_words_speed_source(lay_speed_source source);

/* Name of the gear of a run as the table or the analysis has it; "" when unknown. Borrowed. */
const char *lay_words_gear(const lay_unit *unit, const lay_run_spec *spec, const lay_run_evidence *run);
/* Name of a body, NULL when `body` is none of the unit's. Borrowed. */
const char *lay_words_body(const lay_unit *unit, int body);
/* Name of the part a claim points at, NULL when it names none. Borrowed. */
const char *lay_words_part(const lay_run_evidence *run, const lay_claim *claim);
/* Which multiple of the firing order an engine line is; 0 when it lies between two. */
int lay_words_firing(const lay_run_evidence *run, const lay_claim *claim);
/* A claim in words, appended: "third pair, harmonic 2, -1 sideband (third gear)". */
void lay_words_claim(const lay_unit *unit, const lay_run_evidence *run, const lay_claim *claim, lay_text *out);

#endif
