-- What was the ledger made from, and what is its id?
-- Grain: one row per key.
-- reads: meta
-- writes: nothing
select key, value
from meta
