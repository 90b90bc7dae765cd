/* Verdicts against what teardowns showed: how far a shop may trust them. */
#include <layshaft/judge.h>

#include <dirent.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>
#include <unistd.h>

static const double bins[LAY_LEDGER_BINS] = {0.9, 0.5, 0};

double lay_ledger_bin(size_t bin) {
    return bins[bin < LAY_LEDGER_BINS ? bin : LAY_LEDGER_BINS - 1];
}

/* ---- one job ---- */

static bool replaced(const lay_found_table *t, size_t at) {
    for (size_t i = at + 1; i < t->count; i++)
        if (strcasecmp(t->rows[i].part, t->rows[at].part) == 0 && strcasecmp(t->rows[i].body, t->rows[at].body) == 0)
            return true;
    return false;
}

static bool named_first(const lay_found *f) {
    bool accuses = strcmp(f->outcome, "attention") == 0 || strcmp(f->outcome, "outside") == 0;
    return accuses && (f->named == LAY_NAMED_FIRST || f->named == LAY_NAMED_TWIN);
}

static void count_part(lay_ledger *l, const lay_found *f) {
    lay_ledger_kind *k = &l->kinds[f->what];
    k->found++;
    k->first += named_first(f);
    k->listed += f->named == LAY_NAMED_LISTED;
    k->cleared += strcmp(f->state, "cleared") == 0;
    if (!named_first(f) || !isfinite(f->probability)) return;
    size_t bin = 0;
    while (bin + 1 < LAY_LEDGER_BINS && f->probability < bins[bin]) bin++;
    l->bins[bin].of++;
    l->bins[bin].right += f->what != LAY_FOUND_GOOD;
}

/* What the findings of a job say together. */
typedef struct findings {
    const char *outcome; /* of the newest row that has one */
    int inside, outside; /* faults */
    int hits;            /* faults that were named first */
    int accused_good;    /* parts that were named first and are good; one of a set of twins may well be */
    int good;
} findings;

static findings sum_up(const lay_found_table *t) {
    findings s = {.outcome = ""};
    for (size_t i = 0; i < t->count; i++) {
        const lay_found *f = &t->rows[i];
        if (replaced(t, i)) continue;
        if (f->outcome[0]) s.outcome = f->outcome;
        s.good += f->what == LAY_FOUND_GOOD;
        s.inside += f->what != LAY_FOUND_GOOD && f->what != LAY_FOUND_OUTSIDE;
        s.outside += f->what == LAY_FOUND_OUTSIDE;
        s.hits += f->what != LAY_FOUND_GOOD && named_first(f);
        s.accused_good += f->what == LAY_FOUND_GOOD && named_first(f);
    }
    return s;
}

static void decide(lay_ledger *l, lay_ledger_count *count, bool right, bool wrong) {
    if (!right && !wrong) {
        l->undecided++;
        return;
    }
    count->of++;
    count->right += right;
}

static void count_job(lay_ledger *l, const findings *s) {
    int faults = s->inside + s->outside;
    if (strcmp(s->outcome, "attention") == 0)
        decide(l, &l->attention, s->hits > 0, faults > 0 || s->accused_good > 0);
    else if (strcmp(s->outcome, "outside") == 0)
        decide(l, &l->outside, s->hits > 0 || (s->outside > 0 && s->inside == 0), s->inside > 0 || s->accused_good > 0);
    else if (strcmp(s->outcome, "clear") == 0)
        decide(l, &l->clear, faults == 0 && s->good > 0, faults > 0);
    else if (strcmp(s->outcome, "inconclusive") == 0)
        l->inconclusive++;
    else
        l->unjudged++;
}

void lay_ledger_add(lay_ledger *l, const lay_found_table *t) {
    if (t->count == 0) return;
    findings s = sum_up(t);
    l->jobs++;
    for (size_t i = 0; i < t->count; i++)
        if (!replaced(t, i)) count_part(l, &t->rows[i]);
    count_job(l, &s);
}

/* ---- all jobs of a folder ---- */

#define DEPTH 6

static lay_status read_job(const char *table, lay_ledger *l, lay_error *err) {
    lay_found_table found;
    lay_error failed = {0};
    lay_status status = lay_found_load(table, &found, &failed);
    if (status == LAY_NO_MEMORY) {
        if (err) *err = failed;
        return status;
    }
    if (status != LAY_OK && failed.line > 0)
        return lay_strings_add(&l->skipped, err, "%s, line %d: %s", table, failed.line, failed.message);
    if (status != LAY_OK) return lay_strings_add(&l->skipped, err, "%s: %s", table, failed.message);
    lay_ledger_add(l, &found);
    lay_found_free(&found);
    return LAY_OK;
}

static lay_status read_folder(const char *folder, int depth, lay_ledger *l, lay_error *err) {
    DIR *dir = opendir(folder);
    lay_status status = LAY_OK;
    if (!dir) return lay_strings_add(&l->skipped, err, "%s: the folder cannot be read", folder);
    for (const struct dirent *e = readdir(dir); e && status == LAY_OK; e = readdir(dir)) {
        struct stat st;
        char *path = lay_path_join(folder, e->d_name);
        if (!path)
            status = lay_fail(err, LAY_NO_MEMORY, "not enough memory");
        else if (e->d_name[0] == '.' || lstat(path, &st) != 0)
            status = LAY_OK;
        else if (S_ISREG(st.st_mode) && strcmp(e->d_name, "found.csv") == 0)
            status = read_job(path, l, err);
        else if (S_ISDIR(st.st_mode) && depth < DEPTH)
            status = read_folder(path, depth + 1, l, err);
        free(path);
    }
    closedir(dir);
    return status;
}

static int by_text(const void *a, const void *b) {
    return strcmp(*(char *const *)a, *(char *const *)b);
}

lay_status lay_ledger_read(const char *folder, lay_ledger *out, lay_error *err) {
    struct stat st;
    *out = (lay_ledger){0};
    if (stat(folder, &st) != 0 || !S_ISDIR(st.st_mode))
        return lay_fail_file(err, LAY_BAD_INPUT, folder, "there is no such folder; name the one that holds the jobs");
    lay_status status = read_folder(folder, 0, out, err);
    if (out->skipped.count > 1) qsort(out->skipped.items, out->skipped.count, sizeof(char *), by_text);
    if (status != LAY_OK) lay_ledger_free(out);
    return status;
}

void lay_ledger_free(lay_ledger *l) {
    if (!l) return;
    lay_strings_free(&l->skipped);
    *l = (lay_ledger){0};
}
