-- The number of a file, from the line of one of its rows.
-- Grain: one row's line gives one number.
-- reads: nothing
-- writes: file_part_of
create macro file_part_of(line) as line >> 32
