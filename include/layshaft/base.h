/* Errors, memory, text and random numbers: what every stage stands on.
 *
 * Convention of the whole library: a function that can fail returns a lay_status and takes the
 * caller's lay_error last; outputs come before it. On failure outputs are left empty (NULL, zero) and
 * the error holds one sentence a mechanic understands. No function prints, exits or keeps state. */
#ifndef LAYSHAFT_BASE_H
#define LAYSHAFT_BASE_H

#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#if defined(__GNUC__)
#define LAY_API __attribute__((visibility("default")))
#define LAY_PRINTF(fmt, args) __attribute__((format(printf, fmt, args)))
#else
#define LAY_API
#define LAY_PRINTF(fmt, args)
#endif

#define LAY_VERSION "0.1.0"
#define LAY_PI 3.14159265358979323846

/* code, exit status of the program, sentence */
#define LAY_STATUS_LIST(X)                                                                                             \
    X(LAY_OK, 0, "done")                                                                                               \
    X(LAY_BAD_INPUT, 2, "the input cannot be used as it is")                                                           \
    X(LAY_BAD_USAGE, 2, "the command line cannot be understood")                                                       \
    X(LAY_IO, 3, "a file or device could not be read or written")                                                      \
    X(LAY_NO_MEMORY, 3, "not enough memory")

typedef enum lay_status {
#define LAY_X(code, exit_code, sentence) code,
    LAY_STATUS_LIST(LAY_X)
#undef LAY_X
        LAY_STATUS_COUNT
} lay_status;

/* Exit status of the program for a status; the sentence that describes it (static text). */
LAY_API int lay_status_exit(lay_status status);
LAY_API const char *lay_status_text(lay_status status);

/* What went wrong and where. `file` empty: no file concerned; line and column count from 1, 0 = none.
 * `excerpt` is the offending line, `span` the number of columns to underline from `column`. */
typedef struct lay_error {
    lay_status code;
    int line, column, span;
    char file[512];
    char excerpt[256];
    char message[640];
} lay_error;

/* Fill `err` (NULL allowed) and return `code`, so that `return lay_fail(...)` reads well. */
LAY_API lay_status lay_fail(lay_error *err, lay_status code, const char *fmt, ...) LAY_PRINTF(3, 4);
/* The same with the file it concerns. */
LAY_API lay_status lay_fail_file(lay_error *err, lay_status code, const char *file, const char *fmt, ...)
    LAY_PRINTF(4, 5);
/* The same with a place in a text file; `excerpt` is copied up to its first newline. */
LAY_API lay_status lay_fail_at(lay_error *err, lay_status code, const char *file, int line, int column, int span,
                               const char *excerpt, const char *fmt, ...) LAY_PRINTF(8, 9);
/* file:line:column: message, then the line and a caret, as text that ends in a newline. Columns count
 * bytes. Control characters are shown as '?'.
 * Writes at most `size` bytes with the final 0. */
LAY_API void lay_error_format(const lay_error *err, char *out, size_t size);

/* For a file to be read that open or fopen refused, with the reason in errno: LAY_BAD_INPUT when no file has that name
 * (most likely mistyped), LAY_IO for every other reason. */
LAY_API lay_status lay_fail_open(lay_error *err, const char *path);

/* Memory: NULL when there is none or when count * size overflows. lay_grow keeps *items on failure
 * and doubles its capacity when `count` has reached it. Free with free(). */
LAY_API void *lay_calloc(size_t count, size_t size);
LAY_API lay_status lay_grow(void **items, size_t *capacity, size_t count, size_t item_size, lay_error *err);
LAY_API char *lay_strdup(const char *text);

/* A growing text; zero it to start. `failed` sticks when memory ran out; text is never NULL after the
 * first append that worked. */
typedef struct lay_text {
    char *text;
    size_t length, capacity;
    bool failed;
} lay_text;
LAY_API void lay_text_add(lay_text *t, const char *fmt, ...) LAY_PRINTF(2, 3);
LAY_API void lay_text_addv(lay_text *t, const char *fmt, va_list args) LAY_PRINTF(2, 0);
LAY_API void lay_text_free(lay_text *t);

/* Make a folder with its parents; one that is there is well. LAY_IO when it cannot be made, or a file has the name. */
LAY_API lay_status lay_make_folder(const char *path, lay_error *err);

/* Whole file into memory with a final 0 (not counted in *length); at most `limit` bytes. Caller frees. */
LAY_API lay_status lay_read_file(const char *path, size_t limit, char **out, size_t *length, lay_error *err);
/* Write by a temporary neighbour and rename, so that a crash never leaves half a file. */
LAY_API lay_status lay_write_file(const char *path, const char *data, size_t length, lay_error *err);
/* `folder`/`name`, or `name` itself when it is absolute. Caller frees; NULL without memory. */
LAY_API char *lay_path_join(const char *folder, const char *name);

/* The nearest of `count` words to `word` by edit distance (case ignored; at most a third of the letters
 * wrong), NULL when none is near. */
LAY_API const char *lay_nearest(const char *word, const char *const *words, size_t count);

/* A decimal number that fills the whole of `text` (blanks around it allowed), '.' as the point whatever
 * the locale; false for anything else, NaN and infinities included. */
LAY_API bool lay_parse_number(const char *text, double *out);

/* xoshiro256** of Blackman and Vigna (2018), seeded through splitmix64: the same numbers everywhere. */
typedef struct lay_random {
    uint64_t s[4];
} lay_random;
LAY_API void lay_random_seed(lay_random *r, uint64_t seed);
LAY_API uint64_t lay_random_bits(lay_random *r);
LAY_API double lay_random_unit(lay_random *r); /* [0, 1) */
LAY_API double lay_random_between(lay_random *r, double low, double high);
LAY_API int lay_random_int(lay_random *r, int low, int high); /* both ends included */
LAY_API double lay_random_normal(lay_random *r);              /* mean 0, deviation 1 */

/* ---- tasks side by side ---- */

/* Called as tasks get done, with how many are; never by two threads at once. */
typedef void (*lay_progress)(size_t done, size_t count, void *user);

typedef struct lay_tasks {
    size_t count;
    int threads;                                                /* 0: one per processor */
    lay_status (*run)(size_t task, void *work, lay_error *err); /* from several threads at once */
    void *work;
    lay_progress progress; /* may be NULL */
    void *user;            /* of progress */
} lay_tasks;
/* Run tasks 0 to count - 1, begun in that order. When one fails no further ones are begun; status and error are those
 * of the first in order that failed, whatever the number of threads. */
LAY_API lay_status lay_run_tasks(const lay_tasks *tasks, lay_error *err);
LAY_API int lay_processors(void); /* at least 1 */

#endif
