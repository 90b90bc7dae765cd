/* Whole files in, whole files out. */
#include <layshaft/base.h>

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static lay_status cannot(lay_error *err, const char *what, const char *path) {
    return lay_fail_file(err, LAY_IO, path, "cannot %s the file: %s", what, strerror(errno));
}

/* ---- reading ---- */

lay_status lay_fail_open(lay_error *err, const char *path) {
    int reason = errno;
    if (reason == ENOENT || reason == ENOTDIR || reason == ENAMETOOLONG)
        return lay_fail_file(err, LAY_BAD_INPUT, path, "there is no such file; check its name and folder");
    return lay_fail_file(err, LAY_IO, path, "cannot open the file: %s", strerror(reason));
}

/* Reads to the end in growing steps: the size of a pipe or a growing file is not known before. */
static lay_status read_all(int fd, const char *path, size_t limit, char **text, size_t *length, lay_error *err) {
    size_t capacity = 0;
    for (;;) {
        if (*length + 1 >= capacity) {
            size_t wanted = capacity ? capacity * 2 : 4096;
            char *grown = realloc(*text, wanted);
            if (!grown) return lay_fail_file(err, LAY_NO_MEMORY, path, "not enough memory to read the file");
            *text = grown;
            capacity = wanted;
        }
        ssize_t got = read(fd, *text + *length, capacity - *length - 1);
        if (got < 0 && errno == EINTR) continue;
        if (got < 0) return cannot(err, "read", path);
        if (got == 0) break;
        *length += (size_t)got;
        if (*length > limit)
            return lay_fail_file(err, LAY_BAD_INPUT, path, "the file is larger than the %zu bytes allowed here", limit);
    }
    (*text)[*length] = '\0';
    return LAY_OK;
}

lay_status lay_read_file(const char *path, size_t limit, char **out, size_t *length, lay_error *err) {
    char *text = NULL;
    size_t used = 0;
    *out = NULL;
    *length = 0;
    int fd = open(path, O_RDONLY | O_CLOEXEC);
    if (fd < 0) return lay_fail_open(err, path);
    lay_status status = read_all(fd, path, limit, &text, &used, err);
    close(fd);
    if (status != LAY_OK) {
        free(text);
        return status;
    }
    *out = text;
    *length = used;
    return LAY_OK;
}

/* ---- writing ---- */

static bool write_all(int fd, const char *data, size_t length) {
    while (length > 0) {
        ssize_t put = write(fd, data, length);
        if (put < 0 && errno == EINTR) continue;
        if (put < 0) return false;
        data += put;
        length -= (size_t)put;
    }
    return true;
}

/* Makes a new file beside `path`, with the rights the umask leaves (mkstemp would give 0600 to all).
 * `name` holds its name afterwards. */
static int create_neighbour(const char *path, lay_text *name) {
    for (int attempt = 0; attempt < 100; attempt++) {
        name->length = 0;
        lay_text_add(name, "%s.%ld-%d.tmp", path, (long)getpid(), attempt);
        if (name->failed) {
            errno = ENOMEM;
            return -1;
        }
        int fd = open(name->text, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
        if (fd >= 0 || errno != EEXIST) return fd;
    }
    return -1;
}

/* A device or pipe cannot be replaced by a rename and is written in place. */
static lay_status write_in_place(const char *path, const char *data, size_t length, lay_error *err) {
    int fd = open(path, O_WRONLY | O_CLOEXEC);
    if (fd < 0) return cannot(err, "open", path);
    bool ok = write_all(fd, data, length);
    if (close(fd) != 0) ok = false;
    return ok ? LAY_OK : cannot(err, "write", path);
}

/* Writes, closes and puts the new file in place of the old; false leaves the reason in errno. */
static bool replace(int fd, const char *temporary, const char *path, const char *data, size_t length) {
    struct stat old;
    bool ok = write_all(fd, data, length) && fsync(fd) == 0;
    if (ok && stat(path, &old) == 0) /* a file that was private stays private */
        ok = fchmod(fd, old.st_mode & 0777) == 0;
    int reason = errno;
    if (close(fd) != 0 && ok) {
        ok = false;
        reason = errno;
    }
    if (ok && rename(temporary, path) == 0) return true;
    if (ok) reason = errno;
    unlink(temporary);
    errno = reason;
    return false;
}

lay_status lay_write_file(const char *path, const char *data, size_t length, lay_error *err) {
    struct stat st;
    if (stat(path, &st) == 0 && !S_ISREG(st.st_mode) && !S_ISDIR(st.st_mode))
        return write_in_place(path, data, length, err);

    lay_status status = LAY_OK;
    lay_text temporary = {0};
    int fd = create_neighbour(path, &temporary);
    if (fd < 0)
        status = cannot(err, "create", path);
    else if (!replace(fd, temporary.text, path, data, length))
        status = cannot(err, "write", path);
    lay_text_free(&temporary);
    return status;
}

char *lay_path_join(const char *folder, const char *name) {
    size_t length = strlen(folder);
    if (name[0] == '/' || length == 0) return lay_strdup(name);
    const char *slash = folder[length - 1] == '/' ? "" : "/";
    size_t size = length + strlen(slash) + strlen(name) + 1;
    char *joined = malloc(size);
    if (joined) snprintf(joined, size, "%s%s%s", folder, slash, name);
    return joined;
}

/* ---- folders ---- */

static lay_status make_one(const char *path, lay_error *err) {
    struct stat st;
    if (mkdir(path, 0777) == 0 || (errno == EEXIST && stat(path, &st) == 0 && S_ISDIR(st.st_mode))) return LAY_OK;
    return lay_fail_file(err, LAY_IO, path, "the folder could not be made: %s; choose another with --output",
                         errno == EEXIST ? "a file has that name" : strerror(errno));
}

lay_status lay_make_folder(const char *path, lay_error *err) {
    char *part = lay_strdup(path);
    lay_status status = LAY_OK;
    if (*path == 0) status = lay_fail(err, LAY_BAD_INPUT, "a folder needs a name");
    if (status != LAY_OK) goto done;
    if (part == NULL) return lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    for (char *slash = strchr(part + 1, '/'); slash != NULL && status == LAY_OK; slash = strchr(slash + 1, '/')) {
        *slash = 0;
        status = make_one(part, err);
        *slash = '/';
    }
    if (status == LAY_OK) status = make_one(path, err);
done:
    free(part);
    return status;
}
