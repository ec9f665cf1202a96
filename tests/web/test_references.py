"""The pages of references: reading for everyone, keeping for the lead, nothing lost and nothing half-taken. All values of ours are invented."""

from __future__ import annotations

import csv
import io
import re
import xml.etree.ElementTree as ET
from functools import partial
from pathlib import Path
from statistics import mean, stdev

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from tests.web.room import Room
from tests.yardstick import yardsticks
from webcapture.reference.exchange import COLUMNS, TABLES, read_csv, shipped
from webcapture.reference.library import INVENTED, Run, Value
from webcapture.reference.method import method_of
from webcapture.settings import DEFAULTS
from webcapture.store import own_runs, references
from webcapture.store.own_runs import Place
from webcapture.web import reference_form
from webcapture.web.reference_plot import Line, Row, runs_svg, values_svg, zoomed

PHASE, PAPER = "water : ethanol 4 : 1", "filter paper"
UNDER = f"{PHASE} | {PAPER}"
SALT = '"high-salt solution of weber and lacey 1978" | as published, unspecified'
METHOD = method_of(PHASE, PAPER)
FORM = {
    "substance": "Marl red", "mobile_phase": PHASE, "paper": PAPER, "rf": "0.31", "mark": INVENTED,
    "source": "invented for a test",
}  # fmt: skip
HEAD = "substance,mobile_phase,paper,rf,mark,source\n"
SVG = "{http://www.w3.org/2000/svg}"
SHIPPED = sum(len(shipped(name)) for name in TABLES)


@pytest.fixture
def room(tmp_path: Path) -> Room:
    return Room(tmp_path)


@pytest.fixture
def lead(room: Room) -> FlaskClient:
    return room.lead()


@pytest.fixture
def nobody(room: Room) -> FlaskClient:
    return room.app.test_client()


def add_value(room: Room, **changed: object) -> str:
    """A kept value's entry."""
    named = {"substance": "Marl red", "method": METHOD, "rf": 0.31, "mark": INVENTED, "source": "invented for a test"}
    value = Value(**(named | changed))  # type: ignore[arg-type]
    with room.store.database.writing() as session:
        assert references.add(session, [value], room.clock()) == 1
        return references.kept(session)[-1].entry


def accept(room: Room, rf: float, practical: str, spot: int = 1, substance: str = "Marl red") -> int:
    """An own run's number; runs of one practical lie on one sheet."""
    run = Run(substance, METHOD, rf, "", practical)
    with room.store.database.writing() as session:
        own_runs.accept(session, run, 0.01, Place(f"photo of {practical}", 1, spot, 1), practical, room.clock())
        return own_runs.accepted_runs(session)[-1].id


def send(lead: FlaskClient, data: bytes | str, follow: bool = True) -> TestResponse:
    raw = data if isinstance(data, bytes) else data.encode()
    return lead.post("/references/import", data={"file": (io.BytesIO(raw), "values.csv")}, follow_redirects=follow)


def kept(room: Room) -> dict[str, tuple[float, int, bool]]:
    with room.store.database.reading() as session:
        return {one.value.substance: (one.value.rf, one.version, one.retired) for one in references.kept(session)}


def words(page: str) -> str:
    return " ".join(re.sub("<[^>]+>", " ", page).split())


# --- for everyone


def test_everyone_reads_every_value_with_source_and_mark(nobody: FlaskClient) -> None:
    page = nobody.get("/references").text
    assert f"{SHIPPED} values" in words(page)
    assert page.count('class="value-name"') == SHIPPED
    assert "invented, nothing was measured" in page
    assert "Weber and Lacey 1978, as transcribed in AAindex WEBA780101 (A)" in page
    assert "/values/" not in page


def test_search_conditions_and_mark_narrow_the_list(nobody: FlaskClient) -> None:
    expected = [value for name in TABLES for value in shipped(name)]
    glycine = [value for value in expected if "glyc" in value.substance]
    assert nobody.get("/references?q=GLYC").text.count('class="value-name"') == len(glycine) >= 2
    invented = [value for value in expected if value.mark == INVENTED]
    assert nobody.get("/references?mark=invented").text.count('class="value-name"') == len(invented)
    page = nobody.get("/references", query_string={"under": SALT}).text
    rfs = [float(rf) for rf in re.findall(r"<strong>Rf ([\d.]+)", page)]
    assert rfs == sorted(value.rf for value in shipped("amino-acids-salt"))


