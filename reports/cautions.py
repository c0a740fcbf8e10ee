"""The cautions of growing, those that apply to what the farm does, each with its source or marked as having none."""

from __future__ import annotations

from dataclasses import dataclass

from reports.month import Month

COMMON = "common practice, no source"
SHEETS = "safety data sheets of calcium hydroxide, CAS 1305-62-0 (H315, H318, H335, Danger)"
SPORES = (
    "occupational asthma and anaphylaxis in oyster growers: Int. J. Occup. Med. Environ. Health 2021;34(4):575-9; "
    "23 of 308 growers with respiratory symptoms: Choi et al. 1991, Korean J. Intern. Med. 6(1)"
)
# Which treatments a caution is about. None: it applies to every farm.
LIME = ("cold_lime", "hot_lime")
HOT = ("hot_lime", "hot_water", "steam", "sterilised")


@dataclass(frozen=True)
class Caution:
    """One caution: what it is about, what to do, where it comes from, and which treatments it belongs to."""

    about: str
    text: str
    source: str
    treatments: tuple[str, ...] | None = None


ALL = (
    Caution(
        "Lime",
        "Goggles first, gloves, no dust in the lungs. Lime into water, never boiling water onto powder. Not quicklime; "
        "garden carbonate does not work. Keep pH 12 drain water from drains, ponds and animals.",
        SHEETS,
        LIME,
    ),
    Caution(
        "End of a lime soak",
        "Soaking ends by hours and judgement: a lime slurry can stay alkaline for days, so pH 7 is "
        "not a rule to wait for.",
        COMMON,
        LIME,
    ),
    Caution("Heat", "Steam and hot water scald.", COMMON, HOT),
    Caution("Alcohol", "It burns: never near a flame.", COMMON),
    Caution("Mould", "Open mouldy containers outdoors, with a mask.", COMMON),
    Caution("Spores", "A fitted mask, fresh air, early picking. Chest symptoms: see a doctor.", SPORES),
    Caution("Carbon dioxide", "It gathers in closed rooms: air them.", COMMON),
    Caution("Substrate", "No sprayed or treated plant waste.", COMMON),
    Caution(
        "Food",
        "Sell only what is surely the sown species; cook it; chill it at once; packs that breathe.",
        COMMON,
    ),
)


ONE_LINE = (
    "Lime, steam, spores and food can harm: first follow the safety data sheet, local rules and licensed practice."
)
MORE_BELOW = "The usual cautions stand at the end of the appendix."


def cautions(month: Month) -> list[Caution]:
    """Return the cautions that apply.

    Those about a treatment where it is used, or where not all treatments are known.
    """
    used = {row["treatment"] for row in month.rows("losses")}
    unsure = not used or not used <= {*LIME, *HOT, "none"}
    return [each for each in ALL if each.treatments is None or unsure or used & set(each.treatments)]
