"""Every page of the web tool in its states, with made-up work on it, as the server writes them."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

from flask import Flask
from flask.testing import FlaskClient

from tests.report.factory import StripSpec, make_result
from tests.web.conftest import Bench, jpeg
from tests.web.records import measured as tray
from tests.web.room import KEY, WORDS, Room
from webcapture.errors import ALL_ERRORS
from webcapture.flags import REGISTRY
from webcapture.reference.library import Run, Value
from webcapture.reference.method import method_of
from webcapture.settings import DEFAULTS
from webcapture.store import own_runs, photos, practicals, references
from webcapture.store.authority import Papers
from webcapture.store.codec import dumped
from webcapture.store.own_runs import Place
from webcapture.store.records import MEASURING, LaneRole, PhotoInfo, PracticalInfo, StationInfo
from webcapture.web import WebConfig, create_app
from webcapture.web import library as shelves
from webcapture.web.errors import TROUBLES

Pages = dict[str, str]
Make = Callable[..., Any]
CHANGING = (
    (r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}|\b[0-9a-f]{16,32}\b", "ID"),
    (r"/pictures/[\w-]+\.jpg", "/pictures/ID.jpg"),
    (r"(\d-)?spot-(?=[0-9a-f])[0-9a-f]{8}\b", "spot-KEY"),
    (r'(name="remove" value=)"[0-9a-f]{8}"', r'\1"KEY"'),
)
"""What differs from one making of the pages to the next."""


def even(html: str, *names: str) -> str:
    """The page without what chance puts into it; ``names`` are further such texts."""
    for name in names:
        html = html.replace(name, "CODE")
    for pattern, instead in CHANGING:
        html = re.sub(pattern, instead, html)
    return re.sub(r"\s+", " ", html)


def of_the_open_tool(folder: Path, **config: Any) -> Pages:
    """The pages of a tool without records: trying it out, every error, help."""
    examples = folder / "examples"
    examples.mkdir()
    (examples / "leaf-dyes.jpg").write_bytes(jpeg())
    app = create_app(WebConfig(measure=Bench(), examples=examples, **config))
    client = app.test_client()
    names = ["two.jpg", "no-front.jpg", *(f"{error.code}.jpg" for error in ALL_ERRORS)]
    shown = [(io.BytesIO(b"x"), name) for name in names]
    pages = {
        "start": client.get("/").text,
        "install": client.get("/help/install").text,
        "offline": client.get("/offline").text,
        "nowhere": client.get("/nowhere").text,
        "no photo": client.post("/measure", data={}).text,
        "no example": client.post("/measure", data={"example": "none"}).text,
        "too many": client.post("/measure", data={"photo": [(io.BytesIO(b"x"), "a.jpg")] * 11}).text,
    }
    for n in range(0, len(shown), 5):
        pages[f"results {n}"] = client.post("/measure", data={"photo": shown[n : n + 5]}).text
    secure = create_app(WebConfig(papers=PAPERS, **config)).test_client()
    pages |= {
        "https": client.get("/help/https").text,
        "https by a proxy": client.get("/help/https", base_url="https://localhost").text,
        "https of its own": secure.get("/help/https").text,
    }
    for status in TROUBLES:
        pages[f"status {status}"] = _status(app, client, status)
    return pages


def _status(app: Flask, client: FlaskClient, status: int) -> str:
    from flask import abort  # noqa: PLC0415 - a route of this test only

    if f"fail{status}" not in app.view_functions:
        app.config["PROPAGATE_EXCEPTIONS"] = False
        with app.app_context():
            app._got_first_request = False
            app.add_url_rule(f"/fail/{status}", f"fail{status}", lambda: abort(status))
    return client.get(f"/fail/{status}").text


def of_the_room(folder: Path, **config: Any) -> Pages:
    """The pages of a tool with records: joining, a station's, results, the lead's."""
    room = Room(folder, **config)
    pages = _before_the_passphrase(room)
    lead, nobody = room.lead(), room.app.test_client()
    pages |= {"no practicals": lead.get("/lead").text, "no unknowns": lead.get("/lead/evidence").text}
    practical = room.practical()
    base, code = f"/lead/practicals/{practical.id}", practical.join_code
    pages |= {"empty room": lead.get(base).text, "room of this computer only": _of_this_computer(room, lead, base)}
    one, token = room.station(practical, "Bench 1")
    station = room.station_client(token)
    pages |= {"room without photos": lead.get(base).text, "empty work": station.get("/work").text}
    results = _work(room, practical.id, one)
    pages |= {f"result {name}": lead.get(address).text for name, address in results.items()}
    pages |= _corrected(station, results["two lanes"]) | _turned_beside(station, results["side by side"])
    pages |= {
        "start with records": station.get("/").text,
        "work": station.get("/work").text,
        "not joined": nobody.get("/work").text,
        "join": nobody.get("/join").text,
        "join nothing typed": nobody.post("/join", data={"code": ""}).text,
        "join wrong": nobody.post("/join", data={"code": "zzzzzz"}).text,
        "label": nobody.get(f"/join/{code}").text,
        "label too long": nobody.post(f"/join/{code}", data={"label": "x" * 99}).text,
        "label again": station.get(f"/join/{code}").text,
        "practicals": lead.get("/lead").text,
        "room": lead.get(base).text,
        "plot": lead.get(f"{base}/plot.svg").text,
        "part": lead.get(f"{base}/part").text,
        "edit": lead.get(f"{base}/edit").text,
        "new": lead.get("/lead/practicals/new").text,
        "new from": lead.get(f"/lead/practicals/new?copy={practical.id}").text,
        "new wrong": lead.post("/lead/practicals/new", data=WRONG_PLAN).text,
        "new wronger": lead.post("/lead/practicals/new", data=WRONGER_PLAN).text,
        "cautions": lead.post("/lead/practicals/new", data={"show": "1", "mobile_phase": SOLVENTS}).text,
        "delete": lead.get(f"{base}/delete").text,
        "delete station": lead.get(f"{base}/stations/{one.id}/delete").text,
        "purge": lead.get(f"{base}/purge").text,
        "sign in": nobody.get("/lead/sign-in").text,
        "sign in wrong": nobody.post("/lead/sign-in", data={"passphrase": "no"}).text,
    }
    lead.post(f"{base}/joining", data={"open": "0"})
    pages |= {"closed": station.get(f"/join/{code}").text, "closed room": lead.get(base).text}
    pages |= (
        {"closed list": lead.get("/lead").text}
        | _named(room, lead)
        | _own_runs(room, lead)
        | _references(room, lead, nobody)
        | _evidence(room, lead)
    )
    lead.post(f"{base}/joining", data={"open": "1"})
    room.clock.at += timedelta(days=2)
    pages["expired"] = nobody.get(f"/join/{code}").text
    pages |= _too_often(nobody)
    return {name: even(text, code) for name, text in pages.items()}


PAPERS = Papers(
    certificate=Path("server.pem"),
    key=Path("server.key"),
    authority=Path("authority.pem"),
    fingerprint="01:23",
    names=("192.0.2.7",),
    left_out=(),
)
SOLVENTS = (
    "acetone hexane ethanol methanol butan-1-ol, acetic acid, hcl, ammonia, toluene, chloroform, ninhydrin, iodine, "
    "phenol, uv lamp, copper, spray"
)
WRONG_PLAN = {"title": "", "mobile_phase": "", "paper": "", "temperature_c": "900", "keep_days": "x", "layout": "?"}
WRONG_PLAN |= {"role_1": "sample", "label_1": "", "role_2": "reference", "label_3": "x", "role_4": "?"}
WRONGER_PLAN = {"title": "x" * 99, "mobile_phase": "y", "paper": "z", "keep_days": "1", "layout": "sheet", "page": "a4"}
WRONGER_PLAN |= {"role_1": "sample", "label_1": "x" * 99}


def _before_the_passphrase(room: Room) -> Pages:
    nobody = room.app.test_client()
    pages = {
        "no passphrase": nobody.get("/lead/sign-in").text,
        "setup": nobody.get(f"/lead/setup?key={KEY}").text,
        "setup short": nobody.post("/lead/setup", data={"key": KEY, "passphrase": "x"}).text,
        "setup differs": nobody.post("/lead/setup", data={"key": KEY, "passphrase": WORDS, "again": "x"}).text,
    }
    room.set_passphrase()
    return pages


def _of_this_computer(room: Room, lead: FlaskClient, address: str) -> str:
    """The room's page where nobody else reaches the tool."""
    host, room.app.extensions["host"] = room.app.extensions["host"], "127.0.0.1"
    page = lead.get(address).text
    room.app.extensions["host"] = host
    return page


