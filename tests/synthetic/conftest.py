"""One small, plain scene that the tests vary."""

from __future__ import annotations

import io
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from PIL import Image, ImageCms, ImageOps

from webcapture.synthetic.scene import CameraSetup, Curve, Dye, Front, Lane, OriginLine, PaperStrip, Scene, Spot, Stock

CAMERA = CameraSetup(
    size_px=(1500, 2000), fill=0.9, tilt_deg=10, azimuth_deg=60, roll_deg=3, k1=0.01, shot_noise=0.003, defocus_px=0.6,
    sharpening=0.0, quality=95, vignetting=0.0,
)  # fmt: skip
DYES = (Dye("Marl red", (0.1, 1.0, 0.6)), Dye("Tarn blue", (1.0, 0.5, 0.1)))


def plain_strip(**changes: Any) -> PaperStrip:
    """A narrow strip with two spots, 100 mm from origin to front."""
    strip = PaperStrip(
        bay=1,
        centre_mm=(105.0, 148.0),
        width_mm=25.0,
        length_mm=150.0,
        origin=OriginLine(Curve(20.0, mid_mm=12.5), absorbance=0.4),
        front=Front(Curve(120.0, mid_mm=12.5), strength=0.4),
        lanes=(Lane(12.5, (Spot(DYES[0], 0.35, 0.4), Spot(DYES[1], 0.7, 0.4))),),
        turn_deg=4.0,
        stock=Stock(grain=0.006),
        streaks=0.05,
    )
    return replace(strip, **changes)


def plain_scene(strip: PaperStrip | None = None, **camera: Any) -> Scene:
    """That strip on the sheet card."""
    return Scene("sheet", "a4", (strip or plain_strip(),), replace(CAMERA, **camera), seed=3)


def upright(data: bytes) -> np.ndarray:
    """The photo as a viewer shows it: turned by EXIF, converted to sRGB; by Pillow alone."""
    image = ImageOps.exif_transpose(Image.open(io.BytesIO(data)))
    profile = image.info.get("icc_profile")
    if profile:
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        image = ImageCms.profileToProfile(image, source, ImageCms.createProfile("sRGB"))
    return np.asarray(image)


@pytest.fixture(scope="session")
def scene() -> Scene:
    return plain_scene()
