/* One job of many as a line of JSON. */
#include <layshaft/report.h>

#include "json.h"

#include <string.h>

lay_status lay_report_job_line(const char *folder, lay_status status, const lay_error *err, const char *name,
                               const lay_text *object, lay_text *out) {
    lay_json j = {.out = out};
    size_t length = object->length;
    lay_json_open_object(&j, NULL);
    lay_json_string(&j, "job", folder);
    lay_json_integer(&j, "exit", lay_status_exit(status));
    if (status != LAY_OK) {
        char words[1200];
        lay_error_format(err, words, sizeof words);
        words[strcspn(words, "\n")] = 0; /* what follows shows the place in the file */
        lay_json_string(&j, "error", words);
    }
    while (length > 0 && object->text[length - 1] == '\n') length--;
    if (length > 0) lay_text_add(out, ", \"%s\": %.*s", name, (int)length, object->text);
    lay_json_close_object(&j);
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}
