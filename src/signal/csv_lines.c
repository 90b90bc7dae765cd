/* Lines of a text file of any length, with bounded memory. */
#include "csv_lines.h"

#include <errno.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>

lay_status lay_csv_lines_open(lay_csv_lines *lines, const char *path, lay_error *err) {
    lines->path = lay_strdup(path);
    lines->buffer = lay_calloc(LAY_LONGEST_LINE + 1, 1);
    if (lines->path == NULL || lines->buffer == NULL) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to read");
    lines->file = fopen(path, "rb");
    if (lines->file == NULL) return lay_fail_open(err, path);
    return LAY_OK;
}

void lay_csv_lines_close(lay_csv_lines *lines) {
    if (lines->file != NULL) fclose(lines->file);
    free(lines->path);
    free(lines->buffer);
    *lines = (lay_csv_lines){0};
}

lay_status lay_csv_lines_rewind(lay_csv_lines *lines, lay_error *err) {
    if (fseek(lines->file, 0, SEEK_SET) != 0)
        return lay_fail_file(err, LAY_IO, lines->path, "the file cannot be read a second time: %s", strerror(errno));
    lines->start = lines->end = 0;
    lines->at_end = false;
    lines->line = 0;
    return LAY_OK;
}

/* Moves the unread bytes to the front and fills the rest. */
static lay_status refill(lay_csv_lines *lines, lay_error *err) {
    memmove(lines->buffer, lines->buffer + lines->start, lines->end - lines->start);
    lines->end -= lines->start;
    lines->start = 0;
    size_t got = fread(lines->buffer + lines->end, 1, LAY_LONGEST_LINE - lines->end, lines->file);
    if (got == 0 && ferror(lines->file))
        return lay_fail_file(err, LAY_IO, lines->path, "the file cannot be read: %s", strerror(errno));
    lines->at_end = got == 0;
    lines->end += got;
    return LAY_OK;
}

static lay_status take_line(lay_csv_lines *lines, size_t taken, char **text, size_t *length, lay_error *err) {
    char *line = lines->buffer + lines->start;
    size_t size = taken;
    lines->start += taken;
    if (lines->line < INT_MAX) lines->line++;
    while (size > 0 && (line[size - 1] == '\n' || line[size - 1] == '\r')) size--;
    line[size] = 0;
    if (memchr(line, 0, size) != NULL)
        return lay_fail_at(err, LAY_BAD_INPUT, lines->path, lines->line, 1, 0, "",
                           "this is not plain text; save it as CSV in UTF-8, or give a sound file its own ending");
    if (lines->line == 1 && size >= 3 && memcmp(line, "\xEF\xBB\xBF", 3) == 0) {
        line += 3;
        size -= 3;
    }
    *text = line;
    *length = size;
    return LAY_OK;
}

lay_status lay_csv_lines_next(lay_csv_lines *lines, char **text, size_t *length, lay_error *err) {
    *text = NULL;
    *length = 0;
    size_t searched = 0;
    for (;;) {
        size_t unread = lines->end - lines->start;
        char *from = lines->buffer + lines->start;
        char *newline = unread > searched ? memchr(from + searched, '\n', unread - searched) : NULL;
        if (newline != NULL) return take_line(lines, (size_t)(newline - from) + 1, text, length, err);
        if (lines->at_end) return unread == 0 ? LAY_OK : take_line(lines, unread, text, length, err);
        if (unread == LAY_LONGEST_LINE)
            return lay_fail_at(err, LAY_BAD_INPUT, lines->path, lines->line + 1, 1, 0, "",
                               "this line is longer than %d bytes; one line holds one sample of every channel",
                               LAY_LONGEST_LINE);
        searched = unread;
        lay_status status = refill(lines, err);
        if (status != LAY_OK) return status;
    }
}
