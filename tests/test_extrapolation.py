"""Values, orders and errors from mesh sequences with known limits."""

from __future__ import annotations

import math

import pytest
from numpy.testing import assert_allclose

from conegap.solver.field.extrapolation import estimate

SIZES = (2, 4, 8)


def sequence(*terms: tuple[float, float], limit: float = 3.0) -> tuple[float, ...]:
    """Limit plus sum of coefficient x spacing^power on the meshes of SIZES."""
    return tuple(limit + sum(c * (1.0 / n) ** p for c, p in terms) for n in SIZES)


@pytest.mark.parametrize("limit", [3.0, -3.0, 1e8])
def test_second_and_fourth_order_terms_are_removed_exactly(limit: float) -> None:
    """EXACT: limit + a h^2 + b h^4 is returned as the limit."""
    found = estimate(SIZES, sequence((0.4 * limit, 2.0), (0.3 * limit, 4.0), limit=limit))
    assert found.extrapolated
    assert_allclose(found.value, limit, rtol=1e-13, atol=0)


def test_pure_second_order_is_observed_as_two() -> None:
    """EXACT: the observed order of limit + a h^2 is 2, of limit + a h^1.8 is 1.8."""
    assert_allclose(estimate(SIZES, sequence((0.4, 2.0))).order, 2.0, rtol=1e-12, atol=0)
    assert_allclose(estimate(SIZES, sequence((0.4, 1.8))).order, 1.8, rtol=1e-12, atol=0)


@pytest.mark.parametrize("power", [1.0, 1.45, 2.7, 3.0])
def test_another_order_is_not_extrapolated(power: float) -> None:
    """EXACT: outside the orders 1.5 to 2.6 the finest value stands."""
    values = sequence((0.4, power))
    found = estimate(SIZES, values)
    assert not found.extrapolated
    assert found.value == values[-1]
    assert_allclose(found.order, power, rtol=1e-12, atol=0)


@pytest.mark.parametrize(("power", "earned"), [(1.499, False), (1.501, True), (2.599, True)])
def test_edges_of_the_band_of_orders(power: float, earned: bool) -> None:
    """EXACT: just inside the band is extrapolated, just outside is not."""
    assert estimate(SIZES, sequence((0.4, power))).extrapolated is earned


def test_oscillating_sequence_is_not_extrapolated() -> None:
    """EXACT: a sequence that turns has no order and keeps its finest value."""
    found = estimate(SIZES, (1.0, 1.1, 1.05))
    assert math.isnan(found.order)
    assert not found.extrapolated
    assert found.value == 1.05


def test_growing_sequence_is_not_extrapolated() -> None:
    """EXACT: steps that grow fourfold, as of order -2, keep the finest value."""
    found = estimate(SIZES, (1.0, 1.1, 1.5))
    assert_allclose(found.order, -2.0, rtol=1e-9, atol=0)
    assert not found.extrapolated
    assert found.value == 1.5
    assert found.error > 0.3


@pytest.mark.parametrize(
    "terms",
    [
        ((0.4, 2.0), (0.3, 4.0)),
        ((0.4, 2.0), (-0.8, 3.0)),
        ((0.4, 2.0), (2.0, 4.0), (-3.0, 6.0)),
        ((0.4, 1.8),),
        ((0.4, 2.4),),
        ((0.4, 1.0),),
        ((0.4, 1.2), (0.1, 2.0)),
        ((0.4, 3.0),),
    ],
)
def test_error_covers_the_true_error(terms: tuple[tuple[float, float], ...]) -> None:
    """EXACT: the estimated error is at least the distance from the known limit."""
    found = estimate(SIZES, sequence(*terms))
    assert abs(found.value / 3.0 - 1.0) <= found.error
    assert found.error < 0.1


def test_error_of_a_clean_sequence_is_not_wasteful() -> None:
    """EXACT: on limit + a h^2 the error is above zero and below a tenth of the removed part."""
    values = sequence((0.4, 2.0))
    found = estimate(SIZES, values)
    assert 1e-11 < found.error < 0.1 * (values[-1] - 3.0) / 3.0


def test_error_has_a_floor() -> None:
    """EXACT: a constant sequence is as good as rounding allows, 1e-11."""
    found = estimate(SIZES, (2.0, 2.0, 2.0))
    assert found.value == 2.0
    assert found.error == 1e-11


def test_only_the_three_finest_meshes_count() -> None:
    """INVARIANT: a coarser mesh in front changes neither value nor error."""
    values = sequence((0.4, 2.0), (0.3, 4.0))
    three, four = estimate(SIZES, values), estimate((1, *SIZES), (9.0, *values))
    assert (three.value, three.error) == (four.value, four.error)
    assert four.level_values == (9.0, *values)


def test_two_meshes_take_second_order_for_granted() -> None:
    """EXACT: two values give the limit of a h^2, no order, and the whole step as error."""
    values = sequence((0.4, 2.0))[:2]
    found = estimate((2, 4), values)
    assert_allclose(found.value, 3.0, rtol=1e-14, atol=0)
    assert math.isnan(found.order)
    assert_allclose(found.error, (values[1] - 3.0) / 3.0, rtol=1e-12, atol=0)


@pytest.mark.parametrize(
    ("sizes", "values", "words"),
    [
        ((2,), (1.0,), "mesh sequence"),
        ((2, 4, 8), (1.0, 2.0), "value each"),
        ((2, 4, 9), (1.0, 2.0, 3.0), r"\(2, 4, 9\)"),
        ((4, 2), (1.0, 2.0), r"\(4, 2\)"),
    ],
)
def test_unusable_sequences_are_refused(
    sizes: tuple[int, ...], values: tuple[float, ...], words: str
) -> None:
    """EXACT: one mesh, a missing value and another ratio than two are refused."""
    with pytest.raises(ValueError, match=words):
        estimate(sizes, values)
