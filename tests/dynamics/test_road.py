"""Roads: shapes against their formulas, rough ground against ISO 8608, files with slips."""

import numpy as np
import pytest
from scipy import signal, stats
from scipy.integrate import quad
from scipy.interpolate import PchipInterpolator

from suspkit.dynamics import road
from suspkit.dynamics.road import Road

FOOT, INCH = 0.3048, 0.0254

# Millimetres at 10, 50 and 90 m, left and right.
FROZEN = [[-13.2815524, -7.2723762, -1.6395088], [-8.5869885, -5.2753503, 1.0107124]]


def rough(road_class="C", **options):
    return Road.iso8608(road_class, **({"length": 1000.0, "seed": 1, "fade": 0.0} | options))


def uneven():
    x = np.array([0, 0.3, 0.5, 1.2, 1.4, 2.0, 3.1])
    return Road.from_arrays(x, height=np.sin(3 * x), right_height=np.cos(2 * x))


ROADS = {
    "flat": Road.flat,
    "g-out by depth": lambda: Road.g_out(12.0, depth=0.8),
    "g-out by length": lambda: Road.g_out(30.0, length=9.0, lip=11.0),
    "bump": lambda: Road.single_bump(0.15, length=1.2),
    "hole, left": lambda: Road.single_bump(-0.1, length=0.8, side="left"),
    "edge, right": lambda: Road.square_edge(0.12, side="right"),
    "ledge": lambda: Road.square_edge(-0.3, patch=0.25),
    "whoops": lambda: Road.whoops(0.5, spacing=4.0, count=5),
    "rough": lambda: rough(length=120.0, fade=5.0),
    "rough, cut off": lambda: rough(length=50.0),
    "points": uneven,
    "tyre on whoops": lambda: Road.whoops(0.3, spacing=1.0, count=3).averaged(0.2),
    "tyre on points": lambda: uneven().averaged(0.15),
}


@pytest.fixture(params=ROADS, ids=str)
def ground(request):
    return ROADS[request.param]()


# ------------------------------------------------------------------- what always holds


def test_slope_is_the_derivative_of_height(ground):
    rng = np.random.default_rng(3)
    x = rng.uniform(-0.2, ground.length + 0.2, 2000)
    h = 1e-6
    measured = (ground.height(x + h) - ground.height(x - h)) / (2 * h)
    # A curvature that jumps within the step of the difference costs up to half of it.
    sharpest = np.abs(np.diff(ground.slopes, axis=1)).max() / ground.step
    np.testing.assert_allclose(measured, ground.slope(x), atol=4 * h * sharpest + 1e-8)


def test_slope_integrates_back_to_height(ground):
    # Three-point Gauss is exact for the quadratic in each cell: no step of a difference to choose.
    nodes, weights = np.polynomial.legendre.leggauss(3)
    start = np.arange(ground.heights.shape[1] - 1) * ground.step
    x = start[:, None] + (nodes + 1) / 2 * ground.step
    rise = (ground.slope(x) @ weights) * ground.step / 2
    np.testing.assert_allclose(rise, np.diff(ground.heights, axis=1), atol=1e-12)


def test_height_and_slope_meet_at_every_knot(ground):
    knot = np.arange(ground.heights.shape[1]) * ground.step
    for x in (np.nextafter(knot, -1), knot, np.nextafter(knot, np.inf)):
        np.testing.assert_allclose(ground.height(x), ground.heights, atol=1e-12)
        bend = np.abs(2 * ground.coefficients[..., 2]).max() + 1
        np.testing.assert_allclose(ground.slope(x), ground.slopes, atol=1e-12 * bend)


def test_ends_are_level_on_the_end_and_one_float_to_either_side(ground):
    for end, knot in ((0.0, 0), (ground.length, -1)):
        for x in (np.nextafter(end, -9e9), end, np.nextafter(end, 9e9)):
            np.testing.assert_allclose(ground.height(x), ground.heights[:, knot], atol=1e-12)
            np.testing.assert_allclose(ground.slope(x), 0.0, atol=1e-10)
        assert (ground.slope(end) == 0.0).all()


