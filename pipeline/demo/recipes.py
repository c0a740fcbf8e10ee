"""What is true on the invented farm: recipes, substrates, containers and the calendar of soaks.

Every number is invented, chosen inside the ranges in print: biological efficiency (BE)
of straw 55-140 % and of bagasse 14-37 %, flush 2 over flush 1 0.47-0.79, pins 15-25 days on straw, first
picking 26-64 days, substrate moisture 62-77 % of the wet mass, lime water near pH 12.45.
"""

from dataclasses import dataclass
from datetime import date

LAST_DAY = date(2026, 9, 30)
# Chosen after looking, with the diary below: blocks of 700 to 2,000 seeds were ranked while the design still changed,
# by how near the drawn means lie to the truths, and one was taken at which every planted truth that the tests look for
# lies in the printed interval, each kind of answer occurs, and all planted mistakes find a row. That intervals hold on
# this farm is therefore no evidence of their coverage: the simulations are (make calibrate).
DEMO_SEED = 20262209

# BE of a unit = recipe x (1 + BE_CV x noise); the noise has variance 1 in these parts (y =
# method + batch + container). Soak and batch together are the batch share: an intraclass correlation of .4.
# Less than print has (0.2), so that nine months of one farm answer more than one question.
BE_CV = 0.12
SHARE_SOAK, SHARE_BATCH, SHARE_UNIT = 0.30, 0.10, 0.60
FLUSH_CV = 0.10  # on top, independent from flush to flush
LOSS_LOGIT_SD = 1.3  # between soaks: contamination comes by the soak, not by the bucket
LATE_LOSS = 0.03  # chance after each of the first two flushes that a unit is thrown out
SPOILT_SIXTH = 6  # where a bath went wrong, all but one in so many are lost
STALLED = 0.012  # chance that a unit never gives anything, without a mould to blame
COLONISED_TO_OPENED_D = 1.3
FAILING_CONTAINER, FAILING_LOSS = "B17", 0.85  # a bucket whose lid does not close


@dataclass(frozen=True)
class TrueRecipe:
    """What one recipe gives, when, and how often it is lost. The truth that the measures should find again.

    Flushes: be_flush1_pct is BE (%) of flush 1; second and third are the mass of that flush over flush 1 in
    units that give it; gives_second is the share that gives a second flush, gives_third the share of those
    that gives a third. Waits in days. loss_usual_pct: units lost before a first picking in a usual soak (%).
    """

    name: str
    substrate: str
    treatment: str
    strain: str
    spawn_form: str
    spawn_pct_wet: float
    be_flush1_pct: float
    second: float
    third: float
    gives_second: float
    gives_third: float
    colonised_d: float
    opened_to_pins_d: float
    pins_to_pick_d: float
    between_flushes_d: float
    loss_usual_pct: float
    bran_pct_dry: float = 0.0

    def decline_vs_first(self) -> tuple[float, float]:
        """How much flush 2 and flush 3 give over flush 1, per unit that was picked at all."""
        second = self.gives_second * (1 - LATE_LOSS)
        return second * self.second, second * self.gives_third * (1 - LATE_LOSS) * self.third

    def be_clean_pct(self) -> float:
        """The BE (%) that a unit gives in all, when it is not lost before its first picking."""
        return self.be_flush1_pct * (1 + sum(self.decline_vs_first()))

    def days(self) -> dict[str, float]:
        """How long each wait lasts on average, in days."""
        pins = self.colonised_d + COLONISED_TO_OPENED_D + self.opened_to_pins_d
        return {
            "inoculated_to_colonised": self.colonised_d,
            "inoculated_to_pins": round(pins, 2),
            "inoculated_to_first_pick": round(pins + self.pins_to_pick_d, 2),
            "opened_to_pins": self.opened_to_pins_d,
            "between_flushes": self.between_flushes_d,
        }


