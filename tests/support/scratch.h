/* A folder for the files of one test. */
#ifndef TESTS_SUPPORT_SCRATCH_H
#define TESTS_SUPPORT_SCRATCH_H

#include <stddef.h>

/* Make a new folder under TMPDIR (or /tmp) and remember it; the test stops when it cannot be made. */
void scratch_open(void);
/* Remove the folder and all files in it. */
void scratch_close(void);
/* The same as set-up and tear-down of a group. */
int scratch_setup(void **state);
int scratch_teardown(void **state);
/* `name` in the folder; the text lives until the 16th next call. */
const char *scratch_path(const char *name);
/* Write a file into the folder and return its path as scratch_path does. */
const char *scratch_file(const char *name, const void *data, size_t length);
const char *scratch_text(const char *name, const char *text);

#endif
