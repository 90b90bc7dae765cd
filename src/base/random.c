/* Random numbers that are the same on every machine. */
#include <layshaft/base.h>

#include <math.h>

/* splitmix64 (Steele, Lea and Flood 2014), the seeding its authors recommend for xoshiro. */
static uint64_t splitmix64(uint64_t *state) {
    uint64_t z = (*state += UINT64_C(0x9E3779B97F4A7C15));
    z = (z ^ (z >> 30)) * UINT64_C(0xBF58476D1CE4E5B9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94D049BB133111EB);
    return z ^ (z >> 31);
}

static uint64_t rotate(uint64_t x, int k) {
    return (x << k) | (x >> (64 - k));
}

void lay_random_seed(lay_random *r, uint64_t seed) {
    for (int i = 0; i < 4; i++) r->s[i] = splitmix64(&seed);
}

uint64_t lay_random_bits(lay_random *r) {
    uint64_t *s = r->s;
    uint64_t result = rotate(s[1] * 5, 7) * 9;
    uint64_t shifted = s[1] << 17;
    s[2] ^= s[0];
    s[3] ^= s[1];
    s[1] ^= s[2];
    s[0] ^= s[3];
    s[2] ^= shifted;
    s[3] = rotate(s[3], 45);
    return result;
}

double lay_random_unit(lay_random *r) {
    return (double)(lay_random_bits(r) >> 11) * 0x1.0p-53;
}

double lay_random_between(lay_random *r, double low, double high) {
    return low + (high - low) * lay_random_unit(r);
}

/* Values that would favour the low numbers are thrown away, so that every number is equally likely. */
int lay_random_int(lay_random *r, int low, int high) {
    if (high <= low) return low;
    uint64_t range = (uint64_t)((int64_t)high - low) + 1;
    uint64_t limit = UINT64_MAX - UINT64_MAX % range;
    uint64_t bits;
    do bits = lay_random_bits(r);
    while (bits >= limit);
    return (int)(low + (int64_t)(bits % range));
}

/* Box and Muller 1958. The second value is dropped: a state with a spare would not be plain seeds. */
double lay_random_normal(lay_random *r) {
    double u = 1.0 - lay_random_unit(r); /* (0, 1]: the logarithm stays finite */
    double v = lay_random_unit(r);
    return sqrt(-2.0 * log(u)) * cos(2.0 * LAY_PI * v);
}
