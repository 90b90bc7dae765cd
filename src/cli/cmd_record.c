/* layshaft record: recordings into a job, with a row in runs.csv for each. */
#include "commands.h"
#include "record.h"
#include "sound.h"
#include "terminal.h"

/* ---- what is asked for ---- */

static int run(const lay_record_options *o, const char *folder) {
    lay_record_job job = {.options = o, .folder = folder};
    lay_text out = {0};
    lay_error err = {0};
    lay_status status = lay_record_open(&job, &err);
    if (status == LAY_OK)
        status = o->rescue                  ? lay_record_rescue(&job, &out, &err)
                 : o->calibrate             ? lay_record_calibrate(&job, &out, &err)
                 : lay_record_is_walk(&job) ? lay_record_walk(&job, &err)
                                            : lay_record_one(&job, o->gear, o->load, &out, &err);
    int exit_status = out.length > 0 ? lay_cli_print(&out) : 0;
    if (status != LAY_OK) exit_status = lay_cli_finish(status, &err);
    lay_text_free(&out);
    lay_record_close(&job);
    return exit_status;
}

static const char about[] =
    "Records from a sound device into a job: a folder with unit.ini. Each recording becomes a new file and a row of "
    "runs.csv; no file is ever overwritten. Meters show the level of every channel, a channel that clips or hears "
    "nothing, and the speed a tach gives, before you drive and while you do. Enter or space starts and stops. "
    "Without --gear it walks through the recordings that 'layshaft plan' asks for. "
    "Whatever ends the program, what was recorded until then stays readable, but for the last second at most; "
    "--rescue puts in order what a crash left. Calibrate before you drive, and again after a change of gain.";
static const char examples[] = "  layshaft record third-whine --gear 3 --load drive --seconds 30\n"
                               "  layshaft record third-whine --calibrate 94 --channel 1\n"
                               "  layshaft record third-whine --gear 4 --load coast --tach-channel 2\n";

static const char *conflict(const lay_record_options *o, int count) {
    if (count == 0) return "JOB is missing: the folder to record into";
    if (o->calibrate && o->rescue) return "--calibrate and --rescue exclude each other";
    if (o->pulses_per_rev > 0 && o->tach_channel == 0) return "--pulses-per-rev needs --tach-channel";
    if (o->tach_on && o->tach_channel == 0) return "--tach-on needs --tach-channel";
    return NULL;
}

int lay_cmd_record(int argc, char **argv) {
    lay_record_options o = {.countdown = 3, .bits = LAY_RECORD_BITS_USUAL};
    const lay_option options[] = {
        {"gear", LAY_OPTION_TEXT, &o.gear, "GEAR", "gear that is driven", 0, 0, NULL},
        {"load", LAY_OPTION_TEXT, &o.load, "LOAD", "drive, coast, steady or none", 0, 0, NULL},
        {"rpm", LAY_OPTION_TEXT, &o.rpm, "RPM", "speed of the reference shaft, about: 2110 or 1200-3200", 0, 0, NULL},
        {"road-speed", LAY_OPTION_TEXT, &o.road_speed, "V", "road speed with its unit, such as '62 km/h'", 0, 0, NULL},
        {"note", LAY_OPTION_TEXT, &o.note, "TEXT", "kept in the row and in the file", 0, 0, NULL},
        {"seconds", LAY_OPTION_NUMBER, &o.seconds, "S", "stop after so long (default: by key or Ctrl-C)", 0.1, 1e6,
         NULL},
        {"countdown", LAY_OPTION_NUMBER, &o.countdown, "S", "from the key to the start (default 3)", 0, 3600, NULL},
        {"now", LAY_OPTION_FLAG, &o.now, NULL, "start at once, without waiting for a key", 0, 0, NULL},
        {"device", LAY_OPTION_TEXT, &o.device, "NAME", "sound device, by its number or part of its name", 0, 0, NULL},
        {"devices", LAY_OPTION_FLAG, &o.devices, NULL, "list the devices that record and stop", 0, 0, NULL},
        {"rate", LAY_OPTION_NUMBER, &o.rate, "HZ", "samples per second (default the device's own)", 1000, 1e6, NULL},
        {"channels", LAY_OPTION_COUNT, &o.channels, "N", "how many (default all, 2 at most)", 1, 1024, NULL},
        {"bits", LAY_OPTION_CHOICE, &o.bits, LAY_RECORD_BITS, "of a sample (default 24)", 0, 0, NULL},
        {"channel", LAY_OPTION_TEXT, &o.channel, "C",
         "channels to analyse later: 1 or 1+3 (default all but the tach); to calibrate: one", 0, 0, NULL},
        {"sensor", LAY_OPTION_TEXT, &o.sensor, "SENSOR", "accel or mic", 0, 0, NULL},
        {"tach-channel", LAY_OPTION_COUNT, &o.tach_channel, "N", "channel that holds tach pulses, from 1", 1, 1024,
         NULL},
        {"pulses-per-rev", LAY_OPTION_NUMBER, &o.pulses_per_rev, "P", "tach pulses per turn (default 1)", 0.01, 3600,
         NULL},
        {"tach-on", LAY_OPTION_TEXT, &o.tach_on, "BODY", "body the tach looks at (default the reference)", 0, 0, NULL},
        {"calibrate", LAY_OPTION_TEXT, &o.calibrate, "LEVEL",
         "record a calibrator: 94 (dB re 20 uPa), '1 Pa' or '10 m/s2' (rms)", 0, 0, NULL},
        {"rescue", LAY_OPTION_FLAG, &o.rescue, NULL, "put in order what a crash left in JOB", 0, 0, NULL},
        {"colour", LAY_OPTION_CHOICE, &o.colour, LAY_COLOUR_WORDS, "colour in the text (default auto)", 0, 0, NULL},
    };
    const lay_usage usage = {.command = "record",
                             .synopsis = "[options] JOB\n",
                             .about = about,
                             .examples = examples,
                             .options = options,
                             .option_count = sizeof options / sizeof options[0],
                             .operands_high = 1};
    char **operands;
    int count;
    int exit_status = lay_options_begin(&usage, argc, argv, &o.common, &operands, &count);
    if (exit_status >= 0) return exit_status;
    if (o.devices) return lay_sound_print_devices(true);
    const char *wrong = conflict(&o, count);
    return wrong ? lay_cli_usage_error(&usage, "%s", wrong) : run(&o, operands[0]);
}