def _work(room: Room, practical_id: str, one: StationInfo) -> dict[str, str]:
    """Photos in every state; addresses of results by what they show."""
    practical = next(p for p in _practicals(room) if p.id == practical_id)
    two, three, four, *others = (_join(room, practical, n) for n in range(2, 9))
    every = tuple(REGISTRY)
    ids = {
        "every flag": room.measured(two, (0.31, 0.6), (0.6,), flags=every),
        "side by side": room.kept(one, make_result(StripSpec(), StripSpec(left_mm=60.0))),
        "two lanes": room.measured(one, (0.3, 0.62), (0.61,)),
        "which end": room.measured(one, (0.3, 0.62), strip_flags=("upside-down", "ends-undecided")),
        "one lane": room.measured(three, (0.9, 0.95)),
        "other card": room.measured(three, (0.9,), (0.95,), layout="tray"),
        "another number": room.measured(three, (0.9,), (0.95,)),
        "no strip": _finished(room, four, dumped(make_result()), tray().page),
        "tray": _finished(room, four, tray().result, tray().page),
    }
    for station, rf in zip(others, (0.302, 0.298, 0.301, 0.3), strict=True):
        room.measured(station, (rf, 0.61), (0.6,))
    _states(room, one)
    return {name: f"/results/{photo_id}" for name, photo_id in ids.items()}


