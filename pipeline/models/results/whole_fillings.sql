-- Which loaded fillings are there at the as-of date, and how much dry substrate is in each (g)?
-- Grain: one row per loaded filling of a batch that is not inoculated after the as-of date.
-- reads: fillings
-- writes: nothing
select batch, dry_g::double as dry_g
from fillings
where inoculated_on is null or inoculated_on <= getvariable('as_of')
