"""How load darkens paper, against Kubelka and Munk's formulas."""

from __future__ import annotations

import numpy as np
import pytest

from webcapture.synthetic.paper import BACKING, Darkening, cloud, fibres, reflectance
from webcapture.synthetic.scene import Stock


@pytest.mark.parametrize("r", [0.05, 0.2, 0.5, 0.8, 0.95])
def test_a_thick_sheet_obeys_the_remission_function(r: float) -> None:
    """K/S = (1 − R)² / 2R for a sheet so thick that its backing does not show (Kubelka and Munk 1931)."""
    k_over_s = (1 - r) ** 2 / (2 * r)
    assert reflectance(np.array(k_over_s * 400.0), 400.0) == pytest.approx(r, abs=1e-3)


def test_a_sheet_that_absorbs_nothing() -> None:
    """Without absorption R = (Rg + S·X (1 − Rg)) / (1 + S·X (1 − Rg)) (Kubelka 1948; from memory)."""
    scattered = 3.0 * (1 - BACKING)
    assert reflectance(np.array(0.0), 3.0) == pytest.approx((BACKING + scattered) / (1 + scattered), abs=1e-3)


def test_a_sheet_that_hardly_scatters_obeys_lambert_and_beer() -> None:
    """Light passes twice: R = Rg exp(−2 K·X)."""
    assert reflectance(np.array(0.7), 1e-3, 0.5) == pytest.approx(0.5 * np.exp(-1.4), abs=2e-3)


@pytest.mark.parametrize("channel", [0, 1, 2])
@pytest.mark.parametrize("absorbance", [0.03, 0.2, 0.6, 1.0])
def test_the_table_gives_the_absorbance_asked_for(channel: int, absorbance: float) -> None:
    paper = Darkening(Stock())
    load = np.zeros((1, 1, 3), np.float32) + np.float32(paper.load_for(absorbance, channel))
    assert -np.log10(paper.shade(load)[0, 0, channel]) == pytest.approx(absorbance, abs=0.004)


def test_darkening_saturates() -> None:
    paper = Darkening(Stock())
    first, second = (paper.load_for(a, 1) for a in (0.3, 0.6))
    assert second > 2.5 * first


def test_noise_is_of_unit_spread_and_of_the_size_asked_for() -> None:
    """Against the autocorrelation of the noise itself."""
    noise = cloud(np.random.default_rng(3), (600, 600), 12.0)
    assert noise.std() == pytest.approx(1, abs=1e-3)
    near, far = ((noise[:, :-d] * noise[:, d:]).mean() for d in (3, 30))
    assert near > 0.7
    assert abs(far) < 0.15


def test_fibres_have_the_contrast_asked_for() -> None:
    sheet = fibres(np.random.default_rng(4), (400, 400), 10.0, 0.012)
    assert sheet.mean() == pytest.approx(1, abs=0.01)
    assert 0.008 < sheet.std() < 0.016