def test_what_conditions_do_not_tell_apart_is_said(nobody: FlaskClient) -> None:
    """AAindex WEBA780101: alanine 0.89 and arginine 0.88 lie within any window."""
    page = nobody.get("/references", query_string={"under": SALT}).text
    groups = re.search(r'id="alike">.*?<ul>(.*?)</ul>', page, re.S)
    assert groups is not None
    lines = [set(line.split(", ")) for line in re.findall("<li>(.*?)</li>", groups[1])]
    assert any({"alanine", "arginine"} <= line for line in lines)
    assert not any("tryptophan" in line for line in lines)  # 0.20, the next one 0.49


def test_a_narrower_window_tells_more_apart(lead: FlaskClient) -> None:
    dyes = {"under": "salt water | workshop paper"}
    assert "tell all of these substances apart" in lead.get("/references", query_string=dyes).text
    lead.post("/references/window", data={"window": "0,3"})
    assert "do not tell apart what stands in one line" in lead.get("/references", query_string=dyes).text


def test_conditions_that_nothing_is_known_of(nobody: FlaskClient) -> None:
    page = nobody.get("/references?under=<ink> | cloth").text
    assert "There is no value for “&lt;ink&gt; | cloth”" in page
    assert "0 values" in words(page)


def test_no_trace_of_stations(room: Room, nobody: FlaskClient, lead: FlaskClient) -> None:
    practical = room.practical()
    station, _ = room.station(practical, "Owl the pupil")
    photo = room.measured(station, (0.3,), (0.6,))
    run = Run("Saffron yellow", METHOD, 0.6, "", practical.id)
    with room.store.database.writing() as session:
        own_runs.accept(session, run, 0.01, Place(photo, 1, 2, 1), practical.plan.title, room.clock())
    for address in ("/references", "/references/substance?name=saffron yellow", "/references/references.csv"):
        text = nobody.get(address).text
        assert "Saffron yellow" in text
        assert not [secret for secret in ("Owl", photo, station.id, practical.id) if secret in text], address
    assert f"/results/{photo}" in lead.get("/references/substance?name=saffron yellow").text


def test_cautions_for_a_mobile_phase_that_can_hurt(room: Room, nobody: FlaskClient) -> None:
    add_value(room, method=method_of("propanone : petroleum ether 1 : 9", PAPER))
    page = nobody.get("/references", query_string={"under": "petroleum ether : propanone 9 : 1 | filter paper"}).text
    assert "Highly flammable" in page


# --- drawings


def test_chart_puts_values_where_they_belong_with_signs_of_their_own() -> None:
    lines = [Line("a <b>", 0.25, 0.1, False, "published"), Line("b", 0.75, 0.05, True, "own runs"), Line("c", 1.0, 0.05, True, INVENTED)]  # fmt: skip
    root = ET.fromstring(values_svg(lines))
    circles = [float(one.attrib["cx"]) for one in root.findall(f"{SVG}circle")]
    assert circles == [16 + 0.25 * 328]
    square = root.find(f"{SVG}rect[@width='9']")
    assert square is not None
    assert float(square.attrib["x"]) + 4.5 == 16 + 0.75 * 328
    dashed = [one for one in root.findall(f"{SVG}path") if "stroke-dasharray" in one.attrib]
    assert len(dashed) == 2
    said = " ".join(one.text or "" for one in root.iter(f"{SVG}text"))
    assert "a <b>" in said
    assert "invented, nothing was measured" in said


def test_drawings_bear_characters_that_xml_has_not() -> None:
    ET.fromstring(values_svg([Line("a\ufffe\x0b\ud800&", 0.2, 0.1, False, INVENTED)]))
    ET.fromstring(runs_svg([Row("b\uffff", "2026-03-02", (0.0, 1.0))], 0.5, 0.7))


