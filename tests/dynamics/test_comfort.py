"""Comfort: every published factor, waves and pulses with a known answer, the words of Annex C."""

import subprocess
import sys

import numpy as np
import pytest
from scipy import signal

from suspkit.dynamics import comfort

# ISO 8041-1:2017 Annex B, factors at exact 10**(n/10) Hz (read), as printed: the string keeps the
# last digit. Trap: ISO 2631-1:1997 Table 3 states them at rounded frequencies.
PUBLISHED = {
    "k": {
        -3: "0.4188", 0: "0.4825", 3: "0.5308", 6: "0.9648", 8: "1.054",
        10: "0.9884", 12: "0.7743", 15: "0.4031", 20: "0.08873",
    },
    "d": {
        -3: "0.8540", 0: "1.011", 3: "0.8913", 6: "0.5143", 8: "0.3226",
        10: "0.2017", 12: "0.1266", 15: "0.06299", 20: "0.01414",
    },
}  # fmt: skip
ALL = [(kind, n, text) for kind, row in PUBLISHED.items() for n, text in row.items()]


def half_last_digit(text):
    return 0.5 * 10.0 ** -len(text.split(".")[1])


def analogue(kind):
    """The same weighting as polynomials in s, written out apart from the code.

    Parameters of ISO 8041 (read); signal.freqs does the rest.
    """
    w = 2 * np.pi * np.array([0.4, 100.0])
    q = np.sqrt(0.5)
    num, den = [1, 0, 0], [1, w[0] / q, w[0] ** 2]
    num, den = np.polymul(num, [w[1] ** 2]), np.polymul(den, [1, w[1] / q, w[1] ** 2])
    f4 = {"k": 12.5, "d": 2.0}[kind]
    w4 = 2 * np.pi * f4
    num = np.polymul(num, [w4, w4**2])  # (1 + s/w3) w4**2 with w3 = w4
    den = np.polymul(den, [1, w4 / 0.63, w4**2])
    if kind == "k":
        w5, w6 = 2 * np.pi * 2.37, 2 * np.pi * 3.35
        num = np.polymul(num, [1, w5 / 0.91, w5**2])
        den = np.polymul(den, [1, w6 / 0.91, w6**2])
    return num, den


# ------------------------------------------------------------------- transfer functions


@pytest.mark.parametrize(("kind", "n", "text"), ALL)
def test_factor_is_the_published_one(kind, n, text):
    factor = abs(comfort.weighting(10 ** (n / 10), kind))
    assert abs(factor - float(text)) <= half_last_digit(text)


def test_a_slip_that_goes_about_is_not_repeated():
    # 212 (thousandths) circulates for W_d at 10 Hz; the formula gives 201.7.
    assert abs(comfort.weighting(10.0, "d")) == pytest.approx(0.2017, abs=5e-5)


@pytest.mark.parametrize("kind", ["k", "d"])
def test_magnitude_and_phase_are_those_of_the_polynomials(kind):
    f = np.geomspace(0.01, 500, 400)
    _, expected = signal.freqs(*analogue(kind), worN=2 * np.pi * f)  # computed with scipy
    np.testing.assert_allclose(comfort.weighting(f, kind), expected, rtol=1e-11)


@pytest.mark.parametrize("kind", ["k", "d"])
def test_ends_of_the_band(kind):
    assert comfort.weighting(0.0, kind) == 0
    # Far below 0.4 Hz only the high-pass is left: second order, 40 dB a decade.
    low = abs(comfort.weighting(np.array([1e-4, 1e-3]), kind))
    assert low[1] / low[0] == pytest.approx(100, rel=1e-3)
    assert abs(comfort.weighting(1e5, kind)) < 1e-7


def test_weighting_takes_and_keeps_shapes():
    assert np.shape(comfort.weighting(4.0)) == ()
    assert comfort.weighting(np.ones((2, 3))).shape == (2, 3)


# ------------------------------------------------------------------- signals


@pytest.mark.parametrize(("kind", "n", "text"), ALL)
@pytest.mark.parametrize("dt", [1e-3, 1 / 240])
def test_rms_of_a_wave_is_its_factor_over_root_two(kind, n, text, dt):
    frequency = 10 ** (n / 10)
    # Samples of whole waves: the interval gives way a little so that the record closes on itself.
    waves = round(40 * frequency)
    points = round(waves / frequency / dt)
    dt = waves / frequency / points
    a = np.sin(2 * np.pi * frequency * np.arange(points) * dt + 0.7)
    rms = comfort.weighted_rms(a, dt=dt, kind=kind, steady=True)
    assert rms == pytest.approx(abs(comfort.weighting(frequency, kind)) / np.sqrt(2), rel=1e-10)
    assert abs(rms * np.sqrt(2) - float(text)) <= half_last_digit(text)


