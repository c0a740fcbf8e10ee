-- The rows of INPUT with the file and the row in which they stand.
-- Grain: one row per row that is not blank.
-- reads: files, stage_INPUT
-- writes: rows_of_INPUT
create view rows_of_INPUT as
select
    {stage columns of INPUT as s},
    f.file,
    row_of(s.line) as row
from stage_INPUT as s
inner join files as f on f.file_part = file_part_of(s.line)
