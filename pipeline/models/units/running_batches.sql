-- Which batches were running on any day of the month?
-- Grain: one row per such batch.
-- reads: unit_states
-- writes: running_batches
create or replace temp table running_batches as
select batch_line
from unit_states
group by batch_line
having min(inoculated_on) <= getvariable('month_last')
    and (not bool_and(finished) or max(coalesce(closed_on, lapses_on)) >= getvariable('month_first'))