S, M, B = "wheat straw", "chopped mulch", "sugarcane bagasse"
COLD, HOT, WATER = "cold_lime", "hot_lime", "hot_water"
# fmt: off
RECIPES = (
    # name; spawn % of wet; BE of flush 1; flush 2, 3 over 1; share that gives 2, 3; the four waits; usual loss
    TrueRecipe("straw grain 5", S, COLD, "grey", "grain", 5, 32, .65, .36, .90, .82, 18.5, 5.0, 4.8, 14.0, 1.0),
    TrueRecipe("straw grain 10", S, COLD, "grey", "grain", 10, 49, .63, .35, .93, .85, 17.0, 5.0, 4.5, 13.0, 0.7),
    TrueRecipe("straw grain 20", S, COLD, "grey", "grain", 20, 62, .61, .33, .93, .84, 15.0, 4.8, 4.5, 12.5, 0.7),
    TrueRecipe("straw sawdust 10", S, COLD, "grey", "sawdust", 10, 46, .63, .35, .92, .86, 18.5, 5.0, 4.6, 13.5, 0.7),
    TrueRecipe("straw hot grey", S, HOT, "grey", "grain", 10, 48, .62, .34, .93, .84, 16.5, 5.0, 4.5, 13.0, 0.7),
    TrueRecipe("straw hot pink", S, HOT, "pink", "grain", 10, 30, .58, .30, .90, .85, 15.5, 4.8, 4.6, 11.0, 1.0),
    TrueRecipe("straw bran 10", S, WATER, "grey", "grain", 10, 55, .62, .34, .95, .86, 15.5, 4.8, 4.4, 12.5, 3.0, 4),
    TrueRecipe("mulch grain 10", M, COLD, "grey", "grain", 10, 28, .68, .40, .92, .84, 20.5, 6.0, 5.0, 15.0, 1.5),
    TrueRecipe("mulch sawdust 15", M, COLD, "grey", "sawdust", 15, 27, .68, .40, .92, .78, 20.0, 6.0, 5.0, 15.0, 3.0),
    TrueRecipe("bagasse grain 8", B, WATER, "grey", "grain", 8, 18, .61, .32, .84, .85, 18.5, 5.5, 5.0, 14.0, 22.0),
    TrueRecipe("bagasse grain 4", B, WATER, "grey", "grain", 4, 15, .60, .30, .82, .85, 22.0, 6.0, 5.0, 14.5, 28.0),
)
# fmt: on


@dataclass(frozen=True)
class TrueSubstrate:
    """How wet a drained substrate is (% of wet mass), and how heavy its mix packs (kg per litre)."""

    moisture_pct: float
    mix_kg_per_l: float


SUBSTRATES = {S: TrueSubstrate(70.5, 0.29), M: TrueSubstrate(66.0, 0.33), B: TrueSubstrate(74.0, 0.31)}


@dataclass(frozen=True)
class Treatment:
    """How long the bath is (least and most hours, step), how long the draining (h), and whether lime is in it."""

    least_h: float
    most_h: float
    step_h: float
    drain_h: tuple[float, float]
    lime_g_per_l: float | None


# 5 g/L, about a day cold, 3-4 h hot: common practice, no source.
TREATMENTS = {
    COLD: Treatment(16, 24, 1, (12, 20), 5.0),
    HOT: Treatment(3, 4, 0.5, (8, 14), 5.0),
    WATER: Treatment(1.5, 2, 0.5, (4, 8), None),
}


@dataclass(frozen=True)
class Kind:
    """What kinds of container stand on the farm: letter of their names, litres, holes, and how many?"""

    kind: str
    letter: str
    volume_l: int
    holes_open: int
    owned: int


KINDS = (Kind("bucket", "B", 20, 8, 56), Kind("bag", "G", 10, 6, 34))


@dataclass(frozen=True)
class Mix:
    """What one batch was meant to be, and how carefully it was written down.

    pooled_flushes: flushes up to this one were weighed for the batch as a whole. own_dry: this many of its
    fillings had their dry substrate weighed. spoilt: its bath went wrong, and most of it is lost. The other
    yes/no fields say which cells were filled in.
    """

    recipe: str
    buckets: int = 4
    bags: int = 2
    pooled_flushes: int = 0
    own_dry: int = 0
    spoilt: bool = False
    filling_rows: bool = True
    moisture: bool = True
    wet: bool = True
    fills: bool = True
    volumes: bool = True
    weighed_dry: bool = False
    dry_basis: str = "oven"
    note: str = ""


def _two(first: str, second: str) -> tuple[Mix, ...]:
    """Return two plain batches of one soak."""
    return Mix(first), Mix(second)


