/* Whether a capture loses samples: records from a device and counts. Not a test: prints figures.
 * Usage: bench_capture NEW.wav [seconds [channels [rate [device]]]], for example beside
 *     jackd -r -d dummy -r 96000 -p 1024 -C 8
 * which paces in real time, and beside whatever keeps the machine busy. Without a file it lists the devices. */
#include <layshaft/signal.h>

#include <stdio.h>
#include <stdlib.h>
#include <time.h>

static int devices(void) {
    lay_text list = {0};
    lay_error err = {0};
    lay_status status = lay_sound_inputs(&list, &err);
    fputs(status != LAY_OK ? err.message : list.text ? list.text : "no input device\n", stdout);
    lay_text_free(&list);
    return status != LAY_OK;
}

static void wait_for(lay_capture *capture, double seconds) {
    lay_capture_state s;
    do {
        nanosleep(&(struct timespec){0, 100000000}, NULL);
        lay_capture_look(capture, &s, NULL);
    } while ((double)s.frames < seconds * s.rate && !s.ended);
}

int main(int argc, char **argv) {
    if (argc < 2) return devices();
    double seconds = argc > 2 ? strtod(argv[2], NULL) : 10;
    lay_capture_options o = {.channels = argc > 3 ? (int)strtol(argv[3], NULL, 10) : 0,
                             .rate = argc > 4 ? strtod(argv[4], NULL) : 0,
                             .device = argc > 5 ? argv[5] : NULL};
    lay_capture *capture = NULL;
    lay_capture_state s = {0};
    lay_error err = {0};
    clock_t start = clock();
    lay_status status = lay_capture_start(&o, argv[1], &capture, &err);
    if (status == LAY_OK) {
        wait_for(capture, seconds);
        status = lay_capture_stop(capture, &s, &err);
    }
    printf("%d channels, %g samples per second, %d bits: %.1f s came, %.1f s kept, %lld samples lost, %d overruns, "
           "%.2f s of processor time\n%s%s",
           s.channels, s.rate, s.bits, s.rate > 0 ? (double)s.frames / s.rate : 0,
           s.rate > 0 ? (double)s.kept / s.rate : 0, (long long)s.lost, s.overruns,
           (double)(clock() - start) / CLOCKS_PER_SEC, status == LAY_OK ? "" : err.message,
           status == LAY_OK ? "" : "\n");
    return status != LAY_OK;
}
