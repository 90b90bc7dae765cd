#include "run_name.h"

#include <stdlib.h>
#include <string.h>

#define NAMES_SHOWN 12

static const char *last_part(const char *path) {
    const char *slash = strrchr(path, '/');
    return slash != NULL ? slash + 1 : path;
}

/* Rows whose whole file name, or only its last part, is `word`; the first of them in *index. */
static size_t named(const lay_run_table *table, const char *word, bool whole, size_t *index) {
    size_t count = 0;
    for (size_t i = table->count; i-- > 0;) {
        const char *file = table->runs[i].file;
        if (strcmp(whole ? file : last_part(file), word) != 0) continue;
        *index = i;
        count++;
    }
    return count;
}

static bool numbered(const lay_run_table *table, const char *word, size_t *index) {
    if (*word == 0 || strspn(word, "0123456789") != strlen(word) || strlen(word) > 9) return false;
    unsigned long number = strtoul(word, NULL, 10);
    if (number < 1 || number > table->count) return false;
    *index = (size_t)number - 1;
    return true;
}

void lay_cli_list_runs(const lay_run_table *table, lay_text *out) {
    for (size_t i = 0; i < table->count && i < NAMES_SHOWN; i++)
        lay_text_add(out, "%s%zu %.40s", i ? ", " : "", i + 1, table->runs[i].file);
    if (table->count > NAMES_SHOWN) lay_text_add(out, ", ... (%zu in all)", table->count);
}

lay_status lay_cli_find_run(const lay_run_table *table, const char *word, size_t *index, lay_error *err) {
    size_t whole = named(table, word, true, index);
    if (whole == 1 || (whole == 0 && numbered(table, word, index))) return LAY_OK;
    size_t part = whole == 0 ? named(table, word, false, index) : 0;
    if (part == 1) return LAY_OK;
    if (whole + part > 1)
        return lay_fail(err, LAY_BAD_USAGE, "%zu rows name '%.60s': say which by its number, %zu for the first",
                        whole + part, word, *index + 1);
    lay_text runs = {0};
    lay_cli_list_runs(table, &runs);
    lay_status status = lay_fail(err, LAY_BAD_USAGE, "there is no run '%.60s'; the runs are %.500s", word,
                                 runs.text != NULL ? runs.text : "none");
    lay_text_free(&runs);
    return status;
}
