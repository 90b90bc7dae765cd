/* layshaft watch: the parts of a unit while they turn, from a sound device or a file. */
#include "commands.h"
#include "sound.h"
#include "terminal.h"
#include "watch.h"

static const char about[] =
    "Shows, while it turns, how loud each part of the unit is at the orders it makes: a row per mesh, bearing and "
    "source outside the unit with its order, frequency, level, highest level, height over the noise, and change "
    "against a baseline: a recording of the same gear when it was good. A bearing makes no tone: its row tells how "
    "plainly blows stand at its rates, once a second. The speed comes from a tach, or a stated rpm that is made exact "
    "on the sound, or from the sound alone. A change above --alarm that lasts is an alarm. With a FILE the recording "
    "is watched as if live. Keys: h holds the screen, r resets the highest levels, n notes a moment, q ends; what was "
    "seen is summed up then.";
static const char examples[] = "  layshaft watch bench-five-speed.ini --gear 3 --rpm 2100\n"
                               "  layshaft watch unit.ini --gear 3 --tach-channel 2 --record run-in --load none\n"
                               "  layshaft watch unit.ini --gear 3 new.wav --rpm 2100 --baseline good.wav\n";

static const char *conflict(const lay_watch_options *o, int count) {
    if (count == 0) return "UNIT is missing: the unit file, or the job that holds it";
    if (count > 1 && o->into) return "--record is for a device; a FILE is recorded already";
    if (count > 1 && o->record.device) return "--device and a FILE exclude each other";
    if (count == 1 && o->pace_given) return "--pace is for a FILE; a device has its own";
    return NULL;
}

/* The row of a recording says what the command line does. */
static void share(lay_watch_options *o) {
    const lay_single *s = &o->single;
    o->record.gear = s->gear;
    o->record.load = s->load;
    o->record.rpm = s->rpm;
    o->record.channel = s->channel;
    o->record.sensor = s->sensor;
    o->record.tach_on = s->tach_on;
    o->record.tach_channel = s->tach_channel;
    o->record.pulses_per_rev = s->pulses_per_rev;
}

#define OWN_ROWS 13

int lay_cmd_watch(int argc, char **argv) {
    lay_watch_options o = {.limit_db = 6, .record.bits = LAY_RECORD_BITS_USUAL};
    lay_record_options *r = &o.record;
    lay_option options[OWN_ROWS + LAY_SINGLE_ROWS] = {
        {"baseline", LAY_OPTION_TEXT, &o.baseline, "FILE", "recording of the same gear when it was good", 0, 0, NULL},
        {"alarm", LAY_OPTION_NUMBER, &o.limit_db, "DB", "change against the baseline that alarms (default 6)", 0.5, 60,
         NULL},
        {"record", LAY_OPTION_TEXT, &o.into, "JOB", "record into this job at the same time", 0, 0, NULL},
        {"note", LAY_OPTION_TEXT, &r->note, "TEXT", "kept with the recording", 0, 0, NULL},
        {"seconds", LAY_OPTION_NUMBER, &r->seconds, "S", "end after so long", 0.1, 1e6, NULL},
        {"device", LAY_OPTION_TEXT, &r->device, "NAME", "sound device, by its number or part of its name", 0, 0, NULL},
        {"devices", LAY_OPTION_FLAG, &r->devices, NULL, "list the devices that record and stop", 0, 0, NULL},
        {"rate", LAY_OPTION_NUMBER, &r->rate, "HZ", "samples per second (default the device's own)", 1000, 1e6, NULL},
        {"channels", LAY_OPTION_COUNT, &r->channels, "N", "how many (default all, 2 at most)", 1, 1024, NULL},
        {"bits", LAY_OPTION_CHOICE, &r->bits, LAY_RECORD_BITS, "of the recording (default 24)", 0, 0, NULL},
        {"pace", LAY_OPTION_NUMBER, &o.pace, "X", "a FILE so many times as fast; 0: as fast as it goes (default 1)", 0,
         1000, &o.pace_given},
        {"no-window", LAY_OPTION_FLAG, &o.no_window, NULL, "no picture of the order spectrum", 0, 0, NULL},
        {"colour", LAY_OPTION_CHOICE, &r->colour, LAY_COLOUR_WORDS, "colour in the text (default auto)", 0, 0, NULL},
    };
    lay_single_options(&o.single, options + OWN_ROWS);
    const lay_usage usage = {.command = "watch",
                             .synopsis = "[options] UNIT\n[options] UNIT FILE\n",
                             .about = about,
                             .examples = examples,
                             .options = options,
                             .option_count = sizeof options / sizeof options[0],
                             .operands_high = 2};
    char **operands;
    int count;
    int exit_status = lay_options_begin(&usage, argc, argv, &r->common, &operands, &count);
    if (exit_status >= 0) return exit_status;
    if (r->devices) return lay_sound_print_devices(true);
    const char *wrong = conflict(&o, count);
    if (wrong) return lay_cli_usage_error(&usage, "%s", wrong);
    share(&o);
    return lay_watch_run(&o, operands, count);
}
