/* What `layshaft listen` took out of a run, as text and JSON. */
#include <layshaft/report.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "page.h"
#include "run_json.h"
#include "words.h"

#define LISTED 8 /* orders that are named one by one */
#define SHARED 4 /* of them, with each other part */

/* ---- text ---- */

static bool first_of_name(const lay_part_orders *orders, size_t i) {
    if (orders->items[i].shared == NULL) return false;
    for (size_t k = 0; k < i; k++)
        if (orders->items[k].shared != NULL && strcmp(orders->items[k].shared, orders->items[i].shared) == 0)
            return false;
    return true;
}

/* Other parts that make some of these orders too, each with its orders: "engine at 6.000, 9.000; headset at 69.000". */
static void list_shared(const lay_part_orders *orders, lay_text *out) {
    for (size_t i = 0; i < orders->count; i++) {
        if (!first_of_name(orders, i)) continue;
        size_t listed = 0, count = 0;
        lay_text_add(out, "%s%s at ", out->length > 0 ? "; " : "", orders->items[i].shared);
        for (size_t k = i; k < orders->count; k++) {
            if (orders->items[k].shared == NULL || strcmp(orders->items[k].shared, orders->items[i].shared) != 0)
                continue;
            if (++count > SHARED) continue;
            lay_text_add(out, "%s%s", listed++ > 0 ? ", " : "", lay_words_number(orders->items[k].order, 3).text);
        }
        if (count > SHARED) lay_text_add(out, " and %zu more", count - SHARED);
    }
}

static void list_orders(const lay_part_orders *orders, lay_text *out) {
    for (size_t i = 0; i < orders->count && i < LISTED; i++)
        lay_text_add(out, "%s%s", i > 0 ? ", " : "", lay_words_number(orders->items[i].order, 3).text);
    if (orders->count > LISTED) lay_text_add(out, " and %zu more", orders->count - LISTED);
}

static bool any_stands(const lay_part_orders *orders) {
    for (size_t i = 0; i < orders->count; i++)
        if (isfinite(orders->items[i].above_floor_db) || orders->items[i].shared != NULL) return true;
    return false;
}

static void tones(const lay_page *page, const lay_listen_result *r) {
    lay_text text = {0};
    list_orders(r->orders, &text);
    lay_page_field(page, r->orders->count > 1 ? "Orders" : "Order", "%s", text.failed ? "" : text.text);
    lay_text_free(&text);
    lay_page_field(page, "Width", "%s orders, %s Hz at mean speed", lay_words_number(r->width, 3).text,
                   lay_words_number(r->width * r->mean_hz, 1).text);
    if (!any_stands(r->orders))
        lay_page_field(page, "Heard", "nothing stands out of the noise at %s in this run",
                       r->orders->count > 1 ? "any of these orders" : "this order");
    list_shared(r->orders, &text);
    if (text.length > 0 && !text.failed)
        lay_page_field(page, "Also there", "%s: same order, cannot be told apart", text.text);
    lay_text_free(&text);
}

static void band(const lay_page *page, const lay_listen_result *r) {
    lay_page_field(page, "Band", "%s to %s Hz, %s", lay_words_number(r->ring->low_hz, 0).text,
                   lay_words_number(r->ring->high_hz, 0).text,
                   r->ring->blows ? "where blows at its rate stand out in this run"
                                  : "a guess: no blows at its rate stand out in this run");
    lay_page_field(page, "Also there", "all other noise of that band: a bearing strikes and has no tone of its own");
}

static void level(const lay_page *page, const lay_listen_result *r) {
    double down = r->asked_db - r->lift_db;
    if (down > 0.05)
        lay_page_field(page, "Level",
                       "%s by %s dB; the %s dB asked for were turned down by %s dB, or the loudest "
                       "place would be overdriven",
                       r->lift_db < 0 ? "lowered" : "lifted", lay_words_number(fabs(r->lift_db), 1).text,
                       lay_words_number(r->asked_db, 1).text, lay_words_number(down, 1).text);
    else if (r->lift_db != 0)
        lay_page_field(page, "Level", "%s by %s dB", r->lift_db < 0 ? "lowered" : "lifted",
                       lay_words_number(fabs(r->lift_db), 1).text);
    else
        lay_page_field(page, "Level", "as recorded%s",
                       r->peak > 1 ? "; above full scale in places, lower it with --lift -20 or so" : "");
}

static void title(const lay_page *page, const lay_listen_result *r) {
    lay_text text = {0};
    lay_text_add(&text, "Run %zu, %s: %s", r->number, r->spec->file ? r->spec->file : "",
                 r->without ? "all but " : "only ");
    if (r->name == NULL)
        lay_text_add(&text, "order %s", lay_words_number(r->orders->items[0].order, 3).text);
    else
        lay_text_add(&text, "%s%s",
                     r->orders->count == 0 ? "the bearing "
                     : r->orders->part     ? ""
                                           : "the body ",
                     r->name);
    lay_page_wrap(page, LAY_INK_BOLD, "", text.failed ? "" : text.text);
    lay_text_free(&text);
}

lay_status lay_report_listen_text(const lay_listen_result *r, bool colour, int width, lay_text *out) {
    lay_page page = lay_page_on(out, colour, width);
    title(&page, r);
    if (r->unsure)
        lay_page_field(&page, "Unsure",
                       "the speed of this run was not surely found, so other noise may be heard "
                       "instead; see layshaft speed");
    if (r->orders->count > 0)
        tones(&page, r);
    else
        band(&page, r);
    if (isfinite(r->share_db))
        lay_page_field(&page, "Share", "the part lies %s dB below the whole recording",
                       lay_words_number(fmax(0, -r->share_db), 1).text);
    level(&page, r);
    lay_page_field(&page, "File", "%s", r->file);
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}

lay_status lay_report_listen_played(const lay_listen_result *r, bool colour, int width, lay_text *out) {
    lay_page page = lay_page_on(out, colour, width);
    if (r->silent != NULL) lay_page_field(&page, "Not played", "%s", r->silent);
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}

/* ---- JSON ---- */

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
        lay_json_number(&j, NULL, r->ring->low_hz, 0);
        lay_json_number(&j, NULL, r->ring->high_hz, 0);
    }
    lay_json_close_array(&j);
    if (r->orders->count == 0) {
        lay_json_bool(&j, "blows", r->ring->blows);
        lay_json_number(&j, "blows_clear_db", r->ring->clear_db, 1);
    }
    lay_json_bool(&j, "speed_sure", !r->unsure);
    lay_json_number(&j, "share_db", r->share_db, 2);
    lay_json_number(&j, "lift_asked_db", r->asked_db, 2);
    lay_json_number(&j, "lift_db", r->lift_db, 2);
    lay_json_number(&j, "peak", r->peak, 4);
    lay_json_string(&j, "file", r->file);
    lay_json_bool(&j, "played", r->played);
    lay_json_bool(&j, "stopped", r->stopped);
    lay_json_string(&j, "not_played", r->silent);
    lay_json_close_object(&j);
    return out->failed ? LAY_NO_MEMORY : LAY_OK;
}