def test_ground_is_flat_beyond_its_ends(ground):
    far = np.array([0.1, 5.0, 1e6, np.inf])
    for x, knot in ((-far, 0), (ground.length + far, -1)):
        end = ground.height(0.0 if knot == 0 else ground.length)
        np.testing.assert_array_equal(ground.height(x), np.repeat(end[:, None], 4, axis=1))
        assert not ground.slope(x).any()
        np.testing.assert_allclose(end, ground.heights[:, knot], atol=1e-12)


def test_coefficients_are_what_a_compiled_loop_needs(ground):
    x = 0.37 * ground.length
    cell = int(x / ground.step)
    u = x - cell * ground.step
    for path, name in enumerate(("left", "right")):
        c = ground.coefficients[path, cell]
        assert np.polyval(c[::-1], u) == pytest.approx(ground.height(x, side=name), abs=1e-13)
    assert ground.coefficients.shape == (2, ground.heights.shape[1] - 1, 4)


def test_shapes_and_sides(ground):
    x = np.linspace(0, 1, 6).reshape(2, 3)
    for curve in (ground.height, ground.slope):
        assert curve(x).shape == (2, 2, 3)
        assert curve(0.3).shape == (2,)
        assert np.ndim(curve(0.3, side="left")) == 0
        np.testing.assert_array_equal(curve(x)[0], curve(x, side="left"))
        np.testing.assert_array_equal(curve(x)[1], curve(x, side="right"))
        assert np.isnan(curve(np.nan)).all()


def test_a_road_is_not_changed_by_hand(ground):
    with pytest.raises(ValueError, match="read-only"):
        ground.heights[0, 0] = 1.0
    with pytest.raises(AttributeError):
        ground.step = 1.0


# ------------------------------------------------------------------- shapes


@pytest.mark.parametrize(
    ("radius", "lip", "depth"), [(12.0, None, 0.8), (10.0, 10.0, 1.0), (30.0, 7.0, 0.05), (5, 2, 2)]
)
def test_g_out_is_made_of_arcs(radius, lip, depth):
    dip = Road.g_out(radius, depth=depth, lip=lip)
    lip = 2 * radius if lip is None else lip
    middle = dip.length / 2
    angle = np.arccos(1 - depth / (radius + lip))
    half = (radius + lip) * np.sin(angle)
    assert middle == pytest.approx(half, abs=dip.step)
    assert dip.height(middle) == pytest.approx(-depth, rel=1e-12)
    # On the circle about the centre above the bottom, then about a centre below the lip.
    x = np.linspace(-1, 1, 501) * radius * np.sin(angle)
    y = dip.height(middle + x, side="left")
    np.testing.assert_allclose(np.hypot(x, y - (radius - depth)), radius, rtol=1e-7)
    x = np.linspace(radius * np.sin(angle), half, 301)
    y = dip.height(middle + x, side="left")
    # The end of a lip of any radius falls inside a cell, which rounds it by a little.
    np.testing.assert_allclose(np.hypot(x - half, y + lip), lip, atol=dip.step**2 / (20 * lip))
    assert np.abs(dip.slopes).max() == pytest.approx(np.tan(angle), rel=1e-3)
    np.testing.assert_allclose(dip.heights, dip.heights[:, ::-1], atol=1e-12)


def test_g_out_loads_the_wheels_by_speed_squared_over_radius():
    dip, v = Road.g_out(20.0, depth=1.0), 15.0
    t, h = dip.length / 2 / v, 1e-3
    lift = np.diff(dip.height(v * np.array([t - h, t, t + h]), side="left"), 2)[0] / h**2
    assert lift == pytest.approx(v**2 / 20.0, rel=1e-3)


def test_g_out_by_depth_and_by_length_are_the_same_dip():
    by_depth = Road.g_out(20.0, depth=1.0)
    by_length = Road.g_out(20.0, length=by_depth.length)
    np.testing.assert_allclose(by_length.heights, by_depth.heights, atol=1e-12)


def test_steepest_g_out_is_45_degrees():
    deepest = 30 * (1 - np.sqrt(0.5))
    dip = Road.g_out(10.0, depth=deepest * (1 - 1e-12))
    assert np.abs(dip.slopes).max() == pytest.approx(1.0, rel=1e-6)
    with pytest.raises(ValueError, match="depth is 8.8 m; expected .*45 degrees"):
        Road.g_out(10.0, depth=8.8)


