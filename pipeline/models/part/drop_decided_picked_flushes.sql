-- Takes the sums of the part's flushes away.
-- Grain: one row per place and flush.
-- reads: part_lines
-- writes: picked_flushes
delete from picked_flushes
where batch_line in (select line from part_lines)
