"""What each soak gave of each recipe, of the units that finished in some days."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from pipeline.models.view import LedgerView


@dataclass(frozen=True)
class RecipeSoak:
    """What one soak gave of one recipe. Masses in g; fresh_g and dry_g are of the units with a dry mass, and clean_ of
    those among them that were not thrown out for contamination before a first picking.
    """

    substrate: str
    treatment: str
    spawn_form: str
    units: int
    units_without_dry_mass: int
    contaminated_before_pick: int
    fresh_g: float
    dry_g: float
    clean_fresh_g: float
    clean_dry_g: float

    @property
    def recipe(self) -> tuple[str, str, str]:
        """What was put in: substrate, treatment and spawn form."""
        return self.substrate, self.treatment, self.spawn_form


def recipe_soaks(view: LedgerView, first: date, last: date) -> list[RecipeSoak]:
    """Return what each soak gave of each recipe, of the units that finished from `first` to `last`, both included; in
    the order of recipes and soaks.
    """
    view.set_variables(month_first=first, month_last=last)
    return [RecipeSoak(*row) for row in view.tuples("recipe_soaks")]
