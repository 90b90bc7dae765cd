/* Recordings that survive: killed at random moments, with the disk full, never over another file. */
#include "signal/keeper.h"

#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/scratch.h"

#include <errno.h>
#include <signal.h>
#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

enum { RATE = 8000, CHANNELS = 3, BLOCK = 40, KILLS = 100 };

static const lay_keeper_options as_usual = {
    .rate = RATE, .channels = CHANNELS, .bits = 24, .comment = "third gear, drive; full scale 490.3 m/s2"};

/* Every sample tells where it belongs. */
static int32_t sample(int64_t frame, int channel) {
    return (int32_t)((uint32_t)(frame * CHANNELS + channel) << 8);
}

static void fill(int32_t *x, int64_t from, size_t count) {
    for (size_t i = 0; i < count; i++)
        for (int c = 0; c < CHANNELS; c++) x[i * CHANNELS + (size_t)c] = sample(from + (int64_t)i, c);
}

/* How many frames a reader gets, each of them as it was; the comment too. */
static int64_t readable(const char *path) {
    SF_INFO info = {0};
    SNDFILE *file = sf_open(path, SFM_READ, &info);
    if (!file) fail_msg("%s cannot be read: %s", path, sf_strerror(NULL));
    assert_int_equal(info.channels, CHANNELS);
    assert_int_equal(info.samplerate, RATE);
    assert_string_equal(sf_get_string(file, SF_STR_COMMENT), as_usual.comment);
    int64_t n = 0;
    int32_t x[CHANNELS];
    for (; sf_readf_int(file, x, 1) == 1; n++)
        for (int c = 0; c < CHANNELS; c++) assert_int_equal(x[c], sample(n, c));
    assert_int_equal(n, info.frames);
    sf_close(file);
    return n;
}

static void pause_ms(double ms) {
    struct timespec t = {(time_t)(ms / 1000), (long)(ms * 1e6) % 1000000000L};
    nanosleep(&t, NULL);
}

static void what_is_added_is_kept_and_told_while_it_grows(void **state) {
    (void)state;
    static int32_t x[RATE * CHANNELS];
    char *path = lay_strdup(scratch_path("grows.wav"));
    lay_keeper *k = NULL;
    lay_error err = {0};
    assert_int_equal(lay_keeper_open(path, &as_usual, &k, &err), LAY_OK);
    assert_int_equal(readable(path), 0);
    fill(x, 0, RATE);
    assert_int_equal(lay_keeper_add(k, x, RATE - 1, &err), LAY_OK);
    assert_int_equal(readable(path), lay_keeper_frames(k));
    assert_true(lay_keeper_frames(k) >= RATE - 1 - RATE / 4);
    assert_int_equal(lay_keeper_secure(k, &err), LAY_OK);
    assert_int_equal(readable(path), RATE - 1);
    assert_int_equal(lay_keeper_add(k, x + (RATE - 1) * CHANNELS, 1, &err), LAY_OK);
    assert_int_equal(lay_keeper_close(k, &err), LAY_OK);
    assert_int_equal(readable(path), RATE);
    free(path);
}

/* Adds blocks as fast as the disk takes them and says after each how far it is. */
static void record_until_killed(const char *path, int tell) {
    int32_t x[BLOCK * CHANNELS];
    lay_keeper *k = NULL;
    if (lay_keeper_open(path, &as_usual, &k, NULL) != LAY_OK) _exit(1);
    for (int64_t n = 0;; n += BLOCK) {
        fill(x, n, BLOCK);
        int64_t done = n + BLOCK;
        if (lay_keeper_add(k, x, BLOCK, NULL) != LAY_OK || write(tell, &done, sizeof done) != sizeof done) _exit(1);
        if (n % (BLOCK * 20) == 0) pause_ms(0.5);
    }
}

