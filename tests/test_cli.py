"""The command line as other people's scripts rely on it: outputs, exit status, plain words, nothing overwritten."""

from __future__ import annotations

import io
import json
import os
import signal
import subprocess
import sys
import time
import tracemalloc
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from PIL import Image

import webcapture
from tests.report.factory import StripSpec, full_tray, make_result
from webcapture.card.layout import card_layout
from webcapture.card.printing import card_pdf
from webcapture.cli import main
from webcapture.errors import NoCard, OutOfFocus, TooLarge, UsageError
from webcapture.files import annotated_names, check_writable, read_photo_file, write_file
from webcapture.model import PhotoResult
from webcapture.reference.exchange import shipped, write_csv
from webcapture.report.export import schema

ROOT = Path(__file__).parent.parent


def run(*arguments: str | Path, **options: Any) -> subprocess.CompletedProcess[str]:
    """The command as a user types it, in a process of its own."""
    command = [sys.executable, "-m", "webcapture", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, cwd=ROOT, timeout=120, check=False, **options)


def fake_measure(data: bytes, name: str = "") -> PhotoResult:
    """Measures by the first word of the file: what it says is what is seen."""
    if data.startswith(b"no card"):
        raise NoCard("No calibration card was found in the photo.")
    if data.startswith(b"blurred"):
        raise OutOfFocus("The picture is too blurred.")
    if data.startswith(b"fault"):
        raise ZeroDivisionError("division by zero")
    specs = full_tray() if data.startswith(b"tray") else (StripSpec(),)
    return make_result(*specs, layout="tray" if len(specs) > 1 else "sheet", photo=name)


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of photos, measured by a stand-in; the folder is the current one."""
    monkeypatch.setattr(webcapture, "measure_photo", fake_measure, raising=False)
    monkeypatch.chdir(tmp_path)
    for name, content in {
        "good.jpg": b"strip", "tray.jpg": b"tray", "bare.jpg": b"no card", "soft.jpg": b"blurred", "odd.jpg": b"fault",
    }.items():  # fmt: skip
        (tmp_path / name).write_bytes(content)
    return tmp_path


def measured_json(
    arguments: Sequence[str], capsys: pytest.CaptureFixture[str]
) -> tuple[int, list[dict[str, Any]], str]:
    status = main(["measure", *arguments, "--json", "-"])
    out, err = capsys.readouterr()
    entries = json.loads(out)
    jsonschema.Draft202012Validator(schema()).validate(entries)
    return status, entries, err


class TestMeasure:
    def test_json_alone_on_standard_output(self, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
        status, entries, err = measured_json(["good.jpg"], capsys)
        assert status == 0 and err == ""
        assert [entry["photo"] for entry in entries] == ["good.jpg"]
        assert entries[0]["strips"][0]["lanes"][0]["spots"][0]["rf"] == 0.25

    def test_order_progress_and_status_of_many(self, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
        status, entries, err = measured_json(["tray.jpg", "bare.jpg", "good.jpg", "soft.jpg"], capsys)
        assert status == 1
        assert [entry["photo"] for entry in entries] == ["tray.jpg", "bare.jpg", "good.jpg", "soft.jpg"]
        codes = [entry["error"] and entry["error"]["code"] for entry in entries]
        assert codes == [None, "no-card", None, "out-of-focus"]
        assert len(entries[0]["strips"]) == 6
        lines = err.splitlines()
        assert lines[0] == "[1/4] tray.jpg: 6 strips, 18 spots"
        assert lines[1].startswith("bare.jpg: No calibration card was found") and "Lay the strip" in lines[1]
        assert lines[2] == "[3/4] good.jpg: 1 strip, 3 spots"

    def test_a_fault_costs_only_its_own_photo(self, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
        status, entries, err = measured_json(["odd.jpg", "good.jpg"], capsys)
        assert status == 1
        assert entries[0]["error"]["code"] == "unexpected" and "ZeroDivisionError" in entries[0]["error"]["message"]
        assert entries[1]["error"] is None
        assert "Traceback" not in err

    def test_what_is_no_readable_file(self, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
        (bench / "folder").mkdir()
        (bench / "loop.jpg").symlink_to("loop.jpg")
        status, entries, err = measured_json(["nowhere.jpg", "folder", "loop.jpg", "good.jpg"], capsys)
        assert status == 1
        assert [entry["error"] and entry["error"]["code"] for entry in entries] == ["unreadable"] * 3 + [None]
        assert "There is no file “nowhere.jpg”" in err and "folder, not a photo" in err and "Traceback" not in err

    def test_a_file_without_leave_to_read(
        self, bench: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
    ) -> None:
        opened = Path.open

        def refused(self: Path, *given: Any, **named: Any) -> Any:
            if self.name == "good.jpg":
                raise PermissionError(13, "Permission denied", str(self))
            return opened(self, *given, **named)

        monkeypatch.setattr(Path, "open", refused)  # root, who may read everything, runs tests too
        status, entries, err = measured_json(["good.jpg"], capsys)
        assert status == 1 and entries[0]["error"]["code"] == "unreadable"
        assert "cannot be read (permission denied)" in err

    def test_table_for_people(self, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["measure", "tray.jpg", "bare.jpg"]) == 1
        out, _ = capsys.readouterr()
        rows = [line.split() for line in out.splitlines()]
        assert ["1", "1", "2", "54.3", "mm", "90.5", "mm", "0.60", "0.01", "60", "#3f6fb0"] in rows
        assert ["3", "1", "1", "22.5", "mm", "–", "–", "–", "–", "#b04a5a"] in rows, "no front, no Rf"
        assert ["4", "1", "none", "90.0", "mm", "no-spots"] in rows
        assert out.count("front-missing (bay 3): No solvent front was seen.") == 1
        assert "did-not-move (bay 2, spot 1)" in out
        assert "No calibration card was found in the photo." in out

    def test_json_into_a_file(self, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["measure", "good.jpg", "--json", "result.json"]) == 0
        assert capsys.readouterr().out == ""
        assert json.loads((bench / "result.json").read_text())[0]["photo"] == "good.jpg"

    @pytest.mark.parametrize("name", ["good.jpg", "./GOOD.jpg"])
    def test_json_never_goes_over_a_photo(self, bench: Path, name: str, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["measure", "tray.jpg", "good.jpg", "--json", name]) == 2
        assert "over the photo" in capsys.readouterr().err
        assert (bench / "good.jpg").read_bytes() == b"strip"

    def test_relative_to_a_spot(self, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
        _, entries, _ = measured_json(["good.jpg", "--relative-to", "1.1.2"], capsys)
        spots = entries[0]["strips"][0]["lanes"][0]["spots"]
        assert [spot["r_rel"] for spot in spots] == pytest.approx([0.25 / 0.6, 1.0, 0.82 / 0.6], abs=5e-5)

    def test_relative_to_a_spot_for_people(self, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["measure", "good.jpg", "--relative-to", "1.1.2"]) == 0
        out, err = capsys.readouterr()
        assert "R_rel ± U" in out and "0.42 ± 0.01" in out and err == ""

    def test_relative_to_a_spot_that_is_not_there_is_said(
        self, bench: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        status, _, err = measured_json(["good.jpg", "tray.jpg", "bare.jpg", "--relative-to", "6.1.7"], capsys)
        said = [line for line in err.splitlines() if "R_rel" in line]
        assert status == 1 and len(said) == 1 and said[0].startswith("good.jpg: There is no bay 6, lane 1, spot 7")
        assert main(["measure", "good.jpg", "--relative-to", "6.1.7"]) == 0
        assert "There is no bay 6, lane 1, spot 7" in capsys.readouterr().out

    @pytest.mark.parametrize("place", ["1.1", "1.1.0", "a.b.c", "1.1.-2", "", "1.1.²", "1.1.１", "1.1." + "9" * 5000])
    def test_relative_to_nonsense(self, bench: Path, place: str, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["measure", "good.jpg", "--relative-to", place]) == 2
        assert "does not name a spot as bay.lane.spot" in capsys.readouterr().err

    def test_names_that_no_terminal_can_show(self, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
        name = os.fsdecode(b"caf\xe9.jpg")
        (bench / name).write_bytes(b"strip")
        status, entries, _ = measured_json([name], capsys)
        assert status == 0 and entries[0]["photo"] == name


class TestAnnotatedPictures:
    def test_one_a_photo_that_was_measured(self, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
        _, entries, _ = measured_json(["good.jpg", "bare.jpg", "tray.jpg", "--annotated", "new/pictures"], capsys)
        files = sorted((bench / "new/pictures").iterdir())
        assert [file.name for file in files] == ["good-annotated.jpg", "tray-annotated.jpg"]
        assert all(Image.open(file).format == "JPEG" for file in files)
        assert [entry["annotated"] for entry in entries] == [
            "new/pictures/good-annotated.jpg", None, "new/pictures/tray-annotated.jpg",
        ]  # fmt: skip

    def test_photos_of_one_name_do_not_overwrite_each_other(
        self, bench: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        photos = []
        for folder in ("a", "b", "B2"):
            (bench / folder).mkdir()
            for ending in ("jpg", "JPG", "png"):
                photos.append(f"{folder}/good.{ending}")
                (bench / photos[-1]).write_bytes(b"strip")
        _, entries, _ = measured_json([*photos, "--annotated", "out"], capsys)
        names = [entry["annotated"].lower() for entry in entries]
        assert len(set(names)) == len(photos) == len(list((bench / "out").iterdir()))

    def test_no_photo_is_ever_overwritten(self, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
        (bench / "good-annotated.jpg").write_bytes(b"strip, too")
        measured_json(["good.jpg", "good-annotated.jpg", "--annotated", "."], capsys)
        assert (bench / "good.jpg").read_bytes() == b"strip"
        assert (bench / "good-annotated.jpg").read_bytes() == b"strip, too"
        assert (bench / "good-2-annotated.jpg").exists()

    def test_the_same_photo_twice(self, tmp_path: Path) -> None:
        names = annotated_names([tmp_path / "x.jpg"] * 3, tmp_path)
        assert [names[n].name for n in range(3)] == ["x-annotated.jpg", "x-2-annotated.jpg", "x-3-annotated.jpg"]

    def test_a_folder_that_is_a_file(self, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["measure", "good.jpg", "--annotated", "tray.jpg"]) == 2
        assert "cannot be made" in capsys.readouterr().err
        assert (bench / "tray.jpg").read_bytes() == b"tray"


class TestNothingIsOverwritten:
    """Of all that one call names, before anything is measured."""

    @pytest.fixture
    def told(self, bench: Path) -> Path:
        """The bench with a method file and a file of references."""
        (bench / "m.json").write_text(METHOD)
        (bench / "own.csv").write_bytes(write_csv(shipped("cations")).encode())
        return bench

    @pytest.mark.parametrize(
        ("arguments", "words"),
        [
            (["--json", "m.json"], "The results would be written over the method file “m.json”. Give --json another name."),
            (["--json", "M.JSON"], "over the method file"),
            (["--json", "own.csv"], "The results would be written over the references “own.csv”."),
            (["--json", "linked.jpg"], "over the photo “good.jpg”"),
            (["--annotated", "m.json"], "over the method file"),
            (["--json", "an/good-annotated.jpg", "--annotated", "an"], "The results and an annotated picture would both be written"),
            (["--json", "an", "--annotated", "an"], "The results and the folder of annotated pictures"),
        ],
    )  # fmt: skip
    def test_measure(self, told: Path, arguments: list[str], words: str, capsys: pytest.CaptureFixture[str]) -> None:
        os.link(told / "good.jpg", told / "linked.jpg")
        before = {file.name: file.read_bytes() for file in told.iterdir()}
        compared = ["--method", "m.json", "--references", "workshop", "--references", "own.csv"]
        assert main(["measure", "good.jpg", *compared, *arguments]) == 2
        out, err = capsys.readouterr()
        assert words in err and out == "" and len(err.splitlines()) == 1
        assert {file.name: file.read_bytes() for file in told.iterdir()} == before

    def test_a_picture_goes_beside_a_method_file(self, told: Path, capsys: pytest.CaptureFixture[str]) -> None:
        (told / "m.json").rename(told / "good-annotated.jpg")
        given = ["good.jpg", "--method", "good-annotated.jpg", "--references", "workshop", "--annotated", "."]
        _, entries, _ = measured_json(given, capsys)
        assert entries[0]["annotated"] == "good-2-annotated.jpg"
        assert (told / "good-annotated.jpg").read_text() == METHOD

    def test_a_table_that_comes_along_is_no_file(self, told: Path, capsys: pytest.CaptureFixture[str]) -> None:
        given = ["--method", "m.json", "--references", "workshop", "--json", "workshop"]
        assert main(["measure", "good.jpg", *given]) == 0
        assert json.loads((told / "workshop").read_text())[0]["names"]["library"] == 5

    def test_card(self, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["card", "--out", "c.pdf", "--geometry", "./C.pdf"]) == 2
        assert "The geometry and the card would both be written to “C.pdf”. Give --geometry" in capsys.readouterr().err
        assert not (bench / "c.pdf").exists()


def never_measured(data: bytes, name: str = "") -> PhotoResult:
    raise AssertionError(f"{name} was measured")


needs_full = pytest.mark.skipif(not Path("/dev/full").exists(), reason="a system without /dev/full")


class TestNothingIsLost:
    """Results that cannot be written where they should."""

    @pytest.mark.parametrize(
        ("target", "words"),
        [
            ("nowhere/r.json", "There is no folder “nowhere”. Make it first"),
            ("good.jpg/r.json", "cannot be written (not a directory)"),
            ("folder", "“folder” cannot be written (is a directory)"),
            ("x" * 300, "cannot be written (file name too long)"),
        ],
    )
    def test_a_target_that_cannot_be_is_said_before_the_first_photo(
        self, bench: Path, monkeypatch: pytest.MonkeyPatch, target: str, words: str, capsys: pytest.CaptureFixture[str]
    ) -> None:
        monkeypatch.setattr(webcapture, "measure_photo", never_measured)
        (bench / "folder").mkdir()
        assert main(["measure", "good.jpg", "--json", target]) == 2
        out, err = capsys.readouterr()
        assert words in err and out == "" and len(err.splitlines()) == 1

    def test_a_folder_without_leave_to_write(
        self, bench: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
    ) -> None:
        def refused(dir: Path) -> None:
            raise PermissionError(13, "Permission denied", str(dir))

        monkeypatch.setattr(webcapture, "measure_photo", never_measured)
        monkeypatch.setattr("tempfile.TemporaryFile", refused)  # root, who may write everywhere, runs tests too
        assert main(["measure", "good.jpg", "--json", "r.json"]) == 2
        assert "“r.json” cannot be written (permission denied)" in capsys.readouterr().err

    def test_asking_changes_nothing(self, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
        (bench / "old.json").write_text("old")
        before = sorted(bench.iterdir())
        for target in ("old.json", "new.json"):
            check_writable(Path(target))
        assert sorted(bench.iterdir()) == before and (bench / "old.json").read_text() == "old"

    @needs_full
    def test_where_writing_fails_late_the_results_stand_on_standard_output(
        self, bench: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert main(["measure", "good.jpg", "bare.jpg", "--json", "/dev/full"]) == 2
        out, err = capsys.readouterr()
        assert [entry["photo"] for entry in json.loads(out)] == ["good.jpg", "bare.jpg"]
        assert "“/dev/full” cannot be written (no space left on device). The results are printed on" in err

    @needs_full
    def test_a_picture_that_cannot_be_written_costs_no_photo(
        self, bench: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        (bench / "an").mkdir()
        (bench / "an/good-annotated.jpg").symlink_to("/dev/full")
        status, entries, err = measured_json(["good.jpg", "tray.jpg", "bare.jpg", "--annotated", "an"], capsys)
        assert status == 2
        assert [entry["annotated"] for entry in entries] == [None, "an/tray-annotated.jpg", None]
        assert [entry["error"] is None for entry in entries] == [True, True, False]
        assert len(entries[0]["strips"]) == 1
        (said,) = (line for line in err.splitlines() if "annotated" in line)
        assert said.startswith("good.jpg: its annotated picture is missing. “an/good-annotated.jpg” cannot")
        assert Image.open(bench / "an/tray-annotated.jpg").format == "JPEG"

    def test_half_a_picture_is_not_left_behind(self, bench: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        whole = Path.write_bytes

        def full(self: Path, data: bytes) -> int:
            whole(self, data[:3])
            raise OSError(28, "No space left on device")

        monkeypatch.setattr(Path, "write_bytes", full)
        (bench / "old.jpg").symlink_to("good.jpg")
        for name in ("new.jpg", "old.jpg"):
            with pytest.raises(UsageError, match="no space left"):
                write_file(Path(name), b"picture")
        assert not (bench / "new.jpg").exists() and (bench / "good.jpg").exists(), "what was there is not removed"


class TestLargeFiles:
    """Memory and time are spent on no more than may be read, whatever the file holds."""

    def test_a_file_that_is_too_large_is_not_read(self, tmp_path: Path) -> None:
        huge = tmp_path / "huge.jpg"
        huge.touch()
        os.truncate(huge, 1_500_000_000)  # a hole: no disk is filled
        with peak_memory() as peak, pytest.raises(TooLarge, match="has 1500 MB; at most 64 MB"):
            read_photo_file(huge)
        assert peak[0] < 1_000_000

    @pytest.mark.skipif(not Path("/dev/zero").exists(), reason="a system without /dev/zero")
    def test_a_device_without_end_is_left(self, tmp_path: Path) -> None:
        with peak_memory() as peak, pytest.raises(TooLarge, match="more than 2 MB"):
            read_photo_file(Path("/dev/zero"), 2_000_000)
        assert peak[0] < 4_000_000

    def test_as_much_as_is_allowed_is_read_whole(self, tmp_path: Path) -> None:
        photo = tmp_path / "photo.jpg"
        photo.write_bytes(bytes(range(200)))
        assert read_photo_file(photo, 200) == bytes(range(200))
        with pytest.raises(TooLarge):
            read_photo_file(photo, 199)

    def test_a_pipe_is_read_to_its_end(self, tmp_path: Path) -> None:
        pipe = tmp_path / "pipe.jpg"
        os.mkfifo(pipe)
        writer = subprocess.Popen([sys.executable, "-c", f"open({str(pipe)!r}, 'wb').write(b'x' * 100_000)"])
        assert read_photo_file(pipe) == b"x" * 100_000
        assert writer.wait(30) == 0


@contextmanager
def peak_memory() -> Iterator[list[int]]:
    """Bytes that Python's objects took at most, once it is left."""
    peak: list[int] = []
    tracemalloc.start()
    try:
        yield peak
    finally:
        peak.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()