def test_bump_is_a_haversine():
    x = np.linspace(0, 1.2, 1001)
    expected = 0.15 * np.sin(np.pi * x / 1.2) ** 2  # the same by another formula
    np.testing.assert_allclose(
        Road.single_bump(0.15, length=1.2).height(x)[1], expected, atol=0.15 * 2.5e-7
    )


def test_edge_goes_up_over_the_patch_and_stays_up():
    edge = Road.square_edge(0.2, patch=0.25)
    assert edge.length == pytest.approx(0.25)
    np.testing.assert_allclose(edge.height([0.0, 0.125, 0.25, 9.0])[0], [0, 0.1, 0.2, 0.2])
    # Steepest in the middle: pi/2 of the mean slope.
    assert edge.slope(0.125, side="left") == pytest.approx(np.pi / 2 * 0.2 / 0.25, rel=1e-6)
    assert (np.diff(edge.heights) > 0).all()


def test_whoops_are_counted_from_trough_to_trough():
    whoops = Road.whoops(0.5, spacing=4.0, count=3)
    assert whoops.length == pytest.approx(12.0)
    np.testing.assert_allclose(whoops.height(2.0 + 4.0 * np.arange(3))[0], 0.5)
    np.testing.assert_allclose(whoops.height(4.0 * np.arange(4)), 0.0, atol=1e-14)


def test_one_side_leaves_the_other_flat():
    for side, other in (("left", "right"), ("right", "left")):
        for ground in (
            Road.single_bump(0.1, length=1, side=side),
            Road.square_edge(0.1, side=side),
        ):
            x = np.linspace(0, 2, 50)
            assert ground.height(x, side=side).max() > 0.09
            assert not ground.height(x, side=other).any()


# ------------------------------------------------------------------- under a tyre


