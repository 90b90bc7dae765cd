/* What a crash leaves: every sample that is in the file is read again after the rescue, by libsndfile. */
#include "support/cmocka_all.h"
#include "support/scratch.h"

#include <layshaft/signal.h>
#include <signal/keeper.h>
#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { RATE = 8000, CHANNELS = 3, FRAMES = 3 * RATE + 1234 };

static int32_t sample(int frame, int channel) {
    return (frame * 7 + channel * 1000003) % 8388607 * 256;
}

/* The file as it stands after so many frames, under another name. */
static char *left_by_a_crash(int bits, int frames) {
    static int32_t x[FRAMES * CHANNELS];
    lay_keeper_options o = {.rate = RATE, .channels = CHANNELS, .bits = bits, .comment = "gear=3; load=drive"};
    lay_keeper *k = NULL;
    lay_error err = {0};
    char *data = NULL, *path = lay_strdup(scratch_path("growing.wav"));
    size_t length = 0;
    for (int i = 0; i < frames; i++)
        for (int c = 0; c < CHANNELS; c++) x[i * CHANNELS + c] = sample(i, c);
    remove(path);
    if (lay_keeper_open(path, &o, &k, &err) != LAY_OK) fail_msg("%s", err.message);
    assert_int_equal(lay_keeper_add(k, x, (size_t)frames, &err), LAY_OK);
    assert_true(lay_keeper_frames(k) <= frames);
    assert_int_equal(lay_read_file(path, 1u << 24, &data, &length, &err), LAY_OK);
    assert_int_equal(lay_keeper_close(k, &err), LAY_OK);
    free(path);
    path = lay_strdup(scratch_file("left.wav", data, length));
    free(data);
    return path;
}

static int64_t frames_of(const char *path) {
    SF_INFO info = {0};
    SNDFILE *file = sf_open(path, SFM_READ, &info);
    assert_non_null(file);
    sf_close(file);
    return info.frames;
}

static void every_sample_in_the_file_is_told_of(void **state) {
    (void)state;
    static int32_t x[FRAMES * CHANNELS];
    for (int bits = 16; bits <= 32; bits += 8) {
        lay_error err = {0};
        int64_t more = -1;
        char *path = left_by_a_crash(bits, FRAMES);
        int64_t before = frames_of(path);
        assert_true(before < FRAMES && before > FRAMES - RATE / 4 - 1);
        assert_int_equal(lay_recording_rescue(path, &more, &err), LAY_OK);
        assert_int_equal(more, FRAMES - before);
        SF_INFO info = {0};
        SNDFILE *file = sf_open(path, SFM_READ, &info);
        assert_int_equal(info.frames, FRAMES);
        assert_int_equal(sf_readf_int(file, x, FRAMES), FRAMES);
        sf_close(file);
        for (int i = 0; i < FRAMES * CHANNELS; i++) {
            int32_t said = sample(i / CHANNELS, i % CHANNELS);
            assert_int_equal(x[i], bits == 16 ? said & ~0xffff : said);
        }
        assert_int_equal(lay_recording_rescue(path, &more, &err), LAY_OK);
        assert_int_equal(more, 0);
        lay_recording *rec = NULL;
        assert_int_equal(lay_recording_open(path, 0, &rec, &err), LAY_OK);
        assert_string_equal(lay_recording_comment(rec), "gear=3; load=drive");
        lay_recording_close(rec);
        free(path);
    }
}

/* Cut anywhere, half a frame included: what is whole is told of. */
static void a_torn_end_does_not_matter(void **state) {
    (void)state;
    lay_error err = {0};
    char *path = left_by_a_crash(24, FRAMES), *data;
    size_t length;
    assert_int_equal(lay_read_file(path, 1u << 24, &data, &length, &err), LAY_OK);
    free(path);
    for (size_t cut = 0; cut < 40; cut++) {
        int64_t more;
        path = lay_strdup(scratch_file("torn.wav", data, length - cut));
        assert_int_equal(lay_recording_rescue(path, &more, &err), LAY_OK);
        int64_t whole = FRAMES - (int64_t)(cut + 3 * CHANNELS - 1) / (3 * CHANNELS);
        assert_in_range(frames_of(path), whole - 1, whole);
        free(path);
    }
    free(data);
}