@pytest.mark.parametrize("rfs", [(0.31,), (0.3, 0.34), (0.0, 1.0), (0.97, 0.99), (0.0,)])
def test_axis_of_own_runs_holds_them_all(rfs: tuple[float, ...]) -> None:
    axis = zoomed(rfs, mean(rfs), stdev(rfs) if len(rfs) > 1 else 0.0)
    assert 0 <= axis.low <= min(rfs) <= max(rfs) <= axis.high <= 1
    assert 1 <= round((axis.high - axis.low) / axis.step) <= 7


# --- one substance


def test_a_substances_own_runs_mean_spread_and_dates(room: Room, nobody: FlaskClient) -> None:
    for practical, rfs in (("Monday", (0.30, 0.32)), ("Friday", (0.36,))):
        for n, rf in enumerate(rfs, 1):
            accept(room, rf, practical, n)
    page = words(nobody.get("/references/substance?name=MARL  red").text)
    assert "Mean Rf 0.335 , 3 runs, 2 sheets." in page  # of the sheets' means 0.31 and 0.36
    assert "Within a sheet: 0.014." in page  # 0.02 / √2
    assert "Monday: mean 0.310, n 2, s 0.014" in page
    assert "Friday: mean 0.360, n 1" in page
    assert "Monday, accepted 2026-03-02" in page
    drawn = nobody.get("/references/substance/runs.svg", query_string={"name": "marl red", "under": UNDER})
    assert len(ET.fromstring(drawn.data).findall(f"{SVG}circle")) == 3


def test_a_withdrawn_run_counts_no_more(room: Room, lead: FlaskClient, nobody: FlaskClient) -> None:
    accept(room, 0.30, "Monday")
    second = accept(room, 0.50, "Friday")
    assert nobody.post(f"/references/runs/{second}/withdraw").status_code == 403
    assert "2 runs" in nobody.get("/references/substance?name=marl red").text
    assert lead.post(f"/references/runs/{second}/withdraw").status_code == 303
    assert "Mean Rf 0.300" in words(nobody.get("/references/substance?name=marl red").text)
    assert "counts no more" in lead.get("/references/substance?name=marl red").text
    assert "0.500" not in nobody.get("/references/substance?name=marl red").text
    assert lead.post(f"/references/runs/{second}/withdraw").status_code == 303


# --- one value, by the form


def test_only_the_lead_keeps(room: Room, nobody: FlaskClient) -> None:
    room.set_passphrase()
    entry = add_value(room)
    for address in ("/references/new", "/references/keep", f"/references/values/{entry}"):
        answer = nobody.get(address, headers={"Accept": "text/html"})
        assert (answer.status_code, answer.location) == (302, f"/lead/sign-in?next={address}")
    for address in ("new", "import", "window", f"values/{entry}", f"values/{entry}/retire"):
        assert nobody.post(f"/references/{address}", data=FORM).status_code == 403
    assert kept(room) == {"Marl red": (0.31, 1, False)}


def test_signing_in_comes_back(room: Room, nobody: FlaskClient) -> None:
    room.set_passphrase()
    answer = nobody.post("/lead/sign-in", data={"passphrase": "seven quiet herons", "next": "/references/keep"})
    assert answer.location == "/references/keep"


def test_a_value_comes_in_by_the_form(room: Room, lead: FlaskClient) -> None:
    answer = lead.post("/references/new", data=FORM | {"rf": "0,31", "sd": "0.02", "n": "4", "colour_hex": "#AA2222"})
    assert (answer.status_code, answer.location) == (303, "/references/substance?name=Marl+red")
    with room.store.database.reading() as session:
        value = references.kept(session)[0].value
    assert value == Value("Marl red", METHOD, 0.31, INVENTED, "invented for a test", sd=0.02, n=4, hex="#aa2222")
    assert reference_form.read(reference_form.fields_of(value)).value == value


