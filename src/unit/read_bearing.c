/* [bearing ...]: geometry, a maker's multiples, or only the number of rolling elements. */
#include "parser.h"

#include <math.h>
#include <string.h>

#define SLIP_TOLERANCE 0.01 /* real frequencies stray 1-2 % by slip (Randall & Antoni 2011, value from memory of it)   \
                             */
/* The 0.4 n / 0.6 n rule is out by 9.8 % for a published bearing of 16 rollers, by less for the others. */
#define RULE_TOLERANCE 0.10
#define MULTIPLES_AGREE 0.02 /* makers round their multiples */

static lay_status check_geometry(struct unit_parser *p, const struct unit_section *s, const lay_bearing *b) {
    struct unit_slice d = unit_find_entry(s, "element diameter")->value;
    if (b->element_mm >= b->pitch_mm)
        return UNIT_FAIL(p, d, "the element diameter (%.4g mm) must be smaller than the pitch diameter (%.4g mm)",
                         b->element_mm, b->pitch_mm);
    double room = LAY_PI / asin(b->element_mm / b->pitch_mm); /* elements side by side on the pitch circle */
    if (b->elements > room + 1e-9)
        return UNIT_FAIL(p, d, "%d elements of %.4g mm do not fit round a pitch diameter of %.4g mm: at most %d do",
                         b->elements, b->element_mm, b->pitch_mm, (int)floor(room + 1e-9));
    return LAY_OK;
}

/* Multiples of a bearing whose outer ring stands still (references: SNFA catalogue, Vibration and Noise). */
static void multiples_from_geometry(lay_bearing *b) {
    double gamma = b->element_mm / b->pitch_mm * cos(b->contact_deg * LAY_PI / 180);
    b->bpfo = b->elements / 2.0 * (1 - gamma);
    b->bpfi = b->elements / 2.0 * (1 + gamma);
    b->bsf = b->pitch_mm / (2 * b->element_mm) * (1 - gamma * gamma);
    b->ftf = (1 - gamma) / 2;
    b->tolerance = SLIP_TOLERANCE;
}

static lay_status read_geometry(struct unit_parser *p, const struct unit_section *s, lay_bearing *b) {
    const struct unit_entry *d = unit_find_entry(s, "element diameter"), *pitch = unit_find_entry(s, "pitch diameter");
    const struct unit_entry *angle = unit_find_entry(s, "contact angle");
    if (b->elements == 0 || !d || !pitch)
        return UNIT_FAIL(p, s->head, "the geometry is not complete: '%s' is missing",
                         b->elements == 0 ? "rolling elements"
                         : d              ? "pitch diameter"
                                          : "element diameter");
    b->basis = LAY_BEARING_GEOMETRY;
    lay_status status = unit_read_length(p, d->value, &b->element_mm);
    if (status == LAY_OK) status = unit_read_length(p, pitch->value, &b->pitch_mm);
    if (status == LAY_OK && angle) status = unit_read_angle(p, angle->value, &b->contact_deg);
    if (status == LAY_OK) status = check_geometry(p, s, b);
    if (status == LAY_OK) multiples_from_geometry(b);
    return status;
}

static bool agree(double a, double b) {
    return fabs(a - b) <= MULTIPLES_AGREE * fabs(b);
}

/* BPFO + BPFI = n and BPFO = n FTF give what the maker left out; what stays unknown is 0. */
static void complete_multiples(lay_bearing *b) {
    double n = b->bpfo > 0 && b->bpfi > 0 ? b->bpfo + b->bpfi : b->bpfo > 0 && b->ftf > 0 ? b->bpfo / b->ftf : 0;
    if (b->elements == 0 && n >= 3 && n <= UNIT_MOST_ELEMENTS && fabs(n - round(n)) < 0.03) b->elements = (int)round(n);
    if (b->elements == 0) return;
    if (b->bpfo == 0) b->bpfo = b->bpfi > 0 ? b->elements - b->bpfi : b->elements * b->ftf;
    if (b->bpfi == 0 && b->bpfo > 0) b->bpfi = b->elements - b->bpfo;
    if (b->ftf == 0) b->ftf = b->bpfo / b->elements;
}

static lay_status check_multiples(struct unit_parser *p, const struct unit_section *s, const lay_bearing *b) {
    const struct unit_entry *o = unit_find_entry(s, "bpfo"), *i = unit_find_entry(s, "bpfi");
    struct unit_slice where = o ? o->value : i ? i->value : s->head;
    if (b->bpfo < 0 || b->bpfi < 0 || (b->bpfo > 0 && b->bpfi > 0 && b->bpfo >= b->bpfi))
        return UNIT_FAIL(p, where, "BPFO (%.4g) must be smaller than BPFI (%.4g): are they swapped?", b->bpfo, b->bpfi);
    if (b->elements > 0 && b->bpfo > 0 && !agree(b->bpfo + b->bpfi, b->elements))
        return UNIT_FAIL(p, where, "BPFO + BPFI is %.4g but must be the number of rolling elements, %d",
                         b->bpfo + b->bpfi, b->elements);
    if (b->elements > 0 && b->bpfo > 0 && !agree(b->bpfo / b->ftf, b->elements))
        return UNIT_FAIL(p, where, "BPFO / FTF is %.4g but must be the number of rolling elements, %d",
                         b->bpfo / b->ftf, b->elements);
    return LAY_OK;
}

