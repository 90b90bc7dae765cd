/* The checks in words: one sentence for each problem, with what to do about it. */
#include <layshaft/signal.h>

#include <inttypes.h>
#include <math.h>

static const double few_clipped = 1e-5;                    /* share of samples that does no harm */
static const double least_dc_share = 0.1, least_dc = 1e-4; /* of rms; of full scale */

static const char *plural(int64_t n) {
    return n == 1 ? "" : "s";
}

static void describe_clipping(const lay_channel_check *check, int channel, int64_t frames, lay_text *out) {
    double share = frames > 0 ? (double)check->clipped / (double)frames : 1;
    if (check->clipped == 0) return;
    if (share < few_clipped)
        lay_text_add(out,
                     "channel %d: %" PRId64
                     " samples are clipped at %.3g of full scale, too few to do harm; turn the input "
                     "level down a little next time\n",
                     channel, check->clipped, check->clip_level);
    else
        lay_text_add(out,
                     "channel %d: %" PRId64
                     " samples (%.2g %%) are clipped at %.3g of full scale, which makes lines that "
                     "are not in the noise: turn the input level down and record again\n",
                     channel, check->clipped, 100 * share, check->clip_level);
}

static void describe_losses(const lay_channel_check *check, int channel, lay_text *out) {
    if (check->not_a_number > 0)
        lay_text_add(out,
                     "channel %d: %" PRId64 " sample%s not a usable number and count as nothing: export the recording "
                     "again\n",
                     channel, check->not_a_number, check->not_a_number == 1 ? " is" : "s are");
    if (check->dropouts > 0)
        lay_text_add(
            out,
            "channel %d: the signal stands still %d time%s, %.3g s in all (drop-outs): check the cable and plugs, "
            "close other programs, and record again\n",
            channel, check->dropouts, plural(check->dropouts), check->dropout_s);
}

static void describe_setting(const lay_channel_check *check, int channel, lay_text *out) {
    if (fabs(check->dc) > least_dc_share * check->rms && fabs(check->dc) > least_dc)
        lay_text_add(
            out,
            "channel %d: the signal is off zero by %.2g of full scale; that does not disturb the analysis, but it "
            "brings clipping nearer: check the sensor's supply and use AC coupling\n",
            channel, check->dc);
    if (check->gain_steps_db > 0)
        lay_text_add(
            out,
            "channel %d: the whole level jumps by up to %.0f dB again and again, as automatic gain does: switch "
            "automatic gain off and record again\n",
            channel, check->gain_steps_db);
    if (check->mains_hz > 0)
        lay_text_add(
            out,
            "channel %d: mains hum at %.0f Hz and its multiples, up to %.0f dB above the noise: run the recorder "
            "from its battery or ground the sensor; no hum if a shaft turns at %.0f rpm\n",
            channel, check->mains_hz, check->mains_db, 60 * check->mains_hz);
}

void lay_check_describe(const lay_channel_check *check, int channel, double rate, int64_t frames, lay_text *out) {
    (void)rate;
    if (check->silent) {
        describe_losses(&(lay_channel_check){.not_a_number = check->not_a_number}, channel, out);
        lay_text_add(out, "channel %d: there is no signal: check sensor, cable and input, and record again\n", channel);
        return;
    }
    describe_clipping(check, channel, frames, out);
    describe_losses(check, channel, out);
    describe_setting(check, channel, out);
}