WRONG: dict[str, tuple[dict[str, str], str]] = {
    "no name": ({"substance": " "}, "substance"),
    "NUL": ({"substance": "a\0b"}, "substance"),
    "too long": ({"source": "x" * 401}, "source"),
    "half a ratio": ({"mobile_phase": "water : ethanol 4"}, "mobile_phase"),
    "no paper": ({"paper": ""}, "paper"),
    "hRf": ({"rf": "31"}, "rf"),
    "no number": ({"rf": "nan"}, "rf"),
    "other digits": ({"rf": "٠.٣"}, "rf"),
    "underscore": ({"rf": "0_1"}, "rf"),
    "negative spread": ({"sd": "-0.1", "n": "3"}, "sd"),
    "spread of one": ({"sd": "0.1"}, "n"),
    "none behind": ({"n": "0"}, "n"),
    "spread without freedom": ({"sd_within": "0.1"}, "freedom_within"),
    "freedom without spread": ({"freedom_within": "2"}, "sd_within"),
    "colour": ({"colour_hex": "red"}, "colour_hex"),
    "mark": ({"mark": "measured"}, "mark"),
    "hot": ({"temperature_c": "300"}, "temperature_c"),
}


@pytest.mark.parametrize("name", WRONG)
def test_a_wrong_field_is_told_beside_it_and_nothing_is_lost(room: Room, lead: FlaskClient, name: str) -> None:
    changed, field = WRONG[name]
    answer = lead.post("/references/new", data=FORM | {"note": "kept as typed"} | changed)
    assert answer.status_code == 400
    assert re.findall(r'id="(\w+)-wrong"', answer.text) == [field]
    assert 'value="kept as typed"' in answer.text
    assert kept(room) == {}


def test_the_same_twice_and_a_clash_are_told(room: Room, lead: FlaskClient) -> None:
    lead.post("/references/new", data=FORM)
    assert "there already" in lead.post("/references/new", data=FORM).text
    assert "Change or retire those first" in lead.post("/references/new", data=FORM | {"rf": "0.4"}).text
    assert kept(room) == {"Marl red": (0.31, 1, False)}


def test_shipped_tables_and_pooled_runs_are_not_written_over(room: Room, lead: FlaskClient) -> None:
    known = shipped("workshop")[0]
    fields = reference_form.fields_of(known) | {"rf": "0.9"}
    assert "say otherwise" in lead.post("/references/new", data=fields).text
    pooled = FORM | {"mark": "own runs", "source": "own runs accepted here"}
    assert lead.post("/references/new", data=pooled).status_code == 400
    assert kept(room) == {}


def test_two_leads_at_once(room: Room, lead: FlaskClient) -> None:
    """The second is told, sees what the first saved, loses nothing, and may then put theirs on top."""
    entry = add_value(room)
    address, first, second = f"/references/values/{entry}", FORM | {"rf": "0.33"}, FORM | {"rf": "0.44", "note": "mine"}
    assert lead.post(address, data=first | {"version": "1"}).status_code == 303
    told = room.lead().post(address, data=second | {"version": "1"})
    assert told.status_code == 400
    assert "has been changed meanwhile" in told.text
    assert 'value="0.44"' in told.text
    assert "Rf 0.33" in told.text
    assert kept(room)["Marl red"] == (0.33, 2, False)
    version = re.search(r'name="version" value="(\d+)"', told.text)
    assert version is not None
    lead.post(address, data=second | {"version": version[1]})
    assert kept(room)["Marl red"] == (0.44, 3, False)


def test_a_wrong_field_does_not_hide_that_somebody_was_faster(room: Room, lead: FlaskClient) -> None:
    entry = add_value(room)
    address = f"/references/values/{entry}"
    lead.post(address, data=FORM | {"rf": "0.33", "version": "1"})
    told = lead.post(address, data=FORM | {"rf": "x", "version": "1"}).text
    assert 'name="version" value="1"' in told
    assert "meanwhile" in lead.post(address, data=FORM | {"rf": "0.4", "version": "1"}).text
    assert lead.post(f"{address}/retire", data={"version": "1"}).status_code == 400
    assert kept(room)["Marl red"] == (0.33, 2, False)


def test_saving_without_a_change_adds_no_version(room: Room, lead: FlaskClient) -> None:
    entry = add_value(room)
    assert lead.post(f"/references/values/{entry}", data=FORM | {"version": "1"}).status_code == 303
    assert kept(room)["Marl red"] == (0.31, 1, False)


