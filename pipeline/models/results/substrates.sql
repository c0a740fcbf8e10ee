-- Which substrates does the farm grow on ("" for one that is not noted)?
-- Grain: one row per substrate.
-- reads: batches
-- writes: nothing
select distinct coalesce(substrate, '') as substrate
from batches