@pytest.mark.parametrize("name", ["bump", "rough, cut off", "points", "ledge"])
def test_averaged_is_the_mean_height_under_the_patch(name):
    ground, patch = ROADS[name](), 0.23
    felt = ground.averaged(patch)
    assert felt.length == pytest.approx(ground.length + patch, abs=felt.step)
    knots = np.arange(0, felt.heights.shape[1], max(1, felt.heights.shape[1] // 17)) * felt.step
    for x in [*knots, felt.length]:
        bits = x - patch + (np.arange(20_000) + 0.5) / 20_000 * patch
        np.testing.assert_allclose(felt.height(x), ground.height(bits).mean(axis=1), atol=1e-8)


def test_a_tyre_swallows_the_wave_that_fits_its_patch():
    washboard = Road.whoops(0.02, spacing=0.2, count=20)
    felt = washboard.averaged(0.2).height(np.linspace(0.5, 3.5, 300))
    np.testing.assert_allclose(felt, 0.01, atol=1e-8)


# ------------------------------------------------------------------- rough ground: the class


@pytest.mark.parametrize(
    ("name", "density"),
    [  # ISO 8608, geometric mean of Gd(n0) in 1e-6 m**3 (read). Trap: the upper limits of the
        # classes are twice these, and some public code takes those.
        ("A", 16), ("B", 64), ("C", 256), ("D", 1024),
        ("E", 4096), ("F", 16384), ("G", 65536), ("H", 262144),
    ],
)  # fmt: skip
def test_roughness_of_the_classes(name, density):
    assert pytest.approx(density * 1e-6, rel=1e-15) == road.ROUGHNESS[name]
    assert density * 2 == pytest.approx(
        # Upper limits, from memory.
        dict(zip("ABCDEFG", [32, 128, 512, 2048, 8192, 32768, 131072], strict=True)).get(
            name, 2 * density
        )
    )


def test_roughness_is_not_the_one_at_a_radian_per_metre():
    # Trap: Gd at 1 rad/m, 1e-6 m**3 for class A (from memory), is a density per rad/m at another
    # wave number. Converted from ours it comes out as the round number it is stated with.
    per_radian = road.ROUGHNESS["A"] * (0.1 * 2 * np.pi) ** 2 / (2 * np.pi)
    assert per_radian == pytest.approx(1e-6, rel=0.01)


@pytest.mark.parametrize(("name", "rms"), [("A", 3.9979995e-3), ("C", 15.991998e-3)])
@pytest.mark.parametrize("seed", [0, 1, 2, 12345])
def test_rms_over_a_period_is_that_of_the_band(name, rms, seed):
    # computed: root of the integral of Gd over 0.01 to 10 cycles/m
    ground = rough(name, seed=seed)
    np.testing.assert_allclose(np.std(ground.heights[:, :-1], axis=1), rms, rtol=1e-7)
    np.testing.assert_allclose(np.mean(ground.heights[:, :-1], axis=1), 0, atol=1e-12)


def test_every_line_of_the_spectrum_carries_its_share():
    # One period, no window: the periodogram has no scatter and no leakage. Between its ends the
    # band of each line is 1/1000 cycles/m wide.
    ground = rough("D", seed=7)
    heights = ground.heights[:, :-1]
    n, density = signal.periodogram(heights, fs=1 / ground.step, detrend=False)
    inside = (n > 0.0105) & (n < 9.9995)
    half = 0.5e-3
    mean = 1024e-6 * 0.01 * (1 / (n[inside] - half) - 1 / (n[inside] + half)) / (2 * half)
    np.testing.assert_allclose(density[:, inside], np.stack([mean, mean]), rtol=1e-9)
    outside = (n < 0.0095) | (n > 10.0005)
    assert density[:, outside].max() < 1e-20
    # At n0 the density is the class's own, up to the curvature of n**-2 within a line.
    at = np.argmin(np.abs(n - 0.1))
    np.testing.assert_allclose(density[:, at], 1024e-6, rtol=1e-4)


def estimated_density(ground, *, segment=100.0):
    """Welch's estimate on the first kilometre, and the degrees of freedom of its scatter.

    Hann window at half overlap over K segments: 36 K**2/(19 K - 1) (Percival & Walden, Spectral
    Analysis for Physical Applications, from memory).
    """
    points = round(segment / ground.step)
    heights = ground.heights[:, : round(1000 / ground.step)]
    n, density = signal.welch(heights, fs=1 / ground.step, window="hann", nperseg=points)
    segments = heights.shape[1] // (points // 2) - 1
    return n, density, 36 * segments**2 / (19 * segments - 1)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("name", ["A", "C", "H"])
def test_estimated_density_is_within_its_statistical_band(name, seed):
    # Ten kilometres repeat only after ten, so the first one is a sample and scatters like one: over
    # a whole period there would be no scatter at all. The window spreads each line over two
    # neighbours, which the steep n**-2 would feel at the low end: the look is from the fifth on.
    n, density, freedom = estimated_density(rough(name, length=10_000.0, seed=seed))
    inside = (n >= 0.045) & (n <= 9.9)
    expected = road.ROUGHNESS[name] * (n[inside] / 0.1) ** -2
    ratio = density[:, inside] / expected
    low, high = stats.chi2.ppf([0.025, 0.975], freedom) / freedom
    share = np.mean((low < ratio) & (ratio < high), axis=1)
    # 95 in 100 of 986 estimates, or 96 where a tenth of a period is looked at; the width is for
    # chance, neighbours leaning on each other.
    assert (share > 0.93).all() and (share < 0.985).all(), share
    wide = stats.chi2.ppf([1e-7, 1 - 1e-7], freedom) / freedom
    assert (ratio > wide[0]).all() and (ratio < wide[1]).all()
    # The mean of so many is good to a few per cent, so neither the upper limit of the class (2) nor
    # a slip of 2 pi or of one-sided against two-sided could hide.
    np.testing.assert_allclose(ratio.mean(axis=1), 1.0, atol=0.04)


def test_density_falls_with_the_square_of_the_wave_number():
    n, density, _ = estimated_density(rough(length=1001.0, seed=11))
    inside = (n > 0.05) & (n < 9)
    slope = np.polyfit(np.log(n[inside]), np.log(density[0, inside]), 1)[0]
    assert slope == pytest.approx(-2.0, abs=0.05)


def test_slope_density_is_even():
    # With n**-2 for height the slope's density is the same at all n: (2 pi)**2 Gd(n0) n0**2. This
    # is of the slopes given, which no test on heights has looked at.
    ground = rough("B", length=1001.0, seed=3)
    slopes = ground.slopes[:, 1:50_001]
    n, density = signal.welch(slopes, fs=1 / ground.step, nperseg=5000)
    inside = (n > 0.05) & (n < 9.9)
    expected = (2 * np.pi) ** 2 * 64e-6 * 0.01
    np.testing.assert_allclose(density[:, inside].mean(axis=1), expected, rtol=0.03)


def test_heights_are_spread_like_a_bell():
    heights = rough("B", length=3000.0, seed=5).slopes[:, 1:-1]
    assert stats.kurtosis(heights, axis=1) == pytest.approx(0.0, abs=0.1)
    assert stats.skew(heights, axis=1) == pytest.approx(0.0, abs=0.1)


# ------------------------------------------------------------------- rough ground: two paths


def measured_coherence(ground, segment=50.0):
    points = round(segment / ground.step)
    left, right = ground.heights[:, :-1]
    return signal.coherence(left, right, fs=1 / ground.step, nperseg=points)


@pytest.mark.parametrize("coherence", [0.0, 0.3, 0.75, 1.0])
def test_coherence_is_the_one_asked_for(coherence):
    n, found = measured_coherence(rough(length=10_000.0, seed=4, coherence=coherence))
    inside = (n > 0.1) & (n < 9.9)
    segments = 399
    # An estimate of zero coherence over K half-overlapping segments comes out near 1.9/K
    # (computed from their effective number), of 1 exactly.
    assert found[inside].mean() == pytest.approx(coherence, abs=0.012 + 2 / segments)


def test_one_and_the_same_path_at_coherence_one():
    ground = rough(coherence=1.0)
    np.testing.assert_allclose(ground.heights[0], ground.heights[1], atol=1e-15)


def test_coherence_of_isotropic_ground():
    # The plane's spectrum belonging to n**-2 is k**-3; sum it over all directions of the waves that
    # show a wave number q along the road, with and without the lag across (Kamash & Robson 1978,
    # method from memory; computed with scipy).
    track = 1.5
    for n in (0.02, 0.1, 0.3):
        q = 2 * np.pi * n

        def plane(p, q=q):
            return (p * p + q * q) ** -1.5

        across = quad(plane, 0, np.inf, weight="cos", wvar=track)[0]
        along = quad(plane, 0, np.inf)[0]
        assert road._isotropic(n * track) == pytest.approx(across / along, rel=1e-6)
    assert road._isotropic(np.array([1e-12])) == pytest.approx(1.0)

    n, found = measured_coherence(rough(length=10_000.0, seed=2, track=track), segment=200.0)
    expected = road._isotropic(np.maximum(n, 1e-9) * track) ** 2
    for low, high in ((0.06, 0.1), (0.1, 0.2), (0.2, 0.4), (1.0, 9.9)):
        inside = (n >= low) & (n < high)
        assert found[inside].mean() == pytest.approx(expected[inside].mean(), abs=0.03)


def test_twist_of_the_ground_is_the_same_for_every_seed():
    # Left minus right has 2(1 - root of coherence) of the class's variance, whatever the phases.
    for seed in (1, 2, 3):
        left, right = rough("C", seed=seed, coherence=0.25).heights[:, :-1]
        assert np.std(left - right) == pytest.approx(15.991998e-3, rel=1e-7)


def test_paths_further_apart_twist_more():
    narrow, wide = (rough(track=track).heights for track in (1.0, 2.0))
    assert np.std(narrow[0] - narrow[1]) < np.std(wide[0] - wide[1]) < 15.99e-3


# ------------------------------------------------------------------- rough ground: the seed


def test_same_seed_same_road():
    one, two, other = rough(), rough(), rough(seed=2)
    np.testing.assert_array_equal(one.heights, two.heights)
    assert abs(np.corrcoef(one.heights[0], other.heights[0])[0, 1]) < 0.9


def test_seed_means_the_same_road_on_another_day():
    # Frozen: computed by this code, so that a change of the random stream is noticed.
    found = rough("C", length=100.0, seed=1).height([10.0, 50.0, 90.0])
    np.testing.assert_allclose(1e3 * found, FROZEN, atol=1e-6)


def test_class_length_and_step_keep_the_shape_of_a_seed():
    plain = rough("C", length=300.0)
    x = np.linspace(1, 199, 4000)
    np.testing.assert_allclose(rough("D", length=300.0).heights, 2 * plain.heights, rtol=1e-12)
    np.testing.assert_allclose(rough("C", length=200.0).height(x), plain.height(x), atol=1e-12)
    fine = rough("C", length=300.0, step=0.005)
    # The shortest waves, five knots each, are off by less than one part in a hundred.
    np.testing.assert_allclose(fine.height(x), plain.height(x), atol=3e-5)


def test_length_is_rounded_up_to_a_whole_step():
    for length in (33.333, 100.0, 1000.0, 1500.01):
        ground = rough(length=length)
        assert length - 1e-9 <= ground.length < length + ground.step
    assert rough(length=1500.0, step=0.013).step <= 0.013


def test_road_rises_from_flat_and_goes_back():
    plain, faded = rough(length=100.0), rough(length=100.0, fade=8.0)
    assert not faded.heights[:, [0, -1]].any()
    x = np.linspace(8.02, 91.98, 999)
    # The fade is 1 there but for rounding, and so is what it does to the slopes: the ten or so
    # operations of a cubic may each differ by a last bit of its largest term.
    rounding = 10 * np.finfo(float).eps * np.abs(plain.heights).max()
    np.testing.assert_allclose(faded.height(x), plain.height(x), rtol=0, atol=rounding)
    half = faded.height([4.0, 96.0]) / plain.height([4.0, 96.0])
    np.testing.assert_allclose(half, 0.5, rtol=1e-9)


# ------------------------------------------------------------------- points


def test_even_points_are_on_the_road_exactly():
    x = 3.0 + np.arange(40) * 0.1
    left, right = 5 + np.sin(x), 5.5 + np.cos(x)
    ground = Road.from_arrays(x, height=left, right_height=right)
    assert ground.step == pytest.approx(0.1)
    found = ground.height(x - 3.0)
    np.testing.assert_allclose(found, [left - left[0], right - left[0]], atol=1e-9)
    # computed with scipy: away from the levelled ends the curve is scipy's own
    fine = np.linspace(3.2, 6.6, 777)
    np.testing.assert_allclose(
        ground.height(fine - 3.0)[0], PchipInterpolator(x, left)(fine) - left[0], atol=1e-9
    )


def test_uneven_points_are_followed_closely():
    rng = np.random.default_rng(8)
    x = np.concatenate([[0], np.cumsum(rng.uniform(0.05, 0.2, 200))])
    y = 0.1 * np.sin(x)
    ground = Road.from_arrays(x, height=y)
    np.testing.assert_allclose(ground.height(x)[0], y, atol=1e-4)
    assert ground.length == pytest.approx(x[-1])
    assert ground.step <= np.diff(x).min() / 4


def test_nothing_overshoots_the_points():
    ground = Road.from_arrays([0, 1, 2, 3, 4], height=[0, 0, 0.3, 0.3, 0])
    y = ground.height(np.linspace(-1, 5, 5001))
    assert y.min() >= -1e-15 and y.max() <= 0.3 + 1e-15


def test_two_points_make_a_ramp_with_level_ends():
    ramp = Road.from_arrays([0, 2], height=[1, 1.5])
    np.testing.assert_allclose(ramp.height([0, 1, 2])[0], [0, 0.25, 0.5])


# ------------------------------------------------------------------- files

GOOD = """# measured with level and staff
Distance [ft], Height (in), right_height [mm]
0, 10, 250
1, 11, 260

2.5, 10.5, 255
4, 10, 254
"""


def test_file_is_read_in_its_units(tmp_path):
    path = tmp_path / "wash.csv"
    path.write_text(GOOD, encoding="utf-8-sig")
    ground = Road.from_csv(path)
    assert ground.name == "wash"
    assert ground.length == pytest.approx(4 * FOOT)
    left, right = ground.height(np.array([0, 1, 4]) * FOOT)
    np.testing.assert_allclose(left, np.array([0, 1, 0]) * INCH, atol=1e-6)
    np.testing.assert_allclose(right, np.array([250, 260, 254]) * 1e-3 - 10 * INCH, atol=1e-6)


def test_one_height_is_for_both_paths(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("left height [cm],distance [m]\n1,0\n3,1\n2,2\n")
    ground = Road.from_csv(str(path))
    np.testing.assert_array_equal(ground.heights[0], ground.heights[1])
    assert ground.height(1.0, side="left") == pytest.approx(0.02)


HEAD = "distance [m],height [mm]\n"
BAD_FILES = {
    "empty": ("", ["the file is empty"]),
    "only remarks": ("# nothing\n\n", ["the file is empty"]),
    "no points": (HEAD, ["has 0 points", "2 or more"]),
    "one point": (HEAD + "0,0\n", ["has 1 points", "2 or more"]),
    "nan": (HEAD + "0,0\n1,nan\n2,1\n", ["line 3", "height is nan", "finite"]),
    "nan distance": (HEAD + "0,0\nNaN,1\n2,1\n", ["line 3", "distance is NaN"]),
    "infinite": (HEAD + "0,0\n1,inf\n", ["line 3", "height is inf"]),
    "words": (HEAD + "0,0\n1,high\n", ["line 3", "height is high"]),
    "underscore": (HEAD + "0,0\n1,1_0\n", ["line 3", "height is 1_0"]),
    "blank cell": (HEAD + "0,0\n1,\n", ["line 3", "height is blank"]),
    "right path": (
        "distance [m],height [mm],right height [mm]\n0,0,0\n1,2,x\n",
        ["line 3", "right height is x"],
    ),
    "backwards": (
        HEAD + "# remark\n0,0\n2.5,0\n1.5,0\n",
        ["line 5", "distance is 1.5 after 2.5", "further along"],
    ),
    "standing still": (HEAD + "0,0\n1,0\n1.0,0\n", ["line 4", "distance is 1.0 after 1"]),
    "too many cells": (HEAD + "0,0\n1,0,5\n", ["line 3", "has 3 cells", "expected 2"]),
    "decimal comma": (HEAD + "0,0\n0,5,0\n", ["line 3", "has 3 cells"]),
    "semicolons": ("distance [m];height [mm]\n0;0\n", ["semicolons", "commas"]),
    "no heading": ("0,0\n1,2\n", ["is not a road profile", "distance [ft]"]),
    "no unit": ("distance,height [mm]\n0,0\n", ["line 1", "column 'distance' has no unit"]),
    "empty unit": ("distance [],height [mm]\n0,0\n", ["column 'distance []' has no unit"]),
    "a mass": ("distance [m],height [kg]\n0,0\n", ["column 'height [kg]'", "unit of length"]),
    "no such unit": ("distance [m],height [furlnog]\n0,0\n", ["column 'height [furlnog]'"]),
    "no height": ("distance [m]\n0\n1\n", ["column height is missing"]),
    "only the right": ("distance [m],right height [m]\n0,0\n", ["column height is missing"]),
    "no distance": ("height [m]\n0\n1\n", ["column distance is missing"]),
    "twice": ("distance [m],height [m],left height [m]\n", ["'left height [m]' is there twice"]),
    "unknown": ("distance [m],height [m],note\n", ["column 'note' is not known"]),
    "quoted over lines": (HEAD + '0,0\n1,"2\n3"\n', ["quoted cell"]),
    "nearly the same place": (
        HEAD + "0,0\n1e-9,0\n1000,0\n", ["distance has two points 1e-09 m apart", "differ less"]
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD_FILES)
def test_bad_file_is_one_sentence(name, tmp_path):
    text, words = BAD_FILES[name]
    path = tmp_path / "trail.csv"
    path.write_text(text)
    with pytest.raises(ValueError) as caught:
        Road.from_csv(path)
    said = str(caught.value)
    assert said.startswith(str(path)) and "expected" in said and "\n" not in said
    for word in words:
        assert word in said


def test_file_that_cannot_be_read(tmp_path):
    with pytest.raises(ValueError, match=r"none\.csv: cannot be read: No such file"):
        Road.from_csv(tmp_path / "none.csv")
    (tmp_path / "latin.csv").write_bytes("höhe [m]\n".encode("latin-1"))
    with pytest.raises(ValueError, match=r"byte 1 is 0xf6; expected UTF-8"):
        Road.from_csv(tmp_path / "latin.csv")


# ------------------------------------------------------------------- bad input

LEVEL = np.zeros((2, 3))


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: Road.flat(length=0), ["length is 0 m"]),
        (lambda: Road.g_out(-5, depth=1), ["radius is -5 m"]),
        (lambda: Road.g_out("5", depth=1), ["radius is '5'"]),
        (lambda: Road.g_out(np.nan, depth=1), ["radius is nan"]),
        (lambda: Road.g_out(True, depth=1), ["radius is True"]),
        (lambda: Road.g_out(5), ["depth is None and length is None", "one of the two"]),
        (lambda: Road.g_out(5, depth=1, length=5), ["depth is 1 and length is 5"]),
        (lambda: Road.g_out(5, depth=-1), ["depth is -1 m"]),
        (lambda: Road.g_out(5, length=40), ["length is 40 m", "45 degrees"]),
        (lambda: Road.g_out(5, depth=1, lip=0), ["lip is 0 m"]),
        (lambda: Road.single_bump(40, length=1), ["height is 40 m"]),
        (lambda: Road.single_bump(0.1, length=0), ["length is 0 m"]),
        (lambda: Road.single_bump(0.1, length=1, side="middle"), ["side is 'middle'", "'left'"]),
        (lambda: Road.square_edge(2), ["height is 2 m"]),
        (lambda: Road.square_edge(0.1, patch=-0.1), ["patch is -0.1 m"]),
        (lambda: Road.square_edge(0.1, side=["left"]), ["side is ['left']"]),
        (lambda: Road.whoops(0.5, spacing=0, count=3), ["spacing is 0 m"]),
        (lambda: Road.whoops(0.5, spacing=3, count=2.5), ["count is 2.5", "whole number"]),
        (lambda: Road.whoops(0.5, spacing=3, count=0), ["count is 0", "from 1"]),
        (lambda: rough("I"), ["road_class is 'I'", "'A'"]),
        (lambda: rough("c"), ["road_class is 'c'"]),
        (lambda: rough(3), ["road_class is 3"]),
        (lambda: rough(length=-1), ["length is -1 m"]),
        (lambda: rough(length=9, fade=5), ["length is 9 m", "10 to", "fade"]),
        (lambda: rough(step=0.05), ["step is 0.05 m", "0.025", "shortest wave"]),
        (lambda: rough(length=2e4, step=1e-3), ["step is 0.001 m", "at most"]),
        (lambda: rough(seed=1.5), ["seed is 1.5", "whole number"]),
        (lambda: rough(seed=-1), ["seed is -1"]),
        (lambda: rough(seed=None), ["seed is None"]),
        (lambda: rough(coherence=1.1), ["coherence is 1.1; expected 0 to 1"]),
        (lambda: rough(track=0), ["track is 0 m"]),
        (lambda: Road.flat().averaged(0), ["patch is 0 m"]),
        (lambda: Road.flat().height(0.0, side="rear"), ["side is 'rear'"]),
        (lambda: Road.from_arrays([0], height=[0]), ["distance has shape (1,)", "2 points"]),
        (lambda: Road.from_arrays([0, 1], height=[0]), ["height has shape (1,)", "(2,)"]),
        (
            lambda: Road.from_arrays([0, 1], height=[0, 1], right_height=[0, np.inf]),
            ["right_height[1] is inf"],
        ),
        (lambda: Road.from_arrays([0, np.nan], height=[0, 1]), ["distance[1] is nan"]),
        (lambda: Road.from_arrays([0, 2, 1], height=[0, 1, 2]), ["distance[2] is 1 m after 2 m"]),
        (lambda: Road(step=0, heights=LEVEL, slopes=LEVEL), ["step is 0 m"]),
        (lambda: Road(step=1, heights=LEVEL[0], slopes=LEVEL), ["heights has shape (3,)"]),
        (lambda: Road(step=1, heights=LEVEL, slopes=np.zeros((2, 4))), ["slopes has shape (2, 4)"]),
        (lambda: Road(step=1, heights=LEVEL * np.nan, slopes=LEVEL), ["heights[0, 0] is nan"]),
        (lambda: Road(step=1, heights=LEVEL, slopes=LEVEL + 0.1), ["slopes at the ends", "0.1"]),
    ],
)
def test_bad_input_is_one_sentence(call, words):
    with pytest.raises(ValueError) as caught:
        call()
    text = str(caught.value)
    assert "expected" in text and "\n" not in text
    for word in words:
        assert word in text
