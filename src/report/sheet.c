/* All rules here are common practice of the trade, no source: they say what rebuilders usually do, and give way to the
 * maker's manual. */
#include "sheet.h"

#define BIT(kind) (1u << (kind))
#define TEETH (BIT(LAY_KIND_MESH) | BIT(LAY_KIND_CHIP) | BIT(LAY_KIND_GHOST) | BIT(LAY_KIND_ECCENTRIC))
#define BEARINGS (BIT(LAY_KIND_OUTER) | BIT(LAY_KIND_INNER) | BIT(LAY_KIND_ELEMENT) | BIT(LAY_KIND_CAGE))

static const lay_sheet_row rows[] = {
    {TEETH, "Count the teeth of both wheels", "as in the unit file|different: _",
     "Another count is another gear: all "
     "orders of this report change. Correct the unit file and diagnose again."},
    {BIT(LAY_KIND_MESH), "Contact pattern, drive flank (marking paste, light drag)",
     "centred|towards one end|high or low|edge contact",
     "About three quarters of the width, centred, is good. At one end on all teeth: look at bearings and shafts first, "
     "new wheels will not cure it. High or low: wheels that are no pair, or worn out."},
    {BIT(LAY_KIND_MESH), "Contact pattern, coast flank", "centred|towards one end|high or low|edge contact",
     "As on drive. A whine on one side only usually shows on that flank only."},
    {BIT(LAY_KIND_MESH) | BIT(LAY_KIND_CHIP), "Tooth edges and ends", "clean|nicks|burrs|chipped",
     "Nicks and burrs outside the contact area dress out with a fine stone. A missing corner that reaches the contact "
     "area does not: replace, and look for the piece."},
    {BIT(LAY_KIND_MESH) | BIT(LAY_KIND_CHIP), "Contact area", "polished|fine grey|pits|scuffed|flaked",
     "Polish and a fine grey haze are wear that may stay. Pits that a fingernail feels, scuffing and flaking do not "
     "dress out: replace both wheels of the pair, and find out why (oil, load, leaning shaft)."},
    {BIT(LAY_KIND_MESH) | BIT(LAY_KIND_CHIP), "Tooth roots (clean, good light, dye where in doubt)", "sound|crack",
     "Any crack: replace. It does not stop."},
    {BIT(LAY_KIND_GHOST), "Flanks against the light: fine waves across all teeth", "none|waves, all teeth alike",
     "Waves that are alike on every tooth are how the tooth was made, not damage. They often fade with running-in; a "
     "wheel that whines with them is changed for the noise, not for safety."},
    {BIT(LAY_KIND_ECCENTRIC), "Run-out of the wheel at the pitch diameter, one full turn", "_ mm|limit: _ mm",
     "Compare with the maker's limit. Turn the wheel half a turn on its seat: when the high spot stays with the shaft, "
     "the shaft is bent; when it goes with the wheel, the wheel is out."},
    {BIT(LAY_KIND_ECCENTRIC), "Seat of the wheel: shoulder, bore, needles or bush", "clean|burr or dirt|worn",
     "A burr dresses out. A worn bush or cage of needles is replaced with its race; the wheel then is measured again."},
    {TEETH, "Engagement teeth and synchroniser ring of this gear", "sharp|rounded|gap of the ring: _ mm",
     "Rounded teeth let a gear jump out, they do not whine. Replace with the sleeve that wore with them."},
    {BEARINGS, "Turn by hand, washed and dry, then with clean oil", "smooth|rough|catches|loose",
     "Rough when clean is enough to replace. Smooth by hand does not clear it: early damage is felt under load only."},
    {BIT(LAY_KIND_OUTER), "Outer race, most of all where the load presses", "clean|marks|pits|flaked",
     "Never reuse a race with pits that a fingernail feels. Marks as evenly spaced as the elements come from pressing "
     "it "
     "in over the elements or from standing still: replace as well."},
    {BIT(LAY_KIND_INNER), "Inner race, all round", "clean|marks|pits|flaked",
     "As for the outer race. Look at the seat on the shaft: a polished one means that the ring crept."},
    {BIT(LAY_KIND_ELEMENT), "Every ball, roller or needle", "clean|pits|flat or dull places",
     "One bad element condemns the whole bearing; elements are not changed one by one."},
    {BIT(LAY_KIND_CAGE), "Cage: cracks, worn pockets, rubbing on a ring", "sound|worn|cracked",
     "A cracked or rattling cage: replace the bearing and look for pieces in the oil."},
    {BEARINGS, "Its seats in the case and on the shaft", "tight|crept|fretted",
     "A ring that crept in a light-metal case comes back: the seat is repaired, or the case replaced."},
    {TEETH | BEARINGS, "Preload or end play of both shafts, before anything is taken apart", "_ mm|by the book: _ mm",
     "Out of limits explains whine and early wear by itself. Set it by the maker's book, then record again."},
    {TEETH | BEARINGS, "Oil and magnet", "level right|low|fine paste|flakes or chips|burnt",
     "Fine grey paste on the magnet is normal wear. Flakes that glitter are bearing or tooth, chips with edges are "
     "tooth: do not close the unit before the place is found."},
    {BIT(LAY_KIND_OUTSIDE), "Take its drive off, or unload it, for a moment and listen again", "noise gone|noise stays",
     "Gone: it is that part, leave the transmission alone. Only with the vehicle safely supported and nobody near "
     "turning parts."},
    {BIT(LAY_KIND_OUTSIDE), "Play and roughness of its bearings, belt, joints or mountings", "good|play|rough|loose",
     "A noise from outside is cured outside: open the transmission only after another recording without that source."},
};

const lay_sheet_row *lay_sheet_next(lay_kind kind, const lay_sheet_row *before) {
    const lay_sheet_row *end = rows + sizeof rows / sizeof rows[0];
    for (const lay_sheet_row *r = before != NULL ? before + 1 : rows; r < end; r++)
        if (r->kinds & BIT(kind)) return r;
    return NULL;
}
