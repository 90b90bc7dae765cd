/* For comparisons by other programs: reads doubles of one channel from standard input and prints the order spectrum of
 * a shaft at constant speed, one power a line. Usage: print_spectrum RATE HZ MAX_ORDER TURNS < samples */
#include <layshaft/order.h>

#include <stdio.h>
#include <stdlib.h>

#define CHUNK 4096

static lay_status analyse(const lay_order_options *options, double hz, lay_order_spectrum *s, lay_error *err) {
    static double x[CHUNK];
    lay_shaft shaft = {0};
    lay_order *order = NULL;
    lay_status status = lay_shaft_constant(hz, 1e5, &shaft, err);
    if (status == LAY_OK) status = lay_order_new(options, &shaft, &order, err);
    for (size_t n; status == LAY_OK && (n = fread(x, sizeof *x, CHUNK, stdin)) > 0;)
        status = lay_order_feed(order, x, n, err);
    if (status == LAY_OK) status = lay_order_finish(order, s, err);
    lay_order_free(order);
    lay_shaft_free(&shaft);
    return status;
}

int main(int argc, char **argv) {
    lay_order_spectrum s = {0};
    lay_error err = {0};
    if (argc != 5) return 2;
    lay_order_options o = {.rate = atof(argv[1]),
                           .channels = 1,
                           .max_order = atof(argv[3]),
                           .resolution = 1 / atof(argv[4]),
                           .window = LAY_WINDOW_HANN,
                           .overlap = 0.5,
                           .speed_classes = 1};
    lay_status status = analyse(&o, atof(argv[2]), &s, &err);
    if (status != LAY_OK) fprintf(stderr, "print_spectrum: %s\n", err.message);
    for (size_t i = 0; i < s.bins; i++) printf("%.17g\n", s.power[i]);
    lay_order_spectrum_free(&s);
    return status == LAY_OK ? 0 : 1;
}