_FORMS = _two("straw grain 10", "straw sawdust 10")
_STRAINS = _two("straw hot grey", "straw hot pink")
_MULCHES = _two("mulch grain 10", "mulch sawdust 15")
_BAGASSES = _two("bagasse grain 8", "bagasse grain 4")
_RATES = tuple(Mix(f"straw grain {rate}", 3, 2) for rate in (5, 10, 20))
_STRAW, _SAWDUST, _MULCH = (Mix(name, 3, 2) for name in ("straw grain 10", "straw sawdust 10", "mulch grain 10"))

# Batches that were written down less well than others, as in real notebooks.
_TOGETHER = Mix("straw grain 10", 3, 2, pooled_flushes=1)
_UNLISTED = Mix("mulch grain 10", 6, 4, pooled_flushes=9, filling_rows=False, note="not listed, weighed together")
_UNDRIED = Mix("straw bran 10", 8, 4, moisture=False, note="no dry sample kept")
_DRY_ONLY = Mix("straw sawdust 10", 3, 2, wet=False, moisture=False, weighed_dry=True, note="only weighed dry")
_AIR_DRY = Mix(
    "mulch sawdust 15", spoilt=True, moisture=False, weighed_dry=True, dry_basis="air", note="weighed before the soak"
)
_EVENLY = tuple(Mix(f"straw hot {strain}", 6, 0, fills=False, volumes=False) for strain in ("grey", "pink"))
_EACH_DRIED = Mix("bagasse grain 4", moisture=False, own_dry=9)

# The farm's diary: the day of inoculation and the batches of each soak, S01 first. Its trials are split soaks: five of
# three spawn rates, four of straw with grain, straw with sawdust and mulch, four of two strains. Bagasse was always
# bathed in hot water, and straw in hot water always had bran, so that these cannot be parted.
SOAKS: tuple[tuple[str, tuple[Mix, ...]], ...] = (
    ("2026-01-08", _RATES),
    ("2026-01-22", (Mix("straw grain 5", 3, 2, fills=False), Mix("straw grain 10", 3, 2, fills=False), _RATES[2])),
    ("2026-02-05", (_UNLISTED,)),
    ("2026-02-14", (Mix("straw grain 5", 3, 2, own_dry=2), _RATES[1], _RATES[2])),
    ("2026-02-27", (_UNDRIED,)),
    ("2026-03-07", (_STRAW, _DRY_ONLY, _MULCH)),
    ("2026-03-21", _EVENLY),
    ("2026-04-02", (_TOGETHER, _SAWDUST, Mix("mulch grain 10", 3, 2, pooled_flushes=1))),
    ("2026-04-11", _RATES),
    ("2026-04-25", _BAGASSES),
    ("2026-05-09", _STRAINS),
    ("2026-05-23", (_STRAW, _SAWDUST, _MULCH)),
    ("2026-06-06", _STRAINS),
    ("2026-06-20", (_STRAW, _SAWDUST, _MULCH)),
    ("2026-07-04", (_RATES[0], _RATES[1], Mix("straw grain 20", 3, 2, weighed_dry=True))),
    ("2026-07-18", (_BAGASSES[0], _EACH_DRIED)),
    ("2026-08-01", _STRAINS),
    ("2026-08-15", _BAGASSES),
    ("2026-08-27", (Mix("straw bran 10", 6, 4),)),
    ("2026-09-10", (Mix("mulch grain 10", spoilt=True), _AIR_DRY)),
    ("2026-09-24", (Mix("straw grain 10", 3, 2), Mix("straw grain 10", 3, 2))),
)

# What the soaks of a bench farm are drawn from.
MENUS = (_FORMS, _STRAINS, _MULCHES, _BAGASSES, _RATES, (Mix("straw grain 10"),), (Mix("straw bran 10"),))

CAUSES = (("green_mould", 0.66), ("other_mould", 0.14), ("bacterial", 0.14), ("flies", 0.06))
STAGES = (("curled", 0.24), ("turned_down", 0.47), ("flat", 0.17), ("turned_up", 0.06), ("", 0.06))
PICKERS = (("M", 0.55), ("T", 0.30), ("J", 0.15))
NOTES = (
    "small clusters", "dry edges, misted", "one big cluster", "fruited from the top hole",
    "sold at the market", "wet caps after misting", "for the kitchen",
)  # fmt: skip
