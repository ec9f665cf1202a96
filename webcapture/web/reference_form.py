"""A reference value's form: its fields, and what was typed turned into a value, with a message for each field that is wrong."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from webcapture.errors import UsageError
from webcapture.reference.exchange import NO_NAME
from webcapture.reference.library import MARKS, Value
from webcapture.reference.method import MethodUnclear, method_of, mobile_phase_of, paper_of
from webcapture.web.language import gettext as _
from webcapture.web.language import lazy_gettext, told
from webcapture.web.plan_form import TEMPERATURES, Fields, too_long

LENGTHS = {
    "substance": 120,
    "mobile_phase": 160,
    "paper": 120,
    "locating": 80,
    "colour": 60,
    "source": 400,
    "note": 200,
}
LABELS = {
    "substance": lazy_gettext("Substance"),
    "mobile_phase": lazy_gettext("Mobile phase, with proportions"),
    "paper": lazy_gettext("Paper"),
    "temperature_c": lazy_gettext("Temperature in °C"),
    "locating": lazy_gettext("Locating agent"),
    "rf": lazy_gettext("Rf"),
    "sd": lazy_gettext("Standard deviation"),
    "n": lazy_gettext("Number of values"),
    "sd_within": lazy_gettext("Standard deviation within one sheet"),
    "freedom_within": lazy_gettext("Its degrees of freedom"),
    "colour": lazy_gettext("Colour in words"),
    "colour_hex": lazy_gettext("Colour as #rrggbb"),
    "mark": lazy_gettext("Mark"),
    "source": lazy_gettext("Source"),
}
NAMES = (*LABELS, "note")
_NUMBER = re.compile(r"[+-]?[0-9]+(?:[.,][0-9]+)?")
_WHOLE = re.compile(r"[0-9]{1,6}")
_HEX = re.compile(r"#[0-9a-fA-F]{6}")


@dataclass(frozen=True, slots=True)
class Typed:
    """What was typed, as it stands in the fields, and what is wrong with it."""

    fields: Fields
    wrong: Fields = field(default_factory=dict)
    """Message by field."""
    value: Value | None = None
    """None where anything is wrong."""
    note: str = ""


def fresh(**known: str) -> Fields:
    """The fields of a new value."""
    return dict.fromkeys(NAMES, "") | {"mark": MARKS[0]} | known


def fields_of(value: Value) -> Fields:
    """The fields that show a value; reading them gives it again."""
    method = value.method
    numbers = {"temperature_c": method.temperature_c, "rf": value.rf, "sd": value.sd, "n": value.n}
    numbers |= {"sd_within": value.sd_within, "freedom_within": value.freedom_within or None}
    return fresh(
        substance=value.substance, mobile_phase=method.mobile_phase.text, paper=method.paper, locating=method.locating,
        colour=value.colour, colour_hex=value.hex, mark=value.mark, source=value.source,
        **{name: "" if number is None else _plain(number) for name, number in numbers.items()},
    )  # fmt: skip


def _plain(number: float) -> str:
    """All digits, never as a power of ten.

    >>> _plain(0.31), _plain(0.00001), _plain(20.0), _plain(3)
    ('0.31', '0.00001', '20', '3')
    """
    text = f"{number:.17f}".rstrip("0").rstrip(".") if "e" in repr(number) else repr(number)
    return text.removesuffix(".0")


def changes(before: Value, after: Value) -> list[tuple[str, str, str]]:
    """What differs between two versions: name of the field, before, after."""
    old, new = fields_of(before), fields_of(after)
    return [(str(words), old[name], new[name]) for name, words in LABELS.items() if old[name] != new[name]]


def read(form: Mapping[str, str]) -> Typed:
    """The form as sent. What was typed stays as it was typed, right or wrong."""
    fields = {name: form.get(name, "") for name in NAMES}
    tidy = {name: text.strip() for name, text in fields.items()}
    wrong: Fields = {}
    temperature, rf = _number(tidy, "temperature_c", wrong), _number(tidy, "rf", wrong)
    sd, within = _number(tidy, "sd", wrong), _number(tidy, "sd_within", wrong)
    n, freedom = _whole(tidy, "n", 1, wrong), _whole(tidy, "freedom_within", 0, wrong)
    wrong = _wrong_numbers(tidy, temperature, rf, n) | _wrong_spreads(sd, n, within, freedom) | wrong
    wrong = _wrong_choices(tidy) | _wrong_method(tidy) | _wrong_texts(tidy) | wrong
    if wrong or rf is None:
        return Typed(fields, {name: wrong[name] for name in NAMES if name in wrong})
    try:
        method = method_of(tidy["mobile_phase"], tidy["paper"], temperature, tidy["locating"])
        value = Value(
            tidy["substance"], method, rf, tidy["mark"], tidy["source"], sd=sd, n=n, sd_within=within, freedom_within=freedom,
            colour=tidy["colour"], hex=tidy["colour_hex"].lower(),
        )  # fmt: skip
    except UsageError as error:  # whatever the library refuses beyond
        return Typed(fields, {"substance": told(error.message)})
    return Typed(fields, {}, value, tidy["note"])


def number(text: str) -> float | None:
    """A number with a point or a comma; None for what is none."""
    plain = text.strip().replace("−", "-")
    return float(plain.replace(",", ".")) if _NUMBER.fullmatch(plain) and len(plain) <= 24 else None


def tidy_note(text: str) -> str:
    """A note in one line, as long as a note may be."""
    return " ".join(NO_NAME.sub(" ", text).split())[: LENGTHS["note"]]


def _number(tidy: Fields, name: str, wrong: Fields) -> float | None:
    """The field's number; None where it is empty or wrong."""
    found = number(tidy[name])
    if found is None and tidy[name]:
        wrong[name] = _("This is not a number. Write it in figures, such as 0.31.")
    return found


