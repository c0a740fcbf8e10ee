"""The sums of the trade: lime for a bath, spawn for a rate, water for a moisture, dry mass of a drained sample.

All moistures are on wet basis: water over the whole. All masses in kg, of samples in g; water in L (1 L weighs 1 kg).
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal

from pipeline.farm.template import CAUTIONS
from pipeline.logbook.amounts import rounded
from schemas.finding import WrongRequest

# Common practice, no source.
LIME_G_PER_L = Decimal(5)
# Saturated calcium hydroxide at 25 C, 0.0203 mol/L of 74.09 g/mol: J. Res. Natl. Bur. Stand. 56(6):305-312, 1956,
# doi 10.6028/jres.056.040.
SOLUBLE_G_PER_L = Decimal("1.504")
HUNDRED = Decimal(100)


def lime_g(water_l: Decimal, dose_g_per_l: Decimal) -> Decimal:
    """Return the g of hydrated lime for this much water."""
    return water_l * dose_g_per_l


def weak_bath(dose_g_per_l: Decimal) -> str:
    """Return what is said of a dose below what the bath can dissolve; "" for another."""
    if dose_g_per_l >= SOLUBLE_G_PER_L:
        return ""
    return (
        f"That is less than the bath can dissolve, about {SOLUBLE_G_PER_L:.1f} g per litre at 25 C: it will not be "
        "saturated, and is weaker than a bath with lime left at its bottom."
    )


def lime_cautions() -> list[str]:
    """Return what is to be looked out for with lime, as `init` writes it into the farm's how-to."""
    first, _, rest = CAUTIONS.partition("\n- ")
    bullets = [" ".join(each.split()) for each in rest.split("\n- ")]
    return [
        " ".join(first.splitlines()[1:]),
        *(each for each in bullets if "lime" in each.lower()),
        f"More lime does not make it stronger: beyond about {SOLUBLE_G_PER_L:.1f} g/L it lies undissolved.",
        "Soaking ends by hours and judgement: a slurry can stay alkaline for days, so do not wait for pH 7.",
    ]


@dataclass(frozen=True)
class SubstrateMass:
    """Substrate to be spawned or watered: its wet and dry mass in kg, None where not known."""

    wet_kg: Decimal | None
    dry_kg: Decimal | None


def substrate(wet_kg: Decimal | None, dry_kg: Decimal | None, moisture_pct: Decimal | None) -> SubstrateMass:
    """Return the wet and dry masses, by what is known of them."""
    if moisture_pct is not None:
        share = 1 - moisture_pct / HUNDRED
        if wet_kg is not None and dry_kg is None:
            dry_kg = wet_kg * share
        elif dry_kg is not None and wet_kg is None:
            wet_kg = dry_kg / share
    return SubstrateMass(wet_kg, dry_kg)


def spawn_kg(of: SubstrateMass, rate_pct: Decimal, basis: str) -> Decimal:
    """Return the kg of spawn that make this rate: spawn over substrate (not over the mix), on wet or on dry basis.

    Raises WrongRequest where the mass of that basis is not known.
    """
    mass = of.wet_kg if basis == "wet" else of.dry_kg
    if mass is None:
        raise WrongRequest(
            f"mix spawn: the {basis} mass of the substrate is not known. Give --{basis}, or --moisture as well."
        )
    return mass * rate_pct / HUNDRED


def bags(spawn: Decimal, bag_kg: Decimal) -> tuple[int, Decimal]:
    """Return how many whole bags hold this much spawn, to the gram, and how much is left over (kg)."""
    spawn = rounded(spawn, 3)
    count = int((spawn / bag_kg).to_integral_value(ROUND_CEILING))
    return count, count * bag_kg - spawn


def water_l(of: SubstrateMass, moisture_pct: Decimal) -> Decimal:
    """Return the L of water that bring this substrate to this moisture. Raises WrongRequest where it is as wet now."""
    if of.dry_kg is None or of.wet_kg is None:
        raise WrongRequest("mix water: give --dry, or --wet and its moisture --now.")
    water = of.dry_kg / (1 - moisture_pct / HUNDRED) - of.wet_kg
    if water <= 0:
        now = HUNDRED * (1 - of.dry_kg / of.wet_kg)
        raise WrongRequest(f"mix water: it has {now:.1f} % already, and {moisture_pct:f} % is wanted. Drain it.")
    return water


def moisture_pct(sample_wet_g: Decimal, sample_dry_g: Decimal) -> Decimal:
    """Return the moisture of a sample in %, on wet basis: (wet - dry) / wet.

    Raises WrongRequest where it gained by drying.
    """
    if sample_dry_g >= sample_wet_g:
        raise WrongRequest(
            f"mix dry: dried, the sample weighs {sample_dry_g:f} g, wet {sample_wet_g:f} g. Weigh again."
        )
    return HUNDRED * (sample_wet_g - sample_dry_g) / sample_wet_g
