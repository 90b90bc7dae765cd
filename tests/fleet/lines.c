/* One job in one line: as JSON, and in words where the verdict was wrong. */
#include "impulses.h"
#include "tally.h"

#include <string.h>

/* Names come from our own random units and hold neither quotes nor backslashes; messages may. */
static void print_text(FILE *out, const char *key, const char *text) {
    fprintf(out, ",\"%s\":\"", key);
    for (; *text; text++)
        if (*text == '"' || *text == '\\')
            fprintf(out, "\\%c", *text);
        else if ((unsigned char)*text >= 0x20)
            fputc(*text, out);
    fputc('"', out);
}

static void print_verdict(const fleet_result *r, FILE *out) {
    print_text(out, "fault", lay_fault_kind_name((lay_fault_kind)r->fault_kind));
    fprintf(out, ",\"faults\":%d,\"strength_db\":%.2f,\"runs\":%d", r->fault_count, r->strength_db, r->run_count);
    print_text(out, "truth", lay_outcome_name(r->truth));
    print_text(out, "truth_part", r->truth_part);
    print_text(out, "truth_kind", r->truth_kind);
    print_text(out, "truth_body", r->truth_body);
    print_text(out, "outcome", lay_outcome_name(r->outcome));
    print_text(out, "part", r->first_part);
    print_text(out, "kind", r->first_kind);
    print_text(out, "body", r->first_body);
    fprintf(out,
            ",\"right_part\":%d,\"right_kind\":%d,\"right_body\":%d,\"listed\":%d,\"twins\":%d,\"twins_named\":%d,"
            "\"probabilities\":[",
            r->right_part, r->right_kind, r->right_body, r->listed, r->twin_count, r->twins_named);
    for (int i = 0; i < r->suspect_count; i++) fprintf(out, "%s%.3f", i ? "," : "", r->probability[i]);
    fprintf(out, "]");
}

void fleet_result_print(const fleet_result *r, FILE *out) {
    fprintf(out, "{\"seed\":%llu", (unsigned long long)r->seed);
    print_text(out, "world", lay_world_name((lay_world)r->world));
    if (r->failed) {
        print_text(out, "error", r->message);
        fprintf(out, "}\n");
        return;
    }
    if (r->run_count > 0) print_verdict(r, out);
    if (r->twin.there)
        fprintf(out, ",\"with_tach\":{\"outcome\":\"%s\",\"right_part\":%d}", lay_outcome_name(r->twin.outcome),
                r->twin.right_part);
    if (r->speed_count > 0) {
        fprintf(out, ",\"speed\":[");
        fleet_speed_json(r->speeds, r->speed_count, out);
        fprintf(out, "]");
    }
    fprintf(out, ",\"simulate_s\":%.3f,\"diagnose_s\":%.3f}\n", r->simulate_s, r->diagnose_s);
}

static bool wrong(const fleet_result *r) {
    if (r->failed) return true;
    if (r->truth != LAY_ATTENTION) return r->outcome != r->truth;
    if (fleet_impulsive(r->fault_kind)) return fleet_impulse_mark(r) != FLEET_RIGHT;
    return r->outcome != LAY_ATTENTION || !r->right_part;
}

static void print_part(FILE *out, const char *kind, const char *part, const char *body) {
    fprintf(out, "%s \"%s\"", kind, part);
    if (body[0]) fprintf(out, " (%s)", body);
}

void fleet_wrong_print(const fleet_result *r, FILE *out) {
    if (!wrong(r) || (r->run_count == 0 && !r->failed)) return;
    fprintf(out, "seed %llu %s, true ", (unsigned long long)r->seed, lay_world_name((lay_world)r->world));
    if (r->failed) {
        fprintf(out, "unknown: %s\n", r->message);
        return;
    }
    fprintf(out, "%s", lay_outcome_name(r->truth));
    if (r->fault_count > 0) {
        fprintf(out, ": ");
        print_part(out, r->truth_kind, r->truth_part, r->truth_body);
        fprintf(out, " %.1f dB", r->strength_db);
        if (r->fault_count > 1) fprintf(out, " and %d more", r->fault_count - 1);
    }
    fprintf(out, "; said %s", lay_outcome_name(r->outcome));
    if (r->suspect_count > 0) {
        fprintf(out, ": ");
        print_part(out, r->first_kind, r->first_part, r->first_body);
        fprintf(out, " p %.2f%s", r->probability[0], r->listed && !r->right_part ? ", the true part further down" : "");
    }
    fprintf(out, "\n");
}
