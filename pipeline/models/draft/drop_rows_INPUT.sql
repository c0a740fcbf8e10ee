-- Takes the rows of a file of INPUT off the stage.
-- Grain: one row per row of the file.
-- reads: nothing
-- writes: stage_INPUT
delete from stage_INPUT
where file_part_of(line) = $file_part