def test_retired_and_restored_with_its_history(room: Room, lead: FlaskClient, nobody: FlaskClient) -> None:
    entry = add_value(room)
    address = f"/references/values/{entry}"
    lead.post(f"{address}/retire", data={"version": "1", "note": "old\0 bottle"})
    assert "Marl red | water" not in nobody.get("/references?q=marl").text
    assert nobody.get("/references", query_string={"under": UNDER}).text.count('class="value-name"') == 0
    page = lead.get("/references/keep").text
    assert f"/references/values/{entry}" in page
    assert "old bottle" in page
    assert lead.post("/references/new", data=FORM).status_code == 400
    lead.post(f"{address}/restore", data={"version": "2"})
    assert nobody.get("/references", query_string={"under": UNDER}).text.count('class="value-name"') == 1
    assert lead.get(address).text.count("<time") == 3


# --- CSV


def test_what_goes_out_comes_in_again(room: Room, lead: FlaskClient, nobody: FlaskClient) -> None:
    add_value(room, substance='=1+1"; a, b', sd=0.01, n=3)
    out = nobody.get("/references/references.csv").data
    assert len(read_csv(out)) == SHIPPED + 1
    assert [row[0] for row in csv.reader(io.StringIO(out.decode("utf-8-sig"))) if "1+1" in row[0]] == ["'=1+1\"; a, b"]
    answer = send(lead, out, follow=False)
    assert answer.location == f"/references/keep?new=0&there={SHIPPED + 1}"
    some = nobody.get("/references/references.csv?mark=invented&q=fell").data
    assert [value.substance for value in read_csv(some)] == ["Fell violet"]


def test_the_template_can_be_filled_in(lead: FlaskClient, nobody: FlaskClient) -> None:
    template = nobody.get("/references/template.csv").data.decode("utf-8-sig")
    assert template.strip().split(",") == list(COLUMNS)
    cells = FORM | {"n": "1"}
    page = send(lead, "\ufeff" + template + ",".join(cells.get(name, "") for name in COLUMNS)).text
    assert "1 value is new." in page


def test_semicolons_and_decimal_commas(room: Room, lead: FlaskClient) -> None:
    send(lead, HEAD.replace(",", ";") + "Tarn blue;water : ethanol 4 : 1;filter paper;0,62;invented;made up\n")
    assert kept(room) == {"Tarn blue": (0.62, 1, False)}


def test_every_fault_is_told_with_its_line_and_nothing_is_taken(room: Room, lead: FlaskClient) -> None:
    good = "Tarn blue,water,cloth,0.5,invented,made up\n"
    answer = send(lead, HEAD + good + ",water,cloth,7,invented,x\n" + good + "B,water,cloth,0.1,guess,x\n")
    assert answer.status_code == 400
    lines = re.findall(r"<li>(Line \d+):", answer.text)
    assert set(lines) == {"Line 3", "Line 4", "Line 5"}
    assert kept(room) == {}


BAD_FILES: dict[str, tuple[bytes, str]] = {
    "NUL": (HEAD.encode() + b"A\0B,water,cloth,0.5,invented,x\n", "a character that no name has"),
    "UTF-16": ((HEAD + "A,water,cloth,0.5,invented,x\n").encode("utf-16"), "not UTF-8"),
    "Latin-1": (HEAD.encode() + "Grün,water,cloth,0.5,invented,x\n".encode("latin-1"), "Line 2: This is not UTF-8"),
    "twice the same column": (b"rf," + HEAD.encode() + b"1,A,water,cloth,0.5,invented,x\n", "is there twice"),
    "no such column": (b"colour of it," + HEAD.encode(), "There is no column"),
    "a picture": (b"\xff\xd8\xff\xe0" + bytes(200), "not UTF-8"),
    "an open quote": (HEAD.encode() + b'"A,water,cloth,0.5,invented,x\n' * 3, "broken"),
    "nothing": (b"", "Choose a CSV file"),
    "blank": (b" \r\n \r\n", "Choose a CSV file"),
    "a head alone": (HEAD.encode(), "no value below"),
    "too many bytes": (HEAD.encode() + b"#" * DEFAULTS.compare.csv_bytes, "are read at most"),
    "a name without end": (HEAD.encode() + b"A" * 200_000 + b",water,cloth,0.5,invented,x\n", "Line 2"),
}


