/* Allocation that notices overflow. */
#include <layshaft/base.h>

#include <stdlib.h>
#include <string.h>

void *lay_calloc(size_t count, size_t size) {
    if (size != 0 && count > PTRDIFF_MAX / size) return NULL;
    /* calloc(0) may give NULL, which callers would take for a lack of memory. */
    return calloc(count ? count : 1, size ? size : 1);
}

lay_status lay_grow(void **items, size_t *capacity, size_t count, size_t item_size, lay_error *err) {
    if (count < *capacity) return LAY_OK;
    size_t limit = PTRDIFF_MAX / (item_size ? item_size : 1);
    if (count >= limit) return lay_fail(err, LAY_NO_MEMORY, "not enough memory for %zu items", count);
    size_t wanted = *capacity ? *capacity : 8;
    while (wanted <= count) wanted = wanted > limit / 2 ? limit : wanted * 2;
    void *grown = realloc(*items, wanted * (item_size ? item_size : 1));
    if (!grown) return lay_fail(err, LAY_NO_MEMORY, "not enough memory for %zu items", wanted);
    *items = grown;
    *capacity = wanted;
    return LAY_OK;
}

char *lay_strdup(const char *text) {
    size_t size = strlen(text) + 1;
    char *copy = malloc(size);
    if (copy) memcpy(copy, text, size);
    return copy;
}
