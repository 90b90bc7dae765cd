/* The unit file: which sections and keys there are, and the order they are read in. */
#include "parser.h"

#include <stdlib.h>
#include <string.h>

#define FILE_LIMIT ((size_t)1 << 20)

struct key_rule {
    const char *name;
    const char *example; /* of a key that must be there; NULL: it may be left out */
    bool repeats;
};

struct section_rule {
    const char *kind;
    const char *label_example; /* NULL: the section has no name of its own */
    bool introduces;           /* names in it become bodies, so it is read before the others */
    lay_status (*read)(struct unit_parser *p, const struct unit_section *s);
    struct key_rule keys[10];
};

static const struct section_rule rules[] = {
    {"unit",
     NULL,
     true,
     unit_read_unit,
     {{"name", NULL, false}, {"driven by", "input shaft", false}, {"output", NULL, false}}},
    {"mesh",
     "third pair",
     true,
     unit_read_mesh,
     {{"driver", "countershaft, 27", false},
      {"driven", "third gear, 29", false},
      {"carrier", NULL, false},
      {"internal", NULL, false},
      {"wheels", NULL, false}}},
    {"gear", "3", false, unit_read_gear, {{"lock", NULL, true}}},
    {"bearing",
     "countershaft front",
     false,
     unit_read_bearing,
     {{"inner", "countershaft", false},
      {"outer", "case", false},
      {"rolling elements", NULL, false},
      {"element diameter", NULL, false},
      {"pitch diameter", NULL, false},
      {"contact angle", NULL, false},
      {"BPFO", NULL, false},
      {"BPFI", NULL, false},
      {"BSF", NULL, false},
      {"FTF", NULL, false}}},
    {"engine",
     NULL,
     false,
     unit_read_engine,
     {{"cylinders", "4", false}, {"strokes", NULL, false}, {"turns with", NULL, false}}},
    {"axle",
     NULL,
     false,
     unit_read_axle,
     {{"pinion", NULL, false},
      {"ring", NULL, false},
      {"turns with", NULL, false},
      {"tyre", NULL, false},
      {"rolling circumference", NULL, false}}},
    {"other",
     "alternator",
     false,
     unit_read_rotor,
     {{"turns with", NULL, false}, {"ratio", NULL, false}, {"orders", NULL, false}}},
};
#define RULE_COUNT (sizeof rules / sizeof *rules)
#define KEY_COUNT (sizeof rules->keys / sizeof *rules->keys)

static const struct section_rule *find_rule(struct unit_slice kind) {
    for (size_t i = 0; i < RULE_COUNT; i++)
        if (unit_slice_is(kind, rules[i].kind)) return &rules[i];
    return NULL;
}

static const struct key_rule *find_key(const struct section_rule *rule, struct unit_slice key) {
    for (size_t i = 0; i < KEY_COUNT && rule->keys[i].name; i++)
        if (unit_slice_is(key, rule->keys[i].name)) return &rule->keys[i];
    return NULL;
}

/* "'x' is not known (did you mean 'y'?)", or the list of what is known. */
static lay_status unknown_word(struct unit_parser *p, struct unit_slice where, const char *what,
                               const char *const *words, size_t count) {
    char *word = unit_slice_text(where);
    if (!word) return lay_fail(p->err, LAY_NO_MEMORY, "not enough memory to read the unit file");
    const char *near = lay_nearest(word, words, count);
    free(word);
    if (near) return UNIT_FAIL(p, where, "no %s called '%.*s' (did you mean '%s'?)", what, UNIT_SLICE(where), near);
    char list[200] = "";
    for (size_t i = 0; i < count; i++) {
        strncat(list, i ? ", " : "", sizeof list - strlen(list) - 1);
        strncat(list, words[i], sizeof list - strlen(list) - 1);
    }
    return UNIT_FAIL(p, where, "no %s called '%.*s': there are %s", what, UNIT_SLICE(where), list);
}

static lay_status unknown_section(struct unit_parser *p, const struct unit_section *s) {
    const char *words[RULE_COUNT];
    for (size_t i = 0; i < RULE_COUNT; i++) words[i] = rules[i].kind;
    return unknown_word(p, s->kind, "section", words, RULE_COUNT);
}

static lay_status unknown_key(struct unit_parser *p, const struct section_rule *rule, struct unit_slice key) {
    const char *words[KEY_COUNT];
    size_t count = 0;
    while (count < KEY_COUNT && rule->keys[count].name) {
        words[count] = rule->keys[count].name;
        count++;
    }
    char what[32];
    strcpy(what, "key of [");
    strncat(what, rule->kind, 16);
    strcat(what, "]");
    return unknown_word(p, key, what, words, count);
}

static lay_status check_keys(struct unit_parser *p, const struct section_rule *rule, const struct unit_section *s) {
    for (size_t i = 0; i < s->entry_count; i++) {
        const struct unit_entry *e = &s->entries[i];
        const struct key_rule *key = find_key(rule, e->key);
        if (!key) return unknown_key(p, rule, e->key);
        if (!key->repeats && unit_find_entry(s, key->name) != e)
            return UNIT_FAIL(p, e->key, "'%s' is given twice in this section: keep one of them", key->name);
        if (e->value.length == 0) return UNIT_FAIL(p, e->key, "'%s' has no value: write it after the '='", key->name);
    }
    for (size_t i = 0; i < KEY_COUNT && rule->keys[i].name; i++)
        if (rule->keys[i].example && !unit_find_entry(s, rule->keys[i].name))
            return UNIT_FAIL(p, s->head, "'%s' is missing in this section: add a line such as '%s = %s'",
                             rule->keys[i].name, rule->keys[i].name, rule->keys[i].example);
    return LAY_OK;
}

