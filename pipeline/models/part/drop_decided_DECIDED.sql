-- Takes what was decided of the part's rows away.
-- Grain: one row per row.
-- reads: part_lines
-- writes: DECIDED
delete from DECIDED
where line in (select line from part_lines)
