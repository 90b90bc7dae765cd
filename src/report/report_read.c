/* A report of an earlier diagnosis, read back. */
#include <layshaft/report.h>

#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <strings.h>

#define LONGEST ((size_t)64 << 20)

static bool is(const json_t *text, const char *part) {
    const char *s = json_string_value(text);
    return s != NULL && strcasecmp(s, part) == 0;
}

static bool among(const json_t *names, const char *part) {
    size_t i;
    const json_t *name;
    json_array_foreach(names, i, name) {
        if (is(name, part)) return true;
    }
    return false;
}

static void tell_named(const json_t *suspects, const char *part, bool outside, lay_told *out) {
    size_t i;
    const json_t *s;
    json_array_foreach(suspects, i, s) {
        const json_t *name = json_object_get(s, "part");
        bool self = is(name, part) || (outside && json_is_null(name));
        bool twin = i == 0 && among(json_object_get(s, "not_separable_from"), part);
        if (!self && !twin) continue;
        out->named = twin ? LAY_NAMED_TWIN : i == 0 ? LAY_NAMED_FIRST : LAY_NAMED_LISTED;
        out->probability = json_number_value(json_object_get(s, "probability"));
        return;
    }
}

static void tell_state(const json_t *parts, const char *part, lay_told *out) {
    size_t i;
    const json_t *f;
    json_array_foreach(parts, i, f) {
        const char *state = json_string_value(json_object_get(f, "state"));
        if (is(json_object_get(f, "part"), part) && state != NULL) snprintf(out->state, sizeof out->state, "%s", state);
    }
}

lay_status lay_report_tell(const char *path, const char *part, bool outside, lay_told *out, lay_error *err) {
    char *text = NULL;
    size_t length = 0;
    *out = (lay_told){.named = LAY_NAMED_NO, .probability = NAN};
    lay_status status = lay_read_file(path, LONGEST, &text, &length, err);
    if (status != LAY_OK) return status;
    json_t *root = json_loadb(text, length, 0, NULL);
    const json_t *verdict = json_object_get(root, "verdict");
    const char *outcome = json_string_value(json_object_get(verdict, "outcome"));
    if (outcome == NULL) {
        status = lay_fail_file(err, LAY_BAD_INPUT, path, "this is no report of a diagnosis; diagnose the job again");
    } else {
        snprintf(out->outcome, sizeof out->outcome, "%s", outcome);
        if (part != NULL && part[0]) tell_named(json_object_get(verdict, "suspects"), part, outside, out);
        if (part != NULL && part[0]) tell_state(json_object_get(verdict, "parts"), part, out);
    }
    json_decref(root);
    free(text);
    return status;
}
