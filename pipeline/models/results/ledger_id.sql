-- The mark of what the ledger was made from.
-- Grain: one row; none where the ledger has no mark.
-- reads: meta
-- writes: nothing
select value as ledger_id from meta where key = 'ledger_id'
