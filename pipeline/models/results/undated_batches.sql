-- How many loaded batches have no day of inoculation?
-- Grain: one row.
-- reads: batches
-- writes: nothing
select count(*) as batches from batches where inoculated_on is null
