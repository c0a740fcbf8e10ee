-- What is the most that one picking of each filling can be, in g? By its dry mass where that was weighed, else its fill,
-- else its volume, else one for all (schemas/pickings.py). The logbook has the same of the files (logbook/facts.py).
-- Grain: one row per filling.
-- reads: filling_shares, stage_fillings
-- writes: filling_most
create or replace temp table filling_most as
select
    f.line,
    coalesce(
        f.substrate_dry_kg::double * getvariable('most_per_dry_kg_g'),
        f.fill_kg::double * getvariable('most_per_kg_g'),
        f.volume_l::double * getvariable('most_per_litre_g'),
        getvariable('most_unknown_g')
    )::double as most_g
from stage_fillings as f
inner join filling_shares as s on s.line = f.line
