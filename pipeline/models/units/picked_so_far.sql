-- What did each flush of each place give up to the as-of date? Masses in g. Told from the sums that are kept; only of
-- flushes that were picked before and after that day from the pickings themselves.
-- Grain: one row per place (filling, or batch as a whole: filling_line null) and flush picked.
-- reads: picked_flushes, straddling_flushes
-- writes: picked_so_far
create or replace temp view picked_so_far as
select batch_line, filling_line, flush, first_day, last_day, fresh_g, pickings, pickings_derived
from picked_flushes
where last_day <= getvariable('as_of')
union all
select batch_line, filling_line, flush, first_day, last_day, fresh_g, pickings, pickings_derived
from straddling_flushes
