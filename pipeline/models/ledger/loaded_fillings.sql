-- Which fillings are loaded, and how much dry substrate do their own cells tell? Masses in kg as entered; *_g in g.
-- own_rung: 1 weighed, 2 from fill; null where neither follows from the filling's own cells.
-- Grain: one row per loaded filling.
-- reads: batches, filling_faults, stage_fillings
-- writes: loaded_fillings
create or replace temp table loaded_fillings as
select
    f.line,
    b.line as batch_line,
    f.batch,
    f.container,
    f.kind,
    f.volume_l,
    f.fill_kg,
    b.inoculated_on,
    b.dry_g::double as batch_dry_g,
    b.substrate_wet_kg::double * 1000 as batch_wet_g,
    b.spawn_kg::double * 1000 as batch_spawn_g,
    case
        when f.substrate_dry_kg is not null then 1
        when f.fill_kg is not null and b.dry_g is not null and b.substrate_wet_kg is not null then 2
    end as own_rung,
    case
        when f.substrate_dry_kg is not null then f.substrate_dry_kg::double * 1000
        when f.fill_kg is not null
            then f.fill_kg::double * b.dry_g::double / (b.substrate_wet_kg + coalesce(b.spawn_kg, 0))::double
    end as own_g
from stage_fillings as f
inner join batches as b on b.batch = f.batch
anti join filling_faults as q on q.line = f.line
