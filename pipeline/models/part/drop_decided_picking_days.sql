-- Takes the picking days of the part's fillings and batches away.
-- Grain: one row per place and day.
-- reads: part_lines
-- writes: picking_days
delete from picking_days
where place_line in (select line from part_lines)
