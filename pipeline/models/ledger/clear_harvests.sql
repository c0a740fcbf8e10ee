-- Which pickings leave no doubt where they belong: those that name a loaded filling by batch and container, and their
-- flush, on or after its inoculation? The others are looked at in resolved.sql. Repeated rows are still among them.
-- Masses in g; stage_rank: 1 for the youngest cap stage; culled_g: null where it is more than the mass.
-- Grain: one row per such picking.
-- reads: loaded_fillings, stage_harvests
-- writes: clear_harvests
create or replace table clear_harvests as
select
    e.line,
    f.batch_line,
    f.line as filling_line,
    e.picked_on,
    e.fresh_weight_g,
    e.flush,
    list_position(getvariable('cap_stages'), e.cap_stage)::utinyint as stage_rank,
    case when e.culled_g <= e.fresh_weight_g then e.culled_g end as culled_g
from stage_harvests as e
inner join loaded_fillings as f on f.container = e.container and f.batch = e.batch
where not e.faulty and e.flush is not null and (e.picked_on < f.inoculated_on) is not true