class TestCard:
    def test_pdf_png_and_geometry(self, tmp_path: Path) -> None:
        assert main(["card", "--layout", "tray", "--paper", "letter", "--out", str(tmp_path / "card.pdf")]) == 0
        assert (tmp_path / "card.pdf").read_bytes() == card_pdf(card_layout("tray", "letter"))
        picture, bays = tmp_path / "card.PNG", tmp_path / "bays.json"
        assert main(["card", "--out", str(picture), "--dpi", "72", "--geometry", str(bays)]) == 0
        assert Image.open(io.BytesIO(picture.read_bytes())).size == (595, 842)
        geometry = json.loads(bays.read_text())
        assert (geometry["layout"], geometry["paper"], geometry["version"]) == ("sheet", "a4", 1)
        assert geometry["page_mm"] == [210.0, 297.0] and geometry["bays"][0]["bay"] == 1

    @pytest.mark.parametrize(
        ("arguments", "words"),
        [
            (["--out", "card.svg"], ".pdf or .png"),
            (["--out", "card"], ".pdf or .png"),
            (["--out", "card.png", "--dpi", "7"], "dpi"),
            (["--out", "card.png", "--dpi", "many"], "dpi"),
            (["--out", "card.pdf", "--layout", "wall"], "sheet"),
            (["--out", "card.pdf", "--paper", "a3"], "letter"),
            (["--out", "nowhere/card.pdf"], "no folder"),
            (["--out", "card.pdf", "--geometry", "nowhere/bays.json"], "no folder “nowhere”"),
            ([], "--out"),
        ],
    )
    def test_wrong_usage(
        self, arguments: list[str], words: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
    ) -> None:  # fmt: skip
        monkeypatch.chdir(tmp_path)
        assert main(["card", *arguments]) == 2
        out, err = capsys.readouterr()
        assert out == "" and words in err and "Traceback" not in err and len(err.splitlines()) == 1
        assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(not Path("/proc/self").exists(), reason="a system without /proc")
