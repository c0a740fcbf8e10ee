-- When was each flush of each filling picked, and how much? Suspects of the warnings are found in it.
-- Grain: one row per place (filling, or batch as a whole: container null) and flush.
create or replace temp table picked_flushes as
select
    batch,
    container,
    flush,
    min(picked_on) as first_day,
    max(picked_on) as last_day,
    sum(fresh_weight_g) as fresh_g
from harvests
group by batch, container, flush
