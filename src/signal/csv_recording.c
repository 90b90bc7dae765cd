/* Sample CSV as a recording: checked once from end to end, then delivered line by line. */
#include "csv_scan.h"
#include "recording.h"

#include <stdlib.h>

typedef struct csv_state {
    lay_csv_lines lines;
    lay_csv_layout layout;
    double *row; /* [layout.columns] */
} csv_state;

static void csv_close(lay_source *source) {
    csv_state *state = source->state;
    if (state == NULL) return;
    lay_csv_lines_close(&state->lines);
    free(state->row);
    free(state);
    source->state = NULL;
}

/* The next line that carries samples; *line NULL at the end. */
static lay_status next_sample_line(csv_state *state, char **line, lay_error *err) {
    size_t length;
    for (;;) {
        lay_status status = lay_csv_lines_next(&state->lines, line, &length, err);
        if (status != LAY_OK || *line == NULL) return status;
        if (state->lines.line >= state->layout.first_data_line && !lay_csv_is_note(*line)) return LAY_OK;
    }
}

static lay_status csv_read(lay_source *source, double *out, size_t frames, size_t *got, lay_error *err) {
    csv_state *state = source->state;
    for (*got = 0; *got < frames; (*got)++) {
        char *line;
        lay_status status = next_sample_line(state, &line, err);
        if (status == LAY_OK && line != NULL)
            status = lay_csv_row(&state->lines, &state->layout, line, state->row, NULL, err);
        if (status != LAY_OK || line == NULL) return status;
        for (int i = 0; i < state->layout.columns; i++)
            if (i != state->layout.time_column) *out++ = state->row[i];
    }
    return LAY_OK;
}

static lay_status csv_rewind(lay_source *source, lay_error *err) {
    csv_state *state = source->state;
    return lay_csv_lines_rewind(&state->lines, err);
}

static lay_status csv_fill(lay_source *source, const char *path, double csv_rate, lay_error *err) {
    csv_state *state = source->state;
    lay_status status = lay_csv_lines_open(&state->lines, path, err);
    if (status == LAY_OK) status = lay_csv_scan(&state->lines, csv_rate, &state->layout, err);
    if (status == LAY_OK) status = lay_csv_lines_rewind(&state->lines, err);
    if (status != LAY_OK) return status;
    const lay_csv_layout *layout = &state->layout;
    state->row = lay_calloc((size_t)layout->columns, sizeof *state->row);
    if (state->row == NULL) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to read the recording");
    source->info = (lay_recording_info){
        .rate = layout->rate, .channels = layout->columns - (layout->time_column >= 0), .frames = layout->frames};
    return LAY_OK;
}

lay_status lay_csv_source_open(const char *path, double csv_rate, lay_source *out, lay_error *err) {
    *out = (lay_source){.read = csv_read, .rewind = csv_rewind, .close = csv_close};
    out->state = lay_calloc(1, sizeof(csv_state));
    if (out->state == NULL) return lay_fail(err, LAY_NO_MEMORY, "not enough memory to read the recording");
    lay_status status = csv_fill(out, path, csv_rate, err);
    if (status != LAY_OK) csv_close(out);
    return status;
}
