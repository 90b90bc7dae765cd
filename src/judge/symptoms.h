/* What is wrong with a suspect, from what the closer look measured; private to the stage.
 *
 * Every step looks for one or two symptoms of one suspect and adds what it finds. */
#ifndef LAYSHAFT_JUDGE_SYMPTOMS_H
#define LAYSHAFT_JUDGE_SYMPTOMS_H

#include "look.h"
#include "turn.h"

lay_status lay_symptoms_find(lay_looking *l, lay_error *err);

/* A suspect while its symptoms are looked for. */
typedef struct lay_patient {
    const lay_looking *l;
    lay_suspect *suspect;
    int index;
    const lay_look_wheel *wheel[2]; /* NULL: no average */
    lay_turn_view turn[2];
} lay_patient;

lay_status lay_symptom_flank(lay_patient *p, lay_error *err);     /* symptom_flank.c */
lay_status lay_symptom_turn(lay_patient *p, lay_error *err);      /* symptom_turn.c: run-out, twice, local, loose */
lay_status lay_symptom_harmonics(lay_patient *p, lay_error *err); /* symptom_series.c */
lay_status lay_symptom_mates(lay_patient *p, lay_error *err);     /* symptom_mates.c */
lay_status lay_symptom_resonance(lay_patient *p, lay_error *err); /* symptom_resonance.c */

/* Adds a symptom; what it names is copied, `text` is taken over (NULL: no memory). */
lay_status lay_symptom_add(lay_suspect *s, const lay_symptom *symptom, lay_text *text, const char *body,
                           lay_error *err);

/* Mean level of harmonic `h` of the patient's mesh over what was measured in `run`, dB re full scale, noise taken off;
 * NaN where it was not. */
double lay_patient_level(const lay_patient *p, int run, int h);

#endif
