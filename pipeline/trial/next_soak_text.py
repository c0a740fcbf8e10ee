"""What to try next, in sentences and as a table."""

from __future__ import annotations

from pipeline.compare.factors import title
from pipeline.compare.leaning import leans, prior_text
from pipeline.trial.ahead import AHEAD
from pipeline.trial.next_soak import FURTHER, Leader, NextSoak, Split
from schemas.answers import Direction
from schemas.phrases import listed
from schemas.result_rows import ResultRow, ResultRows


def trial_line(split: Split) -> str:
    """Return the command that plans this split."""
    levels = [split.level, split.against]
    if None not in split.amounts:
        levels = [each.split(" ")[0] for each in levels]
    named = ",".join(levels)
    quoted = f'"{named}"' if " " in named else named
    return f"gillbook trial --factor {split.factor} --levels {quoted} --soaks 3"


def split_rows(found: NextSoak, ahead: int = AHEAD) -> ResultRows:
    """Return one record per split, with the columns of the `next_soak` contract, the one that pays most first."""
    return [_row(each, found, ahead) for each in found.splits]


def _row(each: Split, found: NextSoak, ahead: int) -> ResultRow:
    return {
        "factor": each.factor,
        "level": each.level,
        "against": each.against,
        "known": each.known,
        "difference": each.difference if each.known else None,
        "chance_more": each.chance_more if each.known else None,
        **{f"teaches_{soaks}": value for soaks, value in zip(FURTHER, each.teaches, strict=True)},
        "costs": each.costs,
        "pays": each.pays(ahead),
        "pays_money": None if found.money_a_point is None else found.money_a_point * each.pays(ahead),
        "prior": prior_text(),
        "trial": trial_line(each),
    }


def advice(found: NextSoak, ahead: int = AHEAD) -> list[str]:
    """Return what to do with the coming soak, and what to grow meanwhile, in sentences."""
    if not found.splits:
        return ["Nothing varies yet that one soak could be split by: name a second substrate, strain or spawn rate."]
    best = found.splits[0]
    first = _to_split(best, found, ahead) if best.pays(ahead) > 0 else _to_go_on(best, ahead)
    return [first, *_meanwhile(found.meanwhile)]


def _meanwhile(leaders: tuple[Leader, ...]) -> list[str]:
    known = [each for each in leaders if each.known]
    guessed = [each for each in leaders if not each.known]
    sentences = []
    if known:
        loss = sum(each.may_cost for each in known)
        sentences.append(
            f"For the rest, and meanwhile: {_named(known)}. To take these is expected to cost {loss:.1f} points of BE "
            "against knowing the best; a guess, no evidence."
        )
    if guessed:
        sentences.append(f"With little to go by, grow {_named(guessed)}.")
    return sentences


def _named(leaders: list[Leader]) -> str:
    return listed([f"{each.level} ({title(each.factor)})" for each in leaders])


def _to_split(best: Split, found: NextSoak, ahead: int) -> str:
    money = found.money_a_point
    worth = f"{best.pays(ahead):.0f} points of BE over the {ahead} soaks after it"
    if money is not None:
        worth += f" ({money * best.pays(ahead):.2f} {found.currency} per kg dry substrate of a soak)"
    lean = leans(best.chance_more) if best.known else Direction.CANNOT_TELL
    so_far = "little is known of the two yet" if not best.known else f"so far {lean.value}"
    return (
        f"Split the next soak between {best.level} and {best.against} ({title(best.factor)}; {so_far}): of all splits "
        f"it is expected to bring most, {worth}, its own cost taken off. To plan three: {trial_line(best)}"
    )


def _to_go_on(best: Split, ahead: int) -> str:
    return (
        f"No split is expected to pay: the best, of {best.level} and {best.against} ({title(best.factor)}), costs "
        f"{best.costs:.1f} points of BE and would bring {best.teaches[0] * ahead:.1f} over the {ahead} soaks after it. "
        "Go on with what leads."
    )
