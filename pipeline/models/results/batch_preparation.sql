-- How long was each batch's substrate prepared, and what spawn did it take? Hours; mass in kg; null where not noted.
-- Grain: one row per batch of outlook_batches, in the order of their numbers.
-- reads: batches, outlook_batches
-- writes: nothing
select
    b.treatment_h::double as treatment_h,
    b.drain_h::double as drain_h,
    b.spawn_kg::double as spawn_kg
from outlook_batches as o
inner join batches as b on b.line = o.batch_line
order by o.number
