"""The command for the sums of the trade: mix."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.farm_access import open_the_farm
from pipeline.cli.options import FarmOption, as_option, spread
from pipeline.cli.show import print_sentences
from schemas.finding import WrongRequest
from schemas.phrases import counted

if TYPE_CHECKING:
    from schemas.cell_format import CellFormat

# The options that each sum takes.
TAKES = {
    "lime": ("water", "dose"),
    "spawn": ("rate", "basis", "wet", "dry", "moisture", "bag"),
    "water": ("wet", "dry", "now", "moisture"),
    "dry": ("sample_wet", "sample_dry", "wet"),
}


@dataclass(frozen=True)
class MixAmounts:
    """What the sums are made of, as typed; each sum takes some of it."""

    water: Annotated[str | None, typer.Option("--water", metavar="VOLUME", help="lime: the bath, 200 or 50 gal.")] = (
        None
    )
    dose: Annotated[
        str | None, typer.Option("--dose", metavar="G", help="lime: g per litre. Default: 5 (common practice).")
    ] = None
    rate: Annotated[str | None, typer.Option("--rate", metavar="PCT", help="spawn: spawn over substrate, in %.")] = None
    basis: Annotated[
        str | None,
        typer.Option("--basis", metavar="wet|dry", help="spawn: what the rate is of; they differ threefold."),
    ] = None
    wet: Annotated[
        str | None, typer.Option("--wet", metavar="WEIGHT", help="Substrate as it is, drained: 20, 45 lb.")
    ] = None
    dry: Annotated[str | None, typer.Option("--dry", metavar="WEIGHT", help="Its dry mass.")] = None
    moisture: Annotated[
        str | None,
        typer.Option("--moisture", metavar="PCT", help="spawn: its moisture. water: the one that is wanted."),
    ] = None
    now: Annotated[str | None, typer.Option("--now", metavar="PCT", help="water: the moisture it has now.")] = None
    bag: Annotated[str | None, typer.Option("--bag", metavar="WEIGHT", help="spawn: what a bag of spawn holds.")] = None
    sample_wet: Annotated[
        str | None, typer.Option("--sample-wet", metavar="WEIGHT", help="dry: the sample drained, in g.")
    ] = None
    sample_dry: Annotated[
        str | None, typer.Option("--sample-dry", metavar="WEIGHT", help="dry: the sample dried, in g.")
    ] = None


@spread
def mix(
    what: Annotated[
        str,
        typer.Argument(
            metavar="lime|spawn|water|dry",
            help="lime: for a bath. spawn: for a rate. water: to reach a moisture. dry: mass of a drained sample.",
        ),
    ],
    *,
    amounts: MixAmounts,
    farm: FarmOption = None,
) -> None:
    """Tell the sums of the trade: lime for a bath, spawn and its bags, water for a moisture, dry mass of a sample."""
    if what not in TAKES:
        raise WrongRequest(f"mix {what}: there is lime, spawn, water and dry.")
    given = {name: text for name, text in vars(amounts).items() if text is not None}
    foreign = next((name for name in given if name not in TAKES[what]), None)
    if foreign:
        taken = ", ".join(as_option(name) for name in TAKES[what])
        raise WrongRequest(f"mix {what}: {as_option(foreign)} is not for this sum. It takes {taken}.")
    {"lime": _lime, "spawn": _spawn, "water": _water, "dry": _dry}[what](_Typed(given, _cell_format(farm)))


def _cell_format(farm: Path | None) -> CellFormat:
    """Return how numbers are written: as on the farm where there is one; the sums need none."""
    from schemas.cell_format import PLAIN

    try:
        return open_the_farm(farm).conventions.cell_format
    except WrongRequest:
        if farm is not None:
            raise
        return PLAIN


class _Typed:
    """What was typed for a sum, read as amounts and shares; asked for on a terminal where it is missing."""

    def __init__(self, given: dict[str, str], cell_format: CellFormat) -> None:
        self._given = given
        self._cell_format = cell_format

    def has(self, name: str) -> bool:
        """Return whether it is given, or answered."""
        return name in self._given

    def word(self, name: str, question: str, words: tuple[str, ...]) -> str:
        """Return which of these words it is. Raises WrongRequest for any other."""
        text = self._text(name, question).strip().lower()
        if text not in words:
            raise WrongRequest(f"{as_option(name)} {text}: write {' or '.join(words)}.")
        return text

    def amount(self, name: str, unit: str, question: str) -> Decimal:
        """Return how much it is, in this unit."""
        from pipeline.logbook.amounts import amount

        return amount(as_option(name), self._text(name, question), unit, unit, self._cell_format).exact

    def amount_or_none(self, name: str, unit: str) -> Decimal | None:
        """As amount; None where it is not given."""
        return self.amount(name, unit, "") if self.has(name) else None

    def share(self, name: str, question: str, below: int = 100) -> Decimal:
        """Return the number, above 0 and below `below`. Raises WrongRequest for any other."""
        from pipeline.logbook.amounts import typed_number

        text = self._text(name, question)
        value = typed_number(text.removesuffix("%"), self._cell_format)
        if value is None or not 0 < value < below:
            raise WrongRequest(f"{as_option(name)} {text}: write a number above 0 and below {below}.")
        return value

    def share_or_none(self, name: str) -> Decimal | None:
        """As share; None where it is not given."""
        return self.share(name, "") if self.has(name) else None

    def shown(self, value: Decimal, decimals: int) -> str:
        """Return the number with so many decimals."""
        return f"{value:.{decimals}f}".replace(".", self._cell_format.decimal_mark)

    def plain(self, value: Decimal) -> str:
        """Return the number as the farm writes it, with the decimals it has."""
        from pipeline.logbook.amounts import written

        return written(value, self._cell_format)

    def _text(self, name: str, question: str) -> str:
        if name in self._given:
            return self._given[name]
        if not sys.stdin.isatty():
            raise WrongRequest(f"{as_option(name)} is missing: {question}.")
        self._given[name] = str(typer.prompt(f"{question[0].upper()}{question[1:]}", err=True))
        return self._given[name]


def _lime(typed: _Typed) -> None:
    from pipeline.logbook.mix import LIME_G_PER_L, lime_cautions, lime_g, weak_bath

    litres = typed.amount("water", "L", "litres of water in the bath")
    dose = typed.share("dose", "", 1000) if typed.has("dose") else LIME_G_PER_L
    grams = lime_g(litres, dose)
    source = "" if typed.has("dose") else " (common practice, no source)"
    print_sentences(
        f"Hydrated lime: {typed.shown(grams, 0)} g ({typed.shown(grams / 1000, 2)} kg) for {typed.shown(litres, 1)} L "
        f"of water, at {typed.plain(dose)} g per litre{source}.",
        weak_bath(dose),
    )
    typer.echo("")
    print_sentences(*lime_cautions())


def _spawn(typed: _Typed) -> None:
    from pipeline.logbook.mix import bags, spawn_kg, substrate

    basis = typed.word("basis", "is the rate spawn over wet or over dry substrate (wet or dry)", ("wet", "dry"))
    rate = typed.share("rate", "spawn over substrate in %", 1000)
    if not typed.has("wet") and not typed.has("dry"):
        typed.amount(basis, "kg", f"{basis} mass of the substrate in kg")
    moisture = typed.share_or_none("moisture")
    of = substrate(typed.amount_or_none("wet", "kg"), typed.amount_or_none("dry", "kg"), moisture)
    spawn = spawn_kg(of, rate, basis)
    sentences = [
        f"Spawn: {typed.shown(spawn, 2)} kg, {typed.plain(rate)} % of the {basis} substrate (spawn over substrate)."
    ]
    other = "dry" if basis == "wet" else "wet"
    mass = of.dry_kg if other == "dry" else of.wet_kg
    if mass is not None:
        sentences.append(f"On {other} basis that is {typed.shown(100 * spawn / mass, 1)} %.")
    bag = typed.amount_or_none("bag", "kg")
    if bag is not None:
        count, left = bags(spawn, bag)
        over = f", {typed.shown(left, 2)} kg left over" if left else ""
        sentences.append(f"That is {counted(count, 'bag')} of {typed.shown(bag, 2)} kg{over}.")
    print_sentences(" ".join(sentences))


def _water(typed: _Typed) -> None:
    from pipeline.logbook.mix import substrate, water_l

    wanted = typed.share("moisture", "the moisture that is wanted, in % of the whole")
    if not typed.has("dry"):
        typed.amount("wet", "kg", "mass of the substrate as it is, in kg")
        typed.share("now", "the moisture that it has now, in %")
    now = typed.share_or_none("now")
    wet, dry = typed.amount_or_none("wet", "kg"), typed.amount_or_none("dry", "kg")
    of = substrate(dry if wet is None and now is None else wet, dry, now)
    water = water_l(of, wanted)
    assert of.wet_kg is not None
    print_sentences(
        f"Water: {typed.shown(water, 2)} L for {typed.shown(of.wet_kg, 2)} kg of substrate, to reach "
        f"{typed.plain(wanted)} % moisture (wet basis). "
        f"Together {typed.shown(of.wet_kg + water, 2)} kg; what runs off is not in it."
    )


def _dry(typed: _Typed) -> None:
    from pipeline.logbook.mix import moisture_pct

    wet_g = typed.amount("sample_wet", "g", "mass of the drained sample in g")
    dry_g = typed.amount("sample_dry", "g", "mass of the dried sample in g")
    moisture = moisture_pct(wet_g, dry_g)
    sentences = [f"Moisture: {typed.shown(moisture, 1)} % (wet basis: water over the drained mass)."]
    if typed.has("wet"):
        wet = typed.amount("wet", "kg", "")
        sentences.append(
            f"Of {typed.shown(wet, 2)} kg drained, {typed.shown(wet * (1 - moisture / 100), 2)} kg are dry."
        )
    print_sentences(" ".join(sentences))
