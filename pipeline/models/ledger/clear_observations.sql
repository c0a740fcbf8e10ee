-- Which observations leave no doubt where they belong: those that name a loaded filling by batch and container, on or
-- after its inoculation? The others are looked at in resolved.sql. Repeated rows are still among them.
-- Grain: one row per such observation.
-- reads: loaded_fillings, stage_observations
-- writes: clear_observations
create or replace table clear_observations as
select e.line, f.batch_line, f.line as filling_line, e.seen_on, e.event, e.flush, e.cause, e.count
from stage_observations as e
inner join loaded_fillings as f on f.container = e.container and f.batch = e.batch
where not e.faulty and (e.seen_on < f.inoculated_on) is not true
