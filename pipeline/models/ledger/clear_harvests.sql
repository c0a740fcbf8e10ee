-- Which pickings leave no doubt where they belong: those that name a loaded filling by batch and container, and their
-- flush, on or after its inoculation? The others are looked at in resolved.sql. Repeated rows are still among them.
-- Mass in g.
-- Grain: one row per such picking.
-- reads: loaded_fillings, stage_harvests
-- writes: clear_harvests
create or replace table clear_harvests as
select e.line, f.batch_line, f.line as filling_line, e.picked_on, e.fresh_weight_g, e.flush
from stage_harvests as e
inner join loaded_fillings as f on f.container = e.container and f.batch = e.batch
where not e.faulty and e.flush is not null and (e.picked_on < f.inoculated_on) is not true
