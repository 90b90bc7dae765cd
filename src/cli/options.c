#include "options.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define NAMES_MAX 64

void lay_options_common(lay_option rows[LAY_COMMON_ROWS], lay_common *common) {
    static lay_common nowhere; /* never written: rows made for their words are not parsed */
    lay_common *c = common != NULL ? common : &nowhere;
    const lay_option all[LAY_COMMON_ROWS] = {
        {.name = "json", .value = &c->json, .help = "print one JSON object on standard output and nothing else"},
        {.name = "quiet", .value = &c->quiet, .help = "print only the result and errors"},
        {.name = "help", .value = &c->help, .help = "show this help"},
        {.name = "version", .value = &c->version, .help = "show the version"},
    };
    memcpy(rows, all, sizeof all);
}

/* What parsing carries along. */
typedef struct parser {
    const lay_usage *usage;
    lay_option common[LAY_COMMON_ROWS];
    lay_error *err;
} parser;

static const lay_option *row(const parser *p, size_t index) {
    if (index < p->usage->option_count) return &p->usage->options[index];
    return index < p->usage->option_count + LAY_COMMON_ROWS ? &p->common[index - p->usage->option_count] : NULL;
}

static const lay_option *find(const parser *p, const char *name, size_t length) {
    const lay_option *o;
    for (size_t i = 0; (o = row(p, i)) != NULL; i++)
        if (strlen(o->name) == length && strncmp(o->name, name, length) == 0) return o;
    return NULL;
}

static lay_status unknown(const parser *p, const char *argument, size_t length) {
    const char *names[NAMES_MAX];
    char word[64];
    size_t count = 0;
    const lay_option *o;
    for (size_t i = 0; (o = row(p, i)) != NULL && count < NAMES_MAX; i++) names[count++] = o->name;
    snprintf(word, sizeof word, "%.*s", (int)(length < 60 ? length : 60), argument + 2);
    const char *near = lay_nearest(word, names, count);
    if (near != NULL)
        return lay_fail(p->err, LAY_BAD_USAGE, "there is no option '--%s' (did you mean '--%s'?)", word, near);
    return lay_fail(p->err, LAY_BAD_USAGE, "there is no option '--%s'", word);
}

static lay_status set_number(const parser *p, const lay_option *o, const char *text) {
    double value;
    bool whole = o->type == LAY_OPTION_COUNT;
    double low = o->low < o->high ? o->low
                 : whole          ? -1e9
                                  : -1e300,
           high = o->low < o->high ? o->high
                  : whole          ? 1e9
                                   : 1e300;
    if (!lay_parse_number(text, &value))
        return lay_fail(p->err, LAY_BAD_USAGE, "--%s needs a number, not '%.60s'", o->name, text);
    if (whole && (value < low || value > high || value != (double)(int)value))
        return lay_fail(p->err, LAY_BAD_USAGE, "--%s needs a whole number from %g to %g, not '%.60s'", o->name, low,
                        high, text);
    if (value < low || value > high)
        return lay_fail(p->err, LAY_BAD_USAGE, "--%s must lie between %g and %g, not '%.60s'", o->name, low, high,
                        text);
    if (whole)
        *(int *)o->value = (int)value;
    else
        *(double *)o->value = value;
    return LAY_OK;
}

static lay_status set_choice(const parser *p, const lay_option *o, const char *text) {
    int index = 0;
    for (const char *word = o->argument; word != NULL; index++) {
        size_t n = strcspn(word, "|");
        if (strlen(text) == n && strncmp(word, text, n) == 0) {
            *(int *)o->value = index;
            return LAY_OK;
        }
        word = word[n] == '|' ? word + n + 1 : NULL;
    }
    return lay_fail(p->err, LAY_BAD_USAGE, "--%s takes one of %s, not '%.60s'", o->name, o->argument, text);
}

