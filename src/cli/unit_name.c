#include "unit_name.h"

#include <stdlib.h>
#include <sys/stat.h>

lay_status lay_cli_load_unit(const char *unit_or_job, lay_unit **out, lay_error *err) {
    struct stat info;
    bool job = stat(unit_or_job, &info) == 0 && S_ISDIR(info.st_mode);
    char *path = job ? lay_path_join(unit_or_job, "unit.ini") : lay_strdup(unit_or_job);
    lay_status status = path ? lay_unit_load(path, out, err) : lay_fail(err, LAY_NO_MEMORY, "not enough memory");
    free(path);
    return status;
}

lay_status lay_cli_find_gear(const lay_unit *unit, const char *name, int *gear, lay_error *err) {
    *gear = lay_unit_gear(unit, name);
    if (*gear >= 0) return LAY_OK;
    lay_text names = {0};
    for (size_t i = 0; i < unit->gear_count; i++) lay_text_add(&names, "%s%s", i > 0 ? ", " : "", unit->gears[i].name);
    lay_fail(err, LAY_BAD_USAGE, "the unit has no gear '%.40s'; it has %.200s", name, names.text ? names.text : "none");
    lay_text_free(&names);
    return LAY_BAD_USAGE;
}
