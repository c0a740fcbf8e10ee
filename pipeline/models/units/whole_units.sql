-- Which batches count as one unit at the as-of date: those of which any picking is pooled, or that have no filling rows?
-- Grain: one row per such batch.
-- reads: batches, filling_shares, picked_flushes
-- writes: whole_units
create or replace temp table whole_units as
select line as batch_line
from batches
where (inoculated_on is null or inoculated_on <= getvariable('as_of'))
    and (
        line in (
            select batch_line from picked_flushes where filling_line is null and first_day <= getvariable('as_of')
        )
        or line not in (select batch_line from filling_shares)
    )
