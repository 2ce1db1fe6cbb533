"""Filters and derivatives against closed forms and published data."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from jointload.numerics import signals as s


@pytest.mark.parametrize(("cutoff", "rate"), [(10, 1000), (6, 69.9), (20, 120), (50, 150)])
def test_two_passes_halve_the_power_at_the_cutoff(cutoff: float, rate: float) -> None:
    """Winter (2009) chapter 3: the corrected cut-off is the -3 dB point of both passes, exactly, at any sampling
    rate."""
    from scipy.signal import sosfreqz

    _, response = sosfreqz(s._lowpass_sections(cutoff, rate), worN=[cutoff], fs=rate)
    assert abs(response[0]) ** 2 == pytest.approx(np.sqrt(0.5), abs=1e-12)


def test_sections_equal_scipys_butterworth_at_the_corrected_frequency() -> None:
    """fc = 10 Hz at 1000 Hz: design frequency 12.46278 Hz on the pre-warped scale."""
    from scipy.signal import butter

    design = 1000 / np.pi * np.arctan(np.tan(np.pi * 10 / 1000) / s.PASS_CORRECTION)
    assert design == pytest.approx(12.46278, abs=5e-6)
    np.testing.assert_allclose(s._lowpass_sections(10, 1000), butter(2, design, fs=1000, output="sos"), atol=1e-14)


def test_pass_correction_of_two_passes() -> None:
    """C = (2^(1/n) - 1)^(1/4) = 0.802243 for n = 2 (Winter 2009)."""
    assert pytest.approx(0.802243, abs=5e-7) == s.PASS_CORRECTION


def test_straight_lines_pass_unchanged() -> None:
    line = np.linspace(-3, 5, 400)
    np.testing.assert_allclose(s.zero_lag_lowpass(line, 8, 100), line, atol=1e-9)


def test_a_gap_splits_the_signal_and_stays() -> None:
    time = np.arange(300) / 100
    wave = np.sin(2 * np.pi * time)
    wave[100:110] = np.nan
    wave[200:203], wave[204:207] = np.nan, np.nan
    out = s.zero_lag_lowpass(wave[None].repeat(2, axis=0), 10, 100)
    assert np.isnan(out[:, 100:110]).all()
    assert np.isnan(out[:, 200:207]).all(), "a run of one sample between gaps cannot be filtered"
    np.testing.assert_array_equal(out[0, :100], s.zero_lag_lowpass(wave[:100], 10, 100))


def test_winters_walk_from_raw_to_filtered(shared_reference: Path) -> None:
    """Winter (2009) Table A.1 raw to Table A.2 filtered; his cut-off of 6 Hz is from memory.

    A.1 is printed in cm with two digits, A.2 in m with four; the raw copy is of 106 frames, the printed filter saw
    more on both sides.
    """
    lines = (shared_reference / "raw" / "WinterTableA1.txt").read_text(encoding="utf-8").splitlines()[2:]
    raw = np.array([[float(v) for v in line.split()] for line in lines if line.strip()])
    names = ["ribcage", "hip", "knee", "fibhead", "ankle", "heel"]
    printed_rows = (shared_reference / "winter_A2_filtered_markers.csv").read_text(encoding="utf-8").splitlines()
    head, *rows = [line.split(",") for line in printed_rows if not line.startswith("#")]
    for k, name in enumerate(names[1:], start=1):
        for axis, column in (("x", 2 + 2 * k), ("y", 3 + 2 * k)):
            printed = np.array([float(row[head.index(f"{name}_{axis}")]) for row in rows])
            ours = s.zero_lag_lowpass(raw[: printed.size, column] / 100, 6.0, 69.9)
            inner = slice(10, -10)
            assert np.sqrt(np.mean((ours - printed)[inner] ** 2)) < 0.0015, (
                f"{name} {axis}: 1.5 mm, a tenth of the raw step"
            )


@pytest.mark.parametrize(("column", "cutoff", "error"), [(1, 5.6, 4.25), (1, 7.0, 4.25), (2, 5.0, 4.6)])
def test_angular_acceleration_of_pezzack(shared_reference: Path, column: int, cutoff: float, error: float) -> None:
    """Pezzack JC, Norman RW, Winter DA (1977) J Biomech 10:377-382, raw angle; noisy column by Vint & Hinrichs (1996)
    J Biomech 29:1637.

    The root mean square error of a second-order zero-lag filter and a second difference near the best cut-off is 4.2
    to 4.6 rad/s2 on a reference that reaches 60 rad/s2; end points carry no second difference.
    """
    data = np.loadtxt(shared_reference / "raw" / "Pezzack.txt", skiprows=6)
    dt = 0.0201
    acceleration = s.second_derivative(s.zero_lag_lowpass(data[:, column], cutoff, 1 / dt), dt)
    assert np.sqrt(np.nanmean((acceleration - data[:, 3]) ** 2)) < error


def test_differences_of_a_parabola_are_exact() -> None:
    time = np.arange(50) * 0.01
    first, second = (d(3 + 2 * time - 4.9 * time**2, 0.01) for d in (s.first_derivative, s.second_derivative))
    np.testing.assert_allclose(first[1:-1], (2 - 9.8 * time)[1:-1], atol=1e-9)
    np.testing.assert_allclose(second[1:-1], -9.8, atol=1e-8)
    assert np.isnan(second[[0, -1]]).all()


def test_differences_of_fourth_order_err_sixteen_times_less_at_half_the_step() -> None:
    """Exact second derivatives of a sine; the error of a fourth-order rule falls by 2**4 (textbooks of numerics)."""

    def error(dt: float) -> float:
        time = np.arange(0.0, 1.0, dt)
        found = s.of_fourth_order(s.second_derivative(np.sin(20.0 * time), dt))
        return float(np.max(np.abs(found + 400.0 * np.sin(20.0 * time))[2:-2]))

    assert error(0.002) / error(0.001) == pytest.approx(16.0, rel=0.05)
    plain = s.second_derivative(np.sin(20.0 * np.arange(0.0, 1.0, 0.002)), 0.002)
    assert error(0.002) < 0.001 * np.nanmax(np.abs(plain + 400.0 * np.sin(20.0 * np.arange(0.0, 1.0, 0.002))))


def test_beside_a_gap_differences_stay_of_second_order() -> None:
    path = np.sin(np.arange(40) * 0.3)
    path[20] = np.nan
    plain = s.second_derivative(path, 0.01)
    better = s.of_fourth_order(plain.copy())
    np.testing.assert_array_equal(np.isnan(better), np.isnan(plain))
    np.testing.assert_array_equal(better[[1, 18, 22, 38]], plain[[1, 18, 22, 38]])
    assert np.all(better[2:18] != plain[2:18])


def test_a_peak_between_two_samples_is_found() -> None:
    """A bell of 20 ms at half its height, sampled every 4 ms wherever its top lies."""
    width = 0.020 / np.sqrt(8.0 * np.log(2.0))
    tops = np.linspace(0.048, 0.052, 21)[:, None]
    rows = np.exp(-0.5 * ((np.arange(26) * 0.004 - tops) / width) ** 2)
    assert np.mean(1.0 - rows.max(axis=1)) == pytest.approx(0.009, abs=0.001)
    assert np.max(np.abs(s.peak(rows) - 1.0)) < np.max(1.0 - rows.max(axis=1)) / 8.0


def test_a_peak_at_an_end_or_a_plateau_is_the_sample_and_unknown_stays_unknown() -> None:
    rows = np.array([[3.0, 2.0, 1.0], [1.0, 2.0, 3.0], [2.0, 2.0, 2.0], [1.0, np.nan, 3.0], [-np.inf, 4.0, 3.0]])
    np.testing.assert_array_equal(s.peak(rows), [3.0, 3.0, 2.0, np.nan, 4.0])
    assert s.peak(np.array([1.0, 2.0])) == 2.0


def test_short_gaps_are_bridged_and_others_left() -> None:
    time = np.arange(200) / 100
    wave = np.stack([np.sin(4 * time), np.cos(3 * time), time])[:, None].repeat(3, axis=1)
    seen = wave.copy()
    seen[:, 0, 50:55] = np.nan
    seen[:, 1, 50:90] = np.nan
    seen[:, 2, :4] = np.nan
    out, filled = s.bridge_short_gaps(seen, 10)
    assert filled == [(0, 50, 55)]
    assert np.abs(out[:, 0, 50:55] - wave[:, 0, 50:55]).max() < 1e-4
    assert np.isnan(out[:, 1, 50:90]).all()
    assert np.isnan(out[:, 2, :4]).all()
    assert np.isnan(seen[:, 0, 50:55]).all(), "the input is not changed"


def test_a_gap_over_a_protected_frame_is_not_bridged() -> None:
    wave = np.ones((3, 1, 50))
    wave[:, 0, 20:24] = np.nan
    out, filled = s.bridge_short_gaps(wave, 10, forbidden=(22,))
    assert not filled
    assert np.isnan(out[:, 0, 20:24]).all()


def test_runs() -> None:
    assert s.runs(np.array([True, True, False, True, False, False, True])) == [(0, 2), (3, 4), (6, 7)]
    assert s.runs(np.zeros(3, dtype=bool)) == []


def test_runs_of_rows_are_those_of_each_row() -> None:
    mask = np.random.default_rng(0).random((6, 40)) > 0.5
    mask[1], mask[2] = True, False
    assert s.runs_of_rows(mask) == [s.runs(row) for row in mask]
    assert s.runs_of_rows(mask)[1:3] == [[(0, 40)], []]


def test_integral_of_a_line_is_exact_and_unknown_when_a_part_is() -> None:
    line = np.linspace(0, 2, 21)
    assert s.integral(line, 0.1) == pytest.approx(2.0)
    line[5] = np.nan
    assert np.isnan(s.integral(line, 0.1))


@pytest.mark.parametrize("rows", [1, 40])
def test_a_recursion_is_that_of_scipy(rows: int) -> None:
    from scipy.signal import lfilter

    rng = np.random.default_rng(rows)
    x, state = rng.standard_normal((rows, 90)), rng.standard_normal((rows, 2))
    b, a = np.array([0.3, -0.2, 0.1]), np.array([1.0, -1.7, 0.75])
    expected, _ = lfilter(b, a, x, zi=state)
    np.testing.assert_allclose(s.recursion(b, a, x, state), expected, atol=1e-12)
    np.testing.assert_allclose(s.recursion(b, a, x), lfilter(b, a, x), atol=1e-12)


def test_peaks_are_those_of_scipy() -> None:
    """Of walks and of series full of flat tops, from a single sample on."""
    from scipy.signal import find_peaks

    rng = np.random.default_rng(5)
    for k in range(400):
        size = int(rng.integers(1, 60))
        x = rng.integers(0, 6, size).astype(float) if k % 2 else np.cumsum(rng.standard_normal(size))
        np.testing.assert_array_equal(s.peaks(x, 1.0), find_peaks(x, prominence=1.0)[0])


def test_the_median_of_what_is_known() -> None:
    """Against numpy's median of the known samples of every row, odd and even in number; a row of nothing has none."""
    rng = np.random.default_rng(3)
    rows = rng.standard_normal((3, 20, 9))
    rows[:, rng.random((20, 9)) < 0.4] = np.nan
    rows[:, 4] = np.nan
    rows[:, 5] = np.arange(9.0)
    found = s.known_median(rows)
    for k in np.ndindex(3, 20):
        known = rows[k][np.isfinite(rows[k])]
        assert np.isnan(found[k]) if k[1] == 4 else found[k] == np.median(known)
