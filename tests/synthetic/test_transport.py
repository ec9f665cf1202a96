"""The spot's journey against results known in closed form."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import solve_ivp

from webcapture.synthetic.scene import Dye, Spot
from webcapture.synthetic.transport import Load, dispersion, gaussian, mobile, solve, transport

DYE = Dye("Marl red", (0.1, 1.0, 0.6))


def spot(**changes: float) -> Spot:
    return Spot(**{"dye": DYE, "rf": 0.4, "peak": 0.3, "applied_mm": 1.2, "plate_mm": 0.1, **changes})  # type: ignore[arg-type]


def moments(load: Load) -> tuple[float, float, float]:
    """Mass, mean and variance along the flow."""
    s = load.s0_mm + load.step_mm * np.arange(len(load.values))
    profile = load.values.sum(axis=1)
    mass = profile.sum()
    mean = profile @ s / mass
    return float(mass), float(mean), float(profile @ (s - mean) ** 2 / mass)


@pytest.mark.parametrize("run", [30.0, 60.0, 120.0])
def test_variance_grows_linearly_with_distance(run: float) -> None:
    """Convection and dispersion: σ² = σ0² + 2 D x; with a plate height H, 2 D x = H · travel (textbook result)."""
    _, mean, variance = moments(transport(spot(), run, band=False))
    assert mean == pytest.approx(0, abs=0.01)
    assert variance == pytest.approx(1.2**2 + 0.1 * 0.4 * run, rel=0.01)


def test_the_solver_agrees_with_the_closed_form_for_a_small_load() -> None:
    """The marching scheme, at a vanishing overload, keeps Gaussians Gaussian and adds 2 D x to their variance."""
    s = np.arange(-20, 20, 0.3)
    thin = spot(overload=1e-9, plate_mm=0.2)
    solved = solve(gaussian(s, 1.2)[:, None], thin, 80.0, band=True)[:, 0]
    sigma = np.sqrt(1.2**2 + 2 * dispersion(thin) * 80)
    expected = stats.norm.pdf(s, 0, sigma) * 1.2 * np.sqrt(2 * np.pi)
    assert np.abs(solved - expected).max() < 0.005 * expected.max()


@pytest.mark.parametrize("overload", [1e-9, 0.4, 1.5])
def test_mass_is_conserved(overload: float) -> None:
    s = np.arange(-30, 30, 0.3)
    applied = gaussian(s, 1.2)[:, None] * gaussian(np.arange(-6, 6.1, 0.3), 1.2)[None, :]
    solved = solve(applied, spot(overload=overload), 70.0, band=False)
    assert solved.sum() == pytest.approx(applied.sum(), rel=1e-6)
    assert solved.min() > -1e-6 * solved.max()


def test_partition_follows_langmuir() -> None:
    """c solves m = c (1 + k / (1 + b c)) for any load."""
    load = np.linspace(0.001, 3, 50)
    c = mobile(load, 1.5, 0.8)
    assert c * (1 + 1.5 / (1 + 0.8 * c)) == pytest.approx(load, rel=1e-9)
    assert mobile(load, 1.5, 0.0) == pytest.approx(load / 2.5)


def test_an_overloaded_band_agrees_with_an_independent_integrator() -> None:
    """Against scipy's adaptive integrator on a grid three times finer."""
    heavy = spot(overload=0.6, plate_mm=0.3)
    s = np.arange(-20, 25, 0.3)
    solved = solve(gaussian(s, 1.5)[:, None], heavy, 40.0, band=True)[:, 0]
    fine = np.arange(-20, 25, 0.1)

    def change(_: float, m: np.ndarray) -> np.ndarray:
        flux = mobile(m, 1.5, 0.6) - 0.4 * m
        between = (flux[1:] + flux[:-1]) / 2 - dispersion(heavy) * np.diff(m) / 0.1
        return -np.diff(np.concatenate([[0.0], between, [0.0]])) / 0.1

    other = solve_ivp(change, (0, 40), gaussian(fine, 1.5), method="LSODA", rtol=1e-6, atol=1e-9).y[:, -1]
    mean = lambda x, m: (x * m).sum() / m.sum()  # noqa: E731
    assert mean(s, solved) == pytest.approx(mean(fine, other), abs=0.05)
    assert np.abs(solved - np.interp(s, fine, other)).max() < 0.03 * other.max()


def test_an_overloaded_spot_runs_ahead_and_tails_towards_the_origin() -> None:
    """Leading edges of heavy spots run ahead (Nature 1948, 161, 720); the tail lies on the origin's side."""
    light, heavy = transport(spot(), 70, True), transport(spot(overload=0.8), 70, True)
    assert moments(heavy)[1] > moments(light)[1] + 1
    s = heavy.s0_mm + heavy.step_mm * np.arange(len(heavy.values))
    profile = heavy.values[:, 0]
    top = s[profile.argmax()]
    wide = s[profile > 0.1]
    assert top - wide[0] > 1.5 * (wide[-1] - top)


def test_slow_release_is_an_exponentially_modifiedgaussian() -> None:
    """Against scipy's exponnorm, mirrored so that its tail points to the origin."""
    dragged = transport(spot(drag_mm=2.0, plate_mm=0.05), 80, True)
    s = dragged.s0_mm + dragged.step_mm * np.arange(len(dragged.values))
    sigma = np.sqrt(1.2**2 + 0.05 * 0.4 * 80)
    expected = stats.exponnorm.pdf(-s, 2.0 / sigma, 0, sigma)
    assert np.abs(dragged.values[:, 0] - expected / expected.max()).max() < 0.01
    _, mean, variance = moments(dragged)
    assert mean == pytest.approx(-2.0, abs=0.01)
    assert variance == pytest.approx(sigma**2 + 2.0**2, rel=0.01)
