/* Orders at whose exact multiples something is locked to a shaft or to the engine. */
#ifndef LAYSHAFT_SOURCE_COMBS_H
#define LAYSHAFT_SOURCE_COMBS_H

#include <layshaft/source.h>

#define LAY_COMBS 24

typedef struct lay_combs {
    double order[LAY_COMBS];
    size_t count;
    double firing; /* order of the engine; 0: none */
} lay_combs;

/* Engine first, then the bodies, then what turns outside; each once. */
void lay_combs_collect(const lay_run_evidence *run, lay_combs *out);

#endif
