-- Notes what the ledger was made from, and its id: $keys and $values, of one length.
-- Grain: one row per key.
-- reads: nothing
-- writes: meta
create or replace table meta as
select unnest($keys::varchar[]) as key, unnest($values::varchar[]) as value