static void killed_at_any_moment_a_second_is_lost_at_most(void **state) {
    (void)state;
    lay_random random;
    lay_random_seed(&random, (uint64_t)time(NULL));
    for (int i = 0; i < KILLS; i++) {
        char name[32];
        snprintf(name, sizeof name, "killed-%d.wav", i);
        char *path = lay_strdup(scratch_path(name));
        int told[2];
        int64_t done = 0, last = 0;
        assert_int_equal(pipe(told), 0);
        pid_t child = fork();
        if (child == 0) record_until_killed(path, told[1]);
        close(told[1]);
        assert_int_equal(read(told[0], &done, sizeof done), sizeof done); /* it has begun */
        double end = 30 * lay_random_unit(&random);
        struct timespec now, start;
        clock_gettime(CLOCK_MONOTONIC, &start);
        do {
            if (read(told[0], &done, sizeof done) != sizeof done) fail_msg("recording ended by itself");
            clock_gettime(CLOCK_MONOTONIC, &now);
        } while (1e3 * (double)(now.tv_sec - start.tv_sec) + 1e-6 * (double)(now.tv_nsec - start.tv_nsec) < end);
        kill(child, SIGKILL);
        waitpid(child, NULL, 0);
        while (read(told[0], &last, sizeof last) == sizeof last) done = last;
        close(told[0]);
        assert_true(readable(path) >= done - RATE / 4);
        unlink(path);
        free(path);
    }
}

/* A full disk is a file that may not grow. */
static void a_full_disk_keeps_what_is_there(void **state) {
    (void)state;
    static int32_t x[RATE * CHANNELS];
    char *path = lay_strdup(scratch_path("full.wav"));
    lay_keeper *k = NULL;
    lay_error err = {0};
    struct rlimit before, small;
    fill(x, 0, RATE);
    assert_int_equal(getrlimit(RLIMIT_FSIZE, &before), 0);
    small = before;
    small.rlim_cur = 30000;
    void (*old)(int) = signal(SIGXFSZ, SIG_IGN);
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &small), 0);
    assert_int_equal(lay_keeper_open(path, &as_usual, &k, &err), LAY_OK);
    lay_status status = lay_keeper_add(k, x, RATE, &err), again = lay_keeper_add(k, x, 1, NULL);
    int64_t kept = lay_keeper_frames(k);
    lay_keeper_close(k, NULL);
    setrlimit(RLIMIT_FSIZE, &before);
    signal(SIGXFSZ, old);
    assert_int_equal(status, LAY_IO);
    assert_int_equal(again, LAY_IO);
    assert_non_null(strstr(err.message, "up to here is kept"));
    assert_true(kept > 3000 && kept < 3400);
    assert_true(readable(path) >= kept);
    free(path);
}

static void no_file_is_overwritten(void **state) {
    (void)state;
    char *path = lay_strdup(scratch_text("there.wav", "the hill, once"));
    lay_keeper *k = NULL;
    lay_error err = {0};
    assert_int_equal(lay_keeper_open(path, &as_usual, &k, &err), LAY_BAD_INPUT);
    assert_null(k);
    struct stat info;
    assert_int_equal(stat(path, &info), 0);
    assert_int_equal(info.st_size, strlen("the hill, once"));
    assert_int_equal(lay_keeper_open(scratch_path("no/such/folder.wav"), &as_usual, &k, &err), LAY_IO);
    lay_keeper_options odd = as_usual;
    odd.bits = 20;
    assert_int_equal(lay_keeper_open(scratch_path("odd.wav"), &odd, &k, &err), LAY_BAD_INPUT);
    odd = as_usual;
    odd.channels = 5000;
    assert_int_equal(lay_keeper_open(scratch_path("odd.wav"), &odd, &k, &err), LAY_BAD_INPUT);
    assert_int_not_equal(stat(scratch_path("odd.wav"), &info), 0);
    free(path);
}

static int setup(void **state) {
    (void)state;
    scratch_open();
    return 0;
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_is_added_is_kept_and_told_while_it_grows),
        cmocka_unit_test(killed_at_any_moment_a_second_is_lost_at_most),
        cmocka_unit_test(a_full_disk_keeps_what_is_there),
        cmocka_unit_test(no_file_is_overwritten),
    };
    return cmocka_run_group_tests(tests, setup, scratch_teardown);
}
