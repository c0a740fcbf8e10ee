"""Does the analysis of variance behind compare give what was published? Abou Fayssal et al. 2020; NIST StRD SmLs."""

import pytest

from pipeline.stats.variance import one_way

# Abou Fayssal et al. 2020, Scientifica 3950357, doi 10.1155/2020/3950357, Table 2: mean and SD of three replicates, and
# the p printed. F was recomputed from these by hand: MSB / MSE.
ABOU_FAYSSAL = {
    "yield g/bag": ([(910.1, 236.3), (624.9, 222.1), (406.8, 11.6)], 5.445, 0.0448, 0.04),
    "BE": ([(105.0, 27.2), (80.3, 28.5), (54.1, 1.5)], 3.751, 0.0877, 0.09),
}


@pytest.mark.parametrize("what", ABOU_FAYSSAL)
def test_printed_means_and_deviations_give_the_printed_p(what: str) -> None:
    treatments, f, p, printed = ABOU_FAYSSAL[what]
    # Three replicates with a given mean and SD are mean - SD, mean, mean + SD.
    found = one_way([[mean - sd, mean, mean + sd] for mean, sd in treatments])
    assert found is not None
    assert found.f == pytest.approx(f, abs=5e-4)
    assert found.p == pytest.approx(p, abs=5e-5)
    assert found.p is not None
    assert round(found.p, 2) == printed


def smls(size: int, constant: float) -> list[list[float]]:
    """Simon and Lesage's data (NIST StRD): nine groups of `size` values."""
    means = [constant + 0.4] + [constant + (0.3 if at % 2 == 1 else 0.5) for at in range(1, 9)]
    return [[mean] + [mean - 0.1, mean + 0.1] * ((size - 1) // 2) for mean in means]


# NIST certifies F = 21, 201, 2001 (15 digits). Its constants are 1, 1e6 and 1e12: of the last, a float keeps four
# digits behind the point, but the steps of .1 are all rounded alike, and F is their ratio.
@pytest.mark.parametrize("size", [21, 201, 2001])
@pytest.mark.parametrize("constant", [1.0, 1e6, 1e12])
def test_the_certified_f_of_large_numbers(size: int, constant: float) -> None:
    found = one_way(smls(size, constant))
    assert found is not None
    assert (found.between_degrees, found.within_degrees) == (8, 9 * (size - 1))
    assert found.f == pytest.approx(float(size), rel=1e-13)