@pytest.mark.parametrize("name", BAD_FILES)
def test_a_file_that_cannot_be_read_says_why(room: Room, lead: FlaskClient, name: str) -> None:
    data, said = BAD_FILES[name]
    answers: list[TestResponse] = []
    assert yardsticks(lambda: answers.append(send(lead, data))) < 20
    answer = answers[0]
    assert answer.status_code == 400
    assert said in answer.text
    assert len(answer.text) < 100_000
    assert kept(room) == {}


def test_a_clash_names_what_to_do_and_stays_short(room: Room, lead: FlaskClient) -> None:
    lines = [f"Invented number {n},water,cloth,0.{n:04},invented,made up\n" for n in range(1, 2000)]
    assert "1999 values are new." in send(lead, HEAD + "".join(lines)).text
    other = [line.replace(",0.", ",0.0") for line in lines]
    answer = send(lead, HEAD + "".join([*other, "One more,water,cloth,0.5,invented,made up\n"]))
    assert answer.status_code == 400
    assert "Change or retire those first" in answer.text
    assert len(answer.text) < 20_000
    assert "One more" not in kept(room)


def test_five_thousand_values_are_paged_and_fast(room: Room, lead: FlaskClient, nobody: FlaskClient) -> None:
    """The bounds are several times what was seen."""
    lines = [f"Invented {n},water,cloth,{n / 5000},invented,made up\n" for n in range(5000)]
    answers: list[TestResponse] = []
    assert yardsticks(lambda: answers.append(send(lead, HEAD + "".join(lines))), 1) < 200
    assert "5000 values are new." in answers[0].text
    for address in ("/references", "/references?page=77", "/references?under=water | cloth&page=9", "/references?q=33"):
        nobody.get(address)
        page = nobody.get(address).text
        assert yardsticks(partial(nobody.get, address)) < 4, address
        assert page.count('class="value-name"') == 50
        assert len(page) < 120_000
    assert "Page 2 of 101" not in page
    assert "page 9 of 100" in nobody.get("/references?under=water | cloth&page=9").text
    assert "page 101 of 101" in nobody.get("/references?page=99999").text


# --- the window


@pytest.mark.parametrize("text", ["", "0", "-0.1", "1", "nan", "1e-2", "x", "0.05 mm"])
def test_a_window_that_is_none_is_refused(lead: FlaskClient, text: str) -> None:
    answer = lead.post("/references/window", data={"window": text})
    assert answer.status_code == 400
    assert 'id="window-wrong"' in answer.text
    assert "the usual, ± 0.05" in lead.get("/references/keep").text


def test_the_window_is_set_and_goes_back(room: Room, lead: FlaskClient, nobody: FlaskClient) -> None:
    lead.post("/references/window", data={"window": "0,04"})
    assert "the lead&#39;s own, ± 0.04" in lead.get("/references/keep").text or "own, ± 0.04" in lead.get("/references/keep").text  # fmt: skip
    assert "window of ± 0.04" in nobody.get("/references", query_string={"under": SALT}).text
    lead.post("/references/window", data={"usual": "1", "window": "x"})
    assert "the usual, ± 0.05" in lead.get("/references/keep").text
    with room.store.database.reading() as session:
        assert references.window(session) is None


# --- the ways there


def test_links_lead_here(room: Room, lead: FlaskClient, nobody: FlaskClient) -> None:
    practical = room.practical(numbers=(1,), phase=SALT.split(" | ", maxsplit=1)[0], paper="as published, unspecified")
    photo = room.measured(room.station(practical, "Owl")[0], (0.89,))
    assert 'href="/references"' in nobody.get("/").text
    assert 'href="/references"' in lead.get("/lead").text
    link = re.search(r'href="(/references\?under=[^"]+)"', lead.get(f"/results/{photo}").text)
    assert link is not None
    assert "20 values" in words(nobody.get(link[1]).text)