def test_a_wave_from_rest_settles_to_the_same_amplitude_and_lag():
    dt, frequency = 1e-3, 2.0
    t = np.arange(30_000) * dt
    out = comfort.weighted(np.sin(2 * np.pi * frequency * t), dt=dt)
    factor = comfort.weighting(frequency)
    expected = np.imag(factor * np.exp(2j * np.pi * frequency * t))
    np.testing.assert_allclose(out[15_000:-100], expected[15_000:-100], atol=2e-5)


@pytest.mark.parametrize("kind", ["k", "d"])
def test_a_pulse_from_rest_agrees_with_the_differential_equation(kind):
    dt = 1e-3
    t = np.arange(6000) * dt
    a = np.where((t > 0.5) & (t < 0.9), np.sin((t - 0.5) / 0.4 * np.pi) ** 2, 0.0)
    # computed with scipy: the filter's state equations, exact for a signal straight between samples
    _, expected, _ = signal.lsim(analogue(kind), a, t)
    out = comfort.weighted(a, dt=dt, kind=kind)
    np.testing.assert_allclose(out, expected, atol=2e-5)


def test_nothing_comes_before_its_cause():
    a = np.zeros(4000)
    a[3000:3400] = np.sin(np.linspace(0, np.pi, 400)) ** 2
    out = comfort.weighted(a, dt=1e-3)
    assert np.abs(out[:2990]).max() < 1e-5 * np.abs(out).max()


def test_a_steady_record_loses_its_mean_altogether():
    t = np.arange(4000) * 1e-3
    wave = np.sin(2 * np.pi * 5 * t)
    for run in (comfort.weighted_rms, comfort.vdv, comfort.mtvv):
        plain = run(wave, dt=1e-3, steady=True)
        assert run(wave + 9.80665, dt=1e-3, steady=True) == pytest.approx(plain, rel=1e-12)
    assert comfort.weighted(np.full(4000, 9.8), dt=1e-3, steady=True) == pytest.approx(0, abs=1e-12)


def test_a_steady_push_from_rest_is_a_jolt_and_then_forgotten():
    out = comfort.weighted(np.ones(40_000), dt=1e-3)
    assert 0.5 < out.max() < 1.0
    assert np.abs(out[20_000:-100]).max() < 1e-5


def test_a_record_does_not_come_round_to_its_own_start():
    a = np.zeros(3000)
    a[-300:] = 1.0
    assert np.abs(comfort.weighted(a, dt=1e-3)[:2000]).max() < 1e-4


def test_linear_and_batched():
    rng = np.random.default_rng(5)
    a = rng.normal(size=(2, 3, 2000))
    out = comfort.weighted(a, dt=2e-3, kind="d")
    assert out.shape == a.shape
    for i in np.ndindex(2, 3):
        np.testing.assert_allclose(out[i], comfort.weighted(a[i], dt=2e-3, kind="d"), atol=1e-13)
    np.testing.assert_allclose(comfort.weighted(3 * a, dt=2e-3, kind="d"), 3 * out, atol=1e-13)
    for measure in (comfort.weighted_rms, comfort.vdv, comfort.mtvv):
        assert measure(a, dt=2e-3).shape == (2, 3)
        np.testing.assert_allclose(measure(-2 * a, dt=2e-3), 2 * measure(a, dt=2e-3), rtol=1e-12)


# ------------------------------------------------------------------- measures


def test_dose_of_a_wave():
    # The mean of sin**4 is 3/8, so the dose of a wave of amplitude w over T is w (3 T / 8)**(1/4).
    dt, frequency, T = 1e-3, 5.0, 60.0
    a = 2 * np.sin(2 * np.pi * frequency * np.arange(round(T / dt)) * dt)
    w = 2 * abs(comfort.weighting(frequency))
    assert comfort.vdv(a, dt=dt, steady=True) == pytest.approx(w * (3 * T / 8) ** 0.25, rel=1e-10)


def test_quiet_road_dilutes_the_mean_but_not_the_dose_nor_the_worst_second():
    dt = 1e-3
    bump = np.zeros(10_000)
    bump[1000:1200] = np.sin(np.linspace(0, np.pi, 200)) ** 2
    longer = np.concatenate([bump, np.zeros(30_000)])
    assert comfort.weighted_rms(longer, dt=dt) == pytest.approx(
        comfort.weighted_rms(bump, dt=dt) / 2, rel=1e-4
    )
    assert comfort.vdv(longer, dt=dt) == pytest.approx(comfort.vdv(bump, dt=dt), rel=1e-6)
    assert comfort.mtvv(longer, dt=dt) == pytest.approx(comfort.mtvv(bump, dt=dt), rel=1e-6)


