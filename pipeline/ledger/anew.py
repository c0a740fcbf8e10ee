"""Taking all files in anew: pickings last, and what does not hang on them is decided while they are read."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack
from typing import TYPE_CHECKING

from pipeline.farm.folder import Farm
from pipeline.ledger.intake import THREADS, Sources, Taken, take_in
from pipeline.ledger.portions import size_of
from pipeline.ledger.stage import decide_without_pickings
from pipeline.ledger.stage_writer import MOST_ROWS, StageWriters
from pipeline.models.statements import writers
from schemas.contract import HARVESTS

if TYPE_CHECKING:
    import duckdb

# Above so many bytes of files memory is short, and nothing is decided beside their reading: our choice, no source.
MUCH_TO_READ = 200_000_000


class TakenAnew:
    """All files, put on an empty stage; and `decided`, which models are decided before all of them are there."""

    def __init__(self, con: duckdb.DuckDBPyConnection, farm: Farm, sources: Sources) -> None:
        self._con, self._farm, self._sources = con, farm, sources
        self.decided: frozenset[str] = frozenset()

    def portions(self) -> Iterator[Taken]:
        """Yield what was put on the stage, portion by portion; it is there for others to see when all were yielded."""
        with writers(self._con, THREADS) as of_pickings, ExitStack() as until_pickings:
            pickings = others = StageWriters(of_pickings)
            if self._decides_early():
                others = StageWriters(until_pickings.enter_context(writers(self._con, THREADS)))

            def stage(each: Taken) -> Taken:
                return (pickings if each.table == HARVESTS else others).stage(each)

            def before_pickings() -> None:
                if others is not pickings:
                    others.finish(at_once=False)
                    until_pickings.close()
                    self.decided = decide_without_pickings(self._con, self._farm.settings)

            yield from take_in(self._farm, self._sources, stage, MOST_ROWS, before_pickings)
            others.finish()
            pickings.finish()

    def _decides_early(self) -> bool:
        """Whether what does not hang on pickings is decided before these: a file that is gone may come off the stage
        again, and what was decided with its rows would be wrong.
        """
        much = sum(size_of(source) for source in self._sources.files) > MUCH_TO_READ
        return not much and not self._sources.vanished