static lay_status check_twins(struct unit_parser *p, const struct unit_section *s) {
    for (const struct unit_section *other = p->ini.sections; other < s; other++)
        if (unit_slice_same(other->kind, s->kind) && unit_slice_same(other->label, s->label))
            return UNIT_FAIL(p, s->head, "a section of this name stands already in line %d: give each its own name",
                             other->head.line);
    return LAY_OK;
}

static lay_status check_section(struct unit_parser *p, const struct unit_section *s) {
    const struct section_rule *rule = find_rule(s->kind);
    if (!rule) return unknown_section(p, s);
    if (rule->label_example && s->label.length == 0)
        return UNIT_FAIL(p, s->head, "the section needs a name of its own, such as [%s %s]", rule->kind,
                         rule->label_example);
    if (!rule->label_example && s->label.length > 0)
        return UNIT_FAIL(p, s->label, "[%s] has no name of its own: leave '%.*s' out", rule->kind,
                         UNIT_SLICE(s->label));
    if (s->label.length > 80) return UNIT_FAIL(p, s->label, "this name is too long: at most 80 characters");
    lay_status status = check_twins(p, s);
    return status == LAY_OK ? check_keys(p, rule, s) : status;
}

static size_t count_sections(const struct unit_ini *ini, const char *kind) {
    size_t n = 0;
    for (size_t i = 0; i < ini->section_count; i++) n += unit_slice_is(ini->sections[i].kind, kind);
    return n;
}

/* Room for everything the file can hold, so that reading never moves it. */
static lay_status make_room(struct unit_parser *p, const char *path) {
    lay_unit *u = p->unit;
    u->path = lay_strdup(path);
    u->name = lay_strdup("unnamed unit");
    u->output = -1;
    u->bodies = lay_calloc(UNIT_MOST_BODIES, sizeof *u->bodies);
    u->meshes = lay_calloc(count_sections(&p->ini, "mesh") + 1, sizeof *u->meshes);
    u->gears = lay_calloc(count_sections(&p->ini, "gear") + 1, sizeof *u->gears);
    u->bearings = lay_calloc(count_sections(&p->ini, "bearing") + 1, sizeof *u->bearings);
    u->rotors = lay_calloc(count_sections(&p->ini, "other") + 1, sizeof *u->rotors);
    p->mesh_sections = lay_calloc(count_sections(&p->ini, "mesh") + 1, sizeof *p->mesh_sections);
    p->gear_sections = lay_calloc(count_sections(&p->ini, "gear") + 1, sizeof *p->gear_sections);
    if (u->bodies) {
        u->bodies[0].name = lay_strdup("case");
        u->body_count = 1;
    }
    bool done = u->path && u->name && u->bodies && u->bodies[0].name && u->meshes && u->gears && u->bearings &&
                u->rotors && p->mesh_sections && p->gear_sections;
    return done ? LAY_OK : lay_fail(p->err, LAY_NO_MEMORY, "not enough memory to read the unit file");
}

static lay_status read_sections(struct unit_parser *p, bool introducing) {
    for (size_t i = 0; i < p->ini.section_count; i++) {
        const struct unit_section *s = &p->ini.sections[i];
        const struct section_rule *rule = find_rule(s->kind);
        lay_status status = rule->introduces == introducing ? rule->read(p, s) : LAY_OK;
        if (status != LAY_OK) return status;
    }
    return LAY_OK;
}

/* A file without these two sections says too little whatever else it says. */
static lay_status check_presence(struct unit_parser *p) {
    if (count_sections(&p->ini, "unit") == 0)
        return lay_fail_file(p->err, LAY_BAD_INPUT, p->ini.path,
                             "there is no [unit] section: begin the file with [unit] and 'driven by = input shaft'");
    if (count_sections(&p->ini, "gear") == 0)
        return lay_fail_file(p->err, LAY_BAD_INPUT, p->ini.path,
                             "there is no gear: add [gear 1] with 'lock = ' lines (none when nothing is shifted)");
    return LAY_OK;
}

static lay_status read_all(struct unit_parser *p) {
    lay_status status = LAY_OK;
    for (size_t i = 0; i < p->ini.section_count && status == LAY_OK; i++)
        status = check_section(p, &p->ini.sections[i]);
    if (status == LAY_OK) status = check_presence(p);
    if (status == LAY_OK) status = read_sections(p, true);
    if (status == LAY_OK) status = read_sections(p, false);
    if (status == LAY_OK) status = unit_check_spelling(p);
    return status == LAY_OK ? unit_check_whole(p) : status;
}

lay_status lay_unit_parse(const char *text, size_t length, const char *path, lay_unit **out, lay_error *err) {
    *out = NULL;
    lay_error local;
    struct unit_parser p = {.err = err ? err : &local};
    lay_status status = unit_ini_read(text, length, path, &p.ini, p.err);
    if (status != LAY_OK) return status;
    p.unit = lay_calloc(1, sizeof *p.unit);
    status = p.unit ? make_room(&p, path) : lay_fail(p.err, LAY_NO_MEMORY, "not enough memory to read the unit file");
    if (status == LAY_OK) status = read_all(&p);
    if (status == LAY_OK)
        *out = p.unit;
    else
        lay_unit_free(p.unit);
    free(p.mentions);
    free(p.mesh_sections);
    free(p.gear_sections);
    unit_ini_free(&p.ini);
    return status;
}

lay_status lay_unit_load(const char *path, lay_unit **out, lay_error *err) {
    char *text = NULL;
    size_t length = 0;
    *out = NULL;
    lay_status status = lay_read_file(path, FILE_LIMIT, &text, &length, err);
    if (status == LAY_OK) status = lay_unit_parse(text, length, path, out, err);
    free(text);
    return status;
}