/* Beyond 4 GiB the sizes stand elsewhere; the form is the same for a small file that says so. */
static void the_form_without_a_limit_is_known(void **state) {
    (void)state;
    enum { TOLD = 1000, MORE = 77 };
    lay_error err = {0};
    int64_t more;
    int16_t x[TOLD] = {0};
    char *path = lay_strdup(scratch_path("large.wav"));
    SF_INFO info = {.samplerate = RATE, .channels = 1, .format = SF_FORMAT_RF64 | SF_FORMAT_PCM_16};
    SNDFILE *file = sf_open(path, SFM_WRITE, &info);
    assert_int_equal(sf_writef_short(file, x, TOLD), TOLD);
    sf_close(file);
    FILE *end = fopen(path, "ab");
    assert_int_equal(fwrite(x, 2, MORE, end), MORE);
    fclose(end);
    assert_int_equal(frames_of(path), TOLD);
    assert_int_equal(lay_recording_rescue(path, &more, &err), LAY_OK);
    assert_int_equal(more, MORE);
    assert_int_equal(frames_of(path), TOLD + MORE);
    free(path);
}

/* Whatever stands in the header, the samples stay as they are. */
static void damaged_headers_cost_no_sample(void **state) {
    (void)state;
    lay_error err = {0};
    lay_random random;
    lay_random_seed(&random, 3);
    char *path = left_by_a_crash(16, 2500), *data, *after;
    size_t length, after_length, header;
    assert_int_equal(lay_read_file(path, 1u << 24, &data, &length, &err), LAY_OK);
    free(path);
    header = length - 2500 * 2 * CHANNELS;
    for (int i = 0; i < 2000; i++) {
        int64_t more;
        char *damaged = malloc(length);
        memcpy(damaged, data, length);
        for (int k = lay_random_int(&random, 1, 4); k > 0; k--)
            damaged[lay_random_int(&random, 0, (int)header - 1)] = (char)lay_random_bits(&random);
        path = lay_strdup(scratch_file("damaged.wav", damaged, length));
        assert_int_equal(lay_recording_rescue(path, &more, &err), LAY_OK);
        assert_int_equal(lay_read_file(path, 1u << 24, &after, &after_length, &err), LAY_OK);
        assert_int_equal(after_length, length);
        assert_memory_equal(after + header, data + header, length - header);
        free(after);
        free(damaged);
        free(path);
    }
    free(data);
}

static void other_files_are_left_alone(void **state) {
    (void)state;
    static const char *const texts[] = {"", "RF64", "RIFF....WAVEdata", "RF64....WAVEds64....", "the hill, once"};
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        lay_error err = {0};
        int64_t more = -1;
        size_t length;
        char *path = lay_strdup(scratch_text("other.wav", texts[i])), *data;
        assert_int_equal(lay_recording_rescue(path, &more, &err), LAY_OK);
        assert_int_equal(more, 0);
        assert_int_equal(lay_read_file(path, 1000, &data, &length, &err), LAY_OK);
        assert_string_equal(data, texts[i]);
        free(data);
        free(path);
    }
    lay_error err = {0};
    int64_t more;
    assert_int_equal(lay_recording_rescue(scratch_path("none.wav"), &more, &err), LAY_BAD_INPUT);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_sample_in_the_file_is_told_of), cmocka_unit_test(a_torn_end_does_not_matter),
        cmocka_unit_test(the_form_without_a_limit_is_known),   cmocka_unit_test(damaged_headers_cost_no_sample),
        cmocka_unit_test(other_files_are_left_alone),
    };
    return cmocka_run_group_tests(tests, scratch_setup, scratch_teardown);
}
