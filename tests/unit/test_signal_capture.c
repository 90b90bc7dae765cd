/* Recording, through PortAudio itself: a device that is a file (ALSA's `file` plugin) is found again in the recording,
 * sample by sample. */
#include <layshaft/signal.h>

#include "support/close.h"
#include "support/cmocka_all.h"
#include "support/scratch.h"
#include "support/sound.h"

#include <math.h>
#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>

enum { RATE = 16000, SECONDS = 8, FRAMES = RATE * SECONDS, CHANNELS = 2 };
#define LOUD 0.5

static int32_t heard[FRAMES * CHANNELS];

/* 24 bits, so that nothing is lost on the way. */
static int32_t sample(int frame, int channel) {
    double x = LOUD * (channel ? 0.5 : 1) * sin(2 * LAY_PI * (channel ? 311 : 440) * (frame + 1) / RATE);
    return (int32_t)lrint(x * 8388608) * 256;
}

static int setup(void **state) {
    (void)state;
    scratch_open();
    for (int i = 0; i < FRAMES; i++)
        for (int c = 0; c < CHANNELS; c++) heard[i * CHANNELS + c] = sample(i, c);
    char *source = lay_strdup(scratch_path("said.raw"));
    FILE *f = fopen(source, "wb");
    if (!f || fwrite(heard, sizeof heard, 1, f) != 1 || fclose(f) != 0) return 1;
    lay_text conf = {0};
    lay_text_add(
        &conf,
        "</usr/share/alsa/alsa.conf>\npcm.bench_mouth {\n type plug\n slave {\n  pcm { type file\n slave.pcm "
        "null\n file \"/dev/null\"\n infile \"%s\"\n format raw }\n  format S32_LE\n  channels %d\n  rate %d\n "
        "}\n hint { show on description \"bench mouth\" }\n}\n",
        source, CHANNELS, RATE);
    setenv("ALSA_CONFIG_PATH", scratch_text("asound.conf", conf.text), 1);
    lay_text_free(&conf);
    free(source);
    return 0;
}

static bool no_device(void) {
    return no_sound_device(lay_sound_inputs, "bench_mouth");
}

static const lay_capture_options as_usual = {
    .device = "bench_mouth", .rate = RATE, .channels = CHANNELS, .comment = "third gear"};

static void pause_ms(long ms) {
    nanosleep(&(struct timespec){ms / 1000, ms % 1000 * 1000000}, NULL);
}

static void what_is_said_is_recorded_to_the_bit(void **state) {
    (void)state;
    static int32_t x[FRAMES * CHANNELS];
    lay_error err = {0};
    lay_capture *c = NULL;
    lay_capture_state s;
    double peaks[CHANNELS], most[CHANNELS] = {0};
    if (no_device()) return;
    char *path = lay_strdup(scratch_path("run.wav"));
    if (lay_capture_start(&as_usual, path, &c, &err) != LAY_OK) fail_msg("%s", err.message);
    do {
        pause_ms(5);
        lay_capture_look(c, &s, peaks);
        for (int i = 0; i < CHANNELS; i++) most[i] = fmax(most[i], peaks[i]);
        assert_false(s.ended);
    } while (s.frames < FRAMES);
    assert_int_equal(lay_capture_stop(c, &s, &err), LAY_OK);
    /* This device runs as fast as it is read, so that the ring overflows some time; never within its ten seconds. */
    assert_true(s.kept <= s.frames && s.kept + s.lost >= s.frames);
    assert_true(s.lost == 0 ? isnan(s.first_loss_s) : s.first_loss_s >= 10);
    assert_int_equal(s.bits, 24);
    assert_close(most[0], LOUD, 1e-3, 0);
    assert_close(most[1], 0.5 * LOUD, 1e-3, 0);
    SF_INFO info = {0};
    SNDFILE *file = sf_open(path, SFM_READ, &info);
    assert_non_null(file);
    assert_int_equal(info.frames, s.kept);
    assert_int_equal(info.channels, CHANNELS);
    assert_string_equal(sf_get_string(file, SF_STR_COMMENT), "third gear");
    assert_int_equal(sf_readf_int(file, x, FRAMES), FRAMES);
    sf_close(file);
    assert_memory_equal(x, heard, sizeof heard);
    free(path);
}

/* What can be heard meanwhile is the same sound, from its first sample on, with nothing kept. */
static void the_sound_can_be_heard_without_a_file(void **state) {
    (void)state;
    enum { ROOM = 1000 };
    lay_error err = {0};
    lay_capture *c = NULL;
    lay_capture_state s;
    double ear[ROOM * CHANNELS];
    if (no_device()) return;
    lay_capture_options o = as_usual;
    o.hear_s = SECONDS;
    if (lay_capture_start(&o, NULL, &c, &err) != LAY_OK) fail_msg("%s", err.message);
    for (int frame = 0; frame < FRAMES;) {
        size_t got = lay_capture_hear(c, ear, ROOM);
        for (size_t i = 0; i < got && frame < FRAMES; i++, frame++)
            for (int k = 0; k < CHANNELS; k++)
                if (ear[i * CHANNELS + (size_t)k] != ldexp(sample(frame, k), -31))
                    fail_msg("frame %d, channel %d: %g", frame, k, ear[i * CHANNELS + (size_t)k]);
        if (got == 0) pause_ms(1);
    }
    assert_int_equal(lay_capture_stop(c, &s, &err), LAY_OK);
    assert_int_equal(s.kept, 0);
    assert_int_equal(s.lost, 0);
}

static void wrong_wishes_leave_nothing_behind(void **state) {
    (void)state;
    struct stat info;
    lay_error err = {0};
    lay_capture *c = NULL;
    if (no_device()) return;
    char *path = lay_strdup(scratch_path("none.wav"));
    lay_capture_options o = as_usual;
    o.device = "no such thing";
    assert_int_equal(lay_capture_start(&o, path, &c, &err), LAY_BAD_INPUT);
    assert_non_null(strstr(err.message, "no input device 'no such thing'"));
    o = as_usual;
    o.channels = 100000;
    assert_int_equal(lay_capture_start(&o, path, &c, &err), LAY_BAD_INPUT);
    assert_non_null(strstr(err.message, "channels"));
    assert_null(c);
    assert_int_not_equal(stat(path, &info), 0);
    free(path);
    path = lay_strdup(scratch_text("there.wav", "the hill, once"));
    assert_int_equal(lay_capture_start(&as_usual, path, &c, &err), LAY_BAD_INPUT);
    assert_int_equal(stat(path, &info), 0);
    assert_int_equal(info.st_size, strlen("the hill, once"));
    free(path);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_is_said_is_recorded_to_the_bit),
        cmocka_unit_test(the_sound_can_be_heard_without_a_file),
        cmocka_unit_test(wrong_wishes_leave_nothing_behind),
    };
    return cmocka_run_group_tests(tests, setup, scratch_teardown);
}
