#include "words.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

/* printf takes the point from the locale of the host program; some locales use several bytes for it. */
static void plain_point(char *text) {
    char *to = text;
    bool in_point = false;
    for (const char *from = text; *from; from++) {
        bool digit = isdigit((unsigned char)*from) || *from == '-' || *from == '+' || *from == 'e';
        if (digit)
            *to++ = *from;
        else if (!in_point)
            *to++ = '.';
        in_point = !digit;
    }
    *to = 0;
}

lay_decimal lay_words_number(double value, int decimals) {
    lay_decimal d = {"-"};
    if (!isfinite(value)) return d;
    if (fabs(value) < 1e12)
        snprintf(d.text, sizeof d.text, "%.*f", decimals, value);
    else
        snprintf(d.text, sizeof d.text, "%.*e", decimals, value);
    plain_point(d.text);
    if (strspn(d.text, "-0.") == strlen(d.text) && d.text[0] == '-') memmove(d.text, d.text + 1, strlen(d.text));
    return d;
}

const char *lay_words_sure(double p) {
    static const struct {
        double least;
        const char *words;
    } scale[] = {
        {0.95, "almost certain"}, {0.85, "very likely"}, {0.65, "likely"}, {0.4, "possible"}, {0.1, "less likely"}};
    for (size_t i = 0; i < sizeof scale / sizeof scale[0]; i++)
        if (p >= scale[i].least) return scale[i].words;
    return "unlikely";
}

lay_decimal lay_words_percent(double p) {
    lay_decimal d = {"unknown"};
    if (!isfinite(p)) return d;
    if (p > 0.99) return (lay_decimal){"over 99 %"};
    if (p < 0.01) return (lay_decimal){"under 1 %"};
    snprintf(d.text, sizeof d.text, "%d %%", (int)lround(p * 100.0));
    return d;
}

const char *lay_words_kind(lay_kind kind) {
    static const char *const words[] = {
        [LAY_KIND_MESH] = "gear whine: the teeth of this pair sing",
        [LAY_KIND_ECCENTRIC] = "a wheel out of true: runout or a bent shaft",
        [LAY_KIND_CHIP] = "a damaged tooth: it knocks once per turn",
        [LAY_KIND_GHOST] = "a ghost tone left on a wheel by its finishing",
        [LAY_KIND_OUTER] = "bearing: damage on the outer race",
        [LAY_KIND_INNER] = "bearing: damage on the inner race",
        [LAY_KIND_ELEMENT] = "bearing: damage on a ball or roller",
        [LAY_KIND_CAGE] = "bearing: a worn or broken cage",
        [LAY_KIND_OUTSIDE] = "a source outside the transmission",
    };
    _Static_assert(sizeof words / sizeof words[0] == LAY_KIND_COUNT, "one wording per kind");
    return (unsigned)kind < LAY_KIND_COUNT ? words[kind] : "unknown";
}

const char *lay_words_outcome(lay_outcome outcome) {
    switch (outcome) {
    case LAY_ATTENTION:
        return "ATTENTION: a part of the transmission stands out";
    case LAY_OUTSIDE:
        return "OUTSIDE: the noise does not come from the transmission";
    case LAY_CLEAR:
        return "CLEAR: nothing stands out in these recordings";
    case LAY_INCONCLUSIVE:
        return "INCONCLUSIVE: these recordings cannot tell";
    }
    return "INCONCLUSIVE: no verdict";
}

const char *lay_words_load(lay_load load) {
    return load == LAY_LOAD_UNKNOWN ? "load not stated" : load == LAY_LOAD_NONE ? "no load" : lay_load_name(load);
}

const char *lay_words_speed_source(lay_speed_source source) {
    switch (source) {
    case LAY_SPEED_TACH:
        return "tach pulses";
    case LAY_SPEED_STATED:
        return "stated rpm";
    case LAY_SPEED_LOG:
        return "rpm log";
    case LAY_SPEED_SIGNAL:
        return "the recording itself";
    }
    return "unknown";
}

const char *lay_words_gear(const lay_unit *unit, const lay_run_spec *spec, const lay_run_evidence *run) {
    if (run->gear >= 0 && (size_t)run->gear < unit->gear_count) return unit->gears[run->gear].name;
    return spec->gear != NULL ? spec->gear : "";
}

const char *lay_words_body(const lay_unit *unit, int body) {
    return body >= 0 && (size_t)body < unit->body_count ? unit->bodies[body].name : NULL;
}

const char *lay_words_part(const lay_run_evidence *run, const lay_claim *claim) {
    if (claim->part < 0 || (size_t)claim->part >= run->expected_count) return NULL;
    return run->expected[claim->part].name;
}

int lay_words_firing(const lay_run_evidence *run, const lay_claim *claim) {
    if (claim->part < 0 || (size_t)claim->part >= run->expected_count) return 0;
    double multiple = claim->order / run->expected[claim->part].order;
    if (!(multiple > 0.5 && multiple < 1e6) || fabs(multiple - round(multiple)) > 1e-3) return 0;
    return (int)lround(multiple);
}

/* Firing and its multiples, or a multiple of the cycle between them. */
static void engine_words(const lay_run_evidence *run, const lay_claim *claim, lay_text *out) {
    int firing = lay_words_firing(run, claim);
    if (firing == 0)
        lay_text_add(out, "engine, order %s between firings", lay_words_number(claim->order, 1).text);
    else if (firing == 1)
        lay_text_add(out, "engine firing");
    else
        lay_text_add(out, "engine firing, harmonic %d", firing);
}

void lay_words_claim(const lay_unit *unit, const lay_run_evidence *run, const lay_claim *claim, lay_text *out) {
    const char *part = lay_words_part(run, claim), *body = lay_words_body(unit, claim->body);
    switch (claim->class_) {
    case LAY_LINE_GHOST:
        lay_text_add(out, "ghost: %d per turn of %s", claim->harmonic, body ? body : "a wheel");
        return;
    case LAY_LINE_SHAFT:
        lay_text_add(out, "%s turning", body ? body : part ? part : "a shaft");
        if (claim->harmonic > 1) lay_text_add(out, ", %d per turn", claim->harmonic);
        return;
    case LAY_LINE_ENGINE:
        engine_words(run, claim, out);
        return;
    case LAY_LINE_FIXED_HZ:
        lay_text_add(out, "fixed in Hz: mains or inverter");
        return;
    case LAY_LINE_UNKNOWN:
        lay_text_add(out, "unknown");
        return;
    default:
        break;
    }
    lay_text_add(out, "%s%s", claim->class_ == LAY_LINE_BEARING && part ? "bearing " : "",
                 part ? part : lay_line_class_name(claim->class_));
    if (claim->harmonic > 1) lay_text_add(out, ", harmonic %d", claim->harmonic);
    if (claim->sideband != 0) lay_text_add(out, ", %+d sideband (%s)", claim->sideband, body ? body : "?");
}