def _named(room: Room, lead: FlaskClient) -> Pages:
    """Results with names: a group that is not told apart, a reference beside, a mobile phase that is unclear."""
    methods = {
        "alike": ('"high-salt solution of Weber and Lacey 1978"', "as published, unspecified"),
        "beside": ("water : ethanol 4 : 1", "filter paper"),
        "unclear": ("50 % water + 40 % ethanol", "filter paper"),
    }
    pages = {}
    for name, (phase, paper) in methods.items():
        beside = name == "beside"
        practical = room.practical(numbers=(1, 2) if beside else (1,), phase=phase, paper=paper)
        station, _token = room.station(practical, "Bench 1")
        photo = room.measured(station, (0.4,), (0.4,)) if beside else room.measured(station, (0.89,))
        pages[f"names {name}"] = lead.get(f"/results/{photo}").text
        lead.post("/references/window", data={"window": "0.06"})
        pages[f"names {name}, own window"] = lead.get(f"/results/{photo}").text
        lead.post("/references/window", data={"usual": "1"})
    practical = room.practical(numbers=(1,), phase=methods["alike"][0], paper=methods["alike"][1])
    photo = room.measured(room.station(practical, "Bench 1")[0], (0.89,), spot_flags=("merged",))
    pages["names merged"] = lead.get(f"/results/{photo}").text
    return pages | _mixed(room, lead)


MIXED = (("sample", "vat 7"), ("reference", "Marl red"), ("mixed", "vat 7 + Marl red"))
MISSING = (("sample", "Marl red + Tarn blue"), ("reference", "Marl red"), ("mixed", "vat 9 + Woad"))


