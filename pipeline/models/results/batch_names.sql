-- The names that batches and soaks have, which a new one may not have.
-- Grain: one row per name.
-- reads: batches
-- writes: nothing
select batch as name from batches
union
select soak from batches where soak is not null