def test_worst_second_of_a_wave_is_its_rms():
    dt = 1e-3
    a = np.sin(2 * np.pi * 5 * np.arange(8000) * dt)
    rms = comfort.weighted_rms(a, dt=dt, steady=True)
    assert comfort.mtvv(a, dt=dt, steady=True) == pytest.approx(rms, rel=1e-10)


@pytest.mark.parametrize("n", [999, 1000, 1001, 2500])
def test_worst_second_against_a_plain_loop(n):
    a = np.random.default_rng(n).normal(size=n)
    squared = np.concatenate([np.zeros(999), comfort.weighted(a, dt=1e-3) ** 2])
    loop = max(squared[i : i + 1000].sum() for i in range(n))
    assert comfort.mtvv(a, dt=1e-3) == pytest.approx(np.sqrt(loop / 1000), rel=1e-10)


# ------------------------------------------------------------------- words


NOT, LITTLE, FAIRLY = "not uncomfortable", "a little uncomfortable", "fairly uncomfortable"
PLAIN, VERY, EXTREMELY = "uncomfortable", "very uncomfortable", "extremely uncomfortable"


@pytest.mark.parametrize(
    ("edge", "below", "on", "above"),
    [  # ISO 2631-1 Annex C (read): the bands overlap
        (0.315, (NOT,), (LITTLE,), (LITTLE,)),
        (0.5, (LITTLE,), (LITTLE, FAIRLY), (LITTLE, FAIRLY)),
        (0.63, (LITTLE, FAIRLY), (LITTLE, FAIRLY), (FAIRLY,)),
        (0.8, (FAIRLY,), (FAIRLY, PLAIN), (FAIRLY, PLAIN)),
        (1.0, (FAIRLY, PLAIN), (FAIRLY, PLAIN), (PLAIN,)),
        (1.25, (PLAIN,), (PLAIN, VERY), (PLAIN, VERY)),
        (1.6, (PLAIN, VERY), (PLAIN, VERY), (VERY,)),
        (2.0, (VERY,), (VERY,), (VERY, EXTREMELY)),
        (2.5, (VERY, EXTREMELY), (VERY, EXTREMELY), (EXTREMELY,)),
    ],
)
def test_words_on_each_edge_and_one_float_to_either_side(edge, below, on, above):
    assert comfort.comfort_words(np.nextafter(edge, 0)) == below
    assert comfort.comfort_words(edge) == on
    assert comfort.comfort_words(np.nextafter(edge, 9)) == above


def test_there_is_always_a_word():
    assert all(comfort.comfort_words(rms) for rms in np.linspace(0, 5, 2001))
    assert comfort.comfort_words(0) == (NOT,)
    assert comfort.comfort_words(np.inf) == (EXTREMELY,)


# ------------------------------------------------------------------- bad input


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: comfort.weighting(1.0, "b"), ["kind is 'b'", "'k'", "'d'"]),
        (lambda: comfort.weighting(1.0, ["k"]), ["kind is ['k']"]),
        (lambda: comfort.weighting(-1.0), ["frequency is -1.0", "zero or more"]),
        (lambda: comfort.weighting(np.inf), ["frequency is inf", "finite"]),
        (lambda: comfort.weighting(np.nan), ["frequency is nan", "finite"]),
        (lambda: comfort.weighted([1, np.nan], dt=1e-3), ["acceleration[1] is nan", "finite"]),
        (lambda: comfort.weighted([[1, 2], [np.inf, 1]], dt=1e-3), ["acceleration[1, 0] is inf"]),
        (lambda: comfort.weighted([1.0], dt=1e-3), ["acceleration has shape (1,)", "2 samples"]),
        (lambda: comfort.weighted(1.0, dt=1e-3), ["acceleration has shape ()"]),
        (lambda: comfort.weighted([1, 2], dt=0), ["dt is 0", "above 0"]),
        (lambda: comfort.weighted([1, 2], dt=np.nan), ["dt is nan"]),
        (lambda: comfort.weighted([1, 2], dt=True), ["dt is True"]),
        (lambda: comfort.weighted([1, 2], dt=np.nextafter(1 / 160, 1)), ["1/160 s", "80 Hz"]),
        (lambda: comfort.comfort_words(-0.1), ["rms is -0.1", "zero or more"]),
        (lambda: comfort.comfort_words(np.nan), ["rms is nan"]),
        (lambda: comfort.comfort_words("soft"), ["rms is 'soft'"]),
    ],
)
def test_bad_input_is_one_sentence(call, words):
    with pytest.raises(ValueError) as caught:
        call()
    text = str(caught.value)
    assert "expected" in text and "\n" not in text
    for word in words:
        assert word in text


def test_longest_sample_interval_is_taken():
    assert comfort.weighted(np.zeros(10), dt=1 / 160).shape == (10,)


def test_import_is_light():
    code = (
        "import suspkit.dynamics.comfort, suspkit.dynamics.road, sys; print('scipy' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.stdout.strip() == "False", done.stderr
