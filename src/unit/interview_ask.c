#include "interview.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static bool blank(char c) {
    return c == ' ' || c == '\t' || c == '\r' || c == '\n';
}

/* Takes the blanks at both ends off. */
static void trim(lay_text *t) {
    size_t from = 0;
    if (t->text == NULL) {
        lay_text_add(t, "%s", "");
        return;
    }
    while (t->length > 0 && blank(t->text[t->length - 1])) t->text[--t->length] = 0;
    while (from < t->length && blank(t->text[from])) from++;
    memmove(t->text, t->text + from, t->length - from + 1);
    t->length -= from;
}

lay_status interview_again(interview *iv, const char *question, const char *usual, const char *wrong,
                           lay_text *answer) {
    lay_text_free(answer);
    const lay_question q = {question, usual, wrong};
    lay_status status = iv->ask(iv->user, &q, answer, iv->err);
    if (status != LAY_OK) return status;
    trim(answer);
    if (!answer->failed && answer->length == 0 && usual) lay_text_add(answer, "%s", usual);
    return answer->failed ? lay_fail(iv->err, LAY_NO_MEMORY, "not enough memory") : LAY_OK;
}

lay_status interview_text(interview *iv, const char *question, const char *usual, lay_text *answer) {
    return interview_again(iv, question, usual, NULL, answer);
}

/* Signs that mean something in a unit file. */
static const char *wrong_name(const char *name, const char *usual) {
    if (!name[0] && !(usual && !usual[0])) return "it needs a name";
    if (strlen(name) > 60) return "60 letters are enough";
    if (strpbrk(name, ",;#[]=")) return "leave out , ; # [ ] and =";
    for (const char *c = name; *c; c++)
        if ((unsigned char)*c < 0x20 || *c == 0x7F) return "leave out control characters";
    return NULL;
}

lay_status interview_name(interview *iv, const char *question, const char *usual, lay_text *answer) {
    lay_status status = interview_text(iv, question, usual, answer);
    for (const char *wrong; status == LAY_OK && (wrong = wrong_name(answer->text, usual)) != NULL;)
        status = interview_again(iv, question, usual, wrong, answer);
    return status;
}

/* Whole numbers between blanks, commas, colons, slashes; how many there were, -1 when something else is among them. */
static int read_counts(const char *text, int *out, int most) {
    static const char between[] = " \t,:/";
    int n = 0;
    while (*(text += strspn(text, between))) {
        size_t digits = strspn(text, "0123456789");
        if (digits == 0 || digits > 6 || (text[digits] && !strchr(between, text[digits]))) return -1;
        if (n < most) out[n] = atoi(text);
        n++;
        text += digits;
    }
    return n;
}

lay_status interview_number(interview *iv, const char *question, const char *usual, int low, int high, int *out) {
    lay_text answer = {0};
    char wrong[80];
    snprintf(wrong, sizeof wrong, "a whole number from %d to %d is wanted", low, high);
    lay_status status = interview_text(iv, question, usual, &answer);
    while (status == LAY_OK && (read_counts(answer.text, out, 1) != 1 || *out < low || *out > high))
        status = interview_again(iv, question, usual, wrong, &answer);
    lay_text_free(&answer);
    return status;
}

static bool counts_fit(const interview_counts *ask, const char *text, int *out) {
    if (read_counts(text, out, ask->count) != ask->count) return false;
    for (int i = 0; i < ask->count; i++)
        if (out[i] < ask->low || out[i] > ask->high) return false;
    return true;
}

lay_status interview_teeth(interview *iv, const interview_counts *ask, int *out, bool *known, bool *none) {
    lay_text answer = {0};
    char wrong[140];
    snprintf(wrong, sizeof wrong, "%d whole numbers from %d to %d are wanted, or ?%s", ask->count, ask->low, ask->high,
             ask->may_be_none ? ", or -" : "");
    *known = *none = false;
    lay_status status = interview_text(iv, ask->question, NULL, &answer);
    while (status == LAY_OK) {
        *none = ask->may_be_none && strcmp(answer.text, "-") == 0;
        *known = counts_fit(ask, answer.text, out);
        if (*known || *none || strchr(answer.text, '?')) break;
        status = interview_again(iv, ask->question, NULL, wrong, &answer);
    }
    lay_text_free(&answer);
    return status;
}