static lay_status set(const parser *p, const lay_option *o, const char *text) {
    if (o->given != NULL) *o->given = true;
    switch (o->type) {
    case LAY_OPTION_FLAG:
        *(bool *)o->value = true;
        return LAY_OK;
    case LAY_OPTION_TEXT:
        if (*text == 0) return lay_fail(p->err, LAY_BAD_USAGE, "--%s needs a value, not an empty one", o->name);
        *(const char **)o->value = text;
        return LAY_OK;
    case LAY_OPTION_NUMBER:
    case LAY_OPTION_COUNT:
        return set_number(p, o, text);
    case LAY_OPTION_CHOICE:
        return set_choice(p, o, text);
    }
    return LAY_OK;
}

/* One argument that starts with "--"; *used tells whether the next one was its value. */
static lay_status parse_long(const parser *p, const char *argument, const char *next, bool *used) {
    size_t length = strcspn(argument, "=") - 2;
    const char *value = argument[length + 2] == '=' ? argument + length + 3 : NULL;
    const lay_option *o = find(p, argument + 2, length);
    *used = false;
    if (o == NULL) return unknown(p, argument, length);
    if (o->type == LAY_OPTION_FLAG && value != NULL)
        return lay_fail(p->err, LAY_BAD_USAGE, "--%s takes no value", o->name);
    if (o->type != LAY_OPTION_FLAG && value == NULL) {
        if (next == NULL)
            return lay_fail(p->err, LAY_BAD_USAGE, "--%s needs a value: --%s %s", o->name, o->name, o->argument);
        value = next;
        *used = true;
    }
    return set(p, o, value);
}

/* The last word of the first line of the synopsis: what the command works on. */
static void operand_name(const lay_usage *usage, char *out, size_t size) {
    size_t end = strcspn(usage->synopsis, "\n"), start = end;
    while (start > 0 && usage->synopsis[start - 1] != ' ') start--;
    snprintf(out, size, "%.*s", (int)(end - start), usage->synopsis + start);
}

static lay_status check_operands(const parser *p, char *const *operands, int count) {
    const lay_usage *u = p->usage;
    char name[40];
    operand_name(u, name, sizeof name);
    for (int i = 0; i < count; i++)
        if (operands[i][0] == 0) return lay_fail(p->err, LAY_BAD_USAGE, "a name on the command line is empty");
    if (count < u->operands_low) return lay_fail(p->err, LAY_BAD_USAGE, "%s is missing", name);
    if (u->operands_high >= 0 && count > u->operands_high)
        return lay_fail(p->err, LAY_BAD_USAGE, "'%.60s' is one name too many", operands[u->operands_high]);
    return LAY_OK;
}

lay_status lay_options_parse(const lay_usage *usage, int argc, char **argv, lay_common *common, char ***operands,
                             int *operand_count, lay_error *err) {
    parser p = {.usage = usage, .err = err};
    bool options = true;
    int count = 0;
    *common = (lay_common){0};
    lay_options_common(p.common, common);
    for (int i = 1; i < argc; i++) {
        bool used = false;
        lay_status status = LAY_OK;
        if (options && strcmp(argv[i], "--") == 0) {
            options = false;
        } else if (options && strncmp(argv[i], "--", 2) == 0) {
            status = parse_long(&p, argv[i], i + 1 < argc ? argv[i + 1] : NULL, &used);
        } else if (options && argv[i][0] == '-' && argv[i][1] != 0) {
            status = lay_fail(err, LAY_BAD_USAGE,
                              "there is no option '%.60s' (options have two dashes and whole words)", argv[i]);
        } else {
            argv[++count] = argv[i];
        }
        if (status != LAY_OK) return status;
        i += used;
    }
    *operands = argv + 1;
    *operand_count = count;
    return common->help || common->version ? LAY_OK : check_operands(&p, *operands, count);
}

int lay_options_begin(const lay_usage *usage, int argc, char **argv, lay_common *common, char ***operands,
                      int *operand_count) {
    lay_error err = {0};
    lay_text text = {0};
    if (lay_options_parse(usage, argc, argv, common, operands, operand_count, &err) != LAY_OK)
        return lay_cli_usage_error(usage, "%s", err.message);
    if (!common->help && !common->version) return -1;
    if (common->help)
        lay_options_help(usage, &text);
    else
        lay_text_add(&text, "layshaft %s\n", LAY_VERSION);
    int status = lay_cli_print(&text);
    lay_text_free(&text);
    return status;
}
