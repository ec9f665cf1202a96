"""A result as bytes and back."""

from __future__ import annotations

import json
import math
import zlib
from dataclasses import fields, is_dataclass, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.report.factory import StripSpec, make_result
from webcapture import measure_photo
from webcapture.model import PhotoResult
from webcapture.store.codec import FORM, StoredResult, dumped, loaded
from webcapture.synthetic import render
from webcapture.synthetic.adverse import no_front, no_origin
from webcapture.synthetic.scenes import tray, typical

SCENES = {"sheet": typical(502), "tray": tray(502), "no front": no_front(2), "no origin": no_origin(2)}
LEFT_OUT = {"pictures", "page", "photo"}
"""Of a result: the page is kept as a picture, the name in the photo's record."""


@pytest.fixture(scope="module", params=list(SCENES))
def result(request) -> PhotoResult:
    return measure_photo(render(SCENES[request.param]).data)


def leaves(value, path=""):
    """(path, value) of every number, text, None and array in a record, lengths of tuples included."""
    if is_dataclass(value):
        for field in fields(value):
            yield from leaves(getattr(value, field.name), f"{path}.{field.name}")
    elif isinstance(value, tuple):
        yield f"{path}#", len(value)
        for n, one in enumerate(value):
            yield from leaves(one, f"{path}[{n}]")
    else:
        yield path, value


def agree(one, other):
    if isinstance(one, np.ndarray):
        same = isinstance(other, np.ndarray) and one.shape == other.shape and other.dtype == np.float64
        return same and bool(np.allclose(one, other, rtol=0, atol=1e-6))
    if isinstance(one, float):
        return isinstance(other, float) and abs(one - other) < 1e-6
    return type(one) is type(other) and one == other


def test_every_field_comes_back(result):
    whole = StoredResult(result.card, result.strips, result.flags)
    before, after = dict(leaves(whole)), dict(leaves(loaded(dumped(result))))
    assert len(before) > 100
    assert list(before) == list(after)
    assert [path for path, value in before.items() if not agree(value, after[path])] == []


def test_every_field_of_a_result_is_kept_or_left_out_on_purpose():
    assert {f.name for f in fields(StoredResult)} | LEFT_OUT == {f.name for f in fields(PhotoResult)}


def test_twice_is_once(result):
    assert dumped(loaded(dumped(result))) == dumped(result)


def test_lines_keep_their_shape(result):
    """A curve's coefficient of t² counts for 140² = 19 600 times itself at the far side of a sheet: it is not rounded."""
    for old, new in zip(result.strips, loaded(dumped(result)).strips, strict=True):
        for one, other in ((old.origin, new.origin), (old.front, new.front)):
            if one is not None:
                assert one.coefficients.tolist() == other.coefficients.tolist()


def test_a_result_is_small(result):
    """A photo is some megabytes; what was found on it is a hundredth of that."""
    assert len(dumped(result)) < 25_000 * max(len(result.strips), 1)


def test_other_programs_can_read_it():
    plain = json.loads(zlib.decompress(dumped(make_result(StripSpec()))))
    assert plain["form"] == FORM
    assert plain["strips"][0]["lanes"][0]["spots"][1]["rf"] == 0.6
    assert plain["card"]["layout"] == "sheet"


@pytest.mark.parametrize("form", [0, FORM + 1, "1", None])
def test_an_unknown_form_is_refused(form):
    plain = json.loads(zlib.decompress(dumped(make_result(StripSpec()))))
    with pytest.raises(ValueError, match="unknown form"):
        loaded(zlib.compress(json.dumps(plain | {"form": form}).encode()))


@pytest.mark.parametrize(
    "data", [b"", b"\xff\xd8 a photo", zlib.compress(b"no json"), zlib.compress(b"[1]"), zlib.compress(b"{}")]
)
def test_other_bytes_are_refused(data):
    with pytest.raises(ValueError):
        loaded(data)


def test_a_torn_result_is_refused():
    whole = dumped(make_result(StripSpec()))
    with pytest.raises(ValueError, match="not a result"):
        loaded(whole[: len(whole) // 2])


RESULT = make_result(StripSpec())
NO_NUMBER = st.sampled_from([math.nan, math.inf, -math.inf])
SPOT_NUMBERS = ("distance_mm", "width_mm", "rf", "u_rf", "U_rf", "tailing", "signal_to_noise", "u_centre_mm")


def spoiled(field, value):
    """A result with that number of its first spot, or that number in its arrays, put wrong."""
    strip, lane = RESULT.strips[0], RESULT.strips[0].lanes[0]
    if field == "profile":
        profile = lane.profile.copy()
        profile[3, 1] = value
        lane = replace(lane, profile=profile)
    elif field == "coefficients":
        strip = replace(strip, origin=replace(strip.origin, coefficients=np.array([20.0, value])))
    elif field == "position_mm":
        lane = replace(lane, spots=(replace(lane.spots[0], position_mm=(1.0, value)),))
    else:
        lane = replace(lane, spots=(replace(lane.spots[0], **{field: value}),))
    return StoredResult(RESULT.card, (replace(strip, lanes=(lane,)),), ())


@settings(max_examples=60)
@given(st.sampled_from([*SPOT_NUMBERS, "profile", "coefficients", "position_mm"]), NO_NUMBER)
def test_what_is_no_number_is_never_stored(field, value):
    """Not known is None; NaN and infinity are faults, and JSON (RFC 8259, section 6) has no word for them."""
    assert dumped(spoiled(field, 0.5))
    with pytest.raises(ValueError, match="JSON compliant"):
        dumped(spoiled(field, value))


def as_it_was(result: PhotoResult) -> bytes:
    """The result as it was kept before strips of one bay were told apart."""
    plain = json.loads(zlib.decompress(dumped(result)))
    for strip in plain["strips"]:
        del strip["strip"], strip["shared"]
        strip["flags"] = [flag for flag in strip["flags"] if flag["code"] != "bay-shared"]
        for n, lane in enumerate(strip["lanes"], 1):
            lane["lane"] = n
    return zlib.compress(json.dumps(plain).encode())


def test_strips_that_were_not_told_apart_are_when_they_are_read():
    result = make_result(StripSpec(), StripSpec(), StripSpec(bay=4), layout="tray")
    old = loaded(as_it_was(result))
    assert [(strip.place, strip.lanes[0].lane) for strip in old.strips] == [("1", 1), ("1-2", 2), ("4", 1)]
    assert dumped(old) == dumped(result)
