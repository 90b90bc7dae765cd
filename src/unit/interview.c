/* The interview as a whole, and the file that comes of it. */
#include "interview.h"

#include <stdlib.h>
#include <string.h>

void interview_add(lay_text *section, bool open, const char *fmt, ...) {
    lay_text text = {0};
    va_list args;
    va_start(args, fmt);
    lay_text_addv(&text, fmt, args);
    va_end(args);
    if (text.failed) section->failed = true;
    for (const char *at = text.text; at && *at;) {
        size_t n = strcspn(at, "\n");
        lay_text_add(section, "%s%.*s\n", open && n > 0 ? "; " : "", (int)n, at);
        at += n + (at[n] == '\n');
    }
    lay_text_free(&text);
}

const char *interview_ordinal(int gear) {
    static const char *const words[INTERVIEW_GEARS] = {"first", "second",  "third",  "fourth", "fifth",
                                                       "sixth", "seventh", "eighth", "ninth",  "tenth"};
    return words[gear >= 1 && gear <= INTERVIEW_GEARS ? gear - 1 : 0];
}

void interview_compile(const interview *iv, const char *more, lay_text *out) {
    const lay_text *const sections[] = {&iv->train, &iv->locks, &iv->rest, &iv->bearings};
    lay_text_add(
        out,
        "; What is inside this transmission. Lines behind ; or # are notes; edit it with any editor and try it\n"
        "; with 'layshaft orders'. Count teeth on the parts in hand: one tooth wrong moves every line.\n\n"
        "[unit]\nname = %s\ndriven by = input shaft           ; the reference: it turns at order 1\n"
        "output = %s\n",
        iv->name.text ? iv->name.text : "unit", iv->output);
    for (size_t i = 0; i < sizeof sections / sizeof sections[0]; i++) {
        if (sections[i]->failed) out->failed = true;
        if (sections[i]->length > 0) lay_text_add(out, "%s", sections[i]->text);
    }
    if (more) lay_text_add(out, "%s", more);
}

static lay_status solve_all(const lay_unit *unit, lay_error *why) {
    lay_status status = LAY_OK;
    for (size_t g = 0; g < unit->gear_count && status == LAY_OK; g++) {
        lay_kinematics k;
        status = lay_unit_solve(unit, (int)g, &k, why);
        if (status == LAY_OK) lay_kinematics_free(&k);
    }
    return status;
}

lay_status interview_try(const interview *iv, const char *more, lay_error *why) {
    lay_text text = {0};
    lay_unit *unit = NULL;
    interview_compile(iv, more, &text);
    lay_status status = text.failed ? lay_fail(why, LAY_NO_MEMORY, "not enough memory")
                                    : lay_unit_parse(text.text, text.length, "answers", &unit, why);
    if (status == LAY_OK) status = solve_all(unit, why);
    lay_unit_free(unit);
    lay_text_free(&text);
    return status;
}

static void free_all(interview *iv) {
    lay_text *const texts[] = {&iv->name, &iv->train, &iv->locks, &iv->rest, &iv->bearings};
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) lay_text_free(texts[i]);
}

lay_status lay_unit_interview(lay_ask ask, void *user, lay_text *file, lay_text *open, lay_text *odd, lay_error *err) {
    interview iv = {.ask = ask, .user = user, .err = err, .open = open, .odd = odd};
    lay_status status = interview_name(&iv, "What is the unit called?", "My transmission", &iv.name);
    if (status == LAY_OK) status = interview_train(&iv);
    if (status == LAY_OK) status = interview_outside(&iv);
    if (status == LAY_OK) status = interview_bearings(&iv);
    if (status == LAY_OK) status = interview_try(&iv, NULL, err);
    if (status == LAY_OK) {
        interview_compile(&iv, NULL, file);
        if (file->failed || open->failed || odd->failed) status = lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    }
    free_all(&iv);
    return status;
}