def _mixed(room: Room, lead: FlaskClient) -> Pages:
    """Mixed lanes that tell something and such as cannot, with what a lane leaves open; references near the spots of the room."""
    seen = {
        "mixed single": (MIXED, ((0.38,), (0.38,), (0.38,))),
        "mixed splits": (MIXED, ((0.5,), (0.38,), (0.38, 0.5))),
        "mixed alone": (MISSING, ((0.38, 0.52, 0.7), (0.38, 0.9), (0.38,))),
        "mixed unclear": ((("mixed", "vat 7"),), ((0.38, 0.2, 0.99),)),
    }
    pages = {}
    for name, (lanes, rfs) in seen.items():
        practical = room.practical_of(lanes)
        photo = room.measured(room.station(practical, "Bench 1")[0], *rfs)
        base = f"/lead/practicals/{practical.id}"
        places = {"": f"/results/{photo}", " room": base, " plot": f"{base}/plot.svg", " edit": f"{base}/edit"}
        pages |= {
            f"{name}{place}": even(lead.get(address).text, practical.join_code) for place, address in places.items()
        }
    crowd = room.practical(
        numbers=(1,), phase='"high-salt solution of Weber and Lacey 1978"', paper="as published, unspecified"
    )
    room.measured(room.station(crowd, "Bench 1")[0], (0.89,))
    base = f"/lead/practicals/{crowd.id}"
    tray = room.practical_of(MIXED, "tray")
    others = {"crowd room": base, "crowd plot": f"{base}/plot.svg", "mixed tray": f"/lead/practicals/{tray.id}"}
    codes = crowd.join_code, tray.join_code
    return pages | {name: even(lead.get(address).text, *codes) for name, address in others.items()}


def _own_runs(room: Room, lead: FlaskClient) -> Pages:
    """Reference lanes offered, accepted, corrected since, doubtful and unfit; and where there is nothing to offer."""
    lanes = tuple(LaneRole(n, "reference", name) for n, name in enumerate(("Saffron yellow", "Tarn blue"), 1))
    practicals = [room.practical(lanes=lanes) for _time in range(2)]
    pages = {"own runs not shown": lead.get(f"/lead/practicals/{practicals[0].id}/own-runs").text}
    for n, one in enumerate(practicals):
        address = f"/lead/practicals/{one.id}/own-runs"
        photo = room.measured(room.station(one, "Bench 1")[0], (0.3 + n / 100, 0.7), (0.6,))
        for k, rf in enumerate((0.3, 0.301, 0.302, 0.2)):
            room.measured(room.station(one, f"Bench {k + 2}")[0], (rf,), (0.6,))
        pages[f"own runs {n}"] = lead.get(address).text
        spots = re.findall(r'name="spot" value="([^"]+)"', pages[f"own runs {n}"])
        pages[f"own runs two of one lane {n}"] = lead.post(address, data={"spot": spots[:2]}).text
        pages[f"own runs none {n}"] = lead.post(address, data={}).text
        pages[f"own runs gone {n}"] = lead.post(address, data={"spot": "gone"}).text
        lead.post(address, data={"spot": [spot for spot in spots if ":1:1:2:" not in spot]})
        fields = re.findall(r'name="(spot-[0-9a-f]+)"[^>]*value="([\d.]+)"', lead.get(f"/results/{photo}").text)
        lead.post(f"/results/{photo}/lanes/1-1", data={fields[0][0]: str(float(fields[0][1]) + 3)})
        pages[f"own runs accepted {n}"] = lead.get(address).text
    unclear = room.practical(phase="50 % water + 40 % ethanol", lanes=lanes)
    bare = room.practical(lanes=(LaneRole(1, "sample", "Vat 7"),))
    pages["own runs unclear"] = lead.get(f"/lead/practicals/{unclear.id}/own-runs").text
    pages["own runs of no lane"] = lead.get(f"/lead/practicals/{bare.id}/own-runs").text
    return pages


