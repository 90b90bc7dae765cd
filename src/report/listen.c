/* What `layshaft listen` took out of a run, as text and JSON. */
#include <layshaft/report.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "page.h"
#include "run_json.h"
#include "words.h"

#define LISTED 8 /* orders that are named one by one */

/* Sources that make some of the part's orders too, each once. */
static void list_shared(const lay_part_orders *orders, lay_text *out) {
    for (size_t i = 0; i < orders->count; i++) {
        bool named = orders->items[i].shared == NULL;
        for (size_t k = 0; k < i && !named; k++)
            named = orders->items[k].shared != NULL && strcmp(orders->items[k].shared, orders->items[i].shared) == 0;
        if (!named) lay_text_add(out, "%s%s", out->length > 0 ? ", " : "", orders->items[i].shared);
    }
}

static void list_orders(const lay_part_orders *orders, lay_text *out) {
    for (size_t i = 0; i < orders->count && i < LISTED; i++)
        lay_text_add(out, "%s%s", i > 0 ? ", " : "", lay_words_number(orders->items[i].order, 3).text);
    if (orders->count > LISTED) lay_text_add(out, " and %zu more", orders->count - LISTED);
}

static void what(const lay_page *page, const lay_listen_result *r) {
    lay_text text = {0};
    if (r->orders->count > 0) {
        list_orders(r->orders, &text);
        lay_page_field(page, r->orders->count > 1 ? "Orders" : "Order", "%s", text.failed ? "" : text.text);
        lay_page_field(page, "Width", "%s orders, %s Hz at mean speed", lay_words_number(r->width, 3).text,
                       lay_words_number(r->width * r->mean_hz, 1).text);
    } else {
        lay_page_field(page, "Band",
                       "%s to %s Hz, where its blows would ring; other noise of that band is in it as well",
                       lay_words_number(r->low_hz, 0).text, lay_words_number(r->high_hz, 0).text);
    }
    lay_text_free(&text);
    list_shared(r->orders, &text);
    if (text.length > 0 && !text.failed)
        lay_page_field(page, "Also there", "%s: some of these orders are its as well, and cannot be told apart",
                       text.text);
    lay_text_free(&text);
}

lay_status lay_report_listen_text(const lay_unit *unit, const lay_listen_result *r, bool colour, int width,
                                  lay_text *out) {
    (void)unit;
    lay_page page = lay_page_on(out, colour, width);
    lay_text title = {0};
    lay_text_add(&title, "Run %zu, %s: %s%s", r->number, r->spec->file ? r->spec->file : "",
                 r->without ? "all but " : "only ", r->name ? r->name : "this order");
    lay_page_wrap(&page, LAY_INK_BOLD, "", title.failed ? "" : title.text);
    lay_text_free(&title);
    what(&page, r);
    if (isfinite(r->share_db))
        lay_page_field(&page, "Share", "the part lies %s dB below the whole recording",
                       lay_words_number(-r->share_db, 1).text);
    if (r->turned_down)
        lay_page_field(&page, "Level", "lifted by %s dB only: more would have overdriven it",
                       lay_words_number(r->lift_db, 1).text);
    else if (r->lift_db != 0)
        lay_page_field(&page, "Level", "changed by %s dB", lay_words_number(r->lift_db, 1).text);
    else
        lay_page_field(&page, "Level", "as recorded%s",
                       r->peak > 1 ? "; above full scale, turn it down with --lift -20 or so" : "");
    lay_page_field(&page, "File", "%s", r->file);
    if (r->played) lay_page_field(&page, "Played", "to the end, or until it was stopped");
    if (r->silent != NULL) lay_page_field(&page, "Not played", "%s", r->silent);
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}

lay_status lay_report_listen_json(const lay_unit *unit, const lay_listen_result *r, bool indented, lay_text *out) {
    lay_json j = {.out = out, .indented = indented};
    lay_json_open_answer(&j, unit);
    lay_json_integer(&j, "run", (long long)r->number);
    lay_json_string(&j, "recording", r->spec->file);
    lay_json_string(&j, "part", r->name);
    lay_json_bool(&j, "without", r->without);
    lay_json_open_array(&j, "orders");
    for (size_t i = 0; i < r->orders->count; i++) {
        const lay_part_order *o = &r->orders->items[i];
        lay_json_open_object(&j, NULL);
        lay_json_number(&j, "order", o->order, 4);
        lay_json_integer(&j, "harmonic", o->harmonic);
        lay_json_integer(&j, "sideband", o->sideband);
        lay_json_string(&j, "sideband_of", o->body >= 0 ? lay_words_body(unit, o->body) : NULL);
        lay_json_number(&j, "above_floor_db", o->above_floor_db, 2);
        lay_json_string(&j, "shared_with", o->shared);
        lay_json_close_object(&j);
    }
    lay_json_close_array(&j);
    lay_json_number(&j, "width_orders", r->orders->count > 0 ? r->width : NAN, 4);
    lay_json_open_array(&j, "band_hz");
    if (r->orders->count == 0) {
        lay_json_number(&j, NULL, r->low_hz, 0);
        lay_json_number(&j, NULL, r->high_hz, 0);
    }
    lay_json_close_array(&j);
    lay_json_number(&j, "share_db", r->share_db, 2);
    lay_json_number(&j, "lift_db", r->lift_db, 2);
    lay_json_number(&j, "peak", r->peak, 4);
    lay_json_string(&j, "file", r->file);
    lay_json_bool(&j, "played", r->played);
    lay_json_string(&j, "not_played", r->silent);
    lay_json_close_object(&j);
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}