def test_a_folder_that_is_there_is_not_said_to_be_missing(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["card", "--out", "/proc/card.pdf"]) == 2
    err = capsys.readouterr().err
    assert err.startswith("“/proc/card.pdf” cannot be written (") and "no folder" not in err


@pytest.mark.parametrize(
    "arguments", [[], ["paint"], ["measure"], ["serve", "--port", "eighty"], ["measure", "--jsno"]]
)
def test_wrong_usage_is_status_2_in_plain_words(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(arguments) == 2
    err = capsys.readouterr().err
    assert "--help" in err and "Traceback" not in err


def test_serve_passes_on_what_it_was_told(monkeypatch: pytest.MonkeyPatch) -> None:
    from webcapture.web import serving  # noqa: PLC0415 - the web is loaded only by the tests that need it

    told: list[object] = []
    monkeypatch.setattr(serving, "serve", lambda *arguments, lang: told.append((*arguments, lang)))
    assert main(["serve", "--host", "0.0.0.0", "--port", "8123", "--data", "kept", "--lang", "en"]) == 0
    assert main(["serve"]) == 0
    door = serving.Door
    assert told == [(door("0.0.0.0", 8123), Path("kept"), "en"), (door("127.0.0.1", 8000), Path("data"), "")]


@pytest.mark.parametrize("folder", ["taken", "taken/records"])
@pytest.mark.parametrize("command", [["serve", "--data"], ["demo", "--no-serve", "--out"]])
def test_a_file_where_a_folder_is_needed_is_named(
    command: list[str], folder: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("taken").write_text("something else")
    assert main([*command, folder]) == 2
    err = capsys.readouterr().err
    assert "“taken” is no folder. Name a folder, or a name that is not taken." in err and len(err.splitlines()) == 1
    assert Path("taken").read_text() == "something else"


def test_what_the_system_refuses_is_named(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from webcapture.web import serving  # noqa: PLC0415 - the web is loaded only by the tests that need it

    def refused(*_arguments: object, lang: str) -> None:
        raise PermissionError(13, "Permission denied", "data/files")

    monkeypatch.setattr(serving, "serve", refused)
    assert main(["serve", "--data", str(tmp_path / "data")]) == 2
    assert "permission denied (“data/files”)" in capsys.readouterr().err


def test_a_language_that_is_not_at_hand_is_said_plainly(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["serve", "--port", "0", "--lang", "xx"]) == 2
    assert capsys.readouterr().err == "There is no language “xx”. Choose one of: en.\n"


def test_an_address_in_use_is_said_plainly(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["serve", "--host", "203.0.113.7", "--port", "8123"]) == 2  # RFC 5737: nobody's address
    assert "cannot be used" in capsys.readouterr().err


def test_a_missing_library_is_named(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setitem(sys.modules, "webcapture.card.printing", None)
    assert main(["card", "--out", "card.pdf"]) == 2
    assert "library is missing" in capsys.readouterr().err


class TestAsAProcess:
    """What only shows in a process of its own."""

    def test_help_and_card_load_no_image_libraries(self, tmp_path: Path) -> None:
        program = (
            "import sys; from webcapture.cli import main; status = main(sys.argv[1:]); "
            "print([m for m in ('cv2', 'scipy', 'flask') if m in sys.modules], status)"
        )
        for arguments in (["--help"], ["measure", "--help"], ["card", "--out", str(tmp_path / "card.png")]):
            done = subprocess.run(
                [sys.executable, "-c", program, *arguments], capture_output=True, text=True, cwd=ROOT, check=True
            )
            assert done.stdout.splitlines()[-1] == "[] 0", arguments

    def test_help_and_version(self) -> None:
        assert run("--version").stdout.strip() == f"webcapture {webcapture.__version__}"
        shown = run("--help")
        assert shown.returncode == 0
        assert all(command in shown.stdout for command in ("card", "measure", "demo", "serve"))
        assert "could not be written" in " ".join(run("measure", "--help").stdout.split()), (
            "the exit status stands there"
        )

    def test_files_that_are_no_photos(self, tmp_path: Path) -> None:
        text = tmp_path / "notes.txt"
        text.write_text("not a photo")
        done = run("measure", text, tmp_path / "missing.jpg", tmp_path, "--json", "-")
        assert done.returncode == 1
        assert [entry["error"]["code"] for entry in json.loads(done.stdout)] == [
            "not-an-image",
            "unreadable",
            "unreadable",
        ]
        assert "Traceback" not in done.stderr and len(done.stderr.splitlines()) == 3

    def test_what_a_library_remarks_on_damaged_metadata_stays_out_of_it(self, tmp_path: Path) -> None:
        photo, damaged = tmp_path / "photo.jpg", b"MM\0*\0\0\0\x08\xff\x7f\x01\x12"
        Image.new("RGB", (900, 700), "white").save(photo, exif=b"Exif\0\0" + damaged)
        loud, plain = ["-X", "dev"], []
        heard = [
            subprocess.run(
                [sys.executable, *how, "-m", "webcapture", "measure", photo],
                capture_output=True, text=True, cwd=ROOT, timeout=120, check=False,
            ).stderr
            for how in (loud, plain)
        ]  # fmt: skip
        assert "Corrupt EXIF" in heard[0], "the library warns"
        assert "EXIF" not in heard[1] and len(heard[1].splitlines()) == 1

    def test_a_terminal_that_knows_only_ascii(self, tmp_path: Path) -> None:
        done = run("measure", tmp_path / "missing.jpg", env={**os.environ, "PYTHONIOENCODING": "ascii", "LC_ALL": "C"})
        assert done.returncode == 1 and "missing.jpg" in done.stdout and "Traceback" not in done.stderr

    def test_a_reader_that_leaves(self, tmp_path: Path) -> None:
        names = [str(tmp_path / f"{n}.jpg") for n in range(2000)]
        process = subprocess.Popen(
            [sys.executable, "-m", "webcapture", "measure", *names],
            cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        assert process.stdout is not None and process.stderr is not None
        process.stdout.readline()
        process.stdout.close()
        errors = process.stderr.read()
        assert process.wait(60) == 141
        assert "Traceback" not in errors and "BrokenPipe" not in errors

    def test_ctrl_c(self, tmp_path: Path) -> None:
        os.mkfifo(tmp_path / "endless.jpg")  # reading it waits for ever
        process = subprocess.Popen(
            [sys.executable, "-m", "webcapture", "measure", str(tmp_path / "none.jpg"), str(tmp_path / "endless.jpg")],
            cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        assert process.stdout is not None and process.stderr is not None
        process.stdout.readline()
        time.sleep(0.3)
        process.send_signal(signal.SIGINT)
        assert process.wait(30) == 130
        errors = process.stderr.read()
        assert errors.splitlines()[-1] == "Stopped." and "Traceback" not in errors


METHOD = '{"mobile_phase": "salt water", "paper": "workshop paper", "lanes": {"1": "sample: vat 7"}}'


def test_names_stand_with_the_numbers_where_a_method_is_given(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Path("m.json").write_text(METHOD)
    asked = ["--method", "m.json", "--references", "workshop"]
    assert main(["measure", "good.jpg", "--json", "-", *asked]) == 0
    (entry,) = json.loads(capsys.readouterr().out)
    jsonschema.validate([entry], schema())
    assert entry["names"]["library"] == 5
    assert main(["measure", "good.jpg", *asked]) == 0
    assert "Consistent with" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("method", "references", "said"),
    [
        (None, "workshop", "same mobile phase"),
        ("{}", "workshop", "mobile_phase"),
        (METHOD, "none.csv", "none.csv"),
        (METHOD, "broken.csv", ""),
    ],
)
def test_what_is_wrong_with_names_is_said_before_anything_is_measured(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    method: str | None,
    references: str,
    said: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("broken.csv").write_text("substance;rf\nMarl red;lots\n")
    asked = ["--references", references]
    if method is not None:
        Path("m.json").write_text(method)
        asked += ["--method", "m.json"]
    assert main(["measure", "no-photo.jpg", *asked]) == 2
    told = capsys.readouterr().err
    assert said in told
    assert "no-photo.jpg" not in told
