-- Takes the ends of the part's batches away.
-- Grain: one row per end.
-- reads: part_lines
-- writes: closings
delete from closings
where batch_line in (select line from part_lines)
