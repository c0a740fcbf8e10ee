-- How moist was the substrate of each batch (%, wet basis)?
-- Grain: one row per loaded batch with a moisture, not inoculated after the as-of date.
-- reads: batches
-- writes: nothing
select batch, moisture_pct
from batches
where moisture_pct is not null
    and (inoculated_on is null or inoculated_on <= getvariable('as_of'))
