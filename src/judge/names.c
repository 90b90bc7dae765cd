#include <layshaft/judge.h>

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>

static const char *const outcomes[] = {"attention", "outside", "clear", "inconclusive"};
static const char *const kinds[LAY_KIND_COUNT] = {"mesh",  "eccentric", "chip", "ghost",  "outer",
                                                  "inner", "element",   "cage", "outside"};

const char *lay_outcome_name(lay_outcome outcome) {
    return outcome <= LAY_INCONCLUSIVE ? outcomes[outcome] : "inconclusive";
}

const char *lay_kind_name(lay_kind kind) {
    return kind < LAY_KIND_COUNT ? kinds[kind] : "outside";
}

const char *lay_part_state_name(lay_part_state state) {
    static const char *const names[LAY_STATE_COUNT] = {"suspect", "open", "untested", "cleared"};
    return state < LAY_STATE_COUNT ? names[state] : "open";
}

lay_status lay_strings_add(lay_strings *list, lay_error *err, const char *fmt, ...) {
    lay_status status = lay_grow((void **)&list->items, &list->capacity, list->count, sizeof *list->items, err);
    if (status != LAY_OK) return status;
    lay_text text = {0};
    va_list args;
    va_start(args, fmt);
    lay_text_addv(&text, fmt, args);
    va_end(args);
    if (text.failed || !text.text) {
        lay_text_free(&text);
        return lay_fail(err, LAY_NO_MEMORY, "not enough memory for the text");
    }
    list->items[list->count++] = text.text;
    return LAY_OK;
}

void lay_strings_free(lay_strings *list) {
    for (size_t i = 0; i < list->count; i++) free(list->items[i]);
    free(list->items);
    *list = (lay_strings){0};
}

static void suspect_free(lay_suspect *s) {
    for (size_t i = 0; i < s->symptom_count; i++) {
        free(s->symptoms[i].text);
        free(s->symptoms[i].body);
    }
    free(s->symptoms);
    free(s->part);
    free(s->body);
    lay_strings_free(&s->reasons);
    lay_strings_free(&s->checks);
    lay_strings_free(&s->not_separable_from);
}

void lay_verdict_free(lay_verdict *verdict) {
    if (!verdict) return;
    for (size_t i = 0; i < verdict->suspect_count; i++) suspect_free(&verdict->suspects[i]);
    for (size_t i = 0; i < verdict->part_count; i++) free(verdict->parts[i].why);
    free(verdict->suspects);
    free(verdict->parts);
    free(verdict->summary);
    lay_strings_free(&verdict->add);
    *verdict = (lay_verdict){0};
}

void lay_diagnosis_free(lay_diagnosis *d) {
    if (!d) return;
    lay_verdict_free(&d->verdict);
    lay_look_free(&d->look);
    for (size_t i = 0; i < d->run_count; i++) lay_run_evidence_free(&d->runs[i]);
    free(d->runs);
    *d = (lay_diagnosis){0};
}
