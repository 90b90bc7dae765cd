/* Band-pass filter: flat inside, silent outside, no delay once its own is taken off; the limits are the header's. */
#include <layshaft/dsp.h>

#include "support/close.h"
#include "support/cmocka_all.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { RATE = 8000, FRAMES = 16000 };

/* Gain of a tone in dB and the worst difference from the input, the delay taken off. */
static double gain_of(double hz, double low, double high, double edge, double *worst) {
    static double in[FRAMES], out[FRAMES];
    lay_fir *fir = NULL;
    assert_int_equal(lay_fir_new_band(RATE, low, high, edge, 1, &fir, NULL), LAY_OK);
    for (int i = 0; i < FRAMES; i++) in[i] = sin(2 * LAY_PI * hz * i / RATE);
    for (int i = 0; i < FRAMES; i += 1777)
        lay_fir_run(fir, in + i, FRAMES - i < 1777 ? (size_t)(FRAMES - i) : 1777, out + i);
    size_t delay = lay_fir_delay(fir);
    double sum = 0;
    *worst = 0;
    for (size_t i = 2 * delay; i < FRAMES; i++) {
        sum += out[i] * out[i];
        *worst = fmax(*worst, fabs(out[i] - in[i - delay]));
    }
    lay_fir_free(fir);
    return 10 * log10(fmax(2 * sum / (double)(FRAMES - 2 * delay), 1e-12));
}

static void flat_inside_silent_outside(void **state) {
    (void)state;
    double worst;
    for (double hz = 510; hz < 1500; hz += 111) {
        assert_close(gain_of(hz, 500, 1500, 50, &worst), 0, 0.01, 0);
        assert_true(worst < 2e-3);
    }
    for (double hz = 50; hz <= 450; hz += 80) assert_true(gain_of(hz, 500, 1500, 50, &worst) < -70);
    for (double hz = 1550; hz < 3990; hz += 400) assert_true(gain_of(hz, 500, 1500, 50, &worst) < -70);
    assert_close(gain_of(3700, 500, 4000, 50, &worst), 0, 0.01, 0); /* no upper edge */
    assert_true(gain_of(300, 500, 4000, 50, &worst) < -70);
}

static void channels_stay_apart(void **state) {
    (void)state;
    double in[3000] = {0}, out[3000];
    lay_fir *fir = NULL;
    assert_int_equal(lay_fir_new_band(RATE, 500, 1500, 200, 3, &fir, NULL), LAY_OK);
    in[1] = 1; /* an impulse in the second channel */
    lay_fir_run(fir, in, 1000, out);
    double most = 0;
    for (size_t i = 0; i < 1000; i++) {
        assert_true(out[3 * i] == 0 && out[3 * i + 2] == 0);
        most = fmax(most, fabs(out[3 * i + 1]));
    }
    assert_close(fabs(out[3 * lay_fir_delay(fir) + 1]), most, 1e-12, 0);
    lay_fir_free(fir);
}

static void bands_that_are_none(void **state) {
    (void)state;
    lay_fir *fir = NULL;
    lay_error err = {0};
    assert_int_equal(lay_fir_new_band(RATE, 1500, 500, 50, 1, &fir, &err), LAY_BAD_INPUT);
    assert_int_equal(lay_fir_new_band(RATE, 500, 1500, 0, 1, &fir, &err), LAY_BAD_INPUT);
    assert_int_equal(lay_fir_new_band(RATE, 500, 1500, 1e-3, 1, &fir, &err), LAY_BAD_INPUT);
    assert_null(fir);
    lay_fir_free(NULL);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(flat_inside_silent_outside),
        cmocka_unit_test(channels_stay_apart),
        cmocka_unit_test(bands_that_are_none),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