def _whole(tidy: Fields, name: str, otherwise: int, wrong: Fields) -> int:
    text = tidy[name]
    if not text:
        return otherwise
    if not _WHOLE.fullmatch(text):
        wrong[name] = _("Give a whole number, or leave it empty.")
        return otherwise
    return int(text)


def _wrong_numbers(tidy: Fields, temperature: float | None, rf: float | None, n: int) -> Fields:
    wrong = {}
    low, high = TEMPERATURES
    if temperature is not None and not low <= temperature <= high:
        wrong["temperature_c"] = _(
            "Give a number of degrees from %(low)s to %(high)s, or leave it empty.", low=f"{low:g}", high=f"{high:g}"
        )
    if not tidy["rf"]:
        wrong["rf"] = _("Give the Rf, from 0 to 1.")
    elif rf is not None and not 0 <= rf <= 1:
        wrong["rf"] = _("An Rf lies between 0 and 1. An hRf of 31 is an Rf of 0.31.")
    if n < 1:
        wrong["n"] = _("At least one value lies behind it.")
    return wrong


def _wrong_spreads(sd: float | None, n: int, within: float | None, freedom: int) -> Fields:
    wrong = {}
    for name, spread in (("sd", sd), ("sd_within", within)):
        if spread is not None and not 0 < spread < 1:
            wrong[name] = _(
                "A standard deviation lies above 0 and below 1. Leave it empty where the source gives none."
            )
    if sd is not None and n < 2:
        wrong["n"] = _("A standard deviation needs the number of values behind it, at least 2.")
    if within is not None and not freedom:
        wrong["freedom_within"] = _("Give the degrees of freedom of the standard deviation within one sheet.")
    if freedom and within is None:
        wrong["sd_within"] = _("Give the standard deviation that these degrees of freedom belong to.")
    return wrong


def _wrong_texts(tidy: Fields) -> Fields:
    needed = {
        "substance": _("Name the substance."),
        "mobile_phase": _("Say what the mobile phase is made of, with its proportions."),
        "paper": _("Say which paper is used."),
        "source": _("Say where the value can be looked up; of an invented one, that it is invented."),
    }
    wrong = {name: words for name, words in needed.items() if not tidy[name]}
    wrong |= {name: _("There is a character in it that no name has.") for name in NAMES if NO_NAME.search(tidy[name])}
    return wrong | {name: too_long(most) for name, most in LENGTHS.items() if len(tidy[name]) > most}


def _wrong_choices(tidy: Fields) -> Fields:
    wrong = {} if tidy["mark"] in MARKS else {"mark": _("Choose one of the list.")}
    if tidy["colour_hex"] and not _HEX.fullmatch(tidy["colour_hex"]):
        wrong["colour_hex"] = _("Write it as # and six figures or letters to f, such as #b04a5a, or leave it empty.")
    return wrong


def _wrong_method(tidy: Fields) -> Fields:
    wrong = {}
    for name, reading in (("mobile_phase", mobile_phase_of), ("paper", paper_of)):
        try:
            reading(tidy[name])
        except MethodUnclear as error:
            wrong[name] = f"{told(error.message)} {told(error.hint)}"
    return wrong