def _evidence(room: Room, lead: FlaskClient) -> Pages:
    """An unknown in every state: nothing run, one run, classes that disagree, left out, a library with much and with nothing."""
    with room.app.test_request_context():
        shelves.add(_known())
    lanes = (LaneRole(1, "sample", "Unknown A"),)
    address = "/lead/evidence/unknown?label=Unknown+A"
    made = [room.practical(title="Leaf dyes", phase="water", lanes=lanes)]
    pages = {"evidence list": lead.get("/lead/evidence").text, "evidence without": lead.get(address).text}
    made += [room.practical(phase=phase, lanes=lanes) for phase in ("ethanol", "50 % water + 40 % ethanol")]
    only = room.practical(phase="ethanol", lanes=(LaneRole(1, "sample", "Tarn blue"),))
    room.practical(phase="50 % water + 40 % ethanol", lanes=(LaneRole(1, "sample", "Saffron yellow"),))
    room.measured(room.station(only, "Bench 1")[0], (0.2,))
    for n, rf in enumerate((0.3, 0.3, 0.3, 0.3, 0.3, 0.9, 0.36), 1):
        room.measured(room.station(made[0], f"Bench {n}")[0], (rf,))
        if n == 1:
            pages["evidence one"] = lead.get(address).text
    pages["evidence class"] = lead.get(address).text
    room.measured(room.station(made[1], "Bench 1")[0], (0.7, 0.8))
    for n in range(2, 4):
        room.measured(room.station(made[1], f"Bench {n}")[0], (0.1,), (0.4,))
    names = (("reference", "Saffron yellow"), ("reference", "Tarn blue"), ("sample", "Leaf dyes"))
    mixture = room.practical(lanes=tuple(LaneRole(n, *what) for n, what in enumerate(names, 1)))
    room.measured(room.station(mixture, "Bench 1")[0], (0.3,), (0.6,), (0.3, 0.6))
    pages["evidence mixture"] = lead.get("/lead/evidence/unknown?label=Leaf+dyes").text
    every = f"&without={made[0].id}&without={made[1].id}"
    return pages | {
        "evidence": lead.get(address).text,
        "evidence without more": lead.get("/lead/evidence/unknown?label=Tarn+blue").text,
        "evidence unclear only": lead.get("/lead/evidence/unknown?label=Saffron+yellow").text,
        "evidence left out": lead.get(address + every).text,
        "evidence second only": lead.get(f"{address}&without={made[0].id}").text,
        "evidence plot": lead.get(address.replace("unknown?", "unknown.svg?")).text,
    }


def _known() -> list[Value]:
    """Many substances at one place, some far away, one that is known elsewhere only."""
    rfs: dict[str, tuple[float | None, ...]] = {
        f"Alike {n}": (0.3, None, 0.012 * n if n > 1 else None, 0.014 * n) for n in range(1, 67)
    }
    rfs |= {f"Alike {n}": (None, 0.2, None, None) for n in (97, 98)}
    rfs |= {f"Far {n}": (0.6, 0.5, 0.5, None) for n in range(1, 64)}
    rfs |= {"Front": (0.3, 0.7, 0.99, 0.2), "Elsewhere": (None, None, 0.4, None)}
    phases = ("water", "ethanol", "propanone", "methanol")
    return [
        Value(name, method_of(phase, "filter paper"), rf, "invented", "a test", sd=sd, n=9 if sd else 1)
        for name, several in rfs.items()
        for phase, rf, sd in zip(phases, several, (None, 0.02, 0.02, 0.02), strict=True)
        if rf is not None
    ]


VALUE = {"substance": "Marl red", "mobile_phase": "water", "paper": "filter paper", "rf": "0.31", "mark": "invented"}
VALUE |= {
    "source": "invented for a test",
    "n": "2",
    "colour_hex": "#aa2222",
    "temperature_c": "21",
    "locating": "iodine",
}
WRONG_VALUES = (
    {"rf": "x", "n": "x", "temperature_c": "900", "mark": "?", "colour_hex": "?"},
    {"substance": "x" * 999, "rf": "31", "sd": "7", "n": "0", "mobile_phase": "50 % water + 40 % ethanol"},
    {**VALUE, "sd": "0.01", "n": "1", "sd_within": "0.1", "substance": "a\x00b"},
    {**VALUE, "freedom_within": "3"},
    VALUE,
)


