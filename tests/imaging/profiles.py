"""ICC profiles made from colour-science's primaries, so that no profile file need be shipped."""

import struct

import colour
import numpy as np
from PIL import ImageCms

DISPLAY_P3 = "Display P3"
D50 = np.array([0.9642, 1.0, 0.8249])
"""The white of the profile connection space (ICC.1:2010, 6.3.4.3)."""


def matrix_profile(space: str, description: str) -> bytes:
    """A version 2 matrix profile of an RGB space with sRGB's own curve: primaries, adapted to D50 by Bradford, and the curve."""
    primaries = colour.RGB_COLOURSPACES[space]
    d65 = colour.xy_to_XYZ(primaries.whitepoint)
    adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(d65, D50, transform="Bradford")
    red, green, blue = (adapt @ primaries.matrix_RGB_to_XYZ).T
    level = np.arange(1024) / 1023
    curve = colour.models.eotf_sRGB(level)
    trc = b"curv\0\0\0\0" + struct.pack(">I", 1024) + np.rint(curve * 65535).astype(">u2").tobytes()
    name = description.encode("ascii") + b"\0"
    desc = b"desc\0\0\0\0" + struct.pack(">I", len(name)) + name + bytes(78)
    tags = {b"desc": desc, b"cprt": b"text\0\0\0\0none\0", b"wtpt": _xyz(D50), b"rXYZ": _xyz(red), b"gXYZ": _xyz(green),
            b"bXYZ": _xyz(blue), b"rTRC": trc, b"gTRC": trc, b"bTRC": trc}  # fmt: skip
    return _assembled(tags)


def _xyz(value: np.ndarray) -> bytes:
    return b"XYZ \0\0\0\0" + b"".join(struct.pack(">i", round(v * 65536)) for v in value)


def _assembled(tags: dict[bytes, bytes], kind: bytes = b"mntrRGB XYZ ") -> bytes:
    table, body = struct.pack(">I", len(tags)), b""
    start = 128 + 4 + 12 * len(tags)
    for tag, content in tags.items():
        table += tag + struct.pack(">II", start + len(body), len(content))
        body += content + bytes(-len(content) % 4)
    header = bytearray(128)
    header[8:12] = bytes([2, 0x40, 0, 0])
    header[12:24] = kind
    header[36:40] = b"acsp"
    header[68:80] = b"".join(struct.pack(">i", round(v * 65536)) for v in D50)
    whole = header + table + body
    whole[0:4] = struct.pack(">I", len(whole))
    return bytes(whole)


def srgb_profile() -> bytes:
    return ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


def display_p3_profile() -> bytes:
    return matrix_profile(DISPLAY_P3, "Display P3")


def linear_grey_profile() -> bytes:
    """A grey profile with a straight curve."""
    name = b"Straight grey\0"
    tags = {b"desc": b"desc\0\0\0\0" + struct.pack(">I", len(name)) + name + bytes(78), b"cprt": b"text\0\0\0\0none\0",
            b"wtpt": _xyz(D50), b"kTRC": b"curv\0\0\0\0" + struct.pack(">I", 0)}  # fmt: skip
    return _assembled(tags, b"mntrGRAYXYZ ")


def cmyk_profile(cyan: tuple[float, float, float]) -> bytes:
    """A four-colour profile of two grid points a channel: paper white, full cyan as given (L*, a*, b*), everything else black."""
    grid = np.zeros((2, 2, 2, 2, 3))
    grid[0, 0, 0, 0], grid[1, 0, 0, 0] = (100, 0, 0), cyan
    nodes = np.rint(grid * (2.55, 1, 1) + (0, 128, 128)).astype(np.uint8).tobytes()
    unit = b"".join(struct.pack(">i", v * 65536) for v in (1, 0, 0, 0, 1, 0, 0, 0, 1))
    straight = bytes(range(256))
    table = b"mft1\0\0\0\0" + bytes([4, 3, 2, 0]) + unit + straight * 4 + nodes + straight * 3
    name = b"Invented press\0"
    tags = {b"desc": b"desc\0\0\0\0" + struct.pack(">I", len(name)) + name + bytes(78), b"cprt": b"text\0\0\0\0none\0",
            b"wtpt": _xyz(D50), b"A2B0": table}  # fmt: skip
    return _assembled(tags, b"prtrCMYKLab ")
