-- How long are the gaps between the pickings of one container, where a flush is blank?
-- Grain: one row per length of a gap, in days.
-- reads: gap_counts
-- writes: nothing
select gap_days, gaps from gap_counts order by gap_days
