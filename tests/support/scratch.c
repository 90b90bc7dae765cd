/* A folder for the files of one test. */
#include "support/scratch.h"

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static char folder[256];

static void stop(const char *what) {
    perror(what);
    abort();
}

void scratch_open(void) {
    const char *base = getenv("TMPDIR");
    snprintf(folder, sizeof folder, "%s/layshaft-test-XXXXXX", base != NULL && strlen(base) < 200 ? base : "/tmp");
    if (mkdtemp(folder) == NULL) stop("scratch folder");
}

void scratch_close(void) {
    char path[600];
    DIR *dir = opendir(folder);
    if (dir == NULL) return;
    for (const struct dirent *e; (e = readdir(dir)) != NULL;) {
        snprintf(path, sizeof path, "%s/%s", folder, e->d_name);
        if (unlink(path) != 0) rmdir(path);
    }
    closedir(dir);
    rmdir(folder);
}

const char *scratch_path(const char *name) {
    static char paths[16][600];
    static int next;
    char *path = paths[next++ % 16];
    snprintf(path, sizeof paths[0], "%s/%s", folder, name);
    return path;
}

const char *scratch_file(const char *name, const void *data, size_t length) {
    const char *path = scratch_path(name);
    FILE *file = fopen(path, "wb");
    if (file == NULL || fwrite(data, 1, length, file) != length || fclose(file) != 0) stop(path);
    return path;
}

const char *scratch_text(const char *name, const char *text) {
    return scratch_file(name, text, strlen(text));
}

int scratch_setup(void **state) {
    (void)state;
    scratch_open();
    return 0;
}

int scratch_teardown(void **state) {
    (void)state;
    scratch_close();
    return 0;
}
