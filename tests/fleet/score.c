#include "score.h"

#include "clock.h"

#include <dirent.h>
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

void fleet_remove(const char *folder) {
    DIR *dir = opendir(folder);
    if (!dir) return;
    for (const struct dirent *e = readdir(dir); e; e = readdir(dir)) {
        char *path = lay_path_join(folder, e->d_name);
        if (path && strcmp(e->d_name, ".") != 0 && strcmp(e->d_name, "..") != 0) unlink(path);
        free(path);
    }
    closedir(dir);
    rmdir(folder);
}

static const char *text_of(const json_t *object, const char *key) {
    return json_string_value(json_object_get(object, key));
}

static bool same_text(const char *a, const char *b) {
    return a == b || (a && b && strcmp(a, b) == 0);
}

/* The suspect's part is the fault's, or no kinematics can tell the two apart. Whether that is so, the truth says; a
 * suspect cannot excuse itself. */
static bool same_part(const json_t *fault, const lay_suspect *s) {
    if (same_text(text_of(fault, "part"), s->part)) return true;
    size_t i;
    const json_t *twin;
    json_array_foreach(json_object_get(fault, "not_separable_from"), i, twin) {
        if (same_text(json_string_value(twin), s->part)) return true;
    }
    return false;
}

static const json_t *fault_of(const json_t *faults, const lay_suspect *s) {
    size_t i;
    const json_t *fault;
    json_array_foreach(faults, i, fault) {
        if (same_part(fault, s)) return fault;
    }
    return NULL;
}

static lay_outcome outcome_named(const char *name) {
    static const lay_outcome all[] = {LAY_ATTENTION, LAY_OUTSIDE, LAY_CLEAR, LAY_INCONCLUSIVE};
    for (int i = 0; i < 4; i++)
        if (same_text(name, lay_outcome_name(all[i]))) return all[i];
    return LAY_INCONCLUSIVE;
}

/* The first suspect names every part that cannot be told from the fault's: itself, or as not separable. */
static bool names_all(const json_t *fault, const lay_suspect *s) {
    size_t i, named = 0;
    const json_t *twins = json_object_get(fault, "not_separable_from"), *twin;
    const char *part = text_of(fault, "part");
    for (size_t k = 0; k < s->not_separable_from.count; k++) named += same_text(part, s->not_separable_from.items[k]);
    named += same_text(part, s->part);
    json_array_foreach(twins, i, twin) {
        bool found = same_text(json_string_value(twin), s->part);
        for (size_t k = 0; k < s->not_separable_from.count && !found; k++)
            found = same_text(json_string_value(twin), s->not_separable_from.items[k]);
        named += found;
    }
    return named == 1 + json_array_size(twins);
}

/* Of a bearing's ring nobody asks the body. */
static bool same_body(const json_t *fault, const lay_suspect *s) {
    bool ring = s->kind >= LAY_KIND_OUTER && s->kind <= LAY_KIND_CAGE;
    return ring || same_text(text_of(fault, "body"), s->body) ||
           (s->body && same_text(text_of(fault, "or_body"), s->body));
}

#define ONE_FLANK_DB 4.5 /* less apart, the sentence says both */

static void compare_flank(const json_t *fault, const lay_symptom *s, fleet_result *out) {
    const char *said = s->value > ONE_FLANK_DB ? "drive" : s->value < -ONE_FLANK_DB ? "coast" : "both";
    out->flank_said = true;
    out->flank_right = same_text(text_of(fault, "flank"), said);
}

static void compare_symptoms(const json_t *fault, const lay_suspect *s, fleet_result *out) {
    for (size_t i = 0; i < s->symptom_count; i++) {
        out->symptoms |= 1u << s->symptoms[i].kind;
        if (s->symptoms[i].kind == LAY_SYMPTOM_FLANK) compare_flank(fault, &s->symptoms[i], out);
        if (s->symptoms[i].body && strcmp(s->symptoms[i].body, out->condition_body) == 0)
            out->symptoms_at_body |= 1u << s->symptoms[i].kind;
    }
}

/* A claim is right within 4 % of a peak of the structure, or half its own width. */
static void compare_resonances(const json_t *truth, const lay_look *look, fleet_result *out) {
    for (size_t i = 0; look->answered && i < look->response.resonance_count; i++) {
        const lay_resonance *r = &look->response.resonances[i];
        bool right = false;
        size_t k;
        const json_t *peak;
        json_array_foreach(json_object_get(truth, "resonances"), k, peak) {
            double hz = json_number_value(json_object_get(peak, "hz")), off = hz > r->hz ? hz - r->hz : r->hz - hz;
            right = right || off < 0.04 * hz || off < 0.5 * r->width_hz;
        }
        out->resonances++;
        out->resonances_right += right;
    }
}

static void compare_first(const json_t *fault, const lay_suspect *s, fleet_result *out) {
    out->right_part = fault != NULL;
    out->right_kind = fault && same_text(text_of(fault, "kind"), lay_kind_name(s->kind));
    out->right_body = out->right_kind && same_body(fault, s);
    out->twins_named = fault && names_all(fault, s);
    snprintf(out->first_part, sizeof out->first_part, "%s", s->part ? s->part : "(unknown)");
    snprintf(out->first_kind, sizeof out->first_kind, "%s", lay_kind_name(s->kind));
    snprintf(out->first_body, sizeof out->first_body, "%s", s->body ? s->body : "");
}

