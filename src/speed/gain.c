#include "gain.h"

#include <math.h>

#define KAPPA 0.1

void lay_gains_fill(double heard, double most, float *gains) {
    for (size_t i = 0; i < LAY_GAINS; i++) {
        double line = KAPPA * exp((1 - KAPPA) * (double)i / LAY_GAINS_PER_UNIT);
        gains[i] = (float)fmin(log(1 - heard + heard * line), most);
    }
}

float lay_gain(const float *gains, float ratio) {
    return gains[(size_t)fminf(ratio * LAY_GAINS_PER_UNIT, LAY_GAINS - 1)];
}
