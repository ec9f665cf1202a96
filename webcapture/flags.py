"""Doubt as data: one registry of every flag, for code, documentation and screen alike.

A flag sits on the smallest thing it concerns: a spot, a lane, a strip or the photo. It never replaces a number and never
stops a measurement; what stops one is in :mod:`webcapture.errors`.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Flag:
    """One doubt: ``code`` for programs, ``text`` says what was seen, ``advice`` what to do next."""

    code: str
    text: str
    advice: str


_ROWS: tuple[tuple[str, str, str], ...] = (
    ("out-of-focus", "The picture is a little blurred.", "Numbers are less certain. Tap to focus, hold still, and take the photo again."),
    ("few-pixels", "The picture shows the card with few pixels.", "Faint spots may be lost, and blotches of its compression may look like some. Fill the frame with the card; where a messenger shrinks photos, send the original file, as a document or by e-mail."),
    ("too-dark", "The picture is dark.", "Numbers are less certain. Bring more light onto the card and take the photo again."),
    ("too-bright", "The paper is lighter than the camera can tell.", "Pale spots may be lost, and colours are not to be trusted. Tap on the paper to set the exposure, or lower it, and take the photo again."),
    ("glare", "A bright reflection lies on part of the card.", "Turn the card or the lamp until the reflection is gone, and take the photo again."),
    ("shadow", "A shadow falls across the card.", "Move so that neither you nor the phone stands between lamp and card."),
    ("card-bent", "The card does not lie flat.", "Lay the card on a hard, flat surface, weigh down its corners, and take the photo again."),
    ("another-card", "Another card is in the picture, and nothing on it was measured.", "Take a photo of each card by itself, with the other one out of the picture."),
    ("card-incomplete", "Part of the card is out of the picture or covered.", "Only what lies in the visible part is measured. Get the whole frame into the picture."),
    ("no-strip", "The card is empty: no strip was seen.", "Lay the strip inside a bay, its origin end towards the arrow, and take the photo again."),
    ("strip-unread", "Something white on the card could not be read as a strip.", "Lay each strip dry and flat inside a bay of its own, touching nothing else, and take the photo again."),
    ("seam", "A line runs along the whole strip: two papers side by side may have been measured as one.", "Lay strips apart, each in a bay of its own or with the card's tint between them, and take the photo again. A pencil line between lanes does no harm."),
    ("strip-cut-off", "Part of this strip is outside the picture or off the card's measured area.", "Move the strip into its bay and take the photo again."),
    ("bay-shared", "Another strip lies in the same bay, or reaches into it.", "What was planned for this bay is given to none of them, lest names be mixed up. Lay one strip to a bay and take the photo again; in a result that is kept, lanes can be named by hand."),
    ("upside-down", "The origin end lies at the top of the card, or seems to.", "Where Rf are given, it was measured the right way round: check that the numbered spots make sense, or turn the strip."),
    ("ends-undecided", "It cannot be told which end of the strip is the origin's, so there is no Rf.", "Lay its origin end at the arrow and take the photo again; a result that is kept can be turned by hand. A pencil cross where the sample goes tells the two ends apart."),
    ("ends-alike", "Both lines look alike: the one towards the arrow was taken as the origin.", "Check that the origin end lies at the arrow. A pencil cross where the sample goes tells the two apart."),
    ("origin-missing", "No origin line was seen.", "Draw the origin line in pencil before the run. Without it there is no distance and no Rf."),
    ("front-missing", "No solvent front was seen.", "Mark the front in pencil as soon as the paper leaves the tank. Without it there is no Rf, only distances."),
    ("two-lines", "More than one drawn line could be the origin line or the front.", "The line with marks, the darker of two close together, or the uppermost one was taken. Check it on the picture; draw only the origin line and the front."),
    ("two-fronts", "More than one line or edge could be the solvent front.", "A drawn one was taken, or the uppermost clear one: see on the picture whether it is the front. Mark the front in pencil as soon as the paper leaves the tank."),
    ("front-faint", "The solvent front is hardly to be seen.", "See on the picture whether it is the front. Mark the front in pencil as soon as the paper leaves the tank."),
    ("front-short", "The front is marked over a part of the width only.", "In lanes away from the mark it was taken to run on as the mark and the origin line do. Rule the front right across the paper."),
    ("front-under-word", "The line that was taken as the front is short and stands below a word.", "If it underlines the word, it is not the front: rule the front right across the paper and take the photo again. In a result that is kept it can be placed by hand."),
    ("front-inked", "The line that was taken as the front is coloured.", "If it was drawn in ink after the run, it is the front. If it is a narrow band of colour, it is not: mark the front in pencil and take the photo again. In a result that is kept it can be placed by hand."),
    ("colour-beyond", "There is colour beyond the line that was taken as the front.", "A stain, tape or writing changes nothing. If it is a spot, this line is not the front: mark the front in pencil and take the photo again. In a result that is kept it can be placed by hand."),
    ("front-slanted", "The solvent front is not level.", "Each lane uses the front's height in that lane. Check that paper and tank stood level."),
    ("did-not-move", "This spot stayed on the origin line.", "The mobile phase does not carry it: try another one."),
    ("near-front", "This spot ran with the solvent front.", "It tells little about the substance: try a weaker mobile phase."),
    ("no-spots", "No spot was seen in this lane.", "If spots should be there, use a locating agent, apply more sample, or photograph in better light."),
    ("tailing", "This spot has a tail.", "Its centre is less certain. Apply a smaller amount of sample."),
    ("merged", "This spot overlaps another.", "Where both are listed, each has a centre of its own, which is less certain; where one is, its centre may be that of both. Apply less sample or try another mobile phase."),
    ("faint", "This spot is faint.", "Check on the picture that it is a spot. Apply more sample or take the photo in better light."),
    ("ink-line", "Colour ran from all along the origin line: it may be ink, not pencil.", "Draw the origin line in pencil: ink travels with the solvent and makes spots of its own."),
    ("by-hand", "This was placed by hand.", "Its uncertainty is that of an eye and a finger. The measured place can be restored in the history."),
    ("strip-bent", "This strip does not lie flat.", "Flatten it under a glass plate or weigh down its ends, and take the photo again."),
)  # fmt: skip

OF_THE_FRONT = ("two-fronts", "front-faint", "front-short", "front-under-word", "front-inked", "colour-beyond")
"""Doubts about a front that was seen: gone where somebody has placed it."""

REGISTRY: dict[str, Flag] = {code: Flag(code, text, advice) for code, text, advice in _ROWS}


def flag(code: str) -> Flag:
    """The registered flag of that ``code``; raises KeyError for a code that is not registered."""
    return REGISTRY[code]


def flags(*codes: str) -> tuple[Flag, ...]:
    """The registered flags of those ``codes``, in the order given, each once."""
    return tuple(REGISTRY[code] for code in dict.fromkeys(codes))
