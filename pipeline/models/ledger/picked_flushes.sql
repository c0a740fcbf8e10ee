-- When was each flush of each filling picked, and how much? Suspects of the warnings are found in it.
-- Grain: one row per place (filling, or batch as a whole: filling_line null) and flush.
-- reads: harvest_assignments
-- writes: picked_flushes
create or replace temp table picked_flushes as
select
    batch_line,
    filling_line,
    coalesce(filling_line, batch_line) as place_line,
    flush,
    min(picked_on) as first_day,
    max(picked_on) as last_day,
    sum(fresh_weight_g) as fresh_g
from harvest_assignments
group by batch_line, filling_line, flush
