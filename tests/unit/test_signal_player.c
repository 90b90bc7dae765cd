/* Playing, through PortAudio itself: a device that is a file (ALSA's `file` plugin) hears what was in the recording. */
#include <layshaft/signal.h>

#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/scratch.h"
#include "support/sound.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { RATE = 16000, FRAMES = 8000 };

static char *recording;

static int setup(void **state) {
    (void)state;
    scratch_open();
    lay_text conf = {0};
    lay_text_add(
        &conf,
        "</usr/share/alsa/alsa.conf>\npcm.bench_ear {\n type plug\n slave {\n  pcm { type file\n slave.pcm null\n"
        " file \"%s\"\n format raw }\n  format FLOAT_LE\n  channels 2\n  rate %d\n }\n hint { show on description "
        "\"bench ear\" }\n}\n",
        scratch_path("heard.raw"), RATE);
    setenv("ALSA_CONFIG_PATH", scratch_text("asound.conf", conf.text), 1);
    lay_text_free(&conf);
    recording = lay_strdup(scratch_path("tone.wav"));
    lay_writer *w = NULL;
    if (lay_writer_open(recording, LAY_FILE_WAV_FLOAT, RATE, 1, &w, NULL) != LAY_OK) return 1;
    for (int i = 0; i < FRAMES; i++) {
        double x = 0.3 * sin(2 * LAY_PI * 440 * i / RATE);
        if (lay_writer_write(w, &x, 1, NULL) != LAY_OK) return 1;
    }
    return lay_writer_close(w, NULL) == LAY_OK ? 0 : 1;
}

static int teardown(void **state) {
    (void)state;
    free(recording);
    scratch_close();
    return 0;
}

static bool no_device(void) {
    return no_sound_device(lay_sound_devices, "bench_ear");
}

static size_t heard(float *x, size_t room) {
    FILE *f = fopen(scratch_path("heard.raw"), "rb");
    size_t n = f ? fread(x, sizeof *x, room, f) : 0;
    if (f) fclose(f);
    return n;
}

static void what_is_played_is_heard(void **state) {
    (void)state;
    static float x[8 * FRAMES];
    lay_error err = {0};
    if (no_device()) return;
    assert_int_equal(lay_sound_play(recording, "bench_ear", 0.5, NULL, NULL, &err), LAY_OK);
    size_t n = heard(x, 8 * FRAMES) / 2, first = 0;
    while (first < n && x[2 * first] == 0) first++;
    assert_true(n - first >= FRAMES - 1); /* to the last sample */
    for (size_t i = 1; i < FRAMES; i++)
        for (size_t ear = 0; ear < 2; ear++)
            assert_close((double)x[2 * (first + i - 1) + ear], 0.5 * 0.3 * sin(2 * LAY_PI * 440 * (double)i / RATE),
                         1e-6, 0);
}

static bool at_once(void *user) {
    (void)user;
    return true;
}

static void it_can_be_stopped(void **state) {
    (void)state;
    static float x[4 * FRAMES];
    if (no_device()) return;
    remove(scratch_path("heard.raw"));
    assert_int_equal(lay_sound_play(recording, "bench_ear", 1, at_once, NULL, NULL), LAY_OK);
    size_t n = heard(x, 4 * FRAMES);
    for (size_t i = 0; i < n; i++) assert_true(x[i] == 0);
}

static void a_device_that_is_not_there(void **state) {
    (void)state;
    lay_error err = {0};
    lay_status status = lay_sound_play(recording, "no such thing", 1, NULL, NULL, &err);
    assert_int_equal(status, lay_sound_built() ? LAY_BAD_INPUT : LAY_IO);
    assert_true(strlen(err.message) > 10);
    assert_int_equal(lay_sound_play("nowhere.wav", NULL, 1, NULL, NULL, &err),
                     lay_sound_built() ? LAY_BAD_INPUT : LAY_IO);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_is_played_is_heard),
        cmocka_unit_test(it_can_be_stopped),
        cmocka_unit_test(a_device_that_is_not_there),
    };
    return cmocka_run_group_tests(tests, setup, teardown);
}