/* Makers print the element's spin or twice it (one defect strikes both rings) under the same name. The spin
 * cannot exceed (1 - g^2) / (2 g), reached at contact angle 0, so a larger number is the doubled one. */
static lay_status settle_spin(struct unit_parser *p, const struct unit_section *s, lay_bearing *b) {
    if (b->bsf == 0 || b->bpfo == 0 || b->bpfi == 0) return LAY_OK;
    double gamma = (b->bpfi - b->bpfo) / (b->bpfi + b->bpfo);
    double largest = (1 - gamma * gamma) / (2 * gamma);
    if (b->bsf > 2.05 * largest)
        return UNIT_FAIL(p, unit_find_entry(s, "bsf")->value,
                         "BSF %.4g does not go with the other multiples: the spin of an element is at most %.4g here",
                         b->bsf, largest);
    if (b->bsf > 1.05 * largest) b->bsf /= 2;
    return LAY_OK;
}

static lay_status read_multiples(struct unit_parser *p, const struct unit_section *s, lay_bearing *b) {
    const struct {
        const char *key;
        double most, *value;
    } keys[] = {{"BPFO", UNIT_MOST_ELEMENTS, &b->bpfo},
                {"BPFI", UNIT_MOST_ELEMENTS, &b->bpfi},
                {"BSF", UNIT_MOST_ELEMENTS, &b->bsf},
                {"FTF", 0.5, &b->ftf}};
    b->basis = LAY_BEARING_MULTIPLES;
    b->tolerance = SLIP_TOLERANCE;
    for (size_t i = 0; i < sizeof keys / sizeof *keys; i++) {
        const struct unit_entry *e = unit_find_entry(s, keys[i].key);
        lay_status status = e ? unit_read_real(p, e->value, keys[i].key, 0, keys[i].most, keys[i].value) : LAY_OK;
        if (status != LAY_OK) return status;
    }
    complete_multiples(b);
    lay_status status = check_multiples(p, s, b);
    return status == LAY_OK ? settle_spin(p, s, b) : status;
}

static void multiples_from_count(lay_bearing *b) {
    b->basis = LAY_BEARING_COUNT_ONLY;
    b->bpfo = 0.4 * b->elements;
    b->bpfi = 0.6 * b->elements;
    b->ftf = 0.4;
    b->tolerance = RULE_TOLERANCE; /* the spin depends on the element's size: unknown */
}

static const struct unit_entry *first_of(const struct unit_section *s, const char *const *keys, size_t count) {
    for (size_t i = 0; i < count; i++) {
        const struct unit_entry *e = unit_find_entry(s, keys[i]);
        if (e) return e;
    }
    return NULL;
}

static lay_status read_frequencies(struct unit_parser *p, const struct unit_section *s, lay_bearing *b) {
    static const char *const geometry_keys[] = {"element diameter", "pitch diameter", "contact angle"};
    static const char *const multiple_keys[] = {"bpfo", "bpfi", "bsf", "ftf"};
    const struct unit_entry *elements = unit_find_entry(s, "rolling elements");
    const struct unit_entry *geometry = first_of(s, geometry_keys, 3), *multiple = first_of(s, multiple_keys, 4);
    if (elements) {
        lay_status status =
            unit_read_count(p, elements->value, "rolling elements", 3, UNIT_MOST_ELEMENTS, &b->elements);
        if (status != LAY_OK) return status;
    }
    if (geometry && multiple)
        return UNIT_FAIL(p, multiple->key, "give either the geometry or the maker's multiples, not both");
    if (geometry) return read_geometry(p, s, b);
    if (multiple) return read_multiples(p, s, b);
    if (!elements)
        return UNIT_FAIL(p, s->head,
                         "the bearing needs its geometry, the maker's multiples, or at least 'rolling elements ='");
    multiples_from_count(b);
    return LAY_OK;
}

lay_status unit_read_bearing(struct unit_parser *p, const struct unit_section *s) {
    lay_unit *unit = p->unit;
    if (unit->bearing_count >= UNIT_MOST_PARTS)
        return UNIT_FAIL(p, s->head, "there are more than %d bearings", UNIT_MOST_PARTS);
    lay_bearing *b = &unit->bearings[unit->bearing_count++];
    *b = (lay_bearing){.name = unit_slice_text(s->label), .line = s->head.line};
    if (!b->name) return lay_fail(p->err, LAY_NO_MEMORY, "not enough memory to read the unit file");
    struct unit_slice outer = unit_find_entry(s, "outer")->value;
    lay_status status = unit_read_body(p, unit_find_entry(s, "inner")->value, false, &b->inner);
    if (status == LAY_OK) status = unit_read_body(p, outer, false, &b->outer);
    if (status == LAY_OK && b->inner == b->outer)
        status =
            UNIT_FAIL(p, outer, "both rings are on '%s': name two bodies that turn apart", unit->bodies[b->inner].name);
    return status == LAY_OK ? read_frequencies(p, s, b) : status;
}
