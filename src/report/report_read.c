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

/* The verdict of the report at `path` in *root, which the caller drops. */
static lay_status read_verdict(const char *path, json_t **root, const json_t **verdict, lay_error *err) {
    char *text = NULL;
    size_t length = 0;
    *root = NULL;
    lay_status status = lay_read_file(path, LONGEST, &text, &length, err);
    if (status != LAY_OK) return status;
    *root = json_loadb(text, length, 0, NULL);
    *verdict = json_object_get(*root, "verdict");
    free(text);
    if (json_string_value(json_object_get(*verdict, "outcome")) != NULL) return LAY_OK;
    json_decref(*root);
    *root = NULL;
    return lay_fail_file(err, LAY_BAD_INPUT, path, "this is no report of a diagnosis; diagnose the job again");
}

lay_status lay_report_tell(const char *path, const char *part, bool outside, lay_told *out, lay_error *err) {
    json_t *root;
    const json_t *verdict;
    *out = (lay_told){.named = LAY_NAMED_NO, .probability = NAN};
    lay_status status = read_verdict(path, &root, &verdict, err);
    if (status != LAY_OK) return status;
    snprintf(out->outcome, sizeof out->outcome, "%s", json_string_value(json_object_get(verdict, "outcome")));
    if (part != NULL && part[0]) tell_named(json_object_get(verdict, "suspects"), part, outside, out);
    if (part != NULL && part[0]) tell_state(json_object_get(verdict, "parts"), part, out);
    json_decref(root);
    return LAY_OK;
}

lay_status lay_report_asked(const char *path, lay_strings *out, lay_error *err) {
    json_t *root;
    const json_t *verdict, *item;
    size_t i;
    *out = (lay_strings){0};
    lay_status status = read_verdict(path, &root, &verdict, err);
    if (status != LAY_OK) return status;
    json_array_foreach(json_object_get(verdict, "add"), i, item) {
        if (status == LAY_OK && json_is_string(item)) status = lay_strings_add(out, err, "%s", json_string_value(item));
    }
    if (status != LAY_OK) lay_strings_free(out);
    json_decref(root);
    return status;
}
