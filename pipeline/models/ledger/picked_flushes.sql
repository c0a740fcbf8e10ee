-- What did each flush of each place give in all, whatever the day, and when was it picked? Masses in g. pickings_derived:
-- those with a blank flush cell. Figures as of a day are told from it (picked_so_far), and suspects of the warnings found.
-- Sorted, for what lies together takes half the room.
-- Grain: one row per place (filling, or batch as a whole: filling_line null) and flush.
-- reads: harvest_assignments
-- writes: picked_flushes
create or replace table picked_flushes as
select
    batch_line,
    filling_line,
    flush,
    min(picked_on) as first_day,
    max(picked_on) as last_day,
    sum(fresh_weight_g) as fresh_g,
    count(*)::uinteger as pickings,
    count(*) filter (where derived)::uinteger as pickings_derived
from harvest_assignments
group by batch_line, filling_line, flush
order by batch_line, filling_line, flush
