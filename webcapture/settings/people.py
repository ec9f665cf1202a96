"""What people do by hand, and how a class joins, sends and is kept."""

from __future__ import annotations

from dataclasses import dataclass

from webcapture.settings.knob import knob


@dataclass(frozen=True, slots=True)
class HandSettings:
    """Corrections made by hand."""

    u_line_mm: float = knob(
        0.3,
        "mm",
        "A line placed by eye on a phone's screen: within half a millimetre either way (uniform, JCGM 100:2008, 4.3.7).",
    )
    u_spot_mm: float = knob(
        0.5, "mm", "A spot's centre placed by eye: people who mark one spot with a ruler differ by about a millimetre."
    )
    width_mm: float = knob(5.0, "mm", "Width given to a spot that is added by hand where its profile shows none.")
    reach_mm: float = knob(
        4.0, "mm", "How far around an added spot its height and its width are looked for in the profile."
    )


@dataclass(frozen=True, slots=True)
class RoomSettings:
    """Practicals, stations and their photos."""

    open_hours: float = knob(12.0, "h", "Joining closes by itself after the day of the practical.")
    keep_days: int = knob(60, "d", "A term's half: long enough to mark, short enough to forget.")
    guess_window_s: float = knob(600.0, "s", "Wrong join codes and passphrases are counted over so long.")
    guesses: int = knob(
        40,
        "",
        "So many wrong tries in that time, over all devices: a class mistypes less, and 27^6 codes last for ever.",
    )
    session_hours: float = knob(12.0, "h", "A lead signs in once a day.")
    passphrase_least: int = knob(10, "", "Characters of the lead's passphrase at least.")
    lease_s: float = knob(60.0, "s", "A measurement not finished by then was lost with its process and is begun anew.")
    tries: int = knob(3, "", "A photo on which the measurement dies so often is refused, lest it block the others.")
    look_s: float = knob(2.0, "s", "Nothing waits longer than this should a word about a new photo get lost.")
    purge_every_h: float = knob(1.0, "h", "What is kept for days goes within the hour.")
    processes: int = knob(2, "", "Photos measured at the same time, each in a process of its own.")
    label_length: int = knob(24, "", "A station's label; it must fit on a tile.")
    photos_a_station: int = knob(200, "", "No bench sends more in one practical; a runaway script does.")


@dataclass(frozen=True, slots=True)
class RateSettings:
    """How many requests a minute one client may send: a station, or an address that has not joined."""

    measure: int = knob(60, "1/min", "A class behind one address tries the start page out; two cores measure no more.")
    send: int = knob(60, "1/min", "A phone sends its whole outbox at once, and begins again where the network failed.")
    sign_in: int = knob(20, "1/min", "Nobody types faster; each try costs the tenth of a second that scrypt takes.")
    join: int = knob(120, "1/min", "Thirty phones behind one address join within a minute, some mistype.")
    change: int = knob(300, "1/min", "A mark moved by keys is sent several times a second for a while.")