def _references(room: Room, lead: FlaskClient, nobody: FlaskClient) -> Pages:
    """The pages of references: empty and full, with own runs, retired ones, and every refusal of their forms."""
    base, named = "/references", {"name": "Marl red"}
    pages = {"keep nothing": lead.get(f"{base}/keep").text, "new value": lead.get(f"{base}/new").text}
    lead.post(f"{base}/new", data=VALUE)
    photo = room.measured(room.station(room.practical(), "Bench 9")[0], (0.3,))
    with room.store.database.writing() as session:
        entry = references.kept(session)[0].entry
        for n, rf in enumerate((0.3, 0.32, 0.33)):
            run = Run("Marl red", method_of("water", "filter paper"), rf, f"{n // 2}", "one", "#aa2222")
            own_runs.accept(session, run, 0.01, Place(photo, n // 2, n, 1), "Dyes", room.clock())
            runs = [one.id for one in own_runs.accepted_runs(session)]
    one = f"{base}/values/{entry}"
    pages |= {f"wrong value {n}": lead.post(f"{base}/new", data=form).text for n, form in enumerate(WRONG_VALUES)}
    pages["stale value"] = lead.post(one, data=VALUE | {"rf": "0.5", "version": "9"}).text
    lead.post(one, data=VALUE | {"rf": "0.33", "colour": "red", "version": "1", "note": "read again"})
    pages["value"] = lead.get(one).text
    pages |= {"substance": nobody.get(f"{base}/substance", query_string=named).text}
    pages |= {
        "runs": nobody.get(f"{base}/substance/runs.svg", query_string=named | {"under": "water | filter paper"}).text
    }
    for run_id in runs:
        lead.post(f"{base}/runs/{run_id}/withdraw")
        pages[f"withdrawn {run_id - runs[0]}"] = lead.get(f"{base}/substance", query_string=named).text
    lead.post(f"{one}/retire", data={"version": "2", "note": "old bottle"})
    return pages | {"retired value": lead.get(one).text} | _lists(lead, nobody) | _kept(lead)


def _lists(lead: FlaskClient, nobody: FlaskClient) -> Pages:
    amino, dyes = (
        '"high-salt solution of weber and lacey 1978" | as published, unspecified',
        "salt water | workshop paper",
    )
    asked = {"all": {}, "alike": {"under": amino}, "told apart": {"under": dyes}, "nowhere": {"under": "ink | cloth"}}
    lists = {f"references {name}": nobody.get("/references", query_string=query).text for name, query in asked.items()}
    lists |= {f"chart {name}": nobody.get("/references/chart.svg", query_string=q).text for name, q in asked.items()}
    many = "".join(
        f"Invented {n},salt water,workshop paper,{n / 1000},invented,invented for a test\n" for n in range(120)
    )
    head = "substance,mobile_phase,paper,rf,mark,source\n"
    lead.post("/references/import", data={"file": (io.BytesIO((head + many).encode()), "many.csv")})
    return lists | {
        "references page": lead.get("/references?page=2").text,
        "references alike, many": lead.get("/references", query_string={"under": dyes, "page": "2"}).text,
        "references apart, many": _spread_out(lead, head),
    }


def _spread_out(lead: FlaskClient, head: str) -> str:
    """Fourteen pairs, each apart from the others: more groups than are listed."""
    pairs = [f"{name} {n},ink water,cloth,{0.01 + n * 0.07},published,made up\n" for n in range(14) for name in "AB"]
    lead.post("/references/window", data={"window": "0.01"})
    lead.post("/references/import", data={"file": (io.BytesIO((head + "".join(pairs)).encode()), "pairs.csv")})
    return lead.get("/references", query_string={"under": "ink water | cloth"}).text


def _kept(lead: FlaskClient) -> Pages:
    """The page of what is kept, after each way of reading in and of setting the window."""
    head, line = b"substance,mobile_phase,paper,rf,mark,source\n", b"A,water,cloth,0.5,invented,made up\n"
    files = {"empty": b"", "no value": head, "faults": head + b"A,water,cloth,x,y,\n" * 250}
    pages = {f"file {name}": _read_in(lead, data) for name, data in files.items()}
    return pages | {
        "file new": _read_in(lead, head + line),
        "file again": _read_in(lead, head + line),
        "file clash": _read_in(lead, head + line.replace(b"0.5", b"0.6")),
        "window wrong": lead.post("/references/window", data={"window": "wide"}).text,
        "kept": lead.get("/references/keep").text,
    }


def _read_in(lead: FlaskClient, data: bytes) -> str:
    form = {"file": (io.BytesIO(data), "values.csv")}
    return lead.post("/references/import", data=form, follow_redirects=True).text


def _join(room: Room, practical: PracticalInfo, number: int) -> StationInfo:
    room.clock.at += timedelta(seconds=1)
    return room.station(practical, f"Bench {number}")[0]


def _practicals(room: Room) -> Any:
    with room.store.database.reading() as session:
        return practicals.all_of_them(session)


def _finished(room: Room, station: StationInfo, result: bytes, picture: bytes) -> str:
    photo_id, page = room.photo(station), room.store.vault.put(picture)
    with room.store.database.writing() as session:
        photos.finish(session, photo_id, "tests", result, page, room.clock())
    return photo_id


def _states(room: Room, station: StationInfo) -> None:
    room.refused(station, "Only 3 of the card's twelve square tags can be seen.")
    busy = room.photo(station)
    with room.store.database.writing() as session:
        taken = photos.claim(session, room.clock(), timedelta(hours=1))
        assert isinstance(taken, PhotoInfo) and taken.id == busy and taken.state == MEASURING
    room.photo(station)


def _corrected(station: FlaskClient, address: str) -> Pages:
    """One of each change, one taken back, and every refusal a form can meet."""
    lane = f"{address}/lanes/1-1"
    station.post(lane, data={"add": "50"})
    added = re.findall(r'name="remove" value="([0-9a-f]{8})"', station.get(address).text)
    station.post(lane, data={"remove": added[0]})
    station.post(f"{address}/undo", data={"correction": "1"})
    for form in (
        {"front": "92"}, {"origin": "14.5", "only": "1"}, {"add": "40"}, {"label": "Tarn blue"}, {"remove": "1"},
    ):  # fmt: skip
        station.post(lane, data=form)
    station.post(f"{address}/follow", data={"follow": "densest"})
    station.post(f"{address}/ends/1", data={"ends": "turn"})
    turned = station.get(address).text
    for ends in ("turn", "keep"):
        station.post(f"{address}/ends/1", data={"ends": ends})
    station.post(f"{address}/undo", data={"correction": "3"})
    refused = {
        "no number": {"front": "x"}, "off": {"front": "9000"}, "crossed": {"front": "1"},
    }  # fmt: skip
    pages = {f"refused {name}": station.post(lane, data=form).text for name, form in refused.items()}
    return pages | {
        "refused follow": station.post(f"{address}/follow", data={"follow": "?"}).text,
        "refused ends": station.post(f"{address}/ends/1", data={"ends": "?"}).text,
        "turned": turned,
        "corrected": station.get(address).text,
        "profile": station.get(f"{address}/profile-1-1.svg").text,
    }


def _turned_beside(station: FlaskClient, address: str) -> Pages:
    """Of two strips in one bay the second turned, and so confirmed."""
    for ends in ("turn", "keep"):
        station.post(f"{address}/ends/1-2", data={"ends": ends})
    return {"turned beside another": station.get(address).text}


def _too_often(nobody: FlaskClient) -> Pages:
    """After more guesses than are allowed."""
    for _ in range(DEFAULTS.room.guesses + 1):
        joining = nobody.get("/join/zzzzzz").text
        signing = nobody.post("/lead/sign-in", data={"passphrase": "no"}).text
    return {"too often joined": joining, "too often signed in": signing}


def every_page(folder: Path, **config: Any) -> Pages:
    """All of them by name; ``config`` goes to the tool."""
    for name in ("open", "room"):
        (folder / name).mkdir()
    open_tool = {name: even(text) for name, text in of_the_open_tool(folder / "open", **config).items()}
    return open_tool | of_the_room(folder / "room", **config)
