-- After how many days without a picking does a new flush begin, where its cell is blank?
-- Grain: one row.
-- reads: flush_rule
-- writes: nothing
select new_flush_after_days from flush_rule
