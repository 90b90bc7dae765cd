/* A program outside the source tree that uses the installed library. */
#include <layshaft/base.h>
#include <layshaft/dsp.h>
#include <layshaft/judge.h>
#include <layshaft/order.h>
#include <layshaft/report.h>
#include <layshaft/signal.h>
#include <layshaft/sim.h>
#include <layshaft/source.h>
#include <layshaft/speed.h>
#include <layshaft/unit.h>

#include <stdio.h>

int main(void) {
    lay_error err;
    lay_fft *fft = NULL;
    if (lay_fft_new(8, &fft, &err) != LAY_OK) return lay_status_exit(err.code);
    const double x[8] = {1.0};
    double pairs[10];
    lay_fft_forward(fft, x, pairs);
    lay_fft_free(fft);
    printf("%s %g\n", LAY_VERSION, pairs[8]);
    return 0;
}
