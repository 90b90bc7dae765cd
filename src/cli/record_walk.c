/* From one recording of the plan to the next. */
#include <unistd.h>

#include "record.h"
#include "terminal.h"

bool lay_record_is_walk(const lay_record_job *job) {
    const lay_record_options *o = job->options;
    return !o->gear && !o->load && !o->now && job->unit && job->screen && isatty(STDIN_FILENO) && !o->common.json;
}

static void announce(const lay_record_job *job, const lay_plan *plan, size_t at, size_t number) {
    lay_text text = {0};
    if (lay_report_plan_step(job->unit, plan, at, number, lay_terminal_colour((lay_colour)job->options->colour),
                             lay_terminal_width(), &text) == LAY_OK)
        fputs(text.text, stderr);
    lay_text_free(&text);
}

static lay_status walk(const lay_record_job *job, const lay_plan *plan, lay_error *err) {
    lay_record_job here = *job;
    lay_status status = LAY_OK;
    bool next = true;
    size_t number = 0;
    for (size_t i = 0; i < plan->count && status == LAY_OK && next; i++) {
        const lay_plan_item *item = &plan->items[i];
        if (item->done) continue;
        lay_text out = {0};
        announce(&here, plan, i, ++number);
        status = lay_record_step(&here, here.unit->gears[item->gear].name, lay_load_name(item->load), &out, &next, err);
        if (out.length > 0) lay_cli_print(&out);
        lay_text_free(&out);
        here.warned = true;
    }
    return status;
}

lay_status lay_record_walk(const lay_record_job *job, lay_error *err) {
    lay_run_table table = {0};
    lay_plan plan = {0};
    bool has_table = access(job->table, F_OK) == 0 && lay_run_table_load(job->table, &table, NULL) == LAY_OK;
    lay_status status = lay_plan_make(job->unit, has_table ? &table : NULL, -1, &plan, err);
    if (status == LAY_OK && plan.open == 0)
        fprintf(stderr, "Every recording of the plan is there. For another one say --gear and --load.\n");
    if (status == LAY_OK) status = walk(job, &plan, err);
    lay_plan_free(&plan);
    lay_run_table_free(&table);
    return status;
}
