"""From light on the sensor to a JPEG: blur, noise, contrast curve, sharpening, colour profile, EXIF."""

from __future__ import annotations

import io
import math
import struct

import cv2
import numpy as np
from PIL import Image, ImageOps

from webcapture.model import Bytes8, Floats, Floats32
from webcapture.synthetic.scene import CameraSetup

LUT_SIZE = 65536
P3_FROM_SRGB = (
    (0.8224621, 0.1775380, 0.0),
    (0.0331941, 0.9668058, 0.0),
    (0.0170827, 0.0723974, 0.9105199),
)
"""Linear sRGB to linear Display P3, both D65 (from the primaries of IEC 61966-2-1 and SMPTE EG 432-1)."""


def encoded(linear: Floats) -> Floats:
    """sRGB's transfer function, IEC 61966-2-1: linear 0 to 1 to encoded 0 to 1."""
    return np.asarray(np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 0) ** (1 / 2.4) - 0.055))


def tone_table(tone: float) -> Floats32:
    """Encoded level 0 to 255 for each of LUT_SIZE linear values; ``tone`` adds an S-shaped contrast curve."""
    level = encoded(np.linspace(0, 1, LUT_SIZE))
    curved = level * level * (3 - 2 * level)
    return np.asarray(255 * ((1 - tone) * level + tone * curved), np.float32)


def blurred(picture: Floats32, sigma_px: float) -> Floats32:
    """The picture through a lens that far out of focus."""
    if sigma_px < 0.15:
        return picture
    return np.asarray(cv2.GaussianBlur(picture, (0, 0), sigma_px, borderType=cv2.BORDER_REFLECT_101), np.float32)


def shaken(picture: Floats32, length_px: float, turn_deg: float) -> Floats32:
    """The picture smeared by a motion of the hand."""
    if length_px < 0.3:
        return picture
    half = math.ceil(length_px / 2) + 1
    along = np.linspace(-0.5, 0.5, 64)[:, None] * length_px
    path = half + along * (math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg)))
    kernel = np.zeros((2 * half + 1, 2 * half + 1))
    corner = np.floor(path).astype(int)
    part = path - corner
    for dx in (0, 1):
        for dy in (0, 1):
            share = np.abs(1 - dx - part[:, 0]) * np.abs(1 - dy - part[:, 1])
            np.add.at(kernel, (corner[:, 1] + dy, corner[:, 0] + dx), share)
    return np.asarray(cv2.filter2D(picture, -1, kernel / kernel.sum()), np.float32)


def noisy(picture: Floats32, setup: CameraSetup, rng: np.random.Generator) -> Floats32:
    """The picture with shot and read noise, a little correlated as after demosaicing."""
    grain = rng.standard_normal(picture.shape, dtype=np.float32)
    kernel = cv2.getGaussianKernel(5, 0.6)
    # Smoothing by a kernel in both directions leaves the sum of its squares of the standard deviation.
    grain = cv2.sepFilter2D(grain, -1, kernel, kernel) * np.float32(1 / (kernel**2).sum())
    deviation = np.sqrt(np.maximum(picture, 0) * np.float32(setup.shot_noise**2) + np.float32(setup.read_noise**2))
    return np.asarray(picture + grain * deviation, np.float32)


def developed(picture: Floats32, setup: CameraSetup, table: Floats32) -> Bytes8:
    """Encoded bytes of a linear picture in the camera's colour space, sharpened."""
    if setup.display_p3:
        picture = np.asarray(cv2.transform(picture, np.array(P3_FROM_SRGB, np.float32)), np.float32)
    steps = np.clip(picture * np.float32(LUT_SIZE - 1), 0, LUT_SIZE - 1).astype(np.uint16)
    level = np.take(table, steps)
    if setup.sharpening > 0:
        soft = cv2.GaussianBlur(level, (0, 0), 1.2)
        level = cv2.addWeighted(level, 1 + setup.sharpening, soft, -setup.sharpening, 0.0)
    return np.asarray(np.clip(np.rint(level), 0, 255), np.uint8)


_TURNED_BY: dict[int, Image.Transpose] = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_90,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_270,
}
"""How the upright picture is turned before it is stored under each EXIF orientation (the inverse of what viewers do)."""


def jpeg(pixels: Bytes8, setup: CameraSetup) -> bytes:
    """The file of an upright picture (rows, columns, 3)."""
    picture = Image.fromarray(pixels)
    exif = Image.Exif()
    if setup.orientation != 1:
        picture = picture.transpose(_TURNED_BY[setup.orientation])
        exif[0x0112] = setup.orientation
    file = io.BytesIO()
    profile = display_p3_profile() if setup.display_p3 else None
    picture.save(file, "JPEG", quality=setup.quality, exif=exif.tobytes(), icc_profile=profile)
    return file.getvalue() if setup.sent is None else sent_on(file.getvalue(), *setup.sent)


def sent_on(photo: bytes, side_px: int, quality: int) -> bytes:
    """A photo as a messenger hands it on: upright, shrunk to that longer side, compressed anew, and stripped of all that tells about it.

    Common practice, no source; 1600 pixels and a quality of 50 to 75 are usual.
    """
    picture = ImageOps.exif_transpose(Image.open(io.BytesIO(photo)))
    profile = picture.info.get("icc_profile")
    picture.thumbnail((side_px, side_px), Image.Resampling.LANCZOS)
    file = io.BytesIO()
    picture.save(file, "JPEG", quality=quality, exif=b"", icc_profile=profile)
    return file.getvalue()


def _fixed(*values: float) -> bytes:
    """ICC's s15Fixed16 numbers."""
    return struct.pack(f">{len(values)}i", *(round(v * 65536) for v in values))


def display_p3_profile() -> bytes:
    """A minimal ICC version 4 profile of Display P3: matrix and transfer function (ICC.1:2022, from memory)."""
    text = "Display P3".encode("utf-16-be")
    localised = b"mluc" + struct.pack(">IIIHHII", 0, 1, 12, 0x656E, 0x5553, len(text), 28) + text
    curve = b"para" + struct.pack(">IHH", 0, 3, 0) + _fixed(2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)
    tags = {
        b"desc": localised,
        b"cprt": localised,
        b"wtpt": b"XYZ \0\0\0\0" + _fixed(0.96420, 1.0, 0.82491),
        # Primaries adapted to D50 (Bradford).
        b"rXYZ": b"XYZ \0\0\0\0" + _fixed(0.51512, 0.24120, -0.00105),
        b"gXYZ": b"XYZ \0\0\0\0" + _fixed(0.29198, 0.69225, 0.04189),
        b"bXYZ": b"XYZ \0\0\0\0" + _fixed(0.15710, 0.06657, 0.78407),
        b"rTRC": curve,
        b"gTRC": curve,
        b"bTRC": curve,
    }
    offset = 128 + 4 + 12 * len(tags)
    table, body = struct.pack(">I", len(tags)), b""
    for name, value in tags.items():
        table += name + struct.pack(">II", offset + len(body), len(value))
        body += value + b"\0" * (-len(value) % 4)
    head = struct.pack(">I4sI4s4s4s", offset + len(body), b"\0\0\0\0", 0x04000000, b"mntr", b"RGB ", b"XYZ ")
    head += struct.pack(">6H4s", 2024, 1, 1, 0, 0, 0, b"acsp") + b"\0" * 28 + _fixed(0.96420, 1.0, 0.82491)
    return head.ljust(128, b"\0") + table + body
