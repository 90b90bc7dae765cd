/* Loops that take most of the time; private to the library. */
#ifndef LAYSHAFT_DSP_HOT_H
#define LAYSHAFT_DSP_HOT_H

/* Compiled for processors with wide registers and for all others; which one runs is chosen when the program starts.
 * Both give the same bits: nothing is summed in another order, and multiply-add is not fused. */
#if defined(__has_feature)
#if __has_feature(address_sanitizer) || __has_feature(thread_sanitizer)
#define LAY_HOT
#endif
#endif
#if !defined(LAY_HOT) && defined(__x86_64__) && defined(__gnu_linux__) && !defined(__SANITIZE_ADDRESS__) &&            \
    !defined(__SANITIZE_THREAD__) && (defined(__clang__) ? __clang_major__ >= 14 : defined(__GNUC__))
#define LAY_HOT __attribute__((target_clones("avx2", "default")))
#endif
#ifndef LAY_HOT
#define LAY_HOT
#endif

/* fmin and fmax are calls, for the sake of NaN. */
static inline double lay_lesser(double a, double b) {
    return a < b ? a : b;
}

static inline double lay_greater(double a, double b) {
    return a > b ? a : b;
}

#endif
