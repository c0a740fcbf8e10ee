-- Which loaded pickings are there up to the as-of date, and at which cap stage?
-- Grain: one row per loaded picking up to the as-of date.
-- reads: harvests
-- writes: nothing
select batch, cap_stage
from harvests
where picked_on <= getvariable('as_of')
