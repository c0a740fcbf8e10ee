-- What spawn went into each unit, what did it give, and is that known? Masses in g. known: far enough to be counted.
-- Grain: one row per unit.
-- reads: unit_spawn
-- writes: nothing
select unit, group_id, batch, batch_no, soak_key, soak_no, spawn_form, spawn_lot, rate_wet_pct, rate_dry_pct, dry_g,
    spawn_g, known, gave_g, fate_known, lost, days_to_pins, rejected
from unit_spawn
order by batch, unit