static void compare(const json_t *truth, const lay_verdict *verdict, fleet_result *out) {
    const json_t *faults = json_object_get(truth, "faults"), *first = json_array_get(faults, 0);
    out->truth = outcome_named(text_of(truth, "outcome"));
    out->outcome = verdict->outcome;
    out->fault_count = (int)json_array_size(faults);
    if (first) {
        out->strength_db = json_number_value(json_object_get(first, "strength_db"));
        snprintf(out->truth_part, sizeof out->truth_part, "%s",
                 text_of(first, "part") ? text_of(first, "part") : "(unknown)");
        snprintf(out->truth_kind, sizeof out->truth_kind, "%s", text_of(first, "kind"));
        snprintf(out->truth_body, sizeof out->truth_body, "%s", text_of(first, "body") ? text_of(first, "body") : "");
        const char *condition = text_of(first, "condition"), *body = text_of(first, "condition_body");
        if (!body) body = text_of(first, "body");
        snprintf(out->condition, sizeof out->condition, "%s", condition ? condition : out->truth_kind);
        snprintf(out->condition_body, sizeof out->condition_body, "%s", body ? body : "");
        out->twin_count = (int)json_array_size(json_object_get(first, "not_separable_from"));
    }
    for (size_t i = 0; i < verdict->suspect_count && i < FLEET_SUSPECTS; i++) {
        const lay_suspect *s = &verdict->suspects[i];
        const json_t *fault = fault_of(faults, s);
        out->probability[i] = s->probability;
        out->right[i] = fault != NULL;
        out->listed = out->listed || fault;
        out->suspect_count++;
        if (i == 0) compare_first(fault, s, out);
        if (i == 0 && fault && fault == first) compare_symptoms(fault, s, out);
    }
}

/* What was said to be cleared against what is whole. */
static void compare_parts(const json_t *truth, const lay_verdict *verdict, fleet_result *out) {
    const json_t *faults = json_object_get(truth, "faults"), *fault;
    for (size_t i = 0; i < verdict->part_count; i++) {
        const lay_part_finding *f = &verdict->parts[i];
        bool faulty = false, cleared = f->state == LAY_STATE_CLEARED;
        size_t k;
        json_array_foreach(faults, k, fault) {
            faulty = faulty || same_text(text_of(fault, "part"), f->part);
        }
        out->faulty_parts += faulty;
        out->faulty_cleared += faulty && cleared;
        out->sound_parts += !faulty;
        out->sound_cleared += !faulty && cleared;
    }
}

static lay_status diagnose(const lay_job *job, const json_t *truth, fleet_result *out, lay_error *err) {
    lay_diagnosis diagnosis = {0};
    lay_analysis_options options = {.threads = 1};
    double start = fleet_now();
    lay_status status = lay_diagnose(job->unit, &job->table, &options, NULL, NULL, &diagnosis, err);
    out->diagnose_s = fleet_now() - start;
    out->run_count = (int)diagnosis.run_count;
    for (size_t i = 0; i < diagnosis.run_count && status == LAY_OK; i++)
        out->recorded_s += diagnosis.runs[i].duration_s;
    if (status == LAY_OK) compare(truth, &diagnosis.verdict, out);
    if (status == LAY_OK) compare_parts(truth, &diagnosis.verdict, out);
    if (status == LAY_OK) compare_resonances(truth, &diagnosis.look, out);
    lay_diagnosis_free(&diagnosis);
    return status;
}

static lay_status judge(const char *folder, const fleet_wish *wish, fleet_result *out, lay_error *err) {
    lay_job job = {0};
    char *path = lay_path_join(folder, "truth.json");
    json_t *truth = path ? json_load_file(path, 0, NULL) : NULL;
    lay_status status =
        truth ? lay_job_load(folder, &job, err) : lay_fail(err, LAY_IO, "no truth.json in the simulated job");
    if (status == LAY_OK && wish->verdict) status = diagnose(&job, truth, out, err);
    if (status == LAY_OK && wish->speed)
        status = fleet_speed_job(truth, job.unit, &job.table, out->speeds, &out->speed_count, err);
    lay_job_free(&job);
    json_decref(truth);
    free(path);
    return status;
}

static void one_job(const char *folder, const lay_sim_options *options, const fleet_wish *wish, fleet_result *out) {
    lay_error err = {0};
    lay_fault drawn[4] = {0};
    size_t count = 0;
    *out = (fleet_result){.seed = options->seed, .world = (int)options->world};
    double start = fleet_now();
    lay_status status = lay_sim_job(folder, NULL, options, drawn, &count, &err);
    out->simulate_s = fleet_now() - start;
    out->fault_kind = count > 0 ? (int)drawn[0].kind : LAY_FAULT_NONE;
    if (status == LAY_OK) status = judge(folder, wish, out, &err);
    out->failed = status != LAY_OK;
    if (out->failed) snprintf(out->message, sizeof out->message, "%.159s", err.message);
}

void fleet_job(const char *folder, const lay_sim_options *options, const fleet_wish *wish, fleet_result *out) {
    one_job(folder, options, wish, out);
    if (!wish->pair || out->failed) return;
    fleet_result twin;
    lay_sim_options with_tach = *options;
    with_tach.tach = true;
    with_tach.speed_given = LAY_GIVEN_STATED;
    char name[700];
    snprintf(name, sizeof name, "%s-tach", folder);
    one_job(name, &with_tach, &(fleet_wish){.verdict = true}, &twin);
    fleet_remove(name);
    out->twin = (fleet_twin){!twin.failed, twin.right_part, twin.outcome};
}
