-- Which strains has the farm grown up to the end of the month, in the order in which it began them?
-- Grain: one row per strain.
-- reads: batches
-- writes: nothing
select coalesce(strain, '') as strain, min(inoculated_on) as first_on
from batches
where inoculated_on is null or inoculated_on <= getvariable('month_last')
group by coalesce(strain, '')
order by first_on nulls last, strain
